"""The grader says what the interpreter says: of any unit, under any rules, whatever came before.

What it remembers of earlier units must never reach a later one. So every law here grades under
graders that have seen all units of the tests before, and neighbours that differ in one place.
"""

from datetime import date
from functools import cache
from unittest.mock import patch

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET

from gradekit import grader as grader_module
from gradekit.assessment import Assessment, assess
from gradekit.caps import Caps
from gradekit.errors import RecordError
from gradekit.grader import Grader, fired
from gradekit.inspection import Inspection
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
