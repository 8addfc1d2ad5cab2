"""Strategies for the laws: records of every kind that the rulebook has.

Everything is read off the data: shapes from the types of the record, words from the kind files.
No kind and no word is named here, so a new kind or field is under the laws as soon as it exists.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from functools import cache, partial
from types import UnionType
from typing import (
    Annotated,
    Any,
    Literal,
    NamedTuple,
    Union,
    get_args,
    get_origin,
    get_type_hints,
)

import msgspec
from hypothesis import settings
from hypothesis import strategies as st
from msgspec import UNSET, Meta, UnsetType
from msgspec.structs import replace

from gradekit import inspection as record
from gradekit import measures
from gradekit.inspection import MEASURED, Inspection
from gradekit.kinds import Kind
from gradekit.rulebook import Rulebook, load_rulebook
from tests.laws.paths import Path, get, nodes, put

Strategy = st.SearchStrategy[Any]

MORE = settings(max_examples=5 * settings().max_examples)
"""For laws that cost little: a rare way to break them needs many tries."""

FEW = settings(max_examples=max(1, settings().max_examples // 10))
"""For laws that are tried on many cases, each of which needs few."""

DAY = date(2026, 11, 20)
"""Every drawn unit is inspected on this day."""

DAYS = [DAY - timedelta(days=n) for n in (0, 1, 2, 5, 31, 400)]
"""Few days, so that works and findings often fall on the same one."""

ASSESSED_ON = [DAY + timedelta(days=n) for n in (0, 1, 7, 29, 31)]

TEXTS = ("seen", "Harbour Bench", "größer als 5 µm ✓")


@cache
def shipped() -> Rulebook:
    """The rules that come with the library, whatever they are today."""
    return load_rulebook()


def kinds() -> list[str]:
    """Every kind that the shipped rulebook has."""
    return sorted(shipped().kind_files)


# --- the shape of a record -----------------------------------------------------------------------


class Shape(NamedTuple):
    """What a field holds: its bare type, and everything its annotations say of it."""

    type: Any
    meta: tuple[Meta, ...]

    def extra(self, key: str) -> Any:
        """What the annotations say under a key of ours."""
        return next((m.extra[key] for m in self.meta if m.extra and key in m.extra), None)

    def bound(self, *names: str) -> Any:
        """The first bound of a number or text that is laid down."""
        found = (getattr(m, name) for m in self.meta for name in names)
        return next((bound for bound in found if bound is not None), None)


def shape(hint: Any, meta: tuple[Meta, ...] = ()) -> Shape:
    """Take a field's annotation apart; absence is left out of it."""
    if get_origin(hint) is Annotated:
        inner, *own = get_args(hint)
        return shape(inner, (*own, *meta))
    if get_origin(hint) in (Union, UnionType):
        present = [option for option in get_args(hint) if option not in (UnsetType, type(None))]
        return shape(present[0], meta)
    return Shape(hint, meta)


@cache
def shapes(struct: Any) -> Mapping[str, Shape]:
    """The fields of a struct of the record, or of a fact."""
    hints = get_type_hints(struct, include_extras=True)
    return {name: shape(hints[name]) for name in struct.__struct_fields__}


def item_type(shape: Shape) -> Any:
    """What a list or a table holds; None for anything else."""
    if get_origin(shape.type) is tuple and get_args(shape.type)[1:] == (...,):
        return get_args(shape.type)[0]
    return get_args(shape.type)[1] if get_origin(shape.type) is dict else None


def may_be_absent(struct: type[Any], name: str) -> bool:
    """The record may be silent on this field."""
    field = next(f for f in msgspec.structs.fields(struct) if f.name == name)
    return field.default is UNSET


# --- the words of a kind -------------------------------------------------------------------------

Words = Mapping[tuple[type[Any], str], Sequence[str]]


