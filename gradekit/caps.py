"""CAPS: what rules cap, as bits, so that one *or* keeps the worst cap of many.

It stands between the rules and the grader. It is the arithmetic of "the worst cap wins" and
nothing else: words are those of ``rules``, and reasons are not its business.
"""

from typing import NamedTuple

from gradekit.conditions import Outcome
from gradekit.rules import CLASSES, GRADES, Grade, Rule, SaleClass, is_of_looks


class Caps(NamedTuple):
    """Class and grade now, by looks alone, at best and at worst."""

    sale_class: SaleClass
    grade: Grade | None
    look_grade: Grade | None
    best_sale_class: SaleClass
    best_grade: Grade | None
    worst_sale_class: SaleClass
    worst_grade: Grade | None


_CLASS, _GRADE = len(CLASSES) - 1, len(GRADES) - 1
_STEPS = (_CLASS, _GRADE, _GRADE, _CLASS, _GRADE, _CLASS, _GRADE)
"""How many steps down there are in each of the ``Caps``. Each step is a bit, and a cap sets its
own and those of all milder ones; the first of the ``Caps`` has the lowest bits."""


def bits_of(rule: Rule, outcome: Outcome) -> int:
    """What an answer caps: fired for sure caps in every case, presumed not at best, a rule that
    cannot tell only at worst. Rules on trial cap nothing.
    """
    down_class, down_grade, _ = rule.severity
    now, sure = outcome >= Outcome.PRESUMED, outcome is Outcome.FIRES
    perhaps = outcome is not Outcome.CLEAR
    applies = (now, now, now and is_of_looks(rule), sure, sure, perhaps, perhaps)
    downs = (down_class, down_grade, down_grade, *(down_class, down_grade) * 2)
    bits, place = 0, 0
    for applied, down, steps in zip(applies, downs, _STEPS, strict=True):
        bits |= ((1 << down) - 1) << place if applied else 0
        place += steps
    return bits


def read_caps(bits: int) -> Caps:
    """The words that the bits of all answers together stand for."""
    downs = []
    for steps in _STEPS:
        downs.append((bits & ((1 << steps) - 1)).bit_count())
        bits >>= steps
    now, grade, looks, best, best_grade, worst, worst_grade = downs
    return Caps(
        CLASSES[now],
        _graded(grade, now),
        _graded(looks, now),
        CLASSES[best],
        _graded(best_grade, best),
        CLASSES[worst],
        _graded(worst_grade, worst),
    )


def _graded(down: int, down_class: int) -> Grade | None:
    """None on hold and while looks are unjudged."""
    return None if CLASSES[down_class] == "hold" or GRADES[down] == "ungraded" else GRADES[down]
