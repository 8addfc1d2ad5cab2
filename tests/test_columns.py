"""COLUMNS: which column goes where is settled once for a sheet, and what is unsure is asked."""

from pathlib import Path
from typing import Any

import pytest

from gradekit.cells import told
from gradekit.columns import (
    SPECIAL,
    Column,
    ColumnMap,
    Layout,
    Mapped,
    learn,
    propose,
    read_map,
)
from gradekit.errors import GradekitError
from gradekit.inspection import Inspection
from gradekit.lexicon import load_lexicon, plain
from gradekit.paths import KEYS, known_to, option_words, resolve, words_of
from gradekit.records import convert_inspection
from gradekit.sheets import Row, Sheet, columns, open_sheet
from gradekit.sniffing import Choices, SheetError
from tests import small
from tests.laws.strategies import shipped

LEXICON = load_lexicon(shipped())
KINDS = [shipped().kind(name) for name in shipped().kind_files]
LOTS = Path(__file__).parent.parent / "demo_data" / "lots"


def opened(folder: Path, text: str, **choices: Any) -> Sheet:
    (folder / "sheet.csv").write_text(text, "utf-8", newline="")
    return open_sheet(folder / "sheet.csv", Choices(**choices), LEXICON)


def learned(folder: Path, text: str, column_map: ColumnMap | None = None) -> Layout:
    return learn(opened(folder, text), column_map, shipped(), LEXICON)


def placed(folder: Path, header: str) -> dict[str, tuple[str, ...]]:
    """Where each column of a header goes."""
    text = f"{header}\n{',' * header.count(',')}\n"
    return {column.name: column.paths for column in learned(folder, text).columns}


# --- the trade's words -------------------------------------------------------------------------


def test_every_heading_leads_into_the_record() -> None:
    """A heading of the trade stands for a path that some kind has, or for one of the special."""
    for header, paths in LEXICON.headers.items():
        for path in paths:
            assert path in SPECIAL or any(known_to(path, kind) for kind in KINDS), (header, path)


def test_every_word_of_the_trade_stands_for_a_word_of_the_record() -> None:
    """What is written in cells ends in a word that some field or kind knows."""
    known = set(shipped().kind_files)
    for kind in KINDS:
        fields = ("zones", "mark_kinds", "functions", "parts", "works", "signs", "accessories")
        for field in (*fields, "features", "clearances", "areas", "batteries", "displays"):
            known |= set(getattr(kind, field))
        known |= {w for f in kind.functions.values() for w in f.which}
        known |= {w for work in kind.works.values() for w in work.acceptance}
    known |= {word for word in _literals() if word}
    own = {
        meaning
        for file in sorted((shipped().folders[0] / "sheets").glob("*.toml"))
        for meaning in _words_in(file)
    }
    assert own
    assert own <= known


def _literals() -> set[str]:
    """Every word of a closed list of the record."""
    found: set[str] = set()
    for group, fields in {
        **{name: () for name in KEYS},
        "": tuple(Inspection.__struct_fields__),
        "erasure": ("method", "level", "stage"),
        "intake": ("bought",),
        "device": ("network_lock",),
        "offer": ("sell_as",),
        "clearance.recall": ("result",),
    }.items():
        for field in fields or ("state", "source", "origin", "fitted_by", "result", "level", "by"):
            found |= set(option_words(f"{group}.{field}".lstrip(".")))
    return found


def _words_in(file: Path) -> list[str]:
    import tomli

    return list(tomli.loads(file.read_text("utf-8")).get("words", {}))


def test_no_word_of_the_trade_clears_anything() -> None:
    """However a seller says it, it stands for no clear, for no list that cannot be asked."""
    good = {"clear", "no_list_here", "not_applicable"}
    spoken = {plain(said) for said in _spoken_for(good)}
    written = {text for text, words in LEXICON.words.items() if set(words) & good}
    assert written <= spoken


def _spoken_for(words: set[str]) -> list[str]:
    """What the languages' own tables say for some words of the record."""
    import tomli

    files = sorted(shipped().folders[0].glob("phrases/*/words.toml"))
    tables = [tomli.loads(file.read_text("utf-8"))["word"] for file in files]
    return [said for table in tables for word, said in table.items() if word in words]


def test_a_shops_own_words_come_on_top(tmp_path: Path) -> None:
    """A shop may add headings and words in its own rule folder."""
    own = small.added(
        "sheets/own.toml", '[headers]\nunit_id = ["Zettel"]\n[words]\nlamp = ["Funzel"]\n'
    )
    lexicon = load_lexicon(small.load(tmp_path, own))
    assert lexicon.paths_of("zettel") == ("unit_id",)
    assert lexicon.choose("Funzel", ["lamp"]) == "lamp"


