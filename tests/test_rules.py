"""RULES: a rule is data, and says of a unit everything that it does not find clear."""

from typing import Any, get_args

import msgspec
import pytest

from gradekit.advice import EFFORT
from gradekit.conditions import Outcome
from gradekit.errors import RuleError
from gradekit.rules import CLASSES, GRADES, Cite, Grade, RemovedBy, Rule, SaleClass, verdicts
from tests import small
from tests.small import mark

CLEAR, CANNOT_TELL, PRESUMED, FIRES = Outcome
NONE: dict[str, Any] = {"parts": [], "repairs": []}


def rule(**fields: Any) -> Rule:
    """A rule that is sound but for the fields given."""
    whole = {
        "id": "TST99",
        "name": "any-rule",
        "since": "1",
        "subject": "marks",
        "topic": "any",
        "when": {"visibility": {"at_least": 2}},
        "caps_grade": "C",
        "basis": "house",
        **fields,
    }
    return msgspec.convert({k: v for k, v in whole.items() if v is not None}, Rule)


def said(subject: str, when: Any, **fields: Any) -> list[tuple[str, Outcome]]:
    """What a rule says of a record, and where."""
    spoken = verdicts(rule(subject=subject, when=when), small.facts(**fields))
    return [(verdict.about, verdict.outcome) for verdict in spoken]


# --- a rule as it stands -------------------------------------------------------------------------


def test_ladders_stand_best_first() -> None:
    """Grades, classes and kinds of work are ordered words, and the order is the order of caps."""
    assert GRADES == ("A", "B", "C", "D", "E", "ungraded") == get_args(Grade)
    assert CLASSES == ("refurbished", "used", "as_is", "for_parts", "hold") == get_args(SaleClass)
    assert get_args(RemovedBy) == (*EFFORT, "never")


def test_a_rule_says_no_more_than_it_says() -> None:
    """What a rule leaves out caps nothing, discloses nothing and is never removed."""
    bare = rule(caps_grade=None)
    assert (bare.status, bare.kinds, bare.cites, bare.voids) == ("active", (), (), ())
    assert (bare.caps, bare.disclose, bare.deviation, bare.caution) == (False, None, False, None)
    assert (bare.removed_by, bare.misleads_when, bare.replaced_by) == ("never", None, None)
    assert rule().caps
    assert rule(caps_grade=None, caps_class="used").caps


@pytest.mark.parametrize(
    "fields",
    [
        {"id": "T1"},
        {"id": "tst10"},
        {"id": "TST1000"},
        {"id": "TST10\n"},
        {"name": "Any Rule"},
        {"name": "any_rule"},
        {"name": "-rule"},
        {"name": "rule\n"},
        {"since": ""},
        {"since": None},
        {"topic": "Any"},
        {"status": "on"},
        {"caps_grade": "F"},
        {"caps_class": "new"},
        {"basis": "law"},
        {"removed_by": "luck"},
        {"priority": 3},
        {"cites": [{"source": "x", "locator": "", "takes": "all"}]},
        {"cites": [{"source": "x", "locator": "1"}]},
        {"when": "marks"},
    ],
    ids=str,
)
def test_a_rule_of_another_shape_is_refused(fields: Any) -> None:
    """Ids, names, words and keys are fixed; there are no priorities and no expressions."""
    with pytest.raises(msgspec.ValidationError):
        rule(**fields)


def test_a_citation_has_a_source_a_place_and_what_is_taken() -> None:
    """Where a figure comes from is told exactly, or not at all."""
    cite = {"source": "beacon-code", "locator": "Clause 4", "takes": "80 %"}
    assert rule(basis="published", cites=[cite]).cites == (Cite(**cite),)


@pytest.mark.parametrize(
    ("fields", "kind", "applies"),
    [
        ({}, "beacon", True),
        ({"kinds": ["beacon"]}, "beacon", True),
        ({"kinds": ["beacon"]}, "bell", False),
        ({"status": "trial"}, "bell", True),
        ({"status": "retired"}, "bell", False),
        ({"status": "retired", "kinds": ["bell"]}, "bell", False),
    ],
)
def test_a_rule_is_for_its_kinds(fields: Any, kind: str, applies: bool) -> None:
    """A rule without kinds is for all; a retired one for none."""
    assert rule(**fields).applies_to(kind) is applies


