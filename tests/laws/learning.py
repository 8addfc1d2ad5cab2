"""What can be learnt of a unit: one open thing is looked at, and what is found is written down.

Nothing happens to the unit in between. Taking parts out, erasing it in another way or finding out
which features it was built with are deeds and descriptions: they make another unit of it, and
whether that one is better is no question of silence. So of these fields nothing is learnt:

- ``removed``: absent, nothing was taken out; ``device.has``: which unit this is;
- ``erasure.method``: absent, the level is what is said of it, and rules may ask for the method;
- ``erasure.level`` beside a method, and ``level`` of a work whose depth the kind lays down:
  absent, they are what the method reaches, and what the kind says;
- ``fixes`` of a work: absent, it mended nothing but what its kind of work always touches;
- ``on``, ``read_on`` and ``checked_on`` of a finding, and ``which`` of a test: absent, they mean
  the day of the inspection and all twins, so nothing is open. An undated *work* is open: it counts
  as the last thing done until its day is known;
- ``partly`` and ``uncertainty``: they say how well something else is known.

What is written down for people or for the sale (notes, sizes, an offer) is left out as well: no
fact is made of it.
"""

from collections.abc import Iterator, Sequence
from datetime import date
from functools import partial
from typing import Any, get_args, get_origin

import msgspec
from hypothesis import strategies as st
from msgspec import UNSET, UnsetType
from msgspec.structs import replace

from gradekit import inspection as record
from gradekit.inspection import Inspection
from gradekit.kinds import Kind
from gradekit.subjects import Facts, TestFact
from gradekit.works import open_list, stands, timeline
from tests.laws.paths import Path, nodes, put
from tests.laws.rulebooks import facts_of
from tests.laws.strategies import (
    DAY,
    DAYS,
    Strategy,
    item_type,
    last_stage,
    may_be_absent,
    shapes,
    structs,
    units,
    values,
)
from tests.laws.trials import Change, plain
from tests.laws.worsening import fact_of, told_words

Answers = Iterator[tuple[Path, Strategy]]
"""Places in a record, and what may be found there."""

NEVER_LEARNT = {
    (Inspection, "removed"),
    (Inspection, "partly"),
    (Inspection, "uncertainty"),
    (record.Device, "has"),
    (record.Test, "which"),
    (record.Test, "on"),
    (record.TestRun, "on"),
    (record.Display, "read_on"),
    (record.Battery, "read_on"),
    (record.Check, "checked_on"),
    (record.Erasure, "method"),
    (record.Erasure, "on"),
    (record.Repair, "fixes"),
    (record.Identifier, "read_on"),
}

FOR_PEOPLE = {
    (Inspection, "acquisition"),
    (Inspection, "offer"),
    (record.Device, "storage_gb"),
    (record.Device, "memory_gb"),
    (record.Device, "size_mm"),
    (record.Intake, "on"),
    (record.Mark, "at_mm"),
    (record.Mark, "photos"),
    (record.Display, "size_mm"),
    (record.Erasure, "also_out"),
}

FOR_THE_SALE = (record.Offer, record.Guarantee, record.Acquisition)


def learnt(unit: Inspection, kind: Kind, facts: Facts, on: date) -> st.SearchStrategy[Change]:
    """The unit with one open thing looked at. Empty where nothing is open."""
    ways: dict[Path, list[Strategy]] = {}
    for path, answers in _questions(unit, kind, facts, on):
        if not answers.is_empty:
            alike = tuple(step for step in path if isinstance(step, str))
            ways.setdefault(alike, []).append(answers.map(partial(_told, unit, path)))
    if not ways:
        return st.nothing()
    one = st.sampled_from(list(ways.values())).flatmap(st.sampled_from)
    learnings = one.flatmap(lambda way: way)
    return learnings.filter(lambda told: facts_of(told.unit, on).removed == facts.removed)


def half_told(kind: str | None = None) -> st.SearchStrategy[Inspection]:
    """Any unit, of which some of what was seen is not written down, or not to the end."""
    return units(kind).flatmap(_half_told)


def _half_told(unit: Inspection) -> st.SearchStrategy[Inspection]:
    told: dict[tuple[Any, str], list[Path]] = {}
    for path, node in nodes(unit):
        for name in node.__struct_fields__:
            if _is_told(node, name):
                told.setdefault((type(node), name), []).append((*path, name))
    if not told:
        return st.just(unit)
    one = st.sampled_from(list(told.values())).flatmap(st.sampled_from)
    silent = st.lists(one, min_size=1, max_size=2, unique=True)
    partly = st.lists(st.sampled_from(get_args(record.ListName)), max_size=2, unique=True)
    return st.builds(partial(_silenced, unit), silent, partly.map(tuple))


