"""RECORD: frozen, strict and silent; nothing is ever filled in, and the order of words is law."""

import json
from collections.abc import Iterator
from typing import Any, Literal, get_args, get_origin, get_type_hints

import msgspec
import pytest
from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError
from msgspec import UNSET, Meta

from gradekit import inspection as record
from gradekit.inspection import Inspection, known, margin_of, may_have
from gradekit.kinds import Level
from gradekit.rules import CLASSES
from tests import small
from tests.small import IMEI

STRUCTS = [
    thing
    for thing in vars(record).values()
    if isinstance(thing, type) and issubclass(thing, msgspec.Struct) and thing.__struct_fields__
]
ONE_BY_ONE = pytest.mark.parametrize("struct", STRUCTS, ids=lambda struct: struct.__name__)

FULL: dict[str, Any] = {
    "inspector": "bench-2",
    "device": {
        "kind": "beacon",
        "maker": "Quellmar",
        "model": "Q2",
        "year": 2023,
        "storage_gb": 128,
        "has": ["radio"],
        "size_mm": [72.1, 151.0, 8.4],
        "ip_rating": "IP68",
        "updates_until": "2028-06",
        "network_lock": "none",
        "identifiers": [{"type": "imei", "value": IMEI, "seen_on": "screen"}],
    },
    "intake": {"on": "2026-11-02", "symptoms": [{"function": "touch", "outcome": "fixed"}]},
    "cleaned": True,
    "marks": [{"zone": "lens", "kind": "chip", "depth": "felt", "visibility": 2, "at_mm": [3, 9]}],
    "displays": [{"px": [1080, 2400], "bright": 0, "burn_in": "none"}],
    "test_runs": [{"list": "all", "result": "pass", "stage": "after_work", "except": ["touch"]}],
    "tests": [{"function": "touch", "result": "not_tested", "why": "no tool at hand"}],
    "parts": [{"part": "cell", "origin": "aftermarket", "on": "2026-11-18", "used": False}],
    "repairs": [{"work": "port", "level": "board", "acceptance": ["soak"]}],
    "removed": [],
    "signs": [{"sign": "wrong_screw", "where": "front"}],
    "batteries": [{"state": "ok", "rated_mah": 2550, "full_charge_mah": 2300.5, "cycles": 210}],
    "sealing": "opened_resealed",
    "clearance": {"ownership": {"result": "clear", "checked_on": "2026-11-20"}},
    "erasure": {"method": "block_erase", "verified": True, "also_out": ["sim"]},
    "accessories": [{"item": "charger", "included": True, "mains_check": "pass"}],
    "acquisition": {"price_paid": "40.00", "currency": "AUD"},
    "offer": {"price": "149.00", "currency": "AUD", "guarantee": {"months": 3}},
    "partly": ["signs"],
    "uncertainty": {"full_charge_mah": 40},
    "shop_note": "as found",
}


# --- strict, frozen, silent ----------------------------------------------------------------------


@ONE_BY_ONE
def test_every_struct_is_frozen_and_strict(struct: type[msgspec.Struct]) -> None:
    """Grading is a pure function of a record, and a misspelt key must not look like silence."""
    assert struct.__struct_config__.frozen
    assert struct.__struct_config__.forbid_unknown_fields


@ONE_BY_ONE
def test_nothing_is_filled_in(struct: type[msgspec.Struct]) -> None:
    """What a record leaves out stays out, but for the one name of a single thing."""
    defaults = {f.name: f.default for f in msgspec.structs.fields(struct) if not f.required}
    named = {"which": "main", "but": ()}
    for name, default in defaults.items():
        assert default is UNSET or default == named.get(name), name


def test_only_tag_day_and_kind_are_required() -> None:
    """A record of three values is a record; everything else may be absent."""
    required = [f.name for f in msgspec.structs.fields(Inspection) if f.required]
    assert required == ["unit_id", "inspected_on", "device"]
    assert [f.name for f in msgspec.structs.fields(record.Device) if f.required] == ["kind"]


def test_a_record_is_written_as_it_was_read() -> None:
    """Encoding a record gives back the JSON it was read from, with nothing added."""
    plain = small.record(**FULL)
    assert json.loads(msgspec.json.encode(small.read(**FULL))) == plain
    assert json.loads(msgspec.json.encode(small.read())) == small.record()


# --- words and their order -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "best", "worst"),
    [
        (record.Result, "pass", "not_applicable"),
        (record.Stage, "intake", "soak"),
        (record.Depth, "not_felt", "through_part"),
        (record.BurnIn, "none", "in_use"),
        (record.Spots, "none", "spreading"),
        (record.Origin, "maker_new", "suspected_counterfeit"),
        (record.Hand, "maker", "previous_unknown"),
        (record.Practice, "routine", "learning"),
        (Level, "surface", "board"),
        (record.Outcome, "fixed", "not_fixed"),
        (record.Sealing, "unopened", "opened_unsealed"),
        (record.ErasureLevel, "destroy", "none"),
        (record.SaleClass, "refurbished", "hold"),
    ],
)
def test_ordered_words_stand_from_best_to_worst(words: Any, best: str, worst: str) -> None:
    """Rules compare words by their place in the declaration, so the place is part of the law."""
    listed = get_args(words)
    assert (listed[0], listed[-1]) == (best, worst)
    assert len(set(listed)) == len(listed)


