"""Law 1. Reasons are the result: class and grade follow from the list of reasons alone."""

from collections.abc import Iterable
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from gradekit.assessment import Assessment, Reason, assess
from gradekit.inspection import Inspection
from gradekit.rulebook import Rulebook
from gradekit.rules import CLASSES, GRADES, Grade, Rule, SaleClass
from tests.laws.ladders import nowhere_better, ranks
from tests.laws.rulebooks import DrawnRulebook, facts_of, rulebooks
from tests.laws.strategies import days, flawless, kinds, shipped, units


def class_under(reasons: Iterable[Reason]) -> SaleClass:
    """The worst class that any reason caps at; no cap leaves the best one."""
    caps = [CLASSES.index(r.caps_class) for r in reasons if r.caps_class is not None]
    return CLASSES[max(caps, default=0)]


def grade_under(reasons: Iterable[Reason], sale_class: SaleClass) -> Grade | None:
    """The worst grade that any reason caps at; none on hold, and none while looks are unjudged."""
    caps = [GRADES.index(r.caps_grade) for r in reasons if r.caps_grade is not None]
    grade = GRADES[max(caps, default=0)]
    return None if sale_class == "hold" or grade == "ungraded" else grade


LOOKS = ("marks", "displays", "missing", "cleaned")


def of_looks(reason: Reason) -> bool:
    return reason.about.partition("[")[0] in LOOKS


def check(found: Assessment) -> None:
    """Compute the whole result a second time, from its reasons."""
    assert found.sale_class == class_under(found.reasons)
    assert found.grade == grade_under(found.reasons, found.sale_class)
    looks = [reason for reason in found.reasons if of_looks(reason)]
    assert found.look_grade == grade_under(looks, found.sale_class)
    certain = [reason for reason in found.reasons if not reason.presumed]
    assert found.best_sale_class == class_under(certain)
    assert found.best_grade == grade_under(certain, found.best_sale_class)
    holding = {reason.rule for reason in found.reasons if reason.caps_class == "hold"}
    assert set(found.blockers) == holding
    assert len(found.blockers) == len(holding)
    assert bool(found.blockers) == (found.sale_class == "hold")
    assert found.sale_class != "hold" or (found.grade is None and found.look_grade is None)
    assert nowhere_better(ranks(found), ranks(found, "best_"))
    assert nowhere_better(ranks(found, "worst_"), ranks(found))


@given(units(), days())
def test_the_shipped_result_follows_from_its_reasons(unit: Inspection, on: date) -> None:
    """Class, grades and blockers are the worst caps among the reasons, and nothing else."""
    check(assess(unit, shipped(), on))


@given(st.data())
def test_any_result_follows_from_its_reasons(data: st.DataObject) -> None:
    """The same holds for anybody's rules."""
    unit, on = data.draw(units()), data.draw(days())
    check(assess(unit, data.draw(rulebooks(facts_of(unit, on))), on))


@given(units(), days())
def test_rules_that_gave_no_reason_had_no_part(unit: Inspection, on: date) -> None:
    """A rulebook of only the rules that fired comes to the same class and grade."""
    found = assess(unit, shipped(), on)
    fired = {reason.rule for reason in found.reasons}
    again = assess(unit, DrawnRulebook([r for r in shipped().rules if r.id in fired]), on)
    assert again.reasons == found.reasons
    assert (again.sale_class, again.grade) == (found.sale_class, found.grade)


@given(st.data())
def test_a_rule_on_trial_reports_and_does_nothing(data: st.DataObject) -> None:
    """With all rules on trial the reasons are still told, but nothing is held down or disclosed."""
    unit, on = data.draw(units()), data.draw(days())
    book: Rulebook = data.draw(rulebooks(facts_of(unit, on)))
    told = {reason.rule for reason in assess(unit, book, on).reasons}
    on_trial = DrawnRulebook([_on_trial(rule) for rule in book.rules])
    found = assess(unit, on_trial, on)
    assert told <= {reason.rule for reason in found.reasons}
    assert ranks(found) == ranks(found, "worst_") == (0, 0)
    assert not found.disclosures
    assert not found.blockers


def _on_trial(rule: Rule) -> Rule:
    return rule if rule.status == "retired" else replace(rule, status="trial")


@pytest.mark.parametrize("kind", kinds())
def test_a_flawless_unit_has_no_cap(kind: str) -> None:
    """Everything looked at and well: the best class and grade there are, so they can be had."""
    found = assess(flawless(kind), shipped())
    assert [reason for reason in found.reasons if reason.caps_class or reason.caps_grade] == []
    assert (found.sale_class, found.grade) == (CLASSES[0], GRADES[0])
    assert ranks(found, "worst_") == (0, 0)
