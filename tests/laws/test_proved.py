"""Law 8. Each rule is proved: the shipped ones are, and no rule can lose its proof unnoticed.

How every other planted fault is found is for the tests of the proofs themselves.
"""

from datetime import date
from pathlib import Path

import pytest

from gradekit.proofs import prove
from tests import small
from tests.laws.strategies import shipped

CASES = "rules/all.cases.toml"
ANSWERS = [
    (rule.id, answer)
    for rule in small.book().rules
    for answer in ("fires", "clear")
    if rule.status != "retired"
]


def test_the_shipped_rules_are_proved() -> None:
    """Cases on both sides, every threshold, word, wording and source: nothing is wrong today.

    On the day that the youngest source was looked at, should this machine's clock be behind it.
    """
    newest = max(source.checked_on for source in shipped().sources.values())
    report = prove(shipped(), max(newest, date.today()))
    assert [str(problem) for problem in report.problems] == []
    assert report.rules == len(shipped().rules)
    assert report.cases >= 2 * sum(rule.status != "retired" for rule in shipped().rules)


@pytest.mark.parametrize(("rule", "answer"), ANSWERS)
def test_a_rule_that_loses_its_cases_is_found(tmp_path: Path, rule: str, answer: str) -> None:
    """Whichever rule has no case left that fires, or none that stays clear, is named."""
    blocks = small.FILES[CASES].split("[[case]]")
    kept = [b for b in blocks if f'rule = "{rule}"' not in b or f'expect = "{answer}"' not in b]
    assert len(kept) < len(blocks)
    book = small.load(tmp_path, {**small.FILES, CASES: "[[case]]".join(kept)})
    problems = [str(problem) for problem in prove(book, date(2026, 11, 25)).problems]
    assert any(line.startswith(f"{rule}: no case shows") and answer in line for line in problems)
