"""The command line: what a technician types, and what comes back on each channel."""

import csv
import io
import json
from pathlib import Path
from typing import Any, NamedTuple

import jsonschema
import pytest

from gradekit.cli import main
from gradekit.demo import demo_folder
from tests import small

STOCK = sorted(demo_folder().glob("stock/*.json"))
BROKEN = sorted(demo_folder().glob("broken/*.json"))
SOUND = '{"unit_id": "T-1", "inspected_on": "2026-11-20", "device": {"kind": "phone"}}'


class Ran(NamedTuple):
    status: int | str | None
    out: str
    err: str


@pytest.fixture
def gradekit(capsys: pytest.CaptureFixture[str]) -> Any:
    def run(*args: str | Path) -> Ran:
        with pytest.raises(SystemExit) as left:
            main([str(arg) for arg in args])
        captured = capsys.readouterr()
        return Ran(left.value.code, captured.out, captured.err)

    return run


def write(path: Path, text: str | bytes) -> Path:
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


# --- grade -------------------------------------------------------------------------------------


@pytest.mark.parametrize("file", STOCK, ids=lambda f: f.stem)
def test_every_unit_in_stock_is_graded(gradekit: Any, file: Path) -> None:
    """A sound record gives a result, a hold among them, with nothing on the error channel."""
    ran = gradekit("grade", file, "--shop", demo_folder() / "shop.toml")
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith(file.stem)


@pytest.mark.parametrize("file", BROKEN, ids=lambda f: f.stem)
def test_every_broken_record_is_refused_in_sentences(gradekit: Any, file: Path) -> None:
    """A broken record ends in lines of where, problem, remedy, and never in a traceback."""
    ran = gradekit("grade", file)
    assert ran.status in (1, 2)
    assert ran.out == ""
    assert ran.err
    for line in ran.err.splitlines():
        assert line.startswith(f"{file}: ")
        assert "; " in line


def test_one_refused_file_does_not_stop_the_others(gradekit: Any, tmp_path: Path) -> None:
    """Some refused: exit 1, the rest is graded."""
    good, bad = write(tmp_path / "a.json", SOUND), write(tmp_path / "b.json", "{}")
    ran = gradekit("grade", bad, good)
    assert ran.status == 1
    assert ran.out.startswith("T-1")
    assert "unit_id: is missing" in ran.err


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"", "the file is empty"),
        (b"[]", "this is a list, not a record"),
        (b"null", "this is null, not a record"),
        (b"3", "this is a number, not a record"),
        (b"\xef\xbb\xbf" + SOUND.encode(), "byte-order mark"),
        (SOUND.encode()[:-1], "this is not JSON"),
        (b"[" * 100_000, "nested too deeply"),
        (b'{"unit_id": "\xff"}', "not UTF-8"),
    ],
)
def test_what_cannot_be_read_at_all_ends_in_exit_2(
    gradekit: Any, tmp_path: Path, text: bytes, says: str
) -> None:
    """No record could be read: one sentence and exit status 2."""
    ran = gradekit("grade", write(tmp_path / "x.json", text))
    assert ran.status == 2
    assert says in ran.err
    assert len(ran.err.splitlines()) == 1


def test_a_file_that_is_not_there_is_said(gradekit: Any, tmp_path: Path) -> None:
    """A missing file is a sentence and exit status 2."""
    ran = gradekit("grade", tmp_path / "none.json")
    assert ran.status == 2
    assert "cannot be read" in ran.err


def test_a_key_that_stands_twice_is_refused(gradekit: Any, tmp_path: Path) -> None:
    """Readers silently take the last of two equal keys; the command line does not."""
    text = SOUND.replace('"phone"', '"phone", "kind": "laptop"')
    ran = gradekit("grade", write(tmp_path / "x.json", text))
    assert ran.status == 1
    assert "device.kind: stands twice in one object; keep one" in ran.err


def test_lines_of_ndjson_are_graded_one_by_one(gradekit: Any, tmp_path: Path) -> None:
    """Each line is a record; a bad one is named by its line and the others are graded."""
    lines = [SOUND, "", "{}", SOUND.replace("T-1", "T-2")]
    ran = gradekit("grade", "--json", write(tmp_path / "x.ndjson", "\n".join(lines)))
    assert ran.status == 1
    assert [json.loads(line)["unit_id"] for line in ran.out.splitlines()] == ["T-1", "T-2"]
    assert all("x.ndjson:3: " in line for line in ran.err.splitlines())


