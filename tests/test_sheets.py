"""SHEETS: any usual file reads as rows of cells; an empty sheet's columns are record paths."""

import csv
import gzip
import io
import pickle
import re
import sys
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, get_args, get_type_hints

import msgspec
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from msgspec import UnsetType

from gradekit.inspection import Inspection
from gradekit.kinds import Kind
from gradekit.lexicon import load_lexicon
from gradekit.rulebook import load_rulebook
from gradekit.sheets import MARKS, Sheet, columns, empty_sheet, open_sheet
from gradekit.sniffing import Choices, SheetError
from tests import small

SHIPPED = load_rulebook()
EVERY_KIND = [
    *(small.book().kind(name) for name in small.book().kind_files),
    *(SHIPPED.kind(name) for name in SHIPPED.kind_files),
]
ONE_BY_ONE = pytest.mark.parametrize("kind", EVERY_KIND, ids=lambda kind: kind.kind)


def fields_of(hint: Any) -> dict[str, Any]:
    """The fields under a type of the record, whatever list, table or absence it stands in."""
    if isinstance(hint, type) and issubclass(hint, msgspec.Struct):
        names = {f.name: f.encode_name for f in msgspec.structs.fields(hint)}
        return {names[name]: field for name, field in get_type_hints(hint).items() if name in names}
    options = [o for o in get_args(hint) if o is not UnsetType and o is not Ellipsis]
    return next((found for option in options if (found := fields_of(option))), {})


def is_path(column: str) -> bool:
    """Every step of a column's path is a field of the record; checks go by their own names."""
    fields = get_type_hints(Inspection)
    if column.startswith("clearance."):
        return "clearance" in fields
    for step in re.sub(r"\[[^]]*\]", "", column).split("."):
        if step not in fields:
            return False
        fields = fields_of(fields[step])
    return True


def test_the_check_of_paths_can_fail() -> None:
    """A misspelt step is no path."""
    assert is_path("batteries[main].state")
    assert not is_path("batteries[main].stat")
    assert not is_path("battery.state")


@ONE_BY_ONE
def test_every_column_is_a_path_of_the_record(kind: Kind) -> None:
    """A sheet needs no map of its own: each column's name says where its value belongs."""
    for column in columns(kind):
        assert is_path(column), column


@ONE_BY_ONE
def test_a_column_stands_once(kind: Kind) -> None:
    """No two columns of a sheet are called alike, or one of them would be lost."""
    assert len(set(columns(kind))) == len(columns(kind))


@ONE_BY_ONE
def test_every_word_of_the_kind_has_its_column(kind: Kind) -> None:
    """Each function, check, battery, display, number and accessory can be filled in."""
    found = set(columns(kind))
    wanted = {f"clearance.{name}" for name in kind.clearances}
    wanted |= {f"accessories[{name}]" for name in kind.accessories}
    wanted |= {f"device.identifiers[{name}]" for name in kind.identifiers}
    wanted |= {f"batteries[{which}].state" for which in kind.batteries}
    wanted |= {f"displays[{which}].lines" for which in kind.displays}
    for name, function in kind.functions.items():
        twins = [f"tests[{name}.{which}]" for which in function.which]
        wanted |= set(twins or [f"tests[{name}]"])
    assert wanted <= found
    assert ("erasure.verified" in found) == (kind.storage is not None)


@ONE_BY_ONE
def test_hazards_and_locks_come_before_tests_and_looks(kind: Kind) -> None:
    """What may hurt or rule out a sale is looked at first; the offer comes last."""
    order = columns(kind)
    first = [c for c in order if c.startswith(("batteries", "clearance"))]
    tests = [i for i, c in enumerate(order) if c.startswith("tests[")]
    marks = [i for i, c in enumerate(order) if c.startswith("marks[")]
    assert order.index(first[-1]) < tests[0]
    assert tests[-1] < marks[0]
    assert max(marks) < order.index("sealing") < order.index("offer.price")
    assert order[:4] == ["unit_id", "inspected_on", "inspector", "device.kind"]
    assert order[-1] == "shop_note"


@ONE_BY_ONE
def test_a_sheet_has_room_for_some_marks(kind: Kind) -> None:
    """Each mark has a column for each of its measures, numbered from nought."""
    numbers = {int(c[6]) for c in columns(kind) if c.startswith("marks[")}
    assert numbers == set(range(MARKS))