def test_results_and_seals_stand_in_the_order_of_the_trade() -> None:
    """A partial result is better than a fail; a seal tested for leaks better than an untested."""
    assert get_args(record.Result)[:3] == ("pass", "partial", "fail")
    assert get_args(record.Sealing)[1:3] == ("opened_resealed_leak_tested", "opened_resealed")
    assert get_args(record.ErasureLevel) == ("destroy", "purge", "clear", "none")


def test_the_record_and_the_rules_know_the_same_classes() -> None:
    """What an offer may say and what an assessment may find is one list."""
    assert get_args(record.SaleClass) == CLASSES


def test_every_list_that_may_be_partly_recorded_is_a_list() -> None:
    """``partly`` names lists of the record, and each can really be recorded."""
    lists = {f.name for f in msgspec.structs.fields(Inspection)} | {"symptoms"}
    assert set(get_args(record.ListName)) <= lists


def metas() -> Iterator[tuple[str, Any, Meta]]:
    """Every annotation of every field of the record."""
    for struct in STRUCTS:
        for name, hint in get_type_hints(struct, include_extras=True).items():
            for option in (hint, *get_args(hint)):
                for meta in getattr(option, "__metadata__", ()):
                    yield f"{struct.__name__}.{name}", option, meta


def test_every_direction_fits_its_field() -> None:
    """Numbers get worse by more or less, words later, yes and no by one of them."""
    fitting = {"more": (int, float), "less": (int, float), "true": (bool,), "false": (bool,)}
    directions = [(f, o, m.extra["worse"]) for f, o, m in metas() if m.extra]
    assert len(directions) >= 30
    for field, option, direction in directions:
        base = get_args(option)[0]
        base = get_args(base)[0] if get_origin(base) is not Literal and get_args(base) else base
        if direction == "later":
            assert get_origin(base) is Literal, field
        elif get_origin(base) is Literal:
            assert all(isinstance(word, int) for word in get_args(base)), field
        else:
            assert base in fitting[direction], field


@pytest.mark.parametrize(
    "field",
    [
        "Device.identifiers",
        "Identifier.value",
        "Symptom.seen",
        "Intake.note",
        "Mark.note",
        "Part.note",
        "Repair.note",
        "Sign.note",
        "Check.note",
        "Inspection.inspector",
        "Inspection.acquisition",
    ],
)
def test_what_is_private_says_so(field: str) -> None:
    """Numbers, notes, hands and what was paid are marked, so that no text of ours shows them."""
    said = [m.description or "" for name, _, m in metas() if name == field]
    assert any("Private" in text for text in said)


# --- the schema ----------------------------------------------------------------------------------

SCHEMA = msgspec.json.schema(Inspection)
VALID = Draft202012Validator(SCHEMA)


def test_the_schema_is_one() -> None:
    """The record's schema is lawful JSON Schema (draft 2020-12), by a library of its own."""
    Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("fields", [{}, FULL], ids=["least", "full"])
def test_the_schema_takes_what_the_library_takes(fields: Any) -> None:
    """A record that the library reads is one by the schema too."""
    small.read(**fields)
    VALID.validate(small.record(**fields))


@pytest.mark.parametrize(
    "fields",
    [
        {"cleand": True},
        {"cleaned": "yes"},
        {"unit_id": "../up"},
        {"marks": [{"zone": "lens"}]},
        {"marks": [{"zone": "lens", "kind": "chip", "visibility": 4}]},
        {"batteries": [{"cycles": -1}]},
        {"sealing": "shut"},
        {"uncertainty": {"length_mm": -1}},
        {"offer": {"currency": "aud"}},
        {"partly": ["mark"]},
    ],
    ids=str,
)
def test_the_schema_refuses_what_the_library_refuses(fields: Any) -> None:
    """A faulty record is one by the schema too, for whoever checks before sending."""
    with pytest.raises(ValidationError):
        VALID.validate(small.record(**fields))


# --- small questions -----------------------------------------------------------------------------


def test_known_is_what_was_said_or_none() -> None:
    """Silence is None; nought, no and an empty list are answers."""
    inspection = small.read(cleaned=False, marks=[])
    assert known(inspection.cleaned) is False
    assert known(inspection.marks) == ()
    assert known(inspection.sealing) is None
    assert known(0) == 0


@pytest.mark.parametrize(
    ("device", "feature", "may"),
    [
        ({}, "radio", True),
        ({"has": ["radio"]}, "radio", True),
        ({"has": ["dimmer"]}, "radio", False),
        ({"has": []}, "radio", False),
        ({"has": []}, None, True),
    ],
)
def test_a_feature_may_be_there_until_the_list_says_no(
    device: Any, feature: str | None, may: bool
) -> None:
    """Without a list of features any may be there; what needs none is always there."""
    assert may_have(small.read(device=device), feature) is may


def test_no_stated_uncertainty_is_none() -> None:
    """A field without a stated uncertainty is taken as it stands."""
    inspection = small.read(uncertainty={"length_mm": 0.5})
    assert margin_of(inspection, "length_mm") == 0.5
    assert margin_of(inspection, "width_mm") == 0
    assert margin_of(small.read(), "length_mm") == 0