@pytest.mark.parametrize("lines", [[], [SOUND, SOUND.replace("T-1", "T-2")]])
@pytest.mark.parametrize("command", ["listing", "vet"])
def test_commands_on_one_device_take_one_record(
    gradekit: Any, tmp_path: Path, command: str, lines: list[str]
) -> None:
    """A file with no record or with several is refused in a sentence; none is silently chosen."""
    file = write(tmp_path / "x.ndjson", "\n".join(lines))
    more = ("--text", write(tmp_path / "t.txt", "A phone."))[: 2 if command == "vet" else 0]
    ran = gradekit(command, file, "--market", "AU", *more)
    assert (ran.status, ran.out) == (2, "")
    assert f"holds {len(lines)} records; give a file with one" in ran.err


def test_json_carries_texts_and_notes_when_asked(gradekit: Any) -> None:
    """--texts adds a text to each disclosure; notes are always there."""
    ran = gradekit("grade", "--json", "--texts", STOCK[0])
    result = json.loads(ran.out)
    assert result["disclosures"]
    assert all(d["text"] for d in result["disclosures"])
    assert "notes" in result


def test_a_day_that_is_none_is_wrong_usage(gradekit: Any) -> None:
    """--on takes an ISO day and says so."""
    ran = gradekit("grade", "--on", "20.11.2026", STOCK[0])
    assert ran.status == 2
    assert "write it as 2026-11-20" in ran.err


def test_a_day_before_the_inspection_is_refused(gradekit: Any, tmp_path: Path) -> None:
    """Nobody can assess a unit before it was looked at."""
    ran = gradekit("grade", "--on", "2026-11-19", write(tmp_path / "x.json", SOUND))
    assert ran.status == 1
    assert "2026-11-19 is before the inspection of 2026-11-20" in ran.err


def test_an_unknown_language_is_said(gradekit: Any) -> None:
    """A language without phrases prints nothing in another one."""
    ran = gradekit("grade", "--texts", "--language", "xx", STOCK[0])
    assert ran.status == 2
    assert "no phrases in this language" in ran.err


# --- the rulebook ------------------------------------------------------------------------------


def test_kinds_lists_names_and_words(gradekit: Any) -> None:
    """Kinds by name, and all words of one kind as JSON with needs and features."""
    names = json.loads(gradekit("kinds", "--json").out)
    assert {"phone", "laptop", "headphones"} <= set(names)
    words = json.loads(gradekit("kinds", "phone", "--json").out)
    assert words["kind"] == "phone"
    nfc = next(f for f in words["functions"] if f["function"] == "nfc")
    assert nfc == {"function": "nfc", "need": "full", "if_present": "nfc"}
    for name in ("zones", "parts", "works", "mark_kinds", "signs"):
        assert words[name]


def test_an_unknown_kind_gets_the_nearest(gradekit: Any) -> None:
    """A misspelt kind is answered with the one that was meant."""
    ran = gradekit("kinds", "fone")
    assert ran.status == 2
    assert "did you mean phone?" in ran.err


def test_the_schema_is_a_schema_and_takes_the_stock(gradekit: Any) -> None:
    """`schema` prints JSON Schema 2020-12 that accepts every demo record."""
    schema = json.loads(gradekit("schema").out)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for file in STOCK:
        validator.validate(json.loads(file.read_text("utf-8")))
    assert not validator.is_valid({"unit_id": "T-1"})
    assert not validator.is_valid({**json.loads(SOUND), "colour": "red"})


@pytest.mark.parametrize("kind", ["phone", "laptop", "headphones"])
def test_a_sheet_has_each_column_once(gradekit: Any, kind: str) -> None:
    """The empty sheet is one CSV line without repeats, with a column for every function."""
    rows = list(csv.reader(io.StringIO(gradekit("sheet", kind).out)))
    assert len(rows) == 1
    assert len(set(rows[0])) == len(rows[0])
    words = json.loads(gradekit("kinds", kind, "--json").out)
    for function in words["functions"]:
        name = function["function"]
        assert any(c.startswith((f"tests[{name}]", f"tests[{name}.")) for c in rows[0]), name


def test_explain_takes_ids_and_names(gradekit: Any) -> None:
    """A rule is explained by its id or by its name, with its cases."""
    by_id = gradekit("explain", "BAT10")
    name = json.loads(gradekit("explain", "BAT10", "--json").out)["name"]
    assert by_id == gradekit("explain", name)
    assert "case, fires: " in by_id.out
    assert "case, clear: " in by_id.out
    assert gradekit("explain", "BAT1").status == 2


