"""CELLS: a row of cells becomes a record, or says which of its cells stand in the way."""

import contextlib
import csv
import io
import pickle
from collections.abc import Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradekit.cells import Told, column_of, identities, places, told
from gradekit.columns import ColumnMap, Layout, learn
from gradekit.errors import RecordError
from gradekit.inspection import Inspection
from gradekit.lexicon import load_lexicon
from gradekit.paths import resolve
from gradekit.records import convert_inspection
from gradekit.sheets import Row, Sheet, columns, open_sheet
from gradekit.sniffing import Choices
from tests import small
from tests.laws.strategies import kinds, shipped, units
from tests.rows import filled

LEXICON = load_lexicon(shipped())


class Read(msgspec.Struct):
    """A sheet with how it is read, and what each of its rows tells."""

    sheet: Sheet
    layout: Layout
    rows: list[Row]
    told: list[Told]

    def said(self, level: str = "error") -> list[str]:
        """What is said at a level, each as row, column and problem."""
        found = (f for t in self.told for f in t.findings if f.level == level)
        return [f"{f.row} {f.column}: {f.problem}" for f in found]


def read(
    text: str,
    fixed: Mapping[str, Any] | None = None,
    mapped: Mapping[str, Any] | None = None,
    **choices: Any,
) -> Read:
    """Read a sheet's text, with the constants and columns of a map."""
    raw = {"constants": fixed or {}, "columns": mapped or {}}
    column_map = msgspec.convert(raw, ColumnMap) if fixed or mapped else None
    with TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.csv"
        path.write_text(text, "utf-8", newline="")
        sheet = open_sheet(path, Choices(**choices), LEXICON, list(mapped or ()))
        layout = learn(sheet, column_map, shipped(), LEXICON)
        rows = [row for row in sheet.rows() if row.skip is None]
    return Read(sheet, layout, rows, [told(row, layout) for row in rows])


def column(header: str, *cells: str, kind: str = "phone", **mapped: Any) -> list[Any]:
    """What the cells of one column come to, each the record's own or the problem it names."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(["unit_id", "device.kind", header])
    writer.writerows([[f"U{i}", kind, cell] for i, cell in enumerate(cells)])
    said = {header: {"path": mapped.pop("path", header), **mapped}} if mapped else None
    sheet = read(text.getvalue(), mapped=said)
    path = sheet.layout.columns[2].paths[0]
    return [_answer(t, path) for t in sheet.told]


def _answer(told: Told, path: str) -> Any:
    for finding in told.findings:
        if finding.level == "error":
            return finding.problem
    target = resolve(path)
    assert target is not None
    value: Any = told.record
    for step in target.group:
        value = value.get(step, {})
    if target.in_list:
        value = next(iter(value), {}) if value else {}
    elif target.form == "items":
        return value or None
    return value.get(target.field)


# --- the way there and back --------------------------------------------------------------------


def table(records: Sequence[Mapping[str, Any]], header: Sequence[str]) -> str:
    """A sheet of records, as the shop would have filled it in."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(header)
    writer.writerows(filled(record, header) for record in records)
    return text.getvalue()


def within(part: Any, whole: Any) -> bool:
    """Everything that a part of a record says, the whole says too."""
    if isinstance(part, dict):
        return all(key in whole and within(value, whole[key]) for key, value in part.items())
    if isinstance(part, list) and part and isinstance(part[0], dict):
        return all(any(within(item, other) for other in whole) for item in part)
    return bool(part == whole)