def _is_told(node: msgspec.Struct, name: str) -> bool:
    return getattr(node, name) is not UNSET and _learnable(type(node), name, lists=True)


def _silenced(unit: Inspection, paths: list[Path], partly: tuple[Any, ...]) -> Inspection:
    for path in sorted(paths, key=len, reverse=True):
        unit = put(unit, path, UNSET)
    return replace(unit, partly=partly or unit.partly)


def _told(unit: Inspection, path: Path, answer: Any) -> Change:
    told = put(unit, path, answer)
    if told.partly is not UNSET and path[-1] in told.partly:
        told = replace(told, partly=tuple(name for name in told.partly if name != path[-1]))
    return Change(f"{path} = {plain(answer)}", told)


def _questions(unit: Inspection, kind: Kind, facts: Facts, on: date) -> Answers:
    yield from _silent_fields(unit, kind)
    yield from _silent_words(unit)
    yield from _open_lists(unit, kind)
    yield from _untested(unit, kind, facts)
    yield from _stale_readings(unit, kind, facts)
    yield from _stale_clearances(unit, kind, facts, on)


# --- fields and words ----------------------------------------------------------------------------


def _silent_fields(unit: Inspection, kind: Kind) -> Answers:
    """Every absent field that can be looked at."""
    readings = _Readings(unit, kind)
    for path, node in nodes(unit):
        for name in node.__struct_fields__:
            if getattr(node, name) is not UNSET or not _learnable(type(node), name):
                continue
            if isinstance(node, record.Display | record.Battery):
                found = readings.answers(path, node, name)
            else:
                found = _answers(unit, node, name, kind)
            yield (*path, name), found


def _learnable(struct: Any, name: str, *, lists: bool = False) -> bool:
    """An observation, and no text that only people read. Open lists have a place of their own."""
    field = shapes(struct)[name]
    is_list = name in get_args(record.ListName) and item_type(field) is not None
    is_prose = field.bound("max_length") and name not in fact_of(struct).__struct_fields__
    skipped = (struct, name) in NEVER_LEARNT | FOR_PEOPLE or struct in FOR_THE_SALE
    return may_be_absent(struct, name) and not (skipped or is_prose or (is_list and not lists))


def _answers(unit: Inspection, node: msgspec.Struct, name: str, kind: Kind) -> Strategy:
    """What may be found where a field was silent."""
    if isinstance(node, record.Test) and node.result not in told_words(record.Test, "result"):
        return st.nothing()  # what was not tested has no stage and shows nothing
    if name == "level" and _is_laid_down(node, kind):
        return st.nothing()
    if name == "test_runs" and unit.tests is not UNSET:
        return st.nothing()  # a further run would be a new test, not an answer
    if name == "inside_seen" and unit.sealing == BEST_SEALS:
        return st.just(False)  # to look inside would be to open it
    return values(type(node), name, kind.kind)


def _is_laid_down(node: msgspec.Struct, kind: Kind) -> bool:
    if isinstance(node, record.Repair):
        return kind.works[node.work].level is not None
    return isinstance(node, record.Erasure) and node.method is not UNSET


BEST_SEALS = get_args(record.Sealing)[0]


def _silent_words(unit: Inspection) -> Answers:
    """Words that say as little as absence: something else is found."""
    for path, node in nodes(unit):
        for name in node.__struct_fields__ if not isinstance(node, record.Test) else ():
            known, value = told_words(type(node), name), getattr(node, name)
            if known and value is not UNSET and value not in known:
                yield (*path, name), st.sampled_from(known)


# --- lists and tests -----------------------------------------------------------------------------


def _open_lists(unit: Inspection, kind: Kind) -> Answers:
    """Lists not recorded, or recorded in part: they are completed, by nothing or by more."""
    for name in get_args(record.ListName):
        path = ("intake", name) if name in shapes(record.Intake) else (name,)
        holder: msgspec.Struct | UnsetType = unit.intake if len(path) > 1 else unit
        if holder is UNSET or not open_list(unit, name) or name in ("tests", "removed"):
            continue
        kept = () if getattr(holder, name) is UNSET else getattr(holder, name)
        more = values(type(holder), name, kind.kind)
        yield path, more.map(partial(_completed, kept))


def _completed(kept: tuple[Any, ...], more: tuple[Any, ...]) -> tuple[Any, ...]:
    """Of displays and batteries that were read already, more readings would be new work."""
    read = {item.which for item in kept if isinstance(item, record.Display | record.Battery)}
    return (*kept, *(item for item in more if getattr(item, "which", None) not in read or not read))