@cache
def words(name: str) -> Words:
    """Where a record takes its words from the kind. No words: the kind has no such thing."""
    kind = shipped().kind(name)
    places = (*sorted(kind.areas), *kind.parts, *kind.zones)
    twins = {which for function in kind.functions.values() for which in function.which}
    checks = {check for other in kinds() for check in shipped().kind(other).clearances}
    acceptance = {check for work in kind.works.values() for check in work.acceptance}
    return {
        (record.Device, "has"): kind.features,
        (record.Symptom, "function"): tuple(kind.functions),
        (record.Mark, "zone"): tuple(kind.zones),
        (record.Mark, "kind"): kind.mark_kinds,
        (record.Display, "which"): tuple(kind.displays),
        (record.TestRun, "but"): tuple(kind.functions),
        (record.Test, "function"): tuple(kind.functions),
        (record.Test, "which"): sorted(twins),
        (record.Part, "part"): tuple(kind.parts),
        (record.Part, "lost"): tuple(kind.functions),
        (record.Repair, "work"): tuple(kind.works),
        (record.Repair, "fixes"): tuple(kind.functions),
        (record.Repair, "acceptance"): sorted(acceptance),
        (record.Sign, "sign"): tuple(kind.signs),
        (record.Sign, "where"): places,
        (record.Battery, "which"): tuple(kind.batteries),
        (record.Accessory, "item"): tuple(kind.accessories),
        (Inspection, "removed"): tuple(kind.parts),
        (Inspection, "missing"): tuple(kind.parts),
        (Inspection, "clearance"): sorted(checks),
        (Inspection, "uncertainty"): MEASURED,
    }


@cache
def numbers_of(type_: str) -> Sequence[str]:
    """Some numbers of a type that read well, found by trying final digits (GS1, ITU, 3GPP)."""
    bodies = [str(seed) * 40 for seed in (1, 3, 7)]
    tried = (body[:n] + f"{end:02d}" for n in (11, 12, 13, 14, 30) for body in bodies
             for end in range(100))  # fmt: skip
    good = (t for t in tried if measures.read_identifier(type_, t).problem is None)
    return sorted({number for number, _ in zip(good, range(8), strict=False)})


@cache
def ip_codes() -> Sequence[str]:
    """Some codes of IEC 60529, as its grammar lets them by."""
    return [f"IP{solids}{water}" for solids in "56X" for water in "0478X"]


# --- from shapes to strategies -------------------------------------------------------------------


@cache
def structs(struct: Any, kind: str) -> Strategy:
    """Any struct of the record with the words of a kind: each field absent or any value."""
    if struct is record.Identifier:
        return _identifiers(kind)
    fields: dict[str, Strategy] = {}
    for name in struct.__struct_fields__:
        value = values(struct, name, kind)
        if may_be_absent(struct, name):
            value = st.just(UNSET) if value.is_empty else st.just(UNSET) | value
        fields[name] = value
    return st.fixed_dictionaries(fields).map(lambda drawn: struct(**drawn))


def _identifiers(kind: str) -> Strategy:
    types = shipped().kind(kind).identifiers
    known = [(type_, number) for type_ in types for number in numbers_of(type_)]
    if not known:
        return st.nothing()
    others = ("seen_on", "read_on", "stage")
    rest = {name: st.just(UNSET) | values(record.Identifier, name, kind) for name in others}
    return st.builds(
        lambda number, rest: record.Identifier(type=number[0], value=number[1], **rest),
        st.sampled_from(known),
        st.fixed_dictionaries(rest),
    )


@cache
def values(struct: Any, name: str, kind: str) -> Strategy:
    """Any value of one field, never absence. Empty where the kind has no word for it."""
    field = shapes(struct)[name]
    if (struct, name) in _FIXED:
        return _FIXED[struct, name]
    if (struct, name) == (record.Device, "kind"):
        return st.just(kind)
    if struct is Inspection and name == "clearance":
        return st.dictionaries(_words_of(struct, name, kind), structs(record.Check, kind))
    if (struct, name) in words(kind):
        return _listed(field, _words_of(struct, name, kind))
    if struct is Inspection and name == "device":
        return structs(record.Device, kind)
    return _any_of(field, kind)


def _words_of(struct: Any, name: str, kind: str) -> Strategy:
    known = words(kind)[struct, name]
    if known:
        return st.sampled_from(known)
    default = next(f.default for f in msgspec.structs.fields(struct) if f.name == name)
    return st.just(default) if isinstance(default, str) else st.nothing()


def _listed(field: Shape, word: Strategy) -> Strategy:
    """One word, or a list or a table of them."""
    if get_origin(field.type) is tuple:
        return st.lists(word, max_size=3, unique=True).map(tuple)
    if get_origin(field.type) is dict:
        return st.dictionaries(word, st.sampled_from([0.0, 0.05, 1.0, 20.0]), max_size=3)
    return word


def _any_of(field: Shape, kind: str) -> Strategy:
    """Any value of a shape that needs no word of the kind."""
    if get_origin(field.type) is Literal:
        return st.sampled_from(get_args(field.type))
    if get_origin(field.type) is tuple:
        return _tuples(field, kind)
    if isinstance(field.type, type) and issubclass(field.type, msgspec.Struct):
        return structs(field.type, kind)
    return numbers(field) if field.type in (int, float) else _PLAIN[field.type]


