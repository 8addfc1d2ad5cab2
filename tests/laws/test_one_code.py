"""Every result has exactly one published code of looks, at most one of function; worse, no better.

The codes are those of the shipped tables. Their order is read from the tables themselves, and the
proof that they are in the published order is in ``tests/outside/test_published_categories.py``.
"""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradekit.assessment import Assessment, assess
from gradekit.crosswalk import Categories
from gradekit.grader import Grader
from gradekit.inspection import Inspection
from gradekit.rulebook import read_toml, shipped_folder
from tests.laws.strategies import MORE, days, kinds, shipped, units
from tests.laws.trials import trials
from tests.laws.worsening import worsened

TABLES = read_toml(shipped_folder() / "crosswalk.toml", dict, "crosswalk.toml", []) or {}
COSMETIC, FUNCTIONAL = (
    [code["code"] for code in TABLES[axis]["code"]] for axis in ("cosmetic", "functional")
)
NEVER = {
    code["code"] for axis in ("cosmetic", "functional") for code in TABLES[axis]["code"]
    if "never" in code
}  # fmt: skip


def found_in(result: Assessment) -> Categories:
    assert result.crosswalk is not None
    return result.crosswalk


def places(result: Assessment) -> tuple[int, int]:
    """How far down both codes stand; no functional code is the lowest."""
    found = found_in(result)
    assert found.cosmetic.code is not None
    function = found.functional.code or FUNCTIONAL[-1]
    return COSMETIC.index(found.cosmetic.code), FUNCTIONAL.index(function)


@MORE
@given(units(), days())
def test_one_code_of_looks_and_at_most_one_of_function(unit: Inspection, on: date) -> None:
    """Whatever is recorded, both axes answer, and never with a code that is kept for others."""
    result = assess(unit, shipped(), on)
    found = found_in(result)
    assert found.cosmetic.code in set(COSMETIC) - NEVER
    assert found.functional.code in {None, *FUNCTIONAL[:-1]} - NEVER
    assert found.withheld == ()
    judged = result.sale_class == "hold" or result.look_grade is not None
    assert judged or found.cosmetic.code == "C0"
    assert (found.functional.code is None) == (result.sale_class in ("as_is", "for_parts", "hold"))


@pytest.mark.parametrize("kind", kinds())
@given(st.data())
def test_a_worse_record_never_gets_a_better_code(kind: str, data: st.DataObject) -> None:
    """On neither axis does anything worse pay."""
    trial = data.draw(trials(worsened, units(kind)))
    before, after = places(trial.before), places(trial.after)
    assert after[0] >= before[0]
    assert after[1] >= before[1]


@given(units(), days())
def test_the_grader_gives_the_same_codes(unit: Inspection, on: date) -> None:
    """Codes do not depend on how fast they were worked out."""
    assert Grader(shipped()).assess(unit, on).crosswalk == assess(unit, shipped(), on).crosswalk