MORE_COLUMNS = (
    *("device.year", "device.memory_gb", "device.size_mm", "device.ip_rating", "device.os"),
    *("device.updates_until", "device.network_lock", "intake.on", "intake.powers_on"),
    *("intake.symptoms[0].function", "intake.symptoms[0].seen", "marks[0].area_mm2"),
    *("marks[0].at_mm", "marks[0].photos", "marks[4].zone", "marks[4].kind", "parts[0].lost"),
    *(
        "parts[1].part",
        "parts[1].origin",
        "repairs[1].work",
        "displays[0].px",
        "displays[0].size_mm",
    ),
    *("test_runs[0].list", "test_runs[0].result", "test_runs[0].except", "batteries[0].read_on"),
    *("batteries[0].nominal_v", "batteries[0].shuts_down", "clearance.ownership.checked_on"),
    *("clearance.recall.list", "erasure.level", "erasure.tool", "erasure.also_out"),
    *("acquisition.on", "acquisition.price_paid", "acquisition.currency", "offer.returns_days"),
    *("offer.guarantee.months", "offer.guarantee.covers", "uncertainty.length_mm"),
)
"""Columns that a shop may add by the same pattern."""


@pytest.mark.parametrize("kind", kinds())
@given(st.data())
def test_every_column_of_a_sheet_reads_back_into_its_record(kind: str, data: st.DataObject) -> None:
    """Record, row, record: nothing that a column can hold is lost, and nothing is made up."""
    unit = data.draw(units(kind))
    record = sensible(msgspec.json.decode(msgspec.json.encode(unit)))
    header = [*columns(shipped().kind(kind)), *MORE_COLUMNS]
    sheet = read(table([record], header))
    assert sheet.said() == []
    again = sheet.told[0].record
    assert within(again, record)
    assert filled(again, header) == filled(record, header)
    assert convert_inspection(again, shipped()).device.kind == kind


def sensible(record: dict[str, Any]) -> dict[str, Any]:
    """A drawn record without numbers that no sheet may hold: see ``plausible`` in the data."""

    def tidy(value: Any, field: str = "") -> Any:
        if isinstance(value, dict):
            return {k: kept for k, v in value.items() if (kept := tidy(v, k)) is not None}
        if isinstance(value, list) and value and isinstance(value[0], dict):
            return [tidy(item) for item in value]
        low, high = LEXICON.plausible.get(field, (None, None))
        if low is None or high is None or low < value <= high:
            return value
        return None

    return dict(tidy(record))


def test_what_a_sheet_leaves_blank_was_not_looked_at() -> None:
    """An empty row under every column is a record of nothing but its kind."""
    header = columns(shipped().kind("phone"))
    row = ["U1", "2026-11-20", "", "phone", *[""] * (len(header) - 4)]
    text = io.StringIO(newline="")
    csv.writer(text).writerows([header, row])
    record = read(text.getvalue()).told[0].record
    assert record == {"unit_id": "U1", "inspected_on": "2026-11-20", "device": {"kind": "phone"}}


def test_none_is_a_list_that_was_looked_at() -> None:
    """The word none under a list says that nothing was found there; a blank says nothing."""
    text = "unit_id,device.kind,marks[0].zone,parts[0].part,signs,missing\nU1,phone,none,,none,\n"
    record = read(text).told[0].record
    assert record["marks"] == []
    assert record["signs"] == []
    assert "parts" not in record
    assert "missing" not in record


def test_lists_fill_up_without_gaps() -> None:
    """Items are numbered by their columns, and blank ones leave no hole."""
    header = "marks[0].zone,marks[0].kind,marks[2].zone,marks[2].kind,tests[wifi],tests[nfc]"
    sheet = read(f"unit_id,device.kind,{header}\nU1,phone,,,back,crack,,fail\n")
    assert sheet.told[0].record["marks"] == [{"zone": "back", "kind": "crack"}]
    assert sheet.told[0].record["tests"] == [{"function": "nfc", "result": "fail"}]


def test_paths_by_number_and_by_word() -> None:
    """Readings can be named by their place in the list or by what they are of."""
    header = "batteries[0].which,batteries[0].full_charge_mah,batteries[second].cycles"
    sheet = read(f"unit_id,device.kind,{header}\nU1,laptop,main,4100,12\n")
    assert sheet.told[0].record["batteries"] == [
        {"which": "main", "full_charge_mah": 4100},
        {"which": "second", "cycles": 12},
    ]


# --- the ten commonest errors of real sheets (common practice, no source but where named) --------