def test_a_condition_is_read_when_first_asked_for() -> None:
    """A rule whose condition cannot be read can still be shown, and refuses only to be used."""
    unreadable = rule(when={"sort": {"is": "x"}})
    assert unreadable.name == "any-rule"
    with pytest.raises(RuleError):
        _ = unreadable.condition
    sound = rule()
    assert sound.condition is sound.condition


# --- what a rule says of a unit ------------------------------------------------------------------


def test_each_item_is_looked_at_by_itself() -> None:
    """A rule answers for each item of its list; what it finds clear is left out."""
    marks = [mark(visibility=2), mark(visibility=1), mark(), mark(visibility=3)]
    assert said("marks", {"visibility": {"at_least": 2}}, marks=marks) == [
        ("marks[0]", FIRES),
        ("marks[2]", CANNOT_TELL),
        ("marks[3]", FIRES),
    ]


@pytest.mark.parametrize(
    ("subject", "when", "name"),
    [
        ("marks", {"visibility": {"at_least": 2}}, "marks"),
        ("parts", {"lost": {"at_least": 1}}, "parts"),
        ("repairs", {"by": {"recorded": False}}, "repairs"),
        ("signs", {"sign": {"is": "pry_mark"}}, "signs"),
        ("missing", {"part": {"is": "foot"}}, "missing"),
        ("accessories", {"tested": {"is": False}}, "accessories"),
        ("symptoms", {"outcome": {"at_least": "not_fixed"}}, "symptoms"),
    ],
)
def test_an_open_list_may_hold_more(subject: str, when: Any, name: str) -> None:
    """While a list is open a rule cannot tell, and once it is empty it is clear."""
    assert said(subject, when) == [(name, CANNOT_TELL)]
    recorded: Any = {"intake": {"symptoms": []}} if name == "symptoms" else {name: []}
    assert said(subject, when, **recorded) == []
    assert said(subject, when, **recorded, partly=[name]) == [(name, CANNOT_TELL)]


@pytest.mark.parametrize(
    ("subject", "when", "abouts"),
    [
        ("tests", {"need": {"is": "core"}, "result": {"is": "fail"}}, 4),
        ("displays", {"lines": {"at_least": 1}}, 1),
        ("batteries", {"cycles": {"above": 500}}, 2),
    ],
)
def test_a_subject_with_a_fact_for_all_the_kind_has_needs_no_more(
    subject: str, when: Any, abouts: int
) -> None:
    """Tests, displays and batteries have a fact recorded or not, so an open list adds none."""
    found = said(subject, when)
    assert [outcome for _, outcome in found] == [CANNOT_TELL] * abouts
    assert subject not in [about for about, _ in found]


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({}, [("marks", CANNOT_TELL)]),
        ({"marks": []}, []),
        ({"marks": [mark()] * 2}, []),
        ({"marks": [mark()] * 3}, [("marks", FIRES)]),
        ({"marks": [mark()] * 3, "partly": ["marks"]}, [("marks", FIRES)]),
        ({"marks": [mark()] * 2, "partly": ["marks"]}, [("marks", CANNOT_TELL)]),
    ],
)
def test_a_tally_speaks_once_for_the_whole_list(fields: Any, expected: Any) -> None:
    """However many items match, a tally is one observation about the list."""
    when = {"tally": {"of": {"kind": {"is": "scratch"}}, "count": {"at_least": 3}}}
    assert said("marks", when, **fields) == expected


def test_a_tally_tells_what_it_came_to() -> None:
    """The sum that made a rule fire goes along with its verdict."""
    tally = {"of": {"kind": {"is": "scratch"}}, "sum_mm": {"at_least": 5}}
    facts = small.facts(marks=[mark(length_mm=2.5), mark(length_mm=2.75)])
    (verdict,) = verdicts(rule(when={"tally": tally}), facts)
    assert (verdict.tallied, verdict.fact) == (5.25, None)


def test_a_verdict_carries_the_fact_it_is_about() -> None:
    """What was looked at goes along with the verdict, for the reasons and the sentences."""
    facts = small.facts(marks=[mark(visibility=2)])
    (verdict,) = verdicts(rule(), facts)
    assert verdict.fact is facts.marks[0]
    assert verdict.rule.id == "TST99"