def _tuples(field: Shape, kind: str) -> Strategy:
    inner = item_type(field)
    if inner is None:
        return st.tuples(*(_any_of(shape(side), kind) for side in get_args(field.type)))
    return st.lists(_any_of(shape(inner), kind), max_size=3).map(tuple)


def numbers(field: Shape) -> st.SearchStrategy[float]:
    """Numbers within a field's bounds, fine near nought and coarse beyond."""
    least = field.bound("ge", "gt") or 0
    most = min(field.bound("le", "lt") or 10**6, 5000)
    first = least + (field.bound("gt") is not None)
    whole = st.integers(first, max(first, min(most, first + 120))) | st.integers(first, most)
    if field.type is int:
        return whole
    fine = st.integers(1, 40).map(lambda n: n / 20)
    return whole.map(float) | (fine if least <= 0 else st.nothing())


_PLAIN: dict[Any, Strategy] = {
    bool: st.booleans(),
    str: st.sampled_from(TEXTS),
    date: st.sampled_from(DAYS),
    Decimal: st.sampled_from([Decimal("149.00"), Decimal("0")]),
}

_FIXED: dict[tuple[type[Any], str], Strategy] = {
    (Inspection, "unit_id"): st.just("HB-0007"),
    (Inspection, "inspected_on"): st.just(DAY),
    (record.Device, "year"): st.sampled_from([DAY.year, DAY.year - 2, DAY.year - 9]),
    (record.Device, "updates_until"): st.sampled_from(["2026-10", "2026-12", "2031-01"]),
    (record.Device, "ip_rating"): st.sampled_from(ip_codes()),
    (record.Acquisition, "currency"): st.just("AUD"),
    (record.Offer, "currency"): st.just("AUD"),
    (record.Check, "checked_on"): st.sampled_from([*DAYS, *ASSESSED_ON]),
}
"""Fields whose form is laid down by a pattern, or that have to suit the day of the inspection."""


# --- whole records -------------------------------------------------------------------------------


def days() -> st.SearchStrategy[date]:
    """Days on which a drawn unit may be assessed."""
    return st.sampled_from(ASSESSED_ON)


def units(kind: str | None = None) -> st.SearchStrategy[Inspection]:
    """Any sound record of a kind, or of any: quite random ones, and good ones with a few flaws.

    Nearly every quite random unit is held for several reasons, which would hide what one more
    fact does to it. So three of four are flawless but for some of their record.
    """
    if kind is None:
        return st.sampled_from(kinds()).flatmap(units)
    return _units(kind)


@cache
def _units(kind: str) -> st.SearchStrategy[Inspection]:
    sorts = [_flawed(kind), _flawed(kind), _busy(kind), structs(Inspection, kind)]
    sound = partial(made_sound, kind=shipped().kind(kind))
    return st.sampled_from(sorts).flatmap(lambda sort: sort).map(sound)


@cache
def _busy(kind: str) -> st.SearchStrategy[Inspection]:
    """A flawless unit but for its lists: much was seen on it, tested again and done to it."""
    best = flawless(kind)
    names = [n for n in Inspection.__struct_fields__ if getattr(best, n) == () and n != "removed"]
    lists = {n: st.just(()) | values(Inspection, n, kind) for n in names}
    return st.fixed_dictionaries(lists).map(lambda drawn: replace(best, **drawn))


@cache
def _flawed(kind: str) -> st.SearchStrategy[Inspection]:
    """A flawless unit of which a few fields, in any place, are silent or anything.

    Half of the flaws are in its empty lists (marks, works, signs …): there most flaws cost
    something and few hold the unit, so that grades and classes of every height come up.
    """
    best = flawless(kind)
    flaws = [
        ((*path, name), st.just(UNSET) | values(type(node), name, kind))
        for path, node in nodes(best)
        for name in node.__struct_fields__
        if may_be_absent(type(node), name)
    ]
    lists = [flaw for flaw in flaws if get(best, flaw[0]) == ()]
    flaw = (st.sampled_from(lists) | st.sampled_from(flaws)).flatmap(
        lambda place: st.tuples(st.just(place[0]), place[1])
    )
    return st.lists(flaw, min_size=1, max_size=3).map(lambda drawn: _with_flaws(best, drawn))


def _with_flaws(unit: Inspection, flaws: list[tuple[Path, Any]]) -> Inspection:
    # Longest paths first: what a shorter one replaces has then still been there.
    for path, value in sorted(flaws, key=lambda flaw: -len(flaw[0])):
        unit = put(unit, path, value)
    return unit


