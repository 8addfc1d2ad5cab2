"""Trials: a unit before and after a change, and the rulebook that judges both.

A trial tells itself shortly, so that a law that fails can be read: only what sets the unit apart
from a flawless one of its kind, the change, the rules, and what came of it.
"""

from collections.abc import Callable, Iterator
from datetime import date
from typing import Any, NamedTuple

import msgspec
from hypothesis import strategies as st

from gradekit.assessment import Assessment, assess
from gradekit.inspection import Inspection
from gradekit.kinds import Kind
from gradekit.rulebook import Rulebook
from gradekit.subjects import Facts
from tests.laws.ladders import reached
from tests.laws.rulebooks import facts_of, rulebooks, smallest
from tests.laws.strategies import days, flawless, shipped


class Change(NamedTuple):
    """A record with one thing in it changed, and what it was."""

    what: str
    unit: Inspection


class Trial(NamedTuple):
    """A unit, a change of it, and the rules under which both are assessed on one day."""

    unit: Inspection
    change: Change
    on: date
    book: Rulebook

    @property
    def before(self) -> Assessment:
        """The result without the change."""
        return assess(self.unit, self.book, self.on)

    @property
    def after(self) -> Assessment:
        """The result with the change."""
        return assess(self.change.unit, self.book, self.on)

    def under_the_smallest_rules(self) -> Iterator["Trial"]:
        """The same change under each rulebook of a single comparison on what it touched."""
        facts = [facts_of(unit, self.on) for unit in (self.unit, self.change.unit)]
        return (self._replace(book=book) for book in smallest(*facts))

    def __repr__(self) -> str:
        before, after = self.before, self.after
        old, new = ({(r.rule, r.about) for r in found.reasons} for found in (before, after))
        return "\n".join(
            [
                f"a unit of the kind {self.unit.device.kind}, flawless but for {told(self.unit)}",
                f"assessed on {self.on} under {rules(self.book)}",
                f"then {self.change.what}",
                f"before {reached(before)}, after {reached(after)}",
                f"best {reached(before, 'best_')}, worst {reached(before, 'worst_')}",
                f"reasons gone {sorted(old - new)}, reasons new {sorted(new - old)}",
            ]
        )


def told(unit: Inspection) -> str:
    """What sets a unit apart from a flawless one, as JSON; what it does not record is null."""
    record, best = (msgspec.to_builtins(each) for each in (unit, flawless(unit.device.kind)))
    different = {key: record.get(key) for key in record | best if record.get(key) != best.get(key)}
    return msgspec.json.encode(different).decode()


def rules(book: Rulebook) -> str:
    """The rules, shortly; the shipped ones only by name."""
    if book is shipped():
        return "the shipped rules"
    return "; ".join(
        f"{rule.id} on {rule.subject} when {rule.when} caps {rule.caps_class} {rule.caps_grade}"
        for rule in book.rules
        if rule.status == "active"
    )


Changes = Callable[[Inspection, Kind, Facts, date], st.SearchStrategy[Change]]


@st.composite
def trials(draw: st.DrawFn, changes: Changes, of: st.SearchStrategy[Inspection]) -> Trial:
    """One of these units, changed in one of these ways, under the shipped rules."""
    unit, on = draw(of), draw(days())
    ways = changes(unit, shipped().kind(unit.device.kind), facts_of(unit, on), on)
    return Trial(unit, draw(ways), on, shipped())


@st.composite
def trials_of_any_rules(
    draw: st.DrawFn, changes: Changes, of: st.SearchStrategy[Inspection]
) -> Trial:
    """One of these units, changed in one of these ways, under any lawful rulebook."""
    trial = draw(trials(changes, of))
    facts = [facts_of(unit, trial.on) for unit in (trial.unit, trial.change.unit)]
    return trial._replace(book=draw(rulebooks(*facts)))


def plain(value: Any) -> Any:
    """A part of a record as JSON would give it."""
    return msgspec.to_builtins(value)