def _untested(unit: Inspection, kind: Kind, facts: Facts) -> Answers:
    """Functions that were never tested, or not since the last work on them, are tested."""
    waiting = [fact for fact in facts.tests if fact.result is None or "result" in fact.open]
    if not waiting:
        return
    tests = st.builds(
        _test,
        st.sampled_from(waiting),
        st.sampled_from(told_words(record.Test, "result")),
        st.sampled_from([UNSET, *DAYS]),
        st.sampled_from([UNSET, *get_args(record.Stage)]),
    )
    kept = unit.tests or ()
    yield ("tests",), st.lists(tests, max_size=3).map(lambda more: (*kept, *more))


def _test(fact: TestFact, result: record.Result, on: Any, stage: Any) -> record.Test:
    which = UNSET if fact.which is None else fact.which
    return record.Test(function=fact.function, which=which, result=result, on=on, stage=stage)


# --- displays and batteries ----------------------------------------------------------------------


class _Readings:
    """The readings of a unit, and what they leave open."""

    def __init__(self, unit: Inspection, kind: Kind) -> None:
        self.unit, self.kind, self.works = unit, kind, timeline(unit, kind)

    def answers(self, path: Path, node: record.Display | record.Battery, name: str) -> Strategy:
        """What may be found where a reading is silent.

        What a standing reading tells is known, and the same read once more would be a new reading.
        What the maker laid down is the same in every reading, and where one is silent on it, what
        was read there is worth nothing yet.
        """
        others = [r for r in getattr(self.unit, str(path[0])) if r.which == node.which]
        found = values(type(node), name, self.kind.kind)
        told = {getattr(other, name) for other in others} - {UNSET}
        if _laid_down(type(node), name):
            return st.just(max(told)) if told else found
        standing = [other for other in others if self._stands(str(path[0]), other)]
        known = any(getattr(other, name) is not UNSET for other in standing)
        return st.nothing() if known or _known_otherwise(standing, name) else found

    def _stands(self, listed: str, reading: record.Display | record.Battery) -> bool:
        path = f"{listed}[{reading.which}]"
        works = self.works.rereading(path)
        return stands(reading.read_on or self.unit.inspected_on, reading.stage, works)


def _laid_down(struct: Any, name: str) -> bool:
    """Sizes and ratings: numbers that no use makes worse."""
    field = shapes(struct)[name]
    is_number = field.type is float or get_origin(field.type) is tuple
    return is_number and field.extra("worse") is None


def _known_otherwise(standing: Sequence[record.Display | record.Battery], name: str) -> bool:
    """Health has two ways to be read: where one was gone, the other would be a new reading."""
    ways = ("full_charge_mah", "reported_health_pct")
    readings = [r for r in standing if isinstance(r, record.Battery)]
    return name in ways and any(_tells_health(reading) for reading in readings)


def _tells_health(reading: record.Battery) -> bool:
    measured = reading.full_charge_mah is not UNSET and reading.rated_mah is not UNSET
    return measured or reading.reported_health_pct is not UNSET


def _stale_readings(unit: Inspection, kind: Kind, facts: Facts) -> Answers:
    """What was read before the last work on it is read again."""
    for name, struct in (("displays", record.Display), ("batteries", record.Battery)):
        for fact in getattr(facts, name):
            if "which" in fact.open:
                again = structs(struct, kind.kind).map(partial(_just_now, which=fact.which))
                yield (name,), again.map(partial(_after, getattr(unit, name)))


def _checked(on: date, result: record.Cleared) -> record.Check:
    return record.Check(result=result, checked_on=on, stage=last_stage())


def _after(kept: tuple[Any, ...], reading: Any) -> tuple[Any, ...]:
    return (*kept, reading)


def _just_now(reading: Any, **fields: Any) -> Any:
    """The same finding made on the day of the inspection, after all work."""
    day = "read_on" if hasattr(reading, "read_on") else "on"
    return replace(reading, stage=last_stage(), **{day: DAY}, **fields)


# --- seals, erasure and clearances ---------------------------------------------------------------


def _stale_clearances(unit: Inspection, kind: Kind, facts: Facts, on: date) -> Answers:
    """What is too old, or was cancelled by later work, is looked at again."""
    for fact in facts.clearance:
        if unit.clearance is not UNSET and (fact.result is None or "result" in fact.open):
            found = st.sampled_from(told_words(record.Check, "result"))
            yield ("clearance", fact.check), found.map(partial(_checked, on))
    if unit.erasure is not UNSET and any("verified" in fact.open for fact in facts.erasure):
        yield ("erasure",), structs(record.Erasure, kind.kind).map(_just_now)
    if any("agree" in fact.open for fact in facts.identity):
        again = structs(record.Identifier, kind.kind).map(_just_now)
        kept = unit.device.identifiers or ()
        yield ("device", "identifiers"), again.map(partial(_after, kept))
    if unit.sealing not in (UNSET, facts.unit[0].sealing):
        told = [word for word in get_args(record.Sealing) if word != BEST_SEALS]
        yield ("sealing",), st.sampled_from(told)