def test_faulty_words_are_refused(tmp_path: Path) -> None:
    """A misspelt table of a file of words is named with its file."""
    files = small.added("sheets/own.toml", "[heathers]\nunit_id = []\n")
    with pytest.raises(GradekitError, match=r"sheets/own\.toml"):
        load_lexicon(small.load(tmp_path, files))


# --- paths -------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.kind)
def test_every_column_of_a_sheet_has_its_place(kind: Any) -> None:
    """Each leads to a field that the kind has, and no two lead to one."""
    targets = [resolve(column) for column in columns(kind)]
    assert all(targets)
    assert all(known_to(column, kind) for column in columns(kind))
    places = [(t.group, t.item, t.field) for t in targets if t is not None]
    assert len(set(places)) == len(places)


@pytest.mark.parametrize(
    "path",
    [
        *("device", "device.kindd", "marks[0]", "marks.zone", "clearance", "acquisition", ""),
        *("tests[wifi.left.more]", "device.size_mm[0]", "unit_id.", "offer.guarantee", "tests[]"),
        *("marks[0].zone.more", "clearance.recall.result.more", "device kind", "uncertainty"),
    ],
)
def test_what_is_no_path_leads_nowhere(path: str) -> None:
    """A path that stops too early, goes too far or is misspelt has no place."""
    assert resolve(path) is None


def test_keys_are_fields_of_their_items() -> None:
    """Items are told apart by fields that they have, and words are for fields there are."""
    for name, fields in KEYS.items():
        assert all(resolve(f"{name}[0].{field}") for field in fields)
    for kind in KINDS:
        assert list(words_of("marks.zone", kind)) == list(kind.zones)
        assert list(words_of("marks.length_mm", kind)) == []


# --- where columns go --------------------------------------------------------------------------


def test_headings_of_three_languages(tmp_path: Path) -> None:
    """The trade's words over columns are known in English, German and French, in any spelling."""
    header = "Lfd. Nr.,MODÈLE,s/n,Akku-Zustand,Prix d'achat,qty,Remarques,wi-fi,Ladegerät"
    assert placed(tmp_path, header) == {
        "Lfd. Nr.": ("unit_id",),
        "MODÈLE": ("device.model",),
        "s/n": ("device.identifiers[serial]",),
        "Akku-Zustand": ("batteries[main].reported_health_pct",),
        "Prix d'achat": ("acquisition.price_paid",),
        "qty": ("quantity",),
        "Remarques": ("free_text",),
        "wi-fi": ("tests[wifi]",),
        "Ladegerät": ("accessories[charger]",),
    }


def test_every_function_is_known_by_its_name(tmp_path: Path) -> None:
    """A function of a kind heads its column in the record's word or in a language's."""
    assert placed(tmp_path, "no,light sensor,Hörmuschel,haut-parleur") == {
        "no": ("unit_id",),
        "light sensor": ("tests[light_sensor]",),
        "Hörmuschel": ("tests[earpiece]",),
        "haut-parleur": ("tests[speaker]",),
    }


def test_unknown_columns_are_carried_through(tmp_path: Path) -> None:
    """What is not known, or is the supplier's own grade, goes nowhere and stays untouched."""
    assert placed(tmp_path, "no,model,Palette,Grade,") == {
        "no": ("unit_id",),
        "model": ("device.model",),
        "Palette": (),
        "Grade": (),
        "column E": (),
    }


def test_of_two_columns_for_one_place_the_surer_has_it(tmp_path: Path) -> None:
    """A path beats a word of the trade, the first the second; the other is told of."""
    layout = learned(tmp_path, "Nr,unit_id,model,item\n1,2,Q2,phone\n")
    paths = [column.paths for column in layout.columns]
    assert paths == [(), ("unit_id",), ("device.model",), ()]
    assert [note.column for note in layout.notes] == ["Nr", "item"]
    assert "already taken from model" in layout.notes[1].problem


def test_a_unit_may_have_two_numbers_of_one_type(tmp_path: Path) -> None:
    """Two IMEI columns are two numbers."""
    layout = learned(tmp_path, f"no,type,imei 1,imei 2\nA,phone,{small.IMEI},{small.OTHER_IMEI}\n")
    record = told(Row(2, ["A", "phone", small.IMEI, small.OTHER_IMEI]), layout).record
    assert [i["value"] for i in record["device"]["identifiers"]] == [small.IMEI, small.OTHER_IMEI]


