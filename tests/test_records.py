"""RECORDS: a record is read whole, or refused with everything that is wrong with it."""

import json
import math
from typing import Any

import pytest

from gradekit.errors import RecordError
from gradekit.inspection import Inspection
from gradekit.records import convert_inspection, notes, read_inspection
from tests import small
from tests.small import DAY, IMEI, OTHER_IMEI

LATER = "2026-11-21"
TOO_LATE = (
    f"{LATER} is after the inspection of {DAY}; "
    "mend the day, or inspect again and date that inspection"
)
SCHEMA = "see `gradekit schema` for the field"


def as_json(record: Any) -> bytes:
    return json.dumps(record).encode()


def refusal(**fields: Any) -> list[str]:
    """What is wrong with a record of a beacon that is given as JSON."""
    return small.refusal(
        RecordError, read_inspection, as_json(small.record(**fields)), small.book()
    )


def noted(kind: str = "beacon", **fields: Any) -> list[str]:
    return [str(note) for note in notes(small.read(kind, **fields), small.book())]


# --- what nobody can read ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "record: the file is empty; write one JSON object"),
        (b" \r\n\t", "record: the file is empty; write one JSON object"),
        (b"[]", "record: this is a list, not a record; write one JSON object"),
        (b"null", "record: this is null, not a record; write one JSON object"),
        (b"false", "record: this is a word, not a record; write one JSON object"),
        (b"7", "record: this is a number, not a record; write one JSON object"),
        (b"7.5", "record: this is a number, not a record; write one JSON object"),
        (b'"HB-1"', "record: this is a text, not a record; write one JSON object"),
        (
            b'\xef\xbb\xbf{"unit_id": "HB-1"}',
            "record: the text starts with a byte-order mark; save as UTF-8 without it",
        ),
        (
            '\ufeff{"unit_id": "HB-1"}',
            "record: the text starts with a byte-order mark; save as UTF-8 without it",
        ),
        (b'{"unit_id": "\xff"}', "record: the text is not UTF-8; save the file as UTF-8"),
        (b"[" * 100_000, "record: the values are nested too deeply; a record is flat"),
        (b'{"marks":' * 100_000, "record: the values are nested too deeply; a record is flat"),
        (
            b'{"marks":' + b"[" * 100_000 + b"]" * 100_000 + b"}",
            "record: the values are nested too deeply; a record is flat",
        ),
    ],
)
def test_what_is_no_record_is_refused_in_one_sentence(data: bytes | str, says: str) -> None:
    """Data that holds no JSON object has the single problem that it is not one."""
    with pytest.raises(RecordError) as refused:
        read_inspection(data, small.book())
    assert refused.value.unreadable
    assert str(refused.value) == says


@pytest.mark.parametrize(
    "data",
    [
        b'{"unit_id": "HB-1"',
        b'{"unit_id": "HB-1",}',
        b"{'unit_id': 'HB-1'}",
        b'{"unit_id": NaN}',
        b'{"offer": {"price": Infinity}}',
        b'{"marks": [{"length_mm": 1e999}]}',
        b'{"unit_id": "\\ud800"}',
        b'{"device": {"year": ' + b"9" * 5000 + b"}}",
        b"{} {}",
        b"unit_id = 'HB-1'",
        b"\xff\xfe{\x00}\x00",
        b"\x00",
    ],
)
def test_what_is_no_json_is_refused_in_one_sentence(data: bytes) -> None:
    """Text that breaks off, or holds what JSON has not, is one problem and never a traceback."""
    with pytest.raises(RecordError) as refused:
        read_inspection(data, small.book())
    assert refused.value.unreadable
    (problem,) = refused.value.problems
    assert problem.where == "record"
    assert problem.problem.startswith("this is not JSON (")


def test_a_text_that_cannot_be_utf_8_is_refused() -> None:
    """Half of a surrogate pair in a Python text is refused as unreadable, not raised."""
    with pytest.raises(RecordError) as refused:
        read_inspection('{"unit_id": "\ud800"}', small.book())
    assert refused.value.unreadable