def test_error_1_numbers_that_a_spreadsheet_has_spoilt_are_lost() -> None:
    """Exponent form is never expanded: the digits are gone, and the row says so."""
    header = "unit_id,device.kind,device.identifiers[imei],device.identifiers[serial]"
    sheet = read(f"{header}\nU1,phone,3.55762E+14,00123\n1.2E+05,phone,,1.2E+46\n")
    assert [line.partition(":")[0] for line in sheet.said()] == [
        "2 device.identifiers[imei]",
        "3 unit_id",
        "3 device.identifiers[serial]",
    ]
    assert all("digits are lost" in line for line in sheet.said())
    assert sheet.told[0].record["device"]["identifiers"] == [{"type": "serial", "value": "00123"}]


def test_error_1_numbers_kept_as_text_are_taken_as_written() -> None:
    """The tricks that keep a number text in a spreadsheet are no part of it."""
    cells = ['="0012345"', "'0012345", " 0012345 "]
    assert column("device.identifiers[serial]", *cells) == ["0012345"] * 3


def test_error_2_a_mistyped_number_is_an_error_of_its_row_alone() -> None:
    """3GPP TS 23.003, Annex B: 15 digits with their check digit; the column is named."""
    header = "unit_id,inspected_on,device.kind,IMEI"
    sheet = read(
        f"{header}\nU1,2026-11-20,phone,{small.IMEI}\nU2,2026-11-20,phone,490154203237581\n"
    )
    convert_inspection(sheet.told[0].record, shipped())
    with pytest.raises(RecordError, match="check digit") as refused:
        convert_inspection(sheet.told[1].record, shipped())
    where = refused.value.problems[0].where
    assert column_of(where, places(sheet.rows[1], sheet.layout)) == "IMEI"


def test_error_3_what_tells_units_apart_is_read_alike() -> None:
    """Blanks and dashes do not make another number; serials count as written."""
    text = "Nr;IMEI;Seriennummer\nA1;49-015420-323751-8;ab 1\nA2;490154203237518;AB1\n"
    sheet = read(text)
    assert [identities(row, sheet.layout) for row in sheet.rows] == [
        (("unit_id", "A1"), ("imei", small.IMEI), ("serial", "ab 1")),
        (("unit_id", "A2"), ("imei", small.IMEI), ("serial", "AB1")),
    ]


def test_error_4_decimals_are_settled_by_column() -> None:
    """One clear cell settles a column; where none is clear, every cell that needs it is refused."""
    assert column("EK", "1.234,50 €", "1.200", "45,-") == ["1234.50", "1200", "45"]
    assert column("cost", "1,234.50", "1,200") == ["1234.50", "1200"]
    assert column("cost", "1,234", "45") == ["can be read with either decimal sign", "45"]
    assert column("cost", "1,5", "2.5") == ["can be read with either decimal sign"] * 2
    assert column("cost", "1,234", path="offer.price", decimal="comma") == ["1.234"]


def test_error_5_semicolons_tabs_marks_and_old_encodings() -> None:
    """A sheet saved on any desk reads the same; tests/test_sheets.py has every encoding."""
    for delimiter in ",;\t":
        text = "\ufeffunit_id,device.kind,device.model\nU1,phone,Q2\n".replace(",", delimiter)
        assert read(text).told[0].record["device"] == {"kind": "phone", "model": "Q2"}


def test_error_6_the_order_of_day_and_month_is_settled_by_column() -> None:
    """A number above 12 settles it; without one, and without points, it is asked for."""
    assert column("intake.on", "12/03/24", "13/03/24") == ["2024-03-12", "2024-03-13"]
    assert column("intake.on", "12/03/24", "12/13/24") == ["2024-12-03", "2024-12-13"]
    assert column("intake.on", "12/03/24", "2024-03-12") == [
        "can be read day first or month first",
        "2024-03-12",
    ]
    assert (
        column("intake.on", "13/03/24", "03/13/24") == ["can be read day first or month first"] * 2
    )
    assert column("intake.on", "12/03/24", dates="month_first") == ["2024-12-03"]


