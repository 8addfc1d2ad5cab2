"""RULES: what a rule is, and what it has to say about a unit.

It stands between the facts and the assessment. A rule is data: one subject, one closed condition,
and what follows. There are no priorities: every rule that fires is reported, and the worst cap
wins. It reads no files; ``rulebook`` does.
"""

from collections.abc import Iterator
from functools import cached_property
from typing import Annotated, Any, Literal, NamedTuple, get_args

import msgspec
from msgspec import Meta

from gradekit.conditions import Condition, Outcome, judge, judge_tally, parse_condition
from gradekit.kinds import END
from gradekit.subjects import UNIT_PATHS, Fact, Facts

Grade = Literal["A", "B", "C", "D", "E", "ungraded"]
"""Condition overall, best first. ``ungraded``: the looks were not judged, so there is no grade."""

SaleClass = Literal["refurbished", "used", "as_is", "for_parts", "hold"]
"""What a unit may be sold as, best first."""

RemovedBy = Literal["check", "test", "clean", "erase", "part", "repair", "never"]
"""What kind of work makes a reason go away, least effort first."""

GRADES: tuple[Grade, ...] = get_args(Grade)
CLASSES: tuple[SaleClass, ...] = get_args(SaleClass)


class Cite(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where a published figure or duty comes from."""

    source: Annotated[str, Meta(description="An id of sources.toml")]
    locator: Annotated[str, Meta(min_length=1, description="Clause, article, table, page")]
    takes: Annotated[str, Meta(min_length=1, description="What the rule takes from there")]


class Rule(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, dict=True):
    """One rule as it stands in TOML."""

    id: Annotated[str, Meta(pattern=r"^[A-Z]{2,4}[0-9]{2,3}" + END)]
    name: Annotated[str, Meta(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*" + END, max_length=80)]
    since: Annotated[str, Meta(min_length=1)]
    status: Literal["active", "trial", "retired"] = "active"
    replaced_by: str | None = None
    subject: str
    topic: Annotated[str, Meta(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*" + END)]
    kinds: tuple[str, ...] = ()
    when: dict[str, Any]
    caps_grade: Grade | None = None
    caps_class: SaleClass | None = None
    disclose: str | None = None
    deviation: bool = False
    voids: tuple[str, ...] = ()
    caution: str | None = None
    removed_by: RemovedBy = "never"
    misleads_when: str | None = None
    basis: Literal["published", "common_practice", "house"]
    cites: tuple[Cite, ...] = ()

    @cached_property
    def condition(self) -> Condition:
        """The parsed ``when``; RuleError lists what cannot be parsed."""
        return parse_condition(self.subject, self.when)

    @property
    def caps(self) -> bool:
        """The rule can hold a unit down, not only ask for a sentence."""
        return self.caps_grade is not None or self.caps_class is not None

    @property
    def cap_class(self) -> SaleClass | None:
        """The class it caps at; rules on trial report but never cap."""
        return self.caps_class if self.status == "active" else None

    @property
    def cap_grade(self) -> Grade | None:
        """The grade it caps at; rules on trial report but never cap."""
        return self.caps_grade if self.status == "active" else None

    @cached_property
    def severity(self) -> tuple[int, int, str]:
        """Steps that it takes off class and grade; of equals the higher id is the graver."""
        down_class = 0 if self.cap_class is None else CLASSES.index(self.cap_class)
        down_grade = 0 if self.cap_grade is None else GRADES.index(self.cap_grade)
        return down_class, down_grade, self.id

    def applies_to(self, kind: str) -> bool:
        """Rules without ``kinds`` are for every kind."""
        return self.status != "retired" and (not self.kinds or kind in self.kinds)


def first_path(rule: Rule) -> str:
    """The path of the first field that a rule on the whole unit names."""
    field = next(rule.condition.walk()).field
    return UNIT_PATHS.get(field, field)


def is_of_looks(rule: Rule) -> bool:
    """The rule is about what can be seen of a unit: marks, displays, what is missing or dirty."""
    about = first_path(rule) if rule.subject == "unit" else rule.subject
    return about in ("marks", "displays", "missing", "cleaned")


class Verdict(NamedTuple):
    """A rule that fired, or that cannot tell, and what about."""

    rule: Rule
    about: str
    outcome: Outcome
    fact: Fact | None
    """None where it is a whole list that is not recorded."""
    tallied: float | None = None


def verdicts(rule: Rule, facts: Facts) -> Iterator[Verdict]:
    """Everything a rule has to say about a unit, clear answers left out."""
    condition = rule.condition
    items: tuple[Fact, ...] = getattr(facts, rule.subject)
    list_open = rule.subject in facts.open_subjects
    if condition.tally is not None:
        outcome, least = judge_tally(condition.tally, items, list_open)
        if outcome is not Outcome.CLEAR:
            yield Verdict(rule, rule.subject, outcome, None, least)
        return
    for fact in items:
        outcome = judge(condition, fact)
        if outcome is not Outcome.CLEAR:
            yield Verdict(rule, fact.about, outcome, fact)
    if list_open and rule.subject not in WHOLE:
        yield Verdict(rule, rule.subject, Outcome.CANNOT_TELL, None)


WHOLE = ("tests", "displays", "batteries")
"""Subjects with one item for all that the kind has, recorded or not: an open list adds none."""