def test_the_sheet_of_a_kind_with_next_to_nothing() -> None:
    """A bell's whole sheet, column by column."""
    head = "unit_id inspected_on inspector device.kind"
    device = "maker model model_number storage_gb colour has"
    looks = "intake.bought intake.symptoms cleaned inside_seen signs"
    offer = "offer.price offer.currency offer.sell_as partly shop_note"
    mark = "zone kind length_mm width_mm depth visibility"
    part = "part origin fitted_by on used evidence device_says"
    repair = "work level by practice on fixes acceptance"
    assert columns(small.book().kind("bell")) == [
        *head.split(),
        *(f"device.{name}" for name in device.split()),
        "clearance.ownership",
        *looks.split(),
        "tests[ring]",
        *(f"marks[{i}].{name}" for i in range(4) for name in mark.split()),
        *(f"parts[0].{name}" for name in part.split()),
        *(f"repairs[0].{name}" for name in repair.split()),
        *["removed", "missing", "sealing"],
        "accessories[rope]",
        *offer.split(),
    ]


@ONE_BY_ONE
def test_an_empty_sheet_is_one_line_of_csv(kind: Kind) -> None:
    """The sheet reads back as its columns, in one line that ends as RFC 4180 (2.1) has it."""
    sheet = empty_sheet(kind)
    assert list(csv.reader(io.StringIO(sheet, newline=""))) == [columns(kind)]
    assert sheet.endswith("\r\n")
    assert sheet.count("\n") == 1


# --- reading: what the file is written in ------------------------------------------------------

LEXICON = load_lexicon(SHIPPED)

TABLE = st.lists(
    st.lists(st.text("ab \"',;\t\r\n.=", max_size=6), min_size=3, max_size=3), max_size=6
)


def opened(folder: Path, data: str | bytes, **choices: Any) -> Sheet:
    """A sheet of these bytes, or of this text in UTF-8."""
    path = folder / "sheet.csv"
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return open_sheet(path, Choices(**choices), LEXICON)


def cells_of(sheet: Sheet) -> list[list[str]]:
    """The cells of every row that is not skipped."""
    return [row.cells for row in sheet.rows() if row.skip is None]