@pytest.mark.parametrize("cell", ["", " ", "?", "n/t", "n.t.", "tbd", "unknown", "nicht getestet"])
def test_error_7_blank_and_unknown_are_no_pass(cell: str) -> None:
    """What nobody tested is not tested."""
    assert column("tests[wifi]", cell) in ([None], ["not_tested"])
    assert column("cleaned", cell) == [None]


def test_error_8_ditto_is_no_value() -> None:
    """A ditto that nobody asked to fill down is refused, not taken for a word."""
    assert column("device.colour", "slate", "ditto", "dito") == [
        "slate",
        "says only that it is as above",
        "says only that it is as above",
    ]


def test_error_8_quantities_are_units_only_without_numbers() -> None:
    """Several units have no serial in common; without one, the row stands for so many."""
    sheet = read("no,type,sn,qty\nA,phone,,3\nB,phone,S1,2\nC,phone,S2,1\nD,phone,,some\n")
    assert [t.copies for t in sheet.told] == [3, 1, 1, 1]
    tags = [tag for _, tag in identities(sheet.rows[0], sheet.layout)]
    assert tags == ["A", "A-1", "A-2", "A-3"]
    assert identities(sheet.rows[1], sheet.layout) == (("unit_id", "B"), ("serial", "S1"))
    assert [line.partition(":")[0] for line in sheet.said()] == ["3 qty", "5 qty"]


def test_error_9_per_cent_shares_and_units_are_settled_by_column() -> None:
    """0.83, 83 and 83 % are told apart by their column; what cannot be is refused, not clamped."""
    path = "batteries[main].reported_health_pct"
    assert column(path, "0.83", "0.9", "1") == [83, 90, 100]
    assert column(path, "83", "83%", "79.5") == [83, 83, 79.5]
    assert "cannot be" in column(path, "830", "83")[0]
    assert "cannot be" in column(path, "0.83", "83")[0]
    assert column(path, "1", "1") == ["can be one per cent or all of it"] * 2
    assert column(path, "1", scale="share") == [100]


def test_error_9_units_in_cells_headers_and_maps() -> None:
    """A unit is the cell's, the header's or the map's; a bare one beside it is asked for."""
    assert column("storage", "64GB", "1 TB", "128") == [64, 1000, 128]
    assert column("marks[0].length_mm", "5 mm", "0.5 in", "2 cm") == [5, 12.7, 20]
    assert column("marks[0].length_mm", "5", "0.5 in")[0] == "carries no unit, where others do"
    assert column("size", "5", path="marks[0].length_mm", unit="in") == [127]
    assert "no unit of it" in column("marks[0].length_mm", "5 GB")[0]


def test_error_10_free_text_suggests_and_leaves_lists_open() -> None:
    """What speaks against a unit is taken as a hint, marked so; "ok" is no test."""
    sheet = read("no,type,notes\nA,phone,'scr ok, back crk, batt 79%'\n".replace("'", '"'))
    record = sheet.told[0].record
    assert [(m["zone"], m["kind"]) for m in record["marks"]] == [("back", "crack")]
    assert record["batteries"] == [{"which": "main", "reported_health_pct": 79}]
    assert "tests" not in record
    assert sorted(record["partly"]) == ["batteries", "marks"]
    assert len(sheet.said("note")) == 3
    assert "scr ok" in sheet.said("note")[-1]


# --- locks and erasures ------------------------------------------------------------------------


@pytest.mark.parametrize(
    "said",
    ["unlocked", "off", "no", "n", "clean", "frei", "entsperrt", "libre", "ok", "x", "clear"],
)
def test_a_sellers_word_clears_no_lock(said: str) -> None:
    """Under a heading of the trade nothing clears a lock, a list or a finance."""
    sheet = read(f"no,type,lock,blacklist,network\nA,phone,{said},{said},{said}\n")
    clearance = sheet.told[0].record["clearance"]
    assert clearance == {
        "account_lock": {"result": "not_checked"},
        "blocklist": {"result": "not_checked"},
    }
    assert sheet.told[0].record["device"]["network_lock"] == "unknown"
    assert len(sheet.said("warning")) == 3