@pytest.mark.parametrize("field", ["marks", "cleaned", "shop_note", "unknown"])
def test_no_depth_of_nesting_breaks_the_reader(field: str) -> None:
    """However deep a value is nested, the record is refused, at the edge of what fits as well."""
    for depth in (2, 10, 100, *range(800, 1050)):
        nested = b"[" * depth + b"]" * depth
        data = as_json(small.record())[:-1] + b', "%b": %b}' % (field.encode(), nested)
        with pytest.raises(RecordError):
            read_inspection(data, small.book())


# --- a sound record ------------------------------------------------------------------------------


def test_a_sound_record_is_read_as_written() -> None:
    """The same record from bytes, from text and from plain values is the same inspection."""
    record = small.record(
        device={"has": ["radio"], "identifiers": [{"type": "imei", "value": IMEI}]},
        marks=[{"zone": "lens", "kind": "chip", "at_mm": [1, 2.5]}],
        test_runs=[{"list": "all", "result": "pass", "except": ["touch"]}],
        clearance={"ownership": {"result": "clear", "checked_on": DAY}},
        offer={"price": "149.00", "currency": "AUD"},
    )
    data = as_json(record)
    inspection = read_inspection(data, small.book())
    assert inspection == read_inspection(data.decode(), small.book())
    assert inspection == convert_inspection(record, small.book())
    assert isinstance(inspection, Inspection)
    assert inspection.test_runs
    assert inspection.test_runs[0].but == ("touch",)


def test_three_fields_are_enough() -> None:
    """A record needs its tag, its day and its kind, and nothing else."""
    data = b'{"unit_id": "HB-1", "inspected_on": "2026-11-20", "device": {"kind": "bell"}}'
    assert read_inspection(data, small.book()).unit_id == "HB-1"


@pytest.mark.parametrize(
    ("data", "missing"),
    [
        (b"{}", ["unit_id", "inspected_on", "device"]),
        (b'{"unit_id": "HB-1", "device": {}}', ["inspected_on", "device.kind"]),
        (b'{"inspected_on": "2026-11-20", "device": {"kind": "bell"}}', ["unit_id"]),
    ],
)
def test_every_missing_field_is_named(data: bytes, missing: list[str]) -> None:
    """What a record must have is asked for all at once, and such a record was readable."""
    with pytest.raises(RecordError) as refused:
        read_inspection(data, small.book())
    assert not refused.value.unreadable
    assert str(refused.value).splitlines() == [f"{name}: is missing; add it" for name in missing]