@given(
    TABLE,
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONNUMERIC]),
    st.sampled_from(["\r\n", "\n"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"]),
    st.booleans(),
)
def test_what_the_csv_module_writes_is_read_back(
    rows: list[list[str]], delimiter: str, quoting: Any, ends: str, encoding: str, packed: bool
) -> None:
    """Cells come back as they were written, in any dialect and encoding, packed or not."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=delimiter, quoting=quoting, lineterminator=ends)
    header = ["unit_id", "device.model", "größe"]
    writer.writerow(header)
    writer.writerows(rows)
    said = list(csv.reader(io.StringIO(text.getvalue(), newline=""), delimiter=delimiter))
    assume(said == [header, *rows])  # some dialects lose a bare CR on the csv module's own way
    data = text.getvalue().encode(encoding)
    with TemporaryDirectory() as folder:
        sheet = opened(Path(folder), gzip.compress(data) if packed else data)
        assert sheet.sniffed.delimiter == delimiter
        assert list(sheet.header) == header
        assert [row.cells for row in sheet.rows() if any(row.cells)] == [
            cells for cells in rows if any(cells)
        ]


@given(st.text('a1,;"\r\n é', max_size=120), st.integers(2, 9))
def test_a_sheet_in_parts_is_the_same_sheet(text: str, n: int) -> None:
    """Cut at row ends into any number of parts, a sheet has the same rows with the same numbers."""
    with TemporaryDirectory() as folder:
        sheet = opened(Path(folder), "unit_id,device.model\n" + text, delimiter=",")
        parts = sheet.parts(n)
        assert len(parts) <= n
        pieces = [row for part in parts for row in sheet.rows(part)]
        assert pieces == list(sheet.rows())


def test_a_sheet_is_cut_into_as_many_parts_as_asked(tmp_path: Path) -> None:
    """A long sheet falls into parts of about equal size; what cannot be cut stays whole."""
    text = "unit_id,shop_note\n" + "".join(f"U{i},{'x' * (i % 50)}\n" for i in range(2000))
    parts = opened(tmp_path, text).parts(4)
    sizes = [part.end - part.start for part in parts[:-1]]
    assert len(parts) == 4
    assert max(sizes) < 1.2 * min(sizes)
    assert len(opened(tmp_path, text.encode("utf-16")).parts(4)) == 1


def test_a_sheet_and_its_parts_can_be_sent_to_another_process(tmp_path: Path) -> None:
    """Pickled and back, a sheet reads the same rows."""
    sheet = opened(tmp_path, "unit_id,device.model\n1,a\n2,b\n3,c\n")
    again = pickle.loads(pickle.dumps(sheet))
    parts = pickle.loads(pickle.dumps(sheet.parts(2)))
    assert [row for part in parts for row in again.rows(part)] == list(sheet.rows())


# RFC 4180, section 2, in its own examples: with and without the last line break, with a header,
# quoted, with line breaks, a comma and doubled quotation marks inside quotes; spaces are data.
RFC_4180 = {
    "2.1": ("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [["zzz", "yyy", "xxx"]]),
    "2.2": ("aaa,bbb,ccc\r\nzzz,yyy,xxx", [["zzz", "yyy", "xxx"]]),
    "2.3": (
        "field_name,field_name,field_name\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n",
        [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]],
    ),
    "2.4": ("a,b,c\r\naaa, bbb ,ccc\r\n", [["aaa", " bbb ", "ccc"]]),
    "2.5": (
        'a,b,c\r\n"aaa","bbb","ccc"\r\nzzz,yyy,xxx',
        [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]],
    ),
    "2.6": (
        'a,b,c\r\n"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx',
        [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]],
    ),
    "2.7": ('a,b,c\r\n"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
}  # fmt: skip


@pytest.mark.parametrize(("text", "rows"), RFC_4180.values(), ids=RFC_4180)
def test_the_examples_of_rfc_4180(tmp_path: Path, text: str, rows: list[list[str]]) -> None:
    """RFC 4180 (2005), section 2: each of its examples reads as it says."""
    assert cells_of(opened(tmp_path, text, header_row=1)) == rows


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252"])
def test_the_encoding_is_found_and_told(tmp_path: Path, encoding: str) -> None:
    """With or without a byte-order mark, the text is read, and the report says in what."""
    text = "unit_id;device.model\r\nU1;Größe € 5\r\n"
    sheet = opened(tmp_path, text.encode(encoding))
    assert cells_of(sheet) == [["U1", "Größe € 5"]]
    assert sheet.sniffed.encoding == encoding
    assert sheet.sniffed.delimiter == ";"
    assert sheet.sniffed.chosen == ()


def test_every_choice_can_be_made_by_hand(tmp_path: Path) -> None:
    """What is chosen is not sniffed, and the report says so."""
    text = "a title;x\nunit_id,note;unit_id;note\nx,y;1;2\n"
    sheet = opened(tmp_path, text, encoding="utf-8", delimiter=",", header_row=2, header_rows=1)
    assert sheet.header == ("unit_id", "note;unit_id;note")
    assert cells_of(sheet) == [["x", "y;1;2"]]
    assert sheet.sniffed.chosen == ("encoding", "delimiter", "header_row", "header_rows")


# --- reading: rows that are no units -----------------------------------------------------------


def test_rows_are_numbered_as_a_spreadsheet_numbers_them(tmp_path: Path) -> None:
    """Title rows, blank rows and rows with line breaks each count as one."""
    text = 'Lot 7,\n\nunit_id,shop_note\nU1,"two\nlines"\n\nU2,\n'
    sheet = opened(tmp_path, text)
    assert sheet.sniffed.header_row == 3
    assert [(row.number, row.skip) for row in sheet.rows()] == [(4, None), (5, "empty"), (6, None)]


def test_totals_remarks_and_repeated_headers_are_skipped_with_their_reason(tmp_path: Path) -> None:
    """Nothing that is no unit is read as one, in any of the languages."""
    text = (
        "Nr;Modell;EK;Ort\n1;Q2;45;A\n;;;\nZwischensumme;;45;\nNr;Modell;EK;Ort\n"
        "Sous-total :;;45;\n;Total;45;\nAlle Preise netto;;;\n2;Q3;45;B\n"
    )
    reasons = [row.skip for row in opened(tmp_path, text).rows()]
    assert reasons == [
        None, "empty", "a total", "the header again", "a total", "a total", "a remark", None
    ]  # fmt: skip


def test_two_header_rows_are_joined(tmp_path: Path) -> None:
    """A merged heading above stands before each of the headings below it."""
    text = "Unit,,Battery,\nno,model,health,cycles\n1,Q2,83,210\n"
    sheet = opened(tmp_path, text, header_row=1, header_rows=2)
    assert sheet.names == ("Unit no", "Unit model", "Battery health", "Battery cycles")
    assert cells_of(sheet) == [["1", "Q2", "83", "210"]]


def test_columns_get_names_of_their_own(tmp_path: Path) -> None:
    """A blank header is named by its letter, one that stands again by a number."""
    sheet = opened(tmp_path, "unit_id,note,,note,note\n1,a,b,c,d\n")
    assert sheet.names == ("unit_id", "note", "column C", "note (2)", "note (3)")
    assert sheet.header == ("unit_id", "note", "", "note", "note")


def test_ragged_rows_come_as_they_are(tmp_path: Path) -> None:
    """Blank cells too many do not count; any other difference is left for its row to answer."""
    text = "unit_id,device.model\n1,a,,\n2\n3,b,c\n"
    assert cells_of(opened(tmp_path, text)) == [["1", "a"], ["2"], ["3", "b", "c"]]
    assert cells_of(opened(tmp_path, text, pad=True))[1] == ["2", ""]


def test_an_open_quotation_mark_swallows_no_other_row(tmp_path: Path) -> None:
    """Where each of the lines after it is a row in itself, it is read as one."""
    text = 'unit_id,device.model,shop_note\n1,"a,b\n2,c,d\n3,"e, f",g\n'
    sheet = opened(tmp_path, text)
    assert [row.cells for row in sheet.rows()] == [
        ["1", "a,b\n"],
        ["2", "c", "d"],
        ["3", "e, f", "g"],
    ]


def test_a_cell_beyond_all_measure_costs_only_its_own_row(tmp_path: Path) -> None:
    """A cell longer than the reader takes is cut short, and the next row is read."""
    text = f"unit_id,device.model\n1,{'x' * 200_000}\n2,a\n"
    rows = cells_of(opened(tmp_path, text))
    assert len(rows[0]) == 1
    assert len(rows[0][0]) == 200
    assert rows[1] == ["2", "a"]


def test_blank_cells_are_filled_down_only_on_request(tmp_path: Path) -> None:
    """Merged cells leave their value in the first row; so does a ditto mark."""
    text = "unit_id,device.model\n1,Q2\n2,\n3,dito\n4,Q3\n5,\n"
    assert [c[1] for c in cells_of(opened(tmp_path, text))] == ["Q2", "", "dito", "Q3", ""]
    sheet = opened(tmp_path, text, fill_down=("device.model",))
    assert [c[1] for c in cells_of(sheet)] == ["Q2", "Q2", "Q2", "Q3", "Q3"]
    parts = sheet.parts(5)
    assert len(parts) > 2
    assert [row for part in parts for row in sheet.rows(part)] == list(sheet.rows())


def test_a_workbook_reads_like_text(tmp_path: Path) -> None:
    """Numbers, days and yes or no come as a person would type them; long numbers as lost."""
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    book.active.append(
        ["unit_id", "device.identifiers[imei]", "offer.price", "intake.on", "cleaned"]
    )
    book.active.append(["007", 352099001761481, 149.5, date(2026, 11, 2), True])
    book.active.append([None, 3520990017614810, 12, None, False])
    book.create_sheet("Other").append(["unit_id", "device.model"])
    book.save(tmp_path / "lot.xlsx")
    sheet = open_sheet(tmp_path / "lot.xlsx", Choices(), LEXICON)
    assert cells_of(sheet) == [
        ["007", "352099001761481", "149.5", "2026-11-02", "true"],
        ["", "3.52099001761481E+15", "12", "", "false"],
    ]
    assert sheet.sniffed.worksheet == "Sheet"
    other = open_sheet(tmp_path / "lot.xlsx", Choices(worksheet="Other"), LEXICON)
    assert other.names == ("unit_id", "device.model")
    with pytest.raises(SheetError, match="use one of Sheet, Other"):
        open_sheet(tmp_path / "lot.xlsx", Choices(worksheet="No"), LEXICON)


def test_without_the_extra_a_workbook_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Workbooks are an extra; without it the file is refused with the remedy."""
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    with pytest.raises(SheetError, match=r"install gradekit\[xlsx\]"):
        opened(tmp_path, b"PK\x03\x04 and so on")


NO_SHEETS = {
    "empty": (b"", "is empty"),
    "blank": (b"\n \n", "holds no text"),
    "pdf": (b"%PDF-1.7", "is a PDF"),
    "old workbook": (b"\xd0\xcf\x11\xe0\xa1\xb1", "workbook of an old kind"),
    "broken archive": (b"PK\x03\x04 and no more", "workbook"),
    "broken packing": (b"\x1f\x8b and no more", "cannot be unpacked"),
    "packing cut off": (gzip.compress(b"\xef\xbb\xbfa,b\n" * 999)[:-20], "cannot be unpacked"),
}


@pytest.mark.parametrize(("data", "says"), NO_SHEETS.values(), ids=NO_SHEETS)
def test_what_is_no_sheet_is_refused(tmp_path: Path, data: bytes, says: str) -> None:
    """A file that is no sheet is named with its problem and a remedy."""
    assert any(says in line for line in small.refusal(SheetError, opened, tmp_path, data))


def test_wrong_choices_are_refused(tmp_path: Path) -> None:
    """A choice that does not fit the file names what would."""
    text = "unit_id,device.model\n1,a\n"
    for choice, says in (
        ({"encoding": "utf-99"}, "no encoding"),
        ({"header_row": 9}, "name a row from 1 to 2"),
        ({"fill_down": ("model",)}, "use one of unit_id, device.model"),
    ):
        with pytest.raises(SheetError, match=says):
            opened(tmp_path, text, **choice)
    with pytest.raises(SheetError, match="check its name"):
        open_sheet(tmp_path / "none.csv", Choices(), LEXICON)
