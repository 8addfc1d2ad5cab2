"""Compiled rules: every comparison answers as the interpreter does, and nothing slips into code."""

from datetime import date
from typing import Any

import pytest

from gradekit.compiled import classes, compile_subject, limits, source_of
from gradekit.conditions import Outcome, judge
from gradekit.rules import Rule
from gradekit.subjects import BatteryFact, Fact, MarkFact, PartFact

HEALTHS = (None, 0.0, 79.9, 80.0, 80.1, 200.0)
DEPTHS = (None, "not_felt", "felt", "through_coat", "through_part")
NUMBERS = ("at_least", "at_most", "above", "below", "is")


def rule(subject: str, when: dict[str, Any], id: str = "AAA01") -> Rule:
    return Rule(
        id=id,
        name="n",
        since="1",
        topic="t",
        disclose="d",
        basis="house",
        subject=subject,
        when=when,
    )


def battery(**values: Any) -> BatteryFact:
    return BatteryFact(about="batteries[0]", which="main", **values)


def mark(**values: Any) -> MarkFact:
    return MarkFact(
        about="marks[0]", zone="z", seen="hidden", material="m", over_cell=False, kind="k", **values
    )


def part(on: date | None) -> PartFact:
    return PartFact(
        about="parts[0]",
        part="p",
        area="a",
        on=on,
        visible=False,
        cell=False,
        small=False,
        vital=False,
    )


def same(wanted: Rule, fact: Fact) -> None:
    """The compiled rule answers as the interpreted one."""
    answers = compile_subject(wanted.subject, [wanted]).judge(fact)
    outcome = judge(wanted.condition, fact)
    assert answers == ([] if outcome is Outcome.CLEAR else [(wanted, outcome)])


@pytest.mark.parametrize("shaky", [False, True])
@pytest.mark.parametrize("is_open", [False, True])
@pytest.mark.parametrize("health", HEALTHS)
@pytest.mark.parametrize("operator", [*NUMBERS, "recorded", "not recorded"])
def test_numbers(operator: str, health: float | None, is_open: bool, shaky: bool) -> None:
    """Numbers compare alike, known, open and shaky."""
    fact = battery(
        health_pct=health, open=frozenset({"health_pct"} if is_open else ()), shaky=shaky
    )
    operators = {operator: 80} if operator in NUMBERS else {"recorded": operator == "recorded"}
    same(rule("batteries", {"health_pct": operators}), fact)


@pytest.mark.parametrize("depth", DEPTHS)
@pytest.mark.parametrize("word", DEPTHS[1:])
@pytest.mark.parametrize("operator", NUMBERS)
def test_steps_of_words(operator: str, word: str, depth: Any) -> None:
    """Ordered words compare by their order."""
    same(rule("marks", {"depth": {operator: word}}), mark(depth=depth))


@pytest.mark.parametrize("depth", DEPTHS)
@pytest.mark.parametrize("length", [None, 4.0, 5.0])
def test_groups(depth: Any, length: float | None) -> None:
    """A group of alternatives holds as its best member does, and all fields together."""
    any_of = [{"depth": {"is": "felt"}}, {"length_mm": {"above": 4}, "depth": {"at_most": "felt"}}]
    fact = mark(depth=depth, length_mm=length)
    same(rule("marks", {"any": any_of, "length_mm": {"at_least": 4}}), fact)


@pytest.mark.parametrize("limit", [float("inf"), float("-inf"), float("nan")])
@pytest.mark.parametrize("operator", NUMBERS)
def test_limits_beyond_all_numbers(operator: str, limit: float) -> None:
    """TOML knows inf and nan, so rules may hold them."""
    for health in HEALTHS:
        same(rule("batteries", {"health_pct": {operator: limit}}), battery(health_pct=health))


def test_days() -> None:
    """TOML knows days, so rules may hold them."""
    day = date(2026, 11, 20)
    for on in (day, date(2026, 11, 21), None):
        same(rule("parts", {"on": {"is": day}}), part(on))
        same(rule("parts", {"on": {"one_of": [day]}}), part(on))


@pytest.mark.parametrize(
    "word", ["'", '"', "\n    raise SystemExit\n", "'); quit(); ('", "\\", "#"]
)
def test_words_stay_words(word: str) -> None:
    """No word of a rule becomes code, whatever is in it."""
    for kind in (word, "k"):
        fact = MarkFact(
            about="a", zone="z", seen="hidden", material="m", over_cell=False, kind=kind
        )
        same(rule("marks", {"kind": {"is": word}}), fact)
        same(rule("marks", {"kind": {"one_of": [word, "x"]}}), fact)


def test_a_shared_comparison_is_made_once() -> None:
    """Rules that ask the same of a field share the answer."""
    rules = [rule("marks", {"depth": {"is": "through_part"}}, id) for id in ("AAA01", "AAA02")]
    assert source_of("marks", rules, []).count("== 'through_part'") == 1


def test_classes_part_at_every_limit() -> None:
    """Just below, at and just above a limit are three classes; between limits all are one."""
    rules = [rule("batteries", {"health_pct": {"below": limit}}) for limit in (80, 60.5)]
    subject = compile_subject("batteries", rules)
    class_of = classes(subject)
    assert limits(subject, "health_pct") == [60.5, 80]
    found = [class_of(battery(health_pct=h)) for h in (79.9, 80, 80.1, 60.6)]
    assert len(set(found)) == 3
    assert found[0] == found[3]
    assert class_of(battery()) not in found