def test_a_lock_that_is_found_counts_under_any_heading() -> None:
    """What speaks against the unit is believed."""
    record = read("no,type,lock,network\nA,phone,locked,SIM locked\n").told[0].record
    assert record["clearance"]["account_lock"] == {"result": "found"}
    assert record["device"]["network_lock"] == "locked"


def test_under_its_own_path_only_the_records_word_clears() -> None:
    """A check of one's own says clear; "unlocked" is no check even there."""
    path = "clearance.account_lock"
    assert column(path, "clear", "found", "unlocked", "yes", "off") == [
        "clear",
        "found",
        "not_checked",
        "not_checked",
        "not_checked",
    ]
    assert column(path, "looks fine") == ["is not known here"]


@pytest.mark.parametrize("said", ["Y", "yes", "ja", "oui", "wiped", "x", "done"])
def test_a_sellers_word_verifies_no_erasure(said: str) -> None:
    """Under a heading like "wiped", a yes leaves the erasure open, and a no records none."""
    sheet = read(f"no,type,wiped\nA,phone,{said}\nB,phone,no\n")
    assert "erasure" not in sheet.told[0].record
    assert "erasure" not in sheet.told[1].record
    assert len(sheet.said("warning")) == len(sheet.said("note")) == 1
    assert column("erasure.verified", "yes", "no") == [True, False]


def test_a_map_alone_does_not_turn_a_claim_into_a_check() -> None:
    """A heading mapped to the path is still the seller's; the map may name words that count."""
    said = {"Wiped": {"path": "erasure.verified"}}
    assert "erasure" not in read("no,type,Wiped\nA,phone,Y\n", mapped=said).told[0].record
    counts = {"Wiped": {"path": "erasure.verified", "words": {"seen empty": "yes"}}}
    record = read("no,type,Wiped\nA,phone,seen empty\n", mapped=counts).told[0].record
    assert record["erasure"] == {"verified": True}


def test_free_text_touches_no_lock() -> None:
    """Whatever free text says, no check and no erasure comes of it."""
    text = 'no,type,notes\nA,phone,"unlocked, wiped, account clear, no lock, erased and verified"\n'
    record = read(text).told[0].record
    assert set(record) == {"unit_id", "device"}


# --- values ------------------------------------------------------------------------------------

YES = ["Y", "y", "yes", "ja", "oui", "✓", "ok", "1", "true", "TRUE", "vorhanden", "x"]
NO = ["N", "no", "0", "–", "-", "fail", "nok", "nein", "non", "false", "none"]


def test_yes_and_no_in_the_trades_ways() -> None:
    """Common practice, no source: how sheets say yes and no."""
    for cell in YES:
        assert column("cleaned", cell) == [True], cell
    for cell in (*NO[:5], *NO[7:10]):
        assert column("cleaned", cell) == [False], cell
    assert column("cleaned", "perhaps") == ["is neither yes nor no"]


def test_results_in_the_trades_ways() -> None:
    """Pass and fail as shops write them, in three languages."""
    passes = ["Y", "ok", "pass", "✓", "i.O.", "geht", "fonctionne", "1", "working", "bon"]
    fails = ["N", "nok", "fail", "–", "n.i.O.", "defekt", "hs", "0", "dead", "en panne"]
    assert column("tests[wifi]", *passes) == ["pass"] * len(passes)
    assert column("tests[wifi]", *fails) == ["fail"] * len(fails)
    assert column("tests[wifi]", "intermittent") == ["partial"]
    assert column("tests[wifi]", "blue") == ["is not known here"]


def test_a_cross_may_be_a_tick() -> None:
    """An x under a test is asked for, until the map says what it stands for."""
    assert column("tests[wifi]", "✓", "x") == ["pass", "can be a tick or a cross"]
    assert column("tests[wifi]", "x", words={"x": "fail"}) == ["fail"]
    assert column("accessories[box]", "x", "") == [True, None]
    assert column("cleaned", "✓", "x") == [True, "can be a tick or a cross"]


