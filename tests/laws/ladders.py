"""The two ladders: how good a class or a grade is, and whether one result beats another."""

from collections.abc import Sequence

from gradekit.assessment import Assessment
from gradekit.rules import CLASSES, GRADES, Grade, SaleClass


def class_rank(sale_class: SaleClass) -> int:
    """How far down a class stands; 0 is the best."""
    return CLASSES.index(sale_class)


def grade_rank(grade: Grade | None) -> int:
    """How far down a grade stands; 0 is the best, and no grade is the lowest."""
    return GRADES.index("ungraded") if grade is None else GRADES.index(grade)


def ranks(assessment: Assessment, prefix: str = "") -> tuple[int, int]:
    """Ranks of class and grade as they are now, at ``best_`` or at ``worst_``."""
    sale_class = getattr(assessment, f"{prefix}sale_class")
    return class_rank(sale_class), grade_rank(getattr(assessment, f"{prefix}grade"))


def reached(found: Assessment, prefix: str = "") -> str:
    """Class and grade in words, for a failing law."""
    grade = getattr(found, f"{prefix}grade") or "ungraded"
    return f"{getattr(found, f'{prefix}sale_class')} {grade}"


def nowhere_better(one: Sequence[int], other: Sequence[int]) -> bool:
    """On no ladder does one result stand higher than the other."""
    return all(a >= b for a, b in zip(one, other, strict=True))


def between(now: Assessment, then: Assessment) -> bool:
    """What is known now lies between the worst and the best that it could have been then."""
    after = ranks(now)
    return nowhere_better(after, ranks(then, "best_")) and nowhere_better(
        ranks(then, "worst_"), after
    )
