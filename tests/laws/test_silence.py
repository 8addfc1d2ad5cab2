"""Law 3. Silence is not a claim: what is learnt lands between the worst and best of before."""

import pytest
from hypothesis import given, note
from hypothesis import strategies as st

from tests.laws.ladders import nowhere_better, ranks
from tests.laws.learning import half_told, learnt
from tests.laws.strategies import MORE, kinds
from tests.laws.trials import Trial, trials, trials_of_any_rules


def lands_between(trial: Trial) -> None:
    note(repr(trial))
    before, after = trial.before, trial.after
    assert nowhere_better(ranks(after), ranks(before, "best_"))
    assert nowhere_better(ranks(before, "worst_"), ranks(after))


@pytest.mark.parametrize("kind", kinds())
@given(st.data())
def test_what_is_learnt_lands_between(kind: str, data: st.DataObject) -> None:
    """Under the shipped rules, an open thing once looked at is neither better nor worse than said.

    Before it is looked at, the result already says how good and how bad it could turn out.
    """
    lands_between(data.draw(trials(learnt, half_told(kind))))


@MORE
@given(trials(learnt, half_told()))
def test_what_is_learnt_lands_between_under_any_single_rule(trial: Trial) -> None:
    """Whatever one rule compares, and with what, it foresees what may be learnt."""
    for smaller in trial.under_the_smallest_rules():
        lands_between(smaller)


@given(trials_of_any_rules(learnt, half_told()))
def test_what_is_learnt_lands_between_under_any_lawful_rules(trial: Trial) -> None:
    """The same holds for anybody's lawful rules: silence is never taken for an answer."""
    lands_between(trial)