def test_not_applicable_only_where_a_unit_may_lack_it() -> None:
    """The answer n/a says that a feature is not there; of what every unit has, it says nothing."""
    assert column("tests[nfc]", "n/a") == ["not_applicable"]
    assert column("tests[wifi]", "n/a") == ["not_tested"]


DAYS = {
    "2024-03-12": "2024-03-12",
    "2024/3/12": "2024-03-12",
    "12.3.2024": "2024-03-12",
    "12.03.24": "2024-03-12",
    "20240312": "2024-03-12",
    "45363": "2024-03-12",
    "45363.75": "2024-03-12",
    "12 Mar 2024": "2024-03-12",
    "12. März 2024": "2024-03-12",
    "12 mars 2024": "2024-03-12",
    "Mar 12, 2024": "2024-03-12",
    "3-Dez-23": "2023-12-03",
    "2024-03-12T14:30:00": "2024-03-12",
    "2024-03-12 14:30": "2024-03-12",
    "31.02.2024": "is a day that no calendar has",
    "soon": "is no day",
}


@pytest.mark.parametrize(("cell", "day"), DAYS.items())
def test_days_in_the_trades_ways(cell: str, day: str) -> None:
    """ISO 8601, points, names of months, and the day number of spreadsheets (1900 count)."""
    assert column("intake.on", cell) == [day]


AMOUNTS = {
    "149": ("149", None),
    "149.00": ("149.00", None),
    "€45": ("45", "EUR"),
    "45 EUR": ("45", "EUR"),
    "1.234,50 €": ("1234.50", "EUR"),
    "A$ 1,234.50": ("1234.50", "AUD"),
    "1 234,50 €": ("1234.50", "EUR"),
    "1'234.50 Fr.": ("1234.50", "CHF"),
    "45,-": ("45", None),
    "£12.5": ("12.5", "GBP"),
}


@pytest.mark.parametrize(("cell", "amount"), AMOUNTS.items())
def test_amounts_in_the_trades_ways(cell: str, amount: tuple[str, str | None]) -> None:
    """Signs, codes, groups of three and bare amounts (ISO 4217 codes; CLDR signs, from memory)."""
    offer = read(f'no,type,sell\nA,phone,"{cell}"\n').told[0].record["offer"]
    assert (offer["price"], offer.get("currency")) == amount


def test_a_dollar_has_to_be_named() -> None:
    """A sign of several currencies needs the map, or a currency column."""
    text = "no,type,sell{more}\nA,phone,$45{cell}\n"
    assert "AUD or CAD" in read(text.format(more="", cell="")).said()[0]
    said = {"sell": {"path": "offer.price", "currency": "NZD"}}
    named = read(text.format(more="", cell=""), mapped=said)
    assert named.told[0].record["offer"] == {"price": "45", "currency": "NZD"}
    beside = read(text.format(more=",currency", cell=",AUD"))
    assert beside.told[0].record["offer"] == {"price": "45", "currency": "AUD"}


def test_two_currencies_for_one_price_are_refused() -> None:
    """A sign and a column that disagree are both looked at again."""
    assert read("no,type,sell,currency\nA,phone,€45,AUD\n").said() == [
        "2 currency: another cell says EUR"
    ]


def test_numbers_with_remarks_and_without_sense() -> None:
    """A remark in brackets is told apart; anything else beside a number is refused."""
    path = "batteries[main].cycles"
    sheet = read("no,type,cycles\nA,phone,83 (service)\n")
    assert sheet.told[0].record["batteries"] == [{"which": "main", "cycles": 83}]
    assert "'service'" in sheet.said("note")[0]
    assert column(path, "about 83", "8 3", "83/90", "12.5") == [
        "is no number",
        "is no number in the style of its column",
        "is no number",
        "is no whole number",
    ]