def test_a_unit_or_currency_in_the_heading(tmp_path: Path) -> None:
    """A heading may say what its numbers are in."""
    text = "no,type,run time (h),cost EUR\nA,phone,2,45\n"
    styles = [column.style for column in learned(tmp_path, text).columns]
    assert styles[2].unit == "h"
    assert styles[3].currency == "EUR"


def test_the_first_pass_counts_and_shows_every_row(tmp_path: Path) -> None:
    """Rows, skipped ones with their reasons, and each batch to whoever watches."""
    seen: list[str] = []

    def beside(rows: Any, layout: Layout) -> None:
        assert layout.columns[0].paths == ("unit_id",)
        seen.extend(row.cells[0] for row in rows)

    sheet = opened(tmp_path, "no,type,cost\nA,phone,1\n,,\nTotal,,1\nB,phone,2\n")
    layout = learn(sheet, None, shipped(), LEXICON, beside)
    assert seen == ["A", "B"]
    assert layout.rows == 4
    assert layout.skipped == {"empty": 1, "a total": 1}


# --- maps --------------------------------------------------------------------------------------


def test_a_map_is_read_from_toml(tmp_path: Path) -> None:
    """Choices, constants and columns, with a day as TOML writes it."""
    (tmp_path / "map.toml").write_text(
        '[sheet]\nheader_row = 2\n[constants]\ninspected_on = 2026-11-20\n'
        '[columns."Net"]\npath = "tests[wifi]"\nwords = { A = "pass" }\n',
        "utf-8",
    )  # fmt: skip
    assert read_map(tmp_path / "map.toml") == ColumnMap(
        sheet=Choices(header_row=2),
        constants={"inspected_on": "2026-11-20"},
        columns={"Net": Mapped(path="tests[wifi]", words={"A": "pass"})},
    )


FAULTY = {
    "no toml": ("[columns", "mend the map"),
    "misspelt": ("[colums]\n", "colums"),
    "no such path": ('[columns.A]\npath = "device.colr"\n', "the record has no 'device.colr'"),
    "no such constant": ('[constants]\n"device.colr" = 1\n', "the record has no 'device.colr'"),
    "row elsewhere": ('[constants]\nshop_note = "{row}"\n', "only unit_id"),
    "two ways": ('[columns.A]\npath = "unit_id"\npaths = ["unit_id"]\n', "give one of the three"),
    "split alone": ('[columns.A]\npath = "unit_id"\nsplit = "/"\n', "give one of the three"),
    "constants of another sort": ("constants = 3\n", "no table"),
    "wrong choice": ('[columns.A]\npath = "unit_id"\ndates = "ymd"\n', "dates"),
}


@pytest.mark.parametrize(("text", "says"), FAULTY.values(), ids=FAULTY)
def test_a_faulty_map_says_what_to_mend(tmp_path: Path, text: str, says: str) -> None:
    """Each fault of a map is named with the map and the column."""
    (tmp_path / "map.toml").write_text(text, "utf-8")
    lines = small.refusal(SheetError, read_map, tmp_path / "map.toml")
    assert any(says in line for line in lines), lines
    assert all(line.startswith("map.toml") for line in lines)


def test_a_map_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """A missing map names itself."""
    with pytest.raises(SheetError, match="check its name"):
        read_map(tmp_path / "none.toml")


def test_a_map_for_another_sheet_is_refused(tmp_path: Path) -> None:
    """A column that the sheet has not is no slip to pass over."""
    column_map = ColumnMap(columns={"Model": Mapped(path="device.model")})
    with pytest.raises(SheetError, match="the sheet has no such column"):
        learned(tmp_path, "no,model\n1,Q2\n", column_map)


@pytest.mark.parametrize(
    ("mapped", "says"),
    [
        (Mapped(path="device.storage_gb", unit="mm"), "use one of"),
        (Mapped(path="device.model", unit="mm"), "leave `unit` out"),
        (Mapped(path="offer.price", currency="€"), "as EUR"),
    ],
)
def test_a_map_with_a_wrong_unit_is_refused(tmp_path: Path, mapped: Mapped, says: str) -> None:
    """A unit that is none of the field's would silently change nothing."""
    with pytest.raises(SheetError, match=says):
        learned(tmp_path, "no,model\n1,Q2\n", ColumnMap(columns={"model": mapped}))


def test_a_map_may_carry_a_column_through(tmp_path: Path) -> None:
    """What gradekit would read, a map may leave alone."""
    column_map = ColumnMap(columns={"model": Mapped(path="carried")})
    assert learned(tmp_path, "no,model\n1,Q2\n", column_map).columns[1] == Column(
        index=1, name="model", told_by="map", mapped=Mapped(path="carried")
    )


# --- proposals ---------------------------------------------------------------------------------


