"""ADVICE: what holds class and grade down, and what kind of work would raise them.

It stands after the assessment and reads nothing but its reasons and open checks. It promises no
result: what a test will show and what a part will cost are not its business.
"""

from typing import NamedTuple

from msgspec.structs import replace

from gradekit.assessment import Assessment, Holding, OpenCheck, Reason, Step
from gradekit.rules import CLASSES, GRADES, RemovedBy

EFFORT: tuple[RemovedBy, ...] = ("check", "test", "clean", "erase", "part", "repair")
"""Kinds of work, least effort first (common practice)."""


def advise(assessment: Assessment) -> Assessment:
    """The same assessment with its ladder: one step for each better class and grade."""
    return replace(assessment, ladder=(*_class_steps(assessment), *_grade_steps(assessment)))


def _class_steps(assessment: Assessment) -> list[Step]:
    here = CLASSES.index(assessment.sale_class)
    return [
        _step(CLASSES[to], [r for r in assessment.reasons if _class_rank(r) > to])
        for to in range(here - 1, -1, -1)
    ]


def _grade_steps(assessment: Assessment) -> list[Step]:
    here = max(map(_grade_rank, assessment.reasons), default=0)
    return [
        _step(GRADES[to], [r for r in assessment.reasons if _grade_rank(r) > to])
        for to in range(here - 1, -1, -1)
    ]


def _class_rank(reason: Reason) -> int:
    return 0 if reason.caps_class is None else CLASSES.index(reason.caps_class)


def _grade_rank(reason: Reason) -> int:
    return 0 if reason.caps_grade is None else GRADES.index(reason.caps_grade)


def _step(to: str, in_the_way: list[Reason]) -> Step:
    return Step(
        to=to,
        reasons=tuple(
            Holding(rule=r.rule, about=r.about, removed_by=r.removed_by) for r in in_the_way
        ),
        reachable=all(r.removed_by != "never" for r in in_the_way),
    )


class Task(NamedTuple):
    """Something to do next: what kind of work, on what, and which observations it settles."""

    removed_by: RemovedBy
    about: str
    names: tuple[str, ...]


def tasks(assessment: Assessment) -> list[Task]:
    """The work list of one unit: what holds class or grade down, least effort first.

    Only reasons that cap where the unit stands now are listed; removing others changes nothing
    yet. Reasons that no work removes are left out.
    """
    now = (
        CLASSES.index(assessment.sale_class),
        max(map(_grade_rank, assessment.reasons), default=0),
    )
    holding = [
        r
        for r in assessment.reasons
        if r.removed_by != "never"
        and ((now[0] and _class_rank(r) == now[0]) or (now[1] and _grade_rank(r) == now[1]))
    ]
    settled: dict[tuple[RemovedBy, str], tuple[str, ...]] = {}
    for reason in holding:
        key = (reason.removed_by, reason.about)
        settled[key] = (*settled.get(key, ()), reason.name)
    found = [Task(kind, about, names) for (kind, about), names in settled.items()]
    return sorted(found, key=lambda t: (EFFORT.index(t.removed_by), -len(t.names), t.about))


def worth_looking(assessment: Assessment) -> list[OpenCheck]:
    """Open checks that cost something now, could cost more than what holds now, or ask for a
    second look at something recorded.
    """
    held = CLASSES.index(assessment.sale_class)
    grade = max(map(_grade_rank, assessment.reasons), default=0)
    return [
        check
        for check in assessment.open_checks
        if check.costs_class
        or check.costs_grade
        or (check.may_class and CLASSES.index(check.may_class) > held)
        or (check.may_grade and GRADES.index(check.may_grade) > grade)
        or not check.rules
    ]