# --- shape: one fault, one line ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"cleand": True}, "cleand: there is no such field; did you mean cleaned?"),
        ({"device": {"yeer": 2020}}, "device.yeer: there is no such field; did you mean year?"),
        (
            {"marks": [{"zone": "lens", "kind": "chip", "colour": "red"}]},
            "marks[0].colour: there is no such field; use one of zone, kind, length_mm, width_mm, "
            "area_mm2, depth, visibility, at_mm, photos, note",
        ),
        (
            {"test_runs": [{"list": "all", "result": "pass", "but": ["touch"]}]},
            "test_runs[0].but: there is no such field; use one of list, result, on, stage, except",
        ),
        (
            {"clearance": {"owner_ship": {"result": "clear"}}},
            "clearance.owner_ship: there is no such field; did you mean ownership?",
        ),
        (
            {"uncertainty": {"ful_charge_mah": 40}},
            "uncertainty.ful_charge_mah: there is no such field; did you mean full_charge_mah?",
        ),
    ],
)
def test_an_unknown_key_is_refused_with_the_nearest_one(fields: Any, says: str) -> None:
    """A misspelt key must not look like silence: it is named, with the word that was meant."""
    assert refusal(**fields) == [says]


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        (
            {"cleaned": "yes"},
            "cleaned: 'yes' does not fit: expected true or false, got a text; "
            "give: Cleaned before the looks were judged",
        ),
        ({"marks": {}}, f"marks: {{}} does not fit: expected a list, got an object; {SCHEMA}"),
        ({"marks": ["x"]}, f"marks[0]: 'x' does not fit: expected an object, got a text; {SCHEMA}"),
        (
            {"removed": [3]},
            f"removed[0]: 3 does not fit: expected a text, got a whole number; {SCHEMA}",
        ),
        (
            {"inspected_on": 20261120},
            "inspected_on: 20261120 does not fit: expected a day, got a whole number; "
            "give: Day of the inspection, as 2026-11-20",
        ),
        (
            {"batteries": [{"cycles": 1.5}]},
            "batteries[0].cycles: 1.5 does not fit: expected a whole number, got a number; "
            "give: Full charge cycles",
        ),
        (
            {"batteries": [{"cycles": "210"}]},
            "batteries[0].cycles: '210' does not fit: expected a whole number, got a text; "
            "give: Full charge cycles",
        ),
        (
            {"offer": {"price": True}},
            "offer.price: True does not fit: expected an amount, got true or false; "
            "give: An amount as a decimal string, e.g. 149.00",
        ),
        (
            {"clearance": {"ownership": "clear"}},
            "clearance.ownership: 'clear' does not fit: expected an object, got a text; " + SCHEMA,
        ),
    ],
)
def test_a_value_of_the_wrong_type_is_refused(fields: Any, says: str) -> None:
    """What does not fit is shown with what was expected and what the field is for."""
    assert refusal(**fields) == [says]


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"cleaned": None}, "cleaned"),
        ({"marks": None}, "marks"),
        ({"marks": [None]}, "marks[0]"),
        ({"device": {"maker": None}}, "device.maker"),
        ({"clearance": {"ownership": None}}, "clearance.ownership"),
        ({"offer": {"guarantee": None}}, "offer.guarantee"),
        ({"unit_id": None}, "unit_id"),
    ],
)
def test_null_is_refused(fields: Any, where: str) -> None:
    """Null says neither that a thing was looked at nor that it was not, so it says nothing."""
    assert refusal(**fields) == [f"{where}: is null; leave the key out if not known"]


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        (
            {"marks": [{"zone": "lens", "kind": "chip", "depth": "Felt"}]},
            "marks[0].depth: 'Felt' is not known here; did you mean felt?",
        ),
        ({"sealing": "unopend"}, "sealing: 'unopend' is not known here; did you mean unopened?"),
        (
            {"sealing": "opened resealed"},
            "sealing: 'opened resealed' is not known here; did you mean opened_resealed?",
        ),
        ({"partly": ["mark"]}, "partly[0]: 'mark' is not known here; did you mean marks?"),
        (
            {"test_runs": [{"list": "all", "result": "fail"}]},
            "test_runs[0].result: 'fail' is not known here; use one of pass",
        ),
        (
            {"batteries": [{"state": "zzz"}]},
            "batteries[0].state: 'zzz' is not known here; use one of ok, worn, dented, swollen, "
            "leaking, removed, none, not_readable",
        ),
    ],
)
def test_an_unknown_word_is_refused_with_the_nearest_one(fields: Any, says: str) -> None:
    """A word the record does not know is shown, with the one that was meant or all there are."""
    assert refusal(**fields) == [says]


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"marks": [{"zone": "lens", "kind": "chip", "length_mm": -1}]}, "marks[0].length_mm"),
        ({"marks": [{"zone": "lens", "kind": "chip", "visibility": 4}]}, "marks[0].visibility"),
        ({"marks": [{"zone": "lens", "kind": "chip", "at_mm": [1]}]}, "marks[0].at_mm"),
        ({"displays": [{"bright": -1}]}, "displays[0].bright"),
        ({"displays": [{"px": [0, 2400]}]}, "displays[0].px"),
        ({"batteries": [{"rated_mah": 0}]}, "batteries[0].rated_mah"),
        ({"batteries": [{"cycles": 10**30}]}, "batteries[0].cycles"),
        ({"batteries": [{"cycles": -(10**30)}]}, "batteries[0].cycles"),
        ({"batteries": [{"rated_mah": 10**400}]}, "batteries[0].rated_mah"),
        ({"batteries": [{"reported_health_pct": 201}]}, "batteries[0].reported_health_pct"),
        ({"device": {"year": 1969}}, "device.year"),
        ({"device": {"year": 2**64}}, "device.year"),
        ({"device": {"updates_until": "2028-13"}}, "device.updates_until"),
        ({"device": {"updates_until": "2028-06\n"}}, "device.updates_until"),
        ({"uncertainty": {"length_mm": -0.1}}, "uncertainty.length_mm"),
        ({"unit_id": "../up"}, "unit_id"),
        ({"unit_id": "-x"}, "unit_id"),
        ({"unit_id": "x" * 65}, "unit_id"),
        ({"unit_id": ""}, "unit_id"),
        ({"unit_id": "HB-1\n"}, "unit_id"),
        ({"inspected_on": "2026-02-30"}, "inspected_on"),
        ({"inspected_on": "20.11.2026"}, "inspected_on"),
        ({"offer": {"currency": "aud"}}, "offer.currency"),
        ({"offer": {"currency": "AUD\n"}}, "offer.currency"),
        ({"offer": {"price": "cheap"}}, "offer.price"),
        ({"offer": {"price": "NaN"}}, "offer.price"),
        ({"offer": {"price": "Infinity"}}, "offer.price"),
        ({"offer": {"price": "-149.00"}}, "offer.price"),
        ({"acquisition": {"price_paid": "-40.00"}}, "acquisition.price_paid"),
        ({"shop_note": "x" * 5001}, "shop_note"),
    ],
    ids=lambda value: value if isinstance(value, str) else None,
)
def test_an_impossible_value_is_refused(fields: Any, where: str) -> None:
    """A number, day, tag or text outside what can be is refused at its place."""
    (line,) = refusal(**fields)
    assert line.startswith(f"{where}: ")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize(
    ("name", "fields"),
    [
        ("device.storage_gb", lambda value: {"device": {"storage_gb": value}}),
        ("batteries[0].rated_mah", lambda value: {"batteries": [{"rated_mah": value}]}),
        (
            "marks[0].length_mm",
            lambda value: {"marks": [{"zone": "lens", "kind": "chip", "length_mm": value}]},
        ),
        ("uncertainty.length_mm", lambda value: {"uncertainty": {"length_mm": value}}),
        ("offer.price", lambda value: {"offer": {"price": value}}),
    ],
)
def test_what_is_no_number_is_refused(name: str, fields: Any, value: float) -> None:
    """NaN and infinity, as TOML and spreadsheets may give them, are no measures of anything."""
    record = small.record(**fields(value))
    (line,) = small.refusal(RecordError, convert_inspection, record, small.book())
    assert line.startswith(f"{name}: ")