def test_a_proposal_reads_the_sheet_as_it_was_read_without(tmp_path: Path) -> None:
    """The map that is proposed is the one that was used, and reads back from its TOML."""
    sheet = open_sheet(LOTS / "messy.csv", Choices(), LEXICON)
    proposal = propose(sheet, shipped(), LEXICON)
    (tmp_path / "map.toml").write_text(proposal.toml(), "utf-8")
    column_map = read_map(tmp_path / "map.toml")
    assert column_map == proposal.column_map
    again = open_sheet(LOTS / "messy.csv", column_map.sheet, LEXICON, column_map.columns)
    before = learn(sheet, None, shipped(), LEXICON)
    after = learn(again, column_map, shipped(), LEXICON)
    for row in (row for row in sheet.rows() if row.skip is None):
        assert unguarded(told(row, after).record) == unguarded(told(row, before).record)


def unguarded(record: dict[str, Any]) -> dict[str, Any]:
    """A record without what a seller's word cannot clear, but a map's path may."""
    return {field: value for field, value in record.items() if field != "clearance"}


def test_a_proposal_warns_where_its_line_would_let_a_word_clear(tmp_path: Path) -> None:
    """Under a heading of the trade "clear" is a seller's word; named by a map it is the shop's."""
    text = "no,type,lock\nA,phone,clear\n"
    proposal = propose(opened(tmp_path, text), shipped(), LEXICON)
    assert "lock" in {question.column for question in proposal.unsure}
    row = Row(2, ["A", "phone", "clear"])
    before, after = (
        told(row, learned(tmp_path, text, said)).record["clearance"]["account_lock"]["result"]
        for said in (None, proposal.column_map)
    )
    assert (before, after) == ("not_checked", "clear")


def test_a_proposal_says_what_it_is_unsure_of(tmp_path: Path) -> None:
    """Open styles, unknown columns, several meanings and missing fields stand as comments."""
    sheet = opened(tmp_path, 'model,cost,camera,Palette,wifi\nQ2,"1,234",ok,3,x\n')
    proposal = propose(sheet, shipped(), LEXICON)
    unsure = {(question.column, question.about) for question in proposal.unsure}
    assert unsure == {
        ("", "place"),
        ("cost", "decimal"),
        ("camera", "place"),
        ("Palette", "place"),
        ("wifi", "words"),
    }
    text = proposal.toml()
    for said in ("row-12", "no column holds inspected_on", "no column holds device.kind"):
        assert f"{said}" in text
    assert text.count("# unsure: ") == len(proposal.unsure)


# --- the demo's sheets -------------------------------------------------------------------------


def read_all(name: str, column_map: ColumnMap | None = None) -> tuple[list[Row], Layout]:
    said = column_map or ColumnMap()
    sheet = open_sheet(LOTS / name, said.sheet, LEXICON, said.columns)
    layout = learn(sheet, column_map, shipped(), LEXICON)
    return [row for row in sheet.rows() if row.skip is None], layout


def test_the_tidy_sheet_needs_nothing() -> None:
    """Every row of it is a sound record, and no column asks for anything."""
    rows, layout = read_all("tidy.csv")
    assert layout.questions == layout.notes == ()
    assert len(rows) == 40
    for row in rows:
        said = told(row, layout)
        assert said.findings == ()
        convert_inspection(said.record, shipped())


def test_the_messy_sheet_is_read_with_its_map() -> None:
    """Its 400 rows are told apart from titles, totals and remarks, and every fault has its cell."""
    rows, layout = read_all("messy.csv", read_map(LOTS / "messy.toml"))
    assert layout.questions == layout.notes == ()
    assert len(rows) == 400
    assert layout.skipped == {"a total": 5, "empty": 4, "the header again": 1, "a remark": 1}
    findings = [f for row in rows for f in told(row, layout).findings if f.level == "error"]
    lost = [f for f in findings if f.column == "IMEI" and "digits are lost" in f.problem]
    assert len(lost) == 8
    width = len(layout.columns)
    assert sum(f"the header {width}" in f.problem for f in findings) == 3
    whole = [row for row in rows if len(row.cells) == width]
    suppliers = {told(row, layout).record["acquisition"]["source"] for row in whole}
    assert len(suppliers) == 4


def test_the_hostile_sheet_harms_nobody() -> None:
    """Every row of it is told or refused, and the sound ones between are told."""
    rows, layout = read_all("hostile.csv")
    sound = [t for t in (told(row, layout) for row in rows) if t.findings == ()]
    assert len(rows) == 28
    assert {t.record.get("unit_id") for t in sound} >= {"HX-01", "HX-12", "HX-14", "HX-30"}
