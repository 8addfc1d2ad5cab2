"""Law 6. A stated uncertainty is judged at its unfavourable end (guard band, JCGM 106)."""

from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET
from msgspec.structs import replace

from gradekit.assessment import Assessment, assess
from gradekit.inspection import MEASURED, Inspection
from tests.laws.ladders import nowhere_better, ranks
from tests.laws.strategies import shipped, units

UP = ("length_mm", "width_mm", "area_mm2")
"""Measures of marks: more is worse. The others are a battery's: less is worse."""


def moved(unit: Inspection, margins: dict[str, float]) -> Inspection:
    """The same unit with each reading at its unfavourable end and no uncertainty stated."""
    marks: Any = unit.marks or unit.marks
    batteries: Any = unit.batteries or unit.batteries
    if marks:
        marks = tuple(replace(mark, **_shifted(mark, margins, UP, 1)) for mark in marks)
    if batteries:
        down = tuple(name for name in MEASURED if name not in UP)
        batteries = tuple(replace(b, **_shifted(b, margins, down, -1)) for b in batteries)
    return replace(unit, marks=marks, batteries=batteries, uncertainty=UNSET)


def _shifted(
    item: Any, margins: dict[str, float], names: tuple[str, ...], sign: int
) -> dict[str, float]:
    return {
        name: max(getattr(item, name) + sign * margins[name], 0.0)
        for name in names
        if name in margins and getattr(item, name) is not UNSET
    }


def capping(found: Assessment) -> set[tuple[str, str]]:
    return {(r.rule, r.about) for r in found.reasons if r.caps_class or r.caps_grade}


MARGINS = st.dictionaries(st.sampled_from(MEASURED), st.sampled_from([0.1, 0.5, 3.0, 40.0, 500.0]))


@given(units(), MARGINS)
def test_an_uncertain_reading_counts_at_its_unfavourable_end(
    unit: Inspection, margins: dict[str, float]
) -> None:
    """The outcome is that of the record whose readings stand there already."""
    stated = assess(replace(unit, uncertainty=margins or UNSET), shipped())
    there = assess(moved(unit, margins), shipped())
    assert ranks(stated) == ranks(there)
    assert capping(stated) == capping(there)


@given(units(), MARGINS)
def test_uncertainty_never_helps(unit: Inspection, margins: dict[str, float]) -> None:
    """Nobody gains by measuring badly; none stated takes the value itself."""
    plain = assess(replace(unit, uncertainty=UNSET), shipped())
    stated = assess(replace(unit, uncertainty=margins or UNSET), shipped())
    assert nowhere_better(ranks(stated), ranks(plain))
