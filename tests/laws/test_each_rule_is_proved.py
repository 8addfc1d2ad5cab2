"""Law 8. Each shipped rule is proved by its cases, and each word makes a difference."""

from datetime import date

from gradekit.proofs import prove
from tests.laws.strategies import shipped


def test_the_shipped_rules_are_proved() -> None:
    """Cases on both sides, every threshold, every word of every kind, every phrase.

    The day is the day the sources were last looked at or later, so that none is of the future;
    their age is judged by `rules check`.
    """
    newest = max(source.checked_on for source in shipped().sources.values())
    report = prove(shipped(), max(newest, date(2026, 11, 25)))
    assert report.problems == ()
    assert report.rules > 200
    assert report.cases > 3 * report.rules
