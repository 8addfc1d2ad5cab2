"""Law 2. Worse never helps: no worse value and no further bad thing raises class or grade."""

from datetime import date
from random import Random

import pytest
from hypothesis import given, note
from hypothesis import strategies as st
from msgspec.structs import replace

from gradekit.assessment import assess
from gradekit.inspection import Inspection
from gradekit.rulebook import Rulebook
from tests.laws.ladders import nowhere_better, ranks
from tests.laws.rulebooks import DrawnRulebook, facts_of, rulebooks
from tests.laws.strategies import MORE, days, kinds, shipped, units
from tests.laws.trials import Trial, trials, trials_of_any_rules
from tests.laws.worsening import shuffled, silences, worsened


@pytest.mark.parametrize("kind", kinds())
@given(st.data())
def test_worse_never_helps(kind: str, data: st.DataObject) -> None:
    """Under the shipped rules nothing worse ever pays, not even by breaking a silence."""
    trial = data.draw(trials(worsened, units(kind)))
    assert nowhere_better(ranks(trial.after), ranks(trial.before))


def no_better(trial: Trial) -> None:
    """Nothing worse helps, or it taught something and no learning leads above the best of before.

    One more bad thing may tell what was not known: a wrong screw says that somebody opened the
    unit. Where somebody's rules make silence dearer than the worst answer, that answer is learnt.
    """
    note(repr(trial))
    before, after = (facts_of(unit, trial.on) for unit in (trial.unit, trial.change.unit))
    learnt = silences(before) - silences(after)
    limit = ranks(trial.before, "best_" if learnt else "")
    assert nowhere_better(ranks(trial.after), limit)


@MORE
@given(trials(worsened, units()))
def test_worse_never_helps_under_any_single_rule(trial: Trial) -> None:
    """Whatever one rule compares, and with what, a worse record does not escape it."""
    for smaller in trial.under_the_smallest_rules():
        no_better(smaller)


@given(trials_of_any_rules(worsened, units()))
def test_worse_never_helps_under_any_lawful_rules(trial: Trial) -> None:
    """Under anybody's lawful rules, with groups and tallies, nothing worse helps."""
    no_better(trial)


@given(units(), days(), st.randoms(use_true_random=False))
def test_order_does_not_matter(unit: Inspection, on: date, random: Random) -> None:
    """The order in which things were written down changes neither class nor grade."""
    then, now = assess(unit, shipped(), on), assess(shuffled(unit, random), shipped(), on)
    for prefix in ("", "best_", "worst_"):
        assert ranks(now, prefix) == ranks(then, prefix)


@given(st.data())
def test_order_does_not_matter_to_any_rules(data: st.DataObject) -> None:
    """Whatever the rules are, neither their order nor that of the record's lists plays a part."""
    unit, on = data.draw(units()), data.draw(days())
    random = data.draw(st.randoms(use_true_random=False))
    book: Rulebook = data.draw(rulebooks(facts_of(unit, on)))
    ids = [rule.id for rule in book.rules]
    random.shuffle(ids)
    mixed = DrawnRulebook([replace(r, id=id) for r, id in zip(book.rules, ids, strict=True)])
    then, now = assess(unit, book, on), assess(shuffled(unit, random), mixed, on)
    for prefix in ("", "best_", "worst_"):
        assert ranks(now, prefix) == ranks(then, prefix)