def made_sound(inspection: Inspection, kind: Kind) -> Inspection:
    """Leave out what a reader of records would refuse: some tests, and parts both out and in."""
    if inspection.removed is not UNSET:
        fitted = {part.part for part in inspection.parts or ()}
        out = tuple(part for part in inspection.removed if part not in fitted)
        inspection = replace(inspection, removed=out)
    if inspection.tests is UNSET:
        return inspection
    return replace(inspection, tests=tuple(_sound_tests(inspection, kind)))


def _sound_tests(inspection: Inspection, kind: Kind) -> Iterator[record.Test]:
    """Of two tests of one function, twin, day and stage the first; none that cannot apply."""
    has, seen = inspection.device.has, set()
    for test in inspection.tests or ():
        function = kind.functions[test.function]
        key = (test.function, test.which, test.on or DAY, test.stage)
        applies = function.if_present is None or (has is not UNSET and function.if_present in has)
        strange = test.which is not UNSET and test.which not in (function.which or (test.which,))
        if key in seen or strange or (test.result == "not_applicable" and applies):
            continue
        seen.add(key)
        yield test


# --- a flawless unit -----------------------------------------------------------------------------


@cache
def flawless(name: str) -> Inspection:
    """The best unit of a kind: everything was looked at, tried and written down, and is well.

    Words stand from best to worst in the record's declaration, so the first one is the best.
    """
    kind = shipped().kind(name)
    return Inspection(
        unit_id="HB-0001",
        inspected_on=DAY,
        device=_best_device(kind),
        intake=record.Intake(bought=_first(record.Intake, "bought"), powers_on=True, symptoms=()),
        cleaned=True,
        inside_seen=False,
        marks=(),
        displays=tuple(map(_best_display, kind.displays)),
        test_runs=(_best_run(),),
        tests=(),
        parts=(),
        repairs=(),
        removed=(),
        missing=(),
        signs=(),
        batteries=tuple(map(_best_battery, kind.batteries)),
        sealing=_first(Inspection, "sealing"),
        clearance={check: _best_check() for check in kind.clearances},
        erasure=_best_erasure(),
        accessories=(),
    )


def _first(struct: Any, name: str) -> Any:
    return get_args(shapes(struct)[name].type)[0]


def last_stage() -> record.Stage:
    """The stage that comes after all work of the same day."""
    stage: record.Stage = get_args(record.Stage)[-1]
    return stage


def _best_device(kind: Kind) -> record.Device:
    places = get_args(shapes(record.Identifier)["seen_on"].type)[:2]
    return record.Device(
        kind=kind.kind,
        year=DAY.year,
        has=kind.features,
        ip_rating=ip_codes()[-1],
        updates_until="2031-01",
        network_lock=_first(record.Device, "network_lock"),
        identifiers=tuple(
            record.Identifier(
                type=type_,  # type: ignore[arg-type]
                value=numbers_of(type_)[0],
                seen_on=place,
                stage=last_stage(),
            )
            for type_ in kind.identifiers
            for place in places
        ),
    )


def _best_display(which: str) -> record.Display:
    return record.Display(
        which=which,
        px=(1000, 2000),
        size_mm=(65.0, 130.0),
        bright=0,
        dark=0,
        subpixel_lit=0,
        subpixel_dark=0,
        lines=0,
        burn_in=_first(record.Display, "burn_in"),
        spots=_first(record.Display, "spots"),
        stage=last_stage(),
    )


def _best_run() -> record.TestRun:
    names = ("list", "result")
    return record.TestRun(
        **{name: _first(record.TestRun, name) for name in names}, stage=last_stage()
    )


def _best_battery(which: str) -> record.Battery:
    return record.Battery(
        which=which,
        state=_first(record.Battery, "state"),
        rated_mah=3000.0,
        full_charge_mah=2970.0,
        source=get_args(record.Source)[-1],
        nominal_v=3.85,
        cycles=12,
        reported_health_pct=99.0,
        run_time_min=600.0,
        claimed_run_time_min=600.0,
        shuts_down=False,
        stage=last_stage(),
    )


def _best_check() -> record.Check:
    return record.Check(
        result=_first(record.Check, "result"),
        list=TEXTS[0],
        checked_on=DAY,
        stage=last_stage(),
    )


def _best_erasure() -> record.Erasure:
    return record.Erasure(
        method=_first(record.Erasure, "method"),
        level=_first(record.Erasure, "level"),
        verified=True,
        on=DAY,
        stage=last_stage(),
        tool=TEXTS[0],
    )
