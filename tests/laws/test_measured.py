"""Law 6. Measured means measured: a stated uncertainty counts at its unfavourable end.

The guard band of JCGM 106:2012, 8.3: what may lie beyond a limit is judged as if it did.
"""

from typing import Any

from hypothesis import given, note
from hypothesis import strategies as st
from msgspec import UNSET
from msgspec.structs import replace

from gradekit.assessment import Assessment
from gradekit.inspection import MEASURED, Inspection
from tests.laws.ladders import nowhere_better, ranks
from tests.laws.paths import nodes, put
from tests.laws.rulebooks import facts_of, rulebooks
from tests.laws.strategies import MORE, days, shapes, shipped, units, values
from tests.laws.trials import Change, Trial, told


@st.composite
def measured(draw: st.DrawFn) -> Inspection:
    """Any unit on which something was measured, with an uncertainty stated for some of it."""
    unit = draw(units())
    for name in ("marks", "batteries"):
        if draw(st.booleans()):
            unit = replace(unit, **{name: draw(values(Inspection, name, unit.device.kind))})
    stated = st.dictionaries(st.sampled_from(MEASURED), st.sampled_from([0.05, 1.0, 7.5, 400.0]))
    return replace(unit, uncertainty=draw(stated))


def moved(unit: Inspection) -> Inspection:
    """The unit with each uncertain value at its unfavourable end, and no uncertainty stated."""
    stated = unit.uncertainty or {}
    for path, node in nodes(unit):
        for name in node.__struct_fields__:
            value = getattr(node, name)
            if name in stated and value is not UNSET:
                unit = put(unit, (*path, name), _at_its_end(type(node), name, value, stated[name]))
    return replace(unit, uncertainty=UNSET)


def _at_its_end(struct: Any, name: str, value: float, margin: float) -> float:
    if shapes(struct)[name].extra("worse") == "more":
        return value + margin
    return max(value - margin, 0.0)


def exactly(unit: Inspection) -> Inspection:
    """The unit as if everything had been measured without any doubt."""
    return replace(unit, uncertainty=UNSET)


@st.composite
def compared(draw: st.DrawFn, other: Any) -> Trial:
    """An uncertain unit beside another record of it, under the shipped rules."""
    unit = draw(measured())
    return Trial(unit, Change(f"without {unit.uncertainty}", other(unit)), draw(days()), shipped())


def capping(found: Assessment) -> list[tuple[Any, ...]]:
    """The reasons that hold the unit down."""
    reasons = ((r.rule, r.about, r.presumed, r.caps_class, r.caps_grade) for r in found.reasons)
    return sorted(r for r in reasons if r[3] or r[4])


def same(trial: Trial) -> None:
    note(repr(trial))
    before, after = trial.before, trial.after
    assert capping(before) == capping(after)
    for prefix in ("", "best_", "worst_"):
        assert ranks(before, prefix) == ranks(after, prefix)


def no_better(trial: Trial) -> None:
    note(repr(trial))
    for prefix in ("", "best_", "worst_"):
        assert nowhere_better(ranks(trial.before, prefix), ranks(trial.after, prefix))


def under_any_rules(trial: Trial, data: st.DataObject) -> Trial:
    facts = [facts_of(unit, trial.on) for unit in (trial.unit, trial.change.unit)]
    return trial._replace(book=data.draw(rulebooks(*facts)))


@given(compared(moved), st.data())
def test_uncertainty_is_judged_at_its_unfavourable_end(trial: Trial, data: st.DataObject) -> None:
    """A value with an uncertainty is judged like the worst value that it may stand for."""
    same(trial)
    same(under_any_rules(trial, data))


@MORE
@given(compared(moved))
def test_no_single_rule_tells_the_two_apart(trial: Trial) -> None:
    """Whatever one rule compares, an uncertain value and its unfavourable end are one to it."""
    for smaller in trial.under_the_smallest_rules():
        same(smaller)


@given(compared(exactly), st.data())
def test_doubt_never_helps(trial: Trial, data: st.DataObject) -> None:
    """Stating an uncertainty never raises class or grade, now, at best or at worst."""
    no_better(trial)
    no_better(under_any_rules(trial, data))


@given(measured(), days())
def test_a_used_uncertainty_is_told(unit: Inspection, on: Any) -> None:
    """Each fact that was moved carries the margin that it was moved by, to be worded."""
    stated = {name: margin for name, margin in (unit.uncertainty or {}).items() if margin}
    for mark in facts_of(unit, on).marks:
        uncertain = [name for name in stated if getattr(mark, name, None) is not None]
        assert mark.margins == {name: stated[name] for name in uncertain}, told(unit)