@pytest.mark.parametrize("name", ["", "x" * 65])
@pytest.mark.parametrize("table", ["clearance", "uncertainty"])
def test_a_key_that_is_no_word_is_refused(table: str, name: str) -> None:
    """A table's key that is empty or endless is a problem of the record like any other."""
    value: Any = {"result": "clear"} if table == "clearance" else 1
    lines = refusal(**{table: {name: value}})
    assert lines
    assert all(line.startswith(f"{table}.{name}: ") for line in lines)


# --- sense: the words of the kind ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        (
            {"device": {"kind": "becon"}},
            "device.kind: 'becon' is not known here; did you mean beacon?",
        ),
        ({"device": {"kind": "x"}}, "device.kind: 'x' is not known here; use one of beacon, bell"),
        (
            {"device": {"has": ["radios"]}},
            "device.has[0]: 'radios' is not known here; did you mean radio?",
        ),
        (
            {"marks": [{"zone": "len", "kind": "chip"}]},
            "marks[0].zone: 'len' is not known here; did you mean lens?",
        ),
        (
            {"marks": [{"zone": "lens", "kind": "dent"}]},
            "marks[0].kind: 'dent' is not known here; use one of scratch, chip, crack",
        ),
        (
            {"intake": {"symptoms": [{"function": "tuch"}]}},
            "intake.symptoms[0].function: 'tuch' is not known here; did you mean touch?",
        ),
        (
            {"tests": [{"function": "tuch", "result": "pass"}]},
            "tests[0].function: 'tuch' is not known here; did you mean touch?",
        ),
        (
            {"tests": [{"function": "lamp", "which": "lefft", "result": "pass"}]},
            "tests[0].which: 'lefft' is not known here; did you mean left?",
        ),
        (
            {"test_runs": [{"list": "all", "result": "pass", "except": ["tuch"]}]},
            "test_runs[0].except[0]: 'tuch' is not known here; did you mean touch?",
        ),
        (
            {"parts": [{"part": "cel"}]},
            "parts[0].part: 'cel' is not known here; did you mean cell?",
        ),
        (
            {"parts": [{"part": "cell", "lost": ["touch", "tuch"]}]},
            "parts[0].lost[1]: 'tuch' is not known here; did you mean touch?",
        ),
        (
            {"repairs": [{"work": "board_swop"}]},
            "repairs[0].work: 'board_swop' is not known here; did you mean board_swap?",
        ),
        (
            {"repairs": [{"work": "port", "fixes": ["tuch"]}]},
            "repairs[0].fixes[0]: 'tuch' is not known here; did you mean touch?",
        ),
        (
            {"repairs": [{"work": "port", "acceptance": ["soak", "short_chek"]}]},
            "repairs[0].acceptance[1]: 'short_chek' is not known here; did you mean short_check?",
        ),
        ({"removed": ["bord"]}, "removed[0]: 'bord' is not known here; did you mean board?"),
        ({"missing": ["bord"]}, "missing[0]: 'bord' is not known here; did you mean board?"),
        (
            {"signs": [{"sign": "wrong_screws"}]},
            "signs[0].sign: 'wrong_screws' is not known here; did you mean wrong_screw?",
        ),
        (
            {"signs": [{"sign": "wrong_screw", "where": "bord"}]},
            "signs[0].where: 'bord' is not known here; did you mean board?",
        ),
        (
            {"displays": [{"which": "mane"}]},
            "displays[0].which: 'mane' is not known here; did you mean main?",
        ),
        (
            {"batteries": [{"which": "mane"}]},
            "batteries[0].which: 'mane' is not known here; did you mean main?",
        ),
        (
            {"accessories": [{"item": "charge", "included": True}]},
            "accessories[0].item: 'charge' is not known here; did you mean charger?",
        ),
    ],
    ids=lambda value: value.partition(":")[0] if isinstance(value, str) else "",
)
def test_a_word_that_the_kind_lacks_is_refused(fields: Any, says: str) -> None:
    """Every zone, function, part, work, sign and other word has to be one of the kind's."""
    assert refusal(**fields) == [says]