def test_sizes_and_pixels_are_several_numbers() -> None:
    """Numbers that belong together stand in one cell."""
    assert column("device.size_mm", "72.1 x 151 x 8.4", "72.1×151×8.4 mm") == [[72.1, 151, 8.4]] * 2
    assert column("displays[main].px", "1080x2400", "1080") == [[1080, 2400], "holds 1 numbers"]


def test_words_of_the_kind_in_three_languages() -> None:
    """Zones, marks and parts come by the record's words, the trade's or the language's."""
    text = (
        "no,type,marks[0].zone,marks[0].kind,missing,signs\n"
        "A,Handy,Rückseite,Kratzer,screw; bracket,wrong screw: mid frame\n"
        "B,téléphone,écran,fissure,none,none\n"
        "C,laptop,lid,dinged,,\n"
    )
    sheet = read(text)
    first, second = sheet.told[0].record, sheet.told[1].record
    assert first["marks"] == [{"zone": "back", "kind": "scratch"}]
    assert first["missing"] == ["screw", "bracket"]
    assert first["signs"] == [{"sign": "wrong_screw", "where": "mid_frame"}]
    assert second["marks"] == [{"zone": "display", "kind": "crack"}]
    assert sheet.said() == ["4 marks[0].kind: is not known here"]


def test_one_heading_for_the_camera_of_each_kind() -> None:
    """A heading that means several functions goes to the one that the unit's kind has."""
    sheet = read("no,type,camera\nA,phone,ok\nB,laptop,nok\nC,headphones,ok\n")
    assert [t.record.get("tests") for t in sheet.told] == [
        [{"function": "rear_camera", "result": "pass"}],
        [{"function": "webcam", "result": "fail"}],
        None,
    ]


def test_bytes_that_are_no_text_are_told() -> None:
    """What another encoding has spoilt is named, not passed on in silence."""
    assert "encoding" in read("no,type,model\nA,phone,Gr\ufffd\ufffde\n").said("warning")[0]


def test_a_formula_is_no_value() -> None:
    """A cell that would compute something is refused."""
    for cell in ("=1+1", "=cmd|'/c calc'!A0"):
        assert column("device.model", cell) == ["holds a formula"]
        assert column("device.identifiers[serial]", cell) == ["holds a formula"]


def test_what_cannot_be_seen_is_left_out() -> None:
    """Zero-width, control and direction signs change no word and no number."""
    assert column("device.model", "Q\u200b2\x00", "\u202eQ2") == ["Q2", "Q2"]
    assert column("tests[wifi]", "\ufeffok\u200f") == ["pass"]
    assert column("batteries[main].cycles", "\xa0210\u2009") == [210]
    assert "cannot be seen" in read("no,type,model\nA,phone,Q\u200b2\n").said("note")[0]


# --- rows --------------------------------------------------------------------------------------


def test_a_row_of_another_width_is_one_error() -> None:
    """It is refused with its number, and its neighbours are read."""
    sheet = read("unit_id,device.kind,device.model\nU1,phone\nU2,phone,Q2\nU3,phone,Q2,x\n")
    assert sheet.said() == [
        "2 : the row has 2 cells, the header 3",
        "4 : the row has 4 cells, the header 3",
    ]
    assert sheet.told[0].record == {}
    assert sheet.told[1].record["unit_id"] == "U2"


def test_constants_stand_where_cells_say_nothing() -> None:
    """What is the same in every row is said once; a cell that says otherwise wins."""
    fixed = {
        "inspected_on": "2026-11-20",
        "device.kind": "Handy",
        "test_runs[all]": "pass",
        "batteries[main].source": "gauge",
        "erasure.method": "factory reset",
    }
    sheet = read("unit_id,device.kind,batteries[main].cycles\nU1,,12\nU2,laptop,\n", fixed)
    first, second = sheet.told[0].record, sheet.told[1].record
    assert first["device"] == {"kind": "phone"}
    assert first["batteries"] == [{"source": "gauge", "which": "main", "cycles": 12}]
    assert first["erasure"] == {"method": "factory_reset"}
    assert first["test_runs"] == [{"list": "all", "result": "pass"}]
    assert second["device"] == {"kind": "laptop"}
    assert "batteries" not in second


