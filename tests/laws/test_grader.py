"""The grader says what the interpreter says: of any unit, under any rules, whatever came before.

What it remembers of earlier units must never reach a later one. So every law here grades under
graders that have seen all units of the tests before, and neighbours that differ in one place.
"""

from collections.abc import Iterator
from datetime import date
from functools import cache
from typing import Any
from unittest.mock import patch

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import UNSET
from msgspec.structs import replace

from gradekit import grader as grader_module
from gradekit.assessment import Assessment, assess
from gradekit.caps import Caps
from gradekit.errors import RecordError
from gradekit.grader import Grader, fired
from gradekit.inspection import Identifier, Inspection, Part, Repair, Sign, Test
from gradekit.rulebook import Rulebook
from tests.laws.paths import nodes, put
from tests.laws.rulebooks import facts_of, rulebooks
from tests.laws.strategies import (
    DAY,
    DAYS,
    MORE,
    days,
    flawless,
    kinds,
    made_sound,
    may_be_absent,
    shipped,
    units,
    values,
)


@cache
def seasoned() -> Grader:
    """One grader for all units of all tests."""
    return Grader(shipped())


def agree(unit: Inspection, on: date, grader: Grader) -> Assessment:
    """Compare both results in every field, and class and grades once more by themselves."""
    wanted, found = assess(unit, grader.rulebook, on), grader.assess(unit, on)
    assert found == wanted
    assert msgspec.json.encode(found) == msgspec.json.encode(wanted)
    caps = grader.grade(unit, on).caps
    assert caps == tuple(getattr(wanted, name) for name in Caps._fields)
    spoke = {rule.id for rule in fired(grader.grade(unit, on))}
    assert {reason.rule for reason in wanted.reasons} <= spoke
    return found


@MORE
@given(units(), days())
def test_shipped_rules_say_the_same(unit: Inspection, on: date) -> None:
    """Every field of the result is the interpreter's."""
    agree(unit, on, seasoned())


@MORE
@given(st.data())
def test_any_rules_say_the_same(data: st.DataObject) -> None:
    """The same holds for anybody's lawful rules, of units one after the other."""
    several, on = [data.draw(units()), data.draw(units())], data.draw(days())
    book: Rulebook = data.draw(rulebooks(*(facts_of(unit, on) for unit in several)))
    grader = Grader(book)
    for unit in several:
        agree(unit, on, grader)


@st.composite
def neighbours(draw: st.DrawFn) -> tuple[Inspection, Inspection]:
    """A unit, and the same unit with one field of its record, in any place, silent or anything."""
    unit = draw(units())
    path, node = draw(st.sampled_from(list(nodes(unit))))
    name = draw(st.sampled_from(node.__struct_fields__))
    value = values(type(node), name, unit.device.kind)
    if may_be_absent(type(node), name):
        value = st.just(UNSET) if value.is_empty else st.just(UNSET) | value
    return unit, (put(unit, (*path, name), draw(value)) if not value.is_empty else unit)


@MORE
@given(neighbours(), days())
def test_one_field_is_enough_to_be_another_unit(
    pair: tuple[Inspection, Inspection], on: date
) -> None:
    """What was remembered of a unit is not taken for one that differs in a single field."""
    for unit in pair:
        agree(unit, on, seasoned())


@MORE
@given(st.data())
def test_one_field_is_enough_under_any_rules(data: st.DataObject) -> None:
    """The same holds for anybody's lawful rules about what differs."""
    pair, on = data.draw(neighbours()), data.draw(days())
    grader = Grader(data.draw(rulebooks(*(facts_of(unit, on) for unit in pair))))
    for unit in pair:
        agree(unit, on, grader)