def test_all_places_of_a_sign_are_listed_in_order_and_once() -> None:
    """Where no word is near, those there are stand in one order, the same on every run."""
    places = ", ".join(
        sorted({*small.beacon().areas, *small.beacon().parts, *small.beacon().zones})
    )
    says = f"signs[0].where: 'attic' is not known here; use one of {places}"
    assert refusal(signs=[{"sign": "pry_mark", "where": "attic"}]) == [says]


def test_a_kind_without_words_of_a_sort_says_so() -> None:
    """Where a kind has no word at all, the remedy is to leave the field's word out."""
    record = small.record("bell", device={"has": ["radio"]})
    assert small.refusal(RecordError, convert_inspection, record, small.book()) == [
        "device.has[0]: 'radio' is not known here; leave it out: there are none"
    ]


# --- sense: days, numbers, contradictions --------------------------------------------------------


@pytest.mark.parametrize(
    ("where", "fields"),
    [
        ("intake.on", {"intake": {"on": LATER}}),
        ("acquisition.on", {"acquisition": {"on": LATER}}),
        ("erasure.on", {"erasure": {"on": LATER}}),
        ("test_runs[0].on", {"test_runs": [{"list": "all", "result": "pass", "on": LATER}]}),
        ("tests[0].on", {"tests": [{"function": "touch", "result": "pass", "on": LATER}]}),
        ("parts[1].on", {"parts": [{"part": "cell"}, {"part": "cell", "on": LATER}]}),
        ("repairs[0].on", {"repairs": [{"work": "port", "on": LATER}]}),
        ("displays[0].read_on", {"displays": [{"read_on": LATER}]}),
        (
            "device.identifiers[0].read_on",
            {"device": {"identifiers": [{"type": "serial", "value": "A1", "read_on": LATER}]}},
        ),
        ("batteries[0].read_on", {"batteries": [{"read_on": LATER}]}),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_nothing_happened_after_the_inspection(where: str, fields: Any) -> None:
    """A test, part, work or reading cannot be later than the inspection that records it."""
    assert refusal(**fields) == [f"{where}: {TOO_LATE}"]


def test_the_day_of_the_inspection_is_not_too_late() -> None:
    """What was done on the day of the inspection itself stands."""
    small.read(repairs=[{"work": "port", "on": DAY}], intake={"on": DAY})


def test_a_check_may_be_later_than_the_inspection() -> None:
    """Lists may be asked again after the inspection; whether that is too late, facts decide."""
    small.read(clearance={"ownership": {"result": "clear", "checked_on": LATER}})


def test_a_wrong_check_digit_is_refused_and_not_repeated() -> None:
    """A number whose check digit is wrong is refused, and the message does not show it."""
    wrong = IMEI[:-1] + "9"
    lines = refusal(device={"identifiers": [{"type": "serial", "value": "A1"}, number(wrong)]})
    assert lines == [
        "device.identifiers[1].value: the check digit does not fit the other digits; "
        "read it again from the device's own screen, or scan its label"
    ]
    assert wrong not in lines[0]


def number(value: str, type: str = "imei") -> dict[str, str]:
    return {"type": type, "value": value}


def test_a_code_that_is_no_ip_code_is_refused() -> None:
    """A rating that does not read as in IEC 60529 is refused with the reason."""
    assert refusal(device={"ip_rating": "IP 68"}) == [
        "device.ip_rating: 'IP 68' is not an IP code: it is written without blanks or hyphens, "
        "as in IP68; write it as in IEC 60529"
    ]


TOUCHED = {"function": "touch", "result": "pass"}
CONTRADICTED = (
    "tests[1].result: fail contradicts pass of tests[0], same day and stage; "
    "keep the right one, or give the later one its stage"
)


@pytest.mark.parametrize(
    "other",
    [{}, {"on": DAY}, {"stage": "intake"}, {"which": "left"}],
    ids=["nothing said", "the day of the inspection", "a stage", "a twin"],
)
def test_two_results_of_one_stage_contradict_each_other(other: dict[str, str]) -> None:
    """One function cannot both pass and fail on one day and stage."""
    second = {**TOUCHED, "result": "fail", **other}
    first = {**TOUCHED, **({} if other == {"on": DAY} else other)}
    assert refusal(tests=[first, second]) == [CONTRADICTED]


@pytest.mark.parametrize(
    "other",
    [
        {"result": "pass"},
        {"result": "fail", "on": "2026-11-19"},
        {"result": "fail", "stage": "after_work"},
        {"result": "fail", "function": "dimming"},
    ],
)
def test_results_that_differ_in_day_or_stage_do_not_contradict(other: dict[str, str]) -> None:
    """A later stage, another day or another function may well come to another result."""
    small.read(tests=[TOUCHED, {**TOUCHED, **other}])


@pytest.mark.parametrize("part", ["cell", "board"])
def test_a_part_that_was_fitted_is_not_out(part: str) -> None:
    """A new cell or board is in, with its hazards and locks, whatever was taken out for it."""
    (line,) = refusal(removed=["foot", part], parts=[{"part": part}])
    assert line.startswith("removed[1]: ")


def test_what_every_unit_has_always_applies() -> None:
    """Only a function tied to a feature can be not applicable."""
    assert refusal(tests=[{"function": "touch", "result": "not_applicable"}]) == [
        "tests[0].result: every beacon has touch, so it always applies; say not_tested, and why"
    ]


def test_what_the_unit_has_applies() -> None:
    """A function cannot be left out as not applicable while its feature is listed."""
    tests = [{"function": "radio_link", "result": "not_applicable"}]
    assert refusal(device={"has": ["radio"]}, tests=tests) == [
        "tests[0].result: device.has lists radio, so radio_link applies; "
        "test it, or take the feature out of device.has"
    ]
    small.read(device={"has": []}, tests=tests)


# --- everything at once --------------------------------------------------------------------------


def test_all_problems_are_told_at_once() -> None:
    """Problems of shape and of sense stand in one answer, each at its own place."""
    lines = refusal(
        unit_id="no tag",
        cleand=True,
        cleaned="yes",
        device={"identifiers": [number("1"), {"value": IMEI}, number(IMEI[:-1] + "9")]},
        marks=[3, {"zone": "len", "kind": "chip"}, {"kind": "scrach", "length_mm": -1}],
        tests=[{"function": "tuch"}, {"function": "touch", "result": "pass", "on": LATER}],
        removed=[3, "bord"],
        clearance={"ownership": {"result": "cleer"}, "ovnership": {"result": "clear"}},
    )
    assert [line.partition(": ")[0] for line in lines] == [
        "cleand",
        "unit_id",
        "device.identifiers[1].type",
        "cleaned",
        "marks[0]",
        "marks[2].zone",
        "marks[2].length_mm",
        "tests[0].result",
        "removed[0]",
        "clearance.ownership.result",
        "tests[1].on",
        "device.identifiers[0].value",
        "device.identifiers[2].value",
        "marks[1].zone",
        "marks[2].kind",
        "tests[0].function",
        "removed[1]",
        "clearance.ovnership",
    ]


@pytest.mark.parametrize(
    ("name", "faulty", "right"),
    [
        ("marks", [], {"zone": "len", "kind": "chip"}),
        ("tests", {"function": "touch"}, {"function": "tuch", "result": "pass"}),
        ("parts", None, {"part": "cel"}),
        ("repairs", {"wrk": "port"}, {"work": "prt"}),
        ("signs", "rust", {"sign": "corosion"}),
        ("removed", 3, "bord"),
        ("accessories", {"item": "charger"}, {"item": "charge", "included": True}),
        ("displays", 3, {"which": "mane"}),
        ("batteries", 3, {"which": "mane"}),
    ],
)
def test_a_faulty_item_does_not_shift_the_next(name: str, faulty: Any, right: Any) -> None:
    """The problem of the second item is told of the second, whatever is wrong with the first."""
    lines = refusal(**{name: [faulty, right]})
    assert any(line.startswith(f"{name}[0]") for line in lines)
    assert [line for line in lines if line.startswith(f"{name}[1]")]
    assert not any(line.startswith(f"{name}[2]") for line in lines)


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        (
            {"device": {"identifiers": [{"type": "imie", "value": "HB-123"}]}},
            "device.identifiers[0].type: 'imie' is not known here; did you mean imei?",
        ),
        (
            {"tests": [{"function": "touch", "result": "fail"}, {**TOUCHED, "result": "fial"}]},
            "tests[1].result: 'fial' is not known here; did you mean fail?",
        ),
        (
            {"tests": [{"function": "touch", "result": "fail"}, {"function": "touch"}]},
            "tests[1].result: is missing; add it",
        ),
    ],
    ids=["a number's type", "a result", "a missing result"],
)
def test_one_fault_is_one_problem(fields: Any, says: str) -> None:
    """What stands in for a faulty value while the rest is checked draws no problem of its own."""
    assert refusal(**fields) == [says]