def test_units_without_a_tag_are_named_by_their_row() -> None:
    """Where no column holds the tag, the row's number does, and the sheet says so."""
    sheet = read("type,model\nphone,Q2\nphone,Q3\n")
    assert [t.record["unit_id"] for t in sheet.told] == ["row-2", "row-3"]
    assert "named after their rows" in sheet.layout.notes[0].problem
    assert identities(sheet.rows[0], sheet.layout) == ()
    named = read("type,model\nphone,Q2\n", {"unit_id": "LOT7-{row}"})
    assert named.told[0].record["unit_id"] == "LOT7-2"
    assert named.layout.notes == ()


def test_several_facts_in_a_cell_by_a_map() -> None:
    """A map parts a cell; a part too many is refused."""
    said = {"spec": {"split": "/", "paths": ["device.storage_gb", "device.colour", "carried"]}}
    sheet = read("no,type,spec\nA,phone,64GB/black/unlocked\nB,phone,1/2/3/4\n", mapped=said)
    assert sheet.told[0].record["device"] == {"kind": "phone", "storage_gb": 64, "colour": "black"}
    assert sheet.said() == ["3 spec: holds 4 facts, not 3"]


def test_the_shops_own_words_by_a_map() -> None:
    """A map's words stand for the record's."""
    said = {"Net": {"path": "tests[wifi]", "words": {"A": "pass", "Z": "fail", "S": "?"}}}
    sheet = read("no,type,Net\n1,phone,a\n2,phone,Z\n3,phone,S\n", mapped=said)
    results = [t.record["tests"][0]["result"] for t in sheet.told]
    assert results == ["pass", "fail", "not_tested"]


def test_a_problem_of_the_record_finds_its_column() -> None:
    """Paths of the record lead back to the shop's own columns, whatever was left blank."""
    text = "Nr,Art,marks[1].zone,marks[1].length_mm,WLAN,Kamera\nU1,Handy,back,4,ok,ok\n"
    sheet = read(text)
    found = places(sheet.rows[0], sheet.layout)
    wanted = {
        "unit_id": "Nr",
        "device.kind": "Art",
        "marks[0].kind": "marks[1].zone",
        "marks[0].length_mm": "marks[1].length_mm",
        "tests[1].result": "Kamera",
        "offer.price": "",
    }
    assert {path: column_of(path, found) for path in wanted} == wanted


def test_a_layout_can_be_sent_to_another_process() -> None:
    """Pickled and back, a layout reads rows alike."""
    sheet = read('Nr,Art,EK,Bemerkung\nU1,Handy,"1.234,5",Display gesprungen\n')
    again = pickle.loads(pickle.dumps(sheet.layout))
    assert told(sheet.rows[0], again) == sheet.told[0]


def test_rows_that_share_cells_share_no_changes() -> None:
    """What free text adds to one unit is not added to its neighbour with the same marks."""
    header = "no,type,marks[0].zone,marks[0].kind,notes"
    rows = "A,phone,back,dent,lid\nB,phone,back,dent,frame crack\nC,phone,back,dent,\n"
    text = f"{header}\n{rows}"
    sheet = read(text)
    assert [len(t.record["marks"]) for t in sheet.told] == [1, 2, 1]


@given(st.lists(st.text('1a ,.€-/%?xY\u200b"=E+', max_size=8), min_size=8, max_size=8))
def test_no_cell_ends_in_anything_but_a_record_or_a_finding(cells: list[str]) -> None:
    """Whatever stands in the cells, a row is told or its problems are."""
    header = ["no", "type", "qty", "cycles", "cost", "date in", "wifi", "box"]
    text = io.StringIO(newline="")
    csv.writer(text).writerows([header, cells])
    for said in read(text.getvalue(), header_row=1, delimiter=",").told:
        assert all(f.problem and f.remedy for f in said.findings)
        with contextlib.suppress(RecordError):
            assert isinstance(convert_inspection(said.record, shipped()), Inspection)