def crossed(unit: Inspection, other: Inspection) -> Iterator[Inspection]:
    """The unit with each single field, in any place, that the other one has otherwise there."""
    there = dict(nodes(other))
    for path, node in nodes(unit):
        if type(there.get(path)) is type(node):
            for name in node.__struct_fields__:
                value = getattr(there[path], name)
                if value != getattr(node, name):
                    yield put(unit, (*path, name), value)


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(st.data(), st.sampled_from(kinds()), days())
def test_every_single_field_is_enough(data: st.DataObject, kind: str, on: date) -> None:
    """Between two units lie many that differ from the first in one field; none is mistaken."""
    unit, other = data.draw(units(kind)), data.draw(units(kind))
    agree(unit, on, seasoned())
    for neighbour in crossed(unit, other):
        agree(made_sound(neighbour, shipped().kind(kind)), on, seasoned())


def at_intake(unit: Inspection) -> Iterator[Inspection]:
    """The unit with each single finding made before any work of its day."""
    for path, node in nodes(unit):
        if "stage" in node.__struct_fields__:
            yield put(unit, (*path, "stage"), "intake")


@pytest.mark.parametrize("name", kinds())
def test_works_are_told_from_each_other(name: str) -> None:
    """Which part was fitted, what was read before it and which signs lie around it all count."""
    kind, grader = shipped().kind(name), Grader(shipped())
    for word in kind.parts:
        fitted = Part(part=word, origin="claimed_original", fitted_by="owner", on=DAY)
        unit = replace(flawless(name), parts=(fitted,))
        signs = [(Sign(sign=sign, where=word),) for sign in kind.signs]
        several = [unit, *at_intake(unit), *(replace(unit, signs=found) for found in signs)]
        for neighbour in several:
            agree(neighbour, DAY, grader)
    for word in kind.works:
        unit = replace(flawless(name), repairs=(Repair(work=word, on=DAY),))
        for neighbour in (unit, *at_intake(unit)):
            agree(neighbour, DAY, grader)


@pytest.mark.parametrize("name", kinds())
def test_days_of_findings_are_told_from_each_other(name: str) -> None:
    """Of two findings the later one counts, whichever stands first."""
    results: tuple[Any, ...] = ("pass", "fail")
    for function in shipped().kind(name).functions:
        for first, second in (DAYS[:2], DAYS[1::-1], [DAY, DAY]):
            days_of = zip(results, (first, second), strict=True)
            tests = tuple(Test(function=function, result=r, on=on) for r, on in days_of)
            agree(replace(flawless(name), tests=tests), DAY, seasoned())
            agree(replace(flawless(name), tests=tests, test_runs=()), DAY, seasoned())


NUMBERS = ("001000362311754", "001000362311755", "001000362311762")
"""A number of the test range whose check digit fits, the same with a wrong one, and another."""


@pytest.mark.parametrize("first", NUMBERS)
@pytest.mark.parametrize("second", NUMBERS)
@pytest.mark.parametrize("type_", ["imei", "serial"])
def test_refused_numbers_are_told_from_read_ones(first: str, second: str, type_: Any) -> None:
    """What numbers say of each other counts, not only where they were read."""
    for kind in kinds():
        unit = flawless(kind)
        seen = (("screen", first), ("label", second))
        numbers = [Identifier(type=type_, value=v, seen_on=where) for where, v in seen]  # type: ignore[arg-type]
        agree(put(unit, ("device", "identifiers"), tuple(numbers)), DAY, seasoned())


@given(units(), st.lists(days(), min_size=2, max_size=2))
def test_another_day_is_another_assessment(unit: Inspection, several: list[date]) -> None:
    """What was remembered of a day is not taken for another one."""
    for on in several:
        agree(unit, on, seasoned())


@given(units(), days())
def test_a_grader_that_forgets_says_the_same(unit: Inspection, on: date) -> None:
    """What was forgotten is worked out anew."""
    grader = Grader(shipped())
    with patch.object(grader_module, "MOST", 1):
        for again in (unit, flawless(unit.device.kind), unit):
            agree(again, on, grader)


@pytest.mark.parametrize("kind", kinds())
def test_a_day_before_the_inspection_is_refused(kind: str) -> None:
    """The grader refuses what the interpreter refuses."""
    with pytest.raises(RecordError):
        seasoned().grade(flawless(kind), min(DAYS))
    agree(flawless(kind), DAY, seasoned())