def test_an_unreadable_day_or_kind_does_not_hide_the_rest() -> None:
    """Without a day or a kind to measure by, what can still be checked is checked."""
    lines = refusal(
        inspected_on="soon", device={"kind": 3, "ip_rating": "IP"}, marks=[{"zone": "lens"}]
    )
    assert [line.partition(": ")[0] for line in lines] == [
        "inspected_on",
        "device.kind",
        "marks[0].kind",
        "device.ip_rating",
    ]


# --- notes ---------------------------------------------------------------------------------------

LEFT_OUT = "it was left out of the assessment"


@pytest.mark.parametrize(
    ("fields", "note"),
    [
        ({"displays": [{}]}, f"displays: a bell has no displays; {LEFT_OUT}"),
        ({"batteries": [{"cycles": 3}]}, f"batteries: a bell has no batteries; {LEFT_OUT}"),
        (
            {"clearance": {"account_lock": {"result": "clear"}}},
            f"clearance.account_lock: no such check is made on a bell; {LEFT_OUT}",
        ),
        (
            {"device": {"identifiers": [number(IMEI)]}},
            f"device.identifiers[0]: a bell has no imei; {LEFT_OUT}",
        ),
        ({"erasure": {"verified": True}}, f"erasure: a bell has no storage; {LEFT_OUT}"),
    ],
    ids=["displays", "batteries", "clearance", "identifiers", "erasure"],
)
def test_a_field_that_the_kind_lacks_is_a_note(fields: Any, note: str) -> None:
    """What a kind does not have is left out and said so; it is no error."""
    assert noted("bell", **fields) == [note]