def test_a_sound_folder_is_proved(gradekit: Any, tmp_path: Path) -> None:
    """`rules check` finds nothing to mend in a folder that lacks nothing."""
    ran = gradekit("rules", "check", small.write(tmp_path), "--on", small.DAY)
    assert (ran.status, ran.err) == (0, "")
    assert "every rule is proved" in ran.out


def test_fresh_fails_on_a_source_due_for_another_look(gradekit: Any, tmp_path: Path) -> None:
    """Years later the sources are due: a warning, and a failure with --fresh."""
    late = ("rules", "check", small.write(tmp_path), "--on", "2041-01-01")
    assert "was due for another look" in gradekit(*late).out
    assert gradekit(*late).status == 0
    assert gradekit(*late, "--fresh").status == 1


def test_bad_rules_are_listed_together(gradekit: Any, tmp_path: Path) -> None:
    """Every bad rule of a folder is listed in one run, with file, rule and path; exit 2."""
    folder = tmp_path / "own"
    (folder / "rules").mkdir(parents=True)
    rule = (
        '[[rule]]\nid = "{id}"\nname = "n{n}"\nsince = "1"\nsubject = "marks"\ntopic = "t"\n'
        'when = {{ {when} }}\ncaps_grade = "B"\nbasis = "house"\n'
    )
    text = rule.format(id="OWN01", n=1, when="lenght_mm = { above = 3 }")
    text += rule.format(id="OWN02", n=2, when='depth = { is = "felt" }')
    write(folder / "rules" / "own.toml", text)
    ran = gradekit("rules", "check", folder)
    assert ran.status == 2
    assert "rules/own.toml: OWN01: when.lenght_mm: marks has no field 'lenght_mm'" in ran.err
    assert "rules/own.toml: OWN02: when.depth: is 'felt' lets a worse value escape" in ran.err


# --- demo --------------------------------------------------------------------------------------


def test_the_demo_grades_the_stock_and_says_what_to_open(gradekit: Any, tmp_path: Path) -> None:
    """Every file is accounted for: graded or refused."""
    ran = gradekit("demo", "--out", tmp_path / "out")
    assert ran.status == 0
    assert f"{len(STOCK)} devices in stock" in ran.out
    assert f"{len(BROKEN)} records were refused" in ran.out
    assert len(list((tmp_path / "out" / "units").glob("*.txt"))) == len(STOCK)
    assert (tmp_path / "out" / "stock.txt").read_text("utf-8").count("\n") == len(STOCK) + 1


# --- lot: how the sheet is opened ----------------------------------------------------------------

SHEET = (
    b"a title;\nNr;Art;Bestand\nU1;Handy;Nebel\nU2;Handy;\nU3;Handy\n"
    + "U4;Handy;Größe\n".encode("latin-1")
)


def test_every_choice_of_opening_a_sheet_can_be_made_by_flag(gradekit: Any, tmp_path: Path) -> None:
    """What a flag says is not sniffed, and the manifest tells which was said."""
    sheet = write(tmp_path / "sheet.txt", SHEET)
    flags = ["--encoding", "latin-1", "--delimiter", ";", "--header-row", "2"]
    more = ["--header-rows", "1", "--fill-down", "Bestand", "--pad", "--on", "2026-11-20"]
    ran = gradekit("lot", sheet, "--out", tmp_path / "out", *flags, *more)
    assert ran.status == 1  # no row says on which day it was inspected
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text("utf-8"))
    sniffed = manifest["sheet"]["sniffed"]
    assert sniffed["chosen"] == ["encoding", "delimiter", "header_row", "header_rows"]
    assert "cells, the header" not in ran.err


def test_flags_stand_over_the_map(gradekit: Any, tmp_path: Path) -> None:
    """A flag wins over the map's own [sheet]; the rest of the map holds."""
    sheet = write(tmp_path / "sheet.tsv", "unit_id\tKind\nU1\tphone\n")
    text = '[sheet]\ndelimiter = ";"\n[constants]\ninspected_on = 2026-11-20\n'
    column_map = write(tmp_path / "map.toml", text)
    words = ["--columns", column_map, "--delimiter", "tab", "--on", "2026-11-20"]
    ran = gradekit("lot", sheet, *words, "--out", tmp_path / "out")
    assert (ran.status, ran.err) == (0, "")


def test_a_delimiter_is_one_character(gradekit: Any, tmp_path: Path) -> None:
    """Anything longer is wrong use."""
    sheet = write(tmp_path / "sheet.csv", "unit_id,device.kind\nU1,phone\n")
    ran = gradekit("lot", sheet, "--out", tmp_path / "out", "--delimiter", "::")
    assert ran.status == 2
    assert "one character" in ran.err