def test_a_sound_record_draws_no_note() -> None:
    """Where everything counts there is nothing to note."""
    assert noted(device={"has": ["radio"], "identifiers": [number(IMEI)]}, displays=[{}]) == []
    assert noted("bell", displays=[], batteries=[]) == []


def test_not_applicable_needs_the_features() -> None:
    """While the unit's features are not recorded, a test left out counts as not tested."""
    tests = [{"function": "radio_link", "result": "not_applicable"}]
    assert noted(tests=tests) == [
        "tests[0].result: counts as not tested while device.has is not recorded; "
        "list the unit's features in device.has"
    ]
    assert noted(device={"has": []}, tests=tests) == []


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"tests": [TOUCHED, {"function": "radio_link", "result": "fail"}]}, "tests[1]"),
        ({"clearance": {"blocklist": {"result": "found"}}}, "clearance.blocklist"),
        ({"batteries": [{}, {"which": "reserve", "state": "swollen"}]}, "batteries[1]"),
    ],
    ids=["a test", "a check", "a battery"],
)
def test_what_an_absent_feature_takes_away_is_noted(fields: Any, where: str) -> None:
    """A finding on something that ``device.has`` says is not there never vanishes in silence."""
    (note,) = noted(device={"has": []}, **fields)
    assert note.startswith(where)


def test_a_number_that_cannot_be_checked_is_noted() -> None:
    """What a number leaves in doubt is told to the bench, and is no error."""
    assert noted(device={"identifiers": [number(OTHER_IMEI + "0")]}) == [
        "device.identifiers[0].value: 16 digits are an IMEISV: it has no check digit, "
        "so nothing can be checked; read it again if in doubt"
    ]
