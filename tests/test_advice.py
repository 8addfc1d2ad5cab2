"""ADVICE: what holds class and grade down, and which work would raise them."""

from typing import Any

import pytest
from msgspec.structs import replace

from gradekit import advise
from gradekit.advice import EFFORT, Task, tasks, worth_looking
from gradekit.assessment import Assessment, Step
from gradekit.rules import CLASSES, GRADES
from tests.small import mark, sound


def ladder(**fields: Any) -> list[tuple[str, list[tuple[str, str]], bool]]:
    steps = advise(sound(**fields)).ladder
    return [(s.to, [(h.rule, h.about) for h in s.reasons], s.reachable) for s in steps]


FAILING = {"function": "touch", "result": "fail", "stage": "soak"}


def test_the_best_has_no_step_above_it() -> None:
    """A unit that nothing holds down has an empty ladder and nothing to do."""
    assert advise(sound()).ladder == ()
    assert tasks(sound()) == []
    assert worth_looking(sound()) == []


def test_advice_changes_nothing_but_the_ladder() -> None:
    """The assessment that comes back is the one that went in, with its ladder."""
    result = sound(marks=[mark(visibility=2)])
    assert replace(advise(result), ladder=()) == result


def test_each_step_names_exactly_what_stands_in_its_way() -> None:
    """For each better class and grade the ladder lists the reasons that cap below it."""
    fields: dict[str, Any] = {
        "tests": [FAILING],
        "marks": [mark(visibility=2), mark(visibility=1)],
    }
    assert ladder(**fields) == [
        ("refurbished", [("TST10", "tests[touch]")], True),
        ("B", [("MRK20", "marks[0]")], True),
        ("A", [("MRK20", "marks[0]"), ("MRK10", "marks[0]"), ("MRK10", "marks[1]")], True),
    ]


def test_a_step_may_be_out_of_reach() -> None:
    """Where a reason can never go away, no work reaches the step."""
    assert ladder(
        clearance={"ownership": {"result": "found"}, "account_lock": {"result": "clear"}}
    ) == [
        ("for_parts", [("CLR10", "clearance.ownership")], False),
        ("as_is", [("CLR10", "clearance.ownership")], False),
        ("used", [("CLR10", "clearance.ownership")], False),
        ("refurbished", [("CLR10", "clearance.ownership")], False),
    ]


def steps_of(result: Assessment, words: tuple[str, ...]) -> list[Step]:
    return [step for step in advise(result).ladder if step.to in words]


@pytest.mark.parametrize(
    "fields",
    [
        {"test_runs": []},
        {"marks": [mark(visibility=2)] * 3},
        {"cleaned": False, "marks": [mark(visibility=1)]},
        {"batteries": [{"state": "swollen", "reported_health_pct": 70}], "test_runs": []},
    ],
)
def test_without_the_reasons_of_a_step_the_step_is_reached(fields: Any) -> None:
    """Taking away just the reasons that a step names leaves the unit at that step or better."""
    result = sound(**fields)
    for words, cap in ((CLASSES, "caps_class"), (GRADES, "caps_grade")):
        for step in steps_of(result, words):
            named = {(h.rule, h.about) for h in step.reasons}
            left = [r for r in result.reasons if (r.rule, r.about) not in named]
            caps = [getattr(r, cap) for r in left if getattr(r, cap)]
            assert all(words.index(c) <= words.index(step.to) for c in caps)
            assert step.reasons


# --- what to do next -----------------------------------------------------------------------------


def test_work_stands_from_least_effort_to_most() -> None:
    """Looking costs least, then tests, cleaning, a part, a repair (common practice, no source)."""
    assert EFFORT == ("check", "test", "clean", "erase", "part", "repair")


def test_tasks_are_what_holds_the_unit_now() -> None:
    """Listed is what caps where the unit stands, least effort first; the rest changes nothing."""
    result = sound(
        tests=[{**FAILING, "function": "power_on"}],
        test_runs=[{"list": "core", "result": "pass", "stage": "soak", "except": ["power_on"]}],
        marks=[mark(visibility=2), mark(visibility=1)],
    )
    assert tasks(result) == [
        Task("part", "marks[0]", ("mark-seen-at-arms-length",)),
        Task("repair", "tests[power_on]", ("core-function-failing",)),
    ]


def test_one_task_settles_all_it_can() -> None:
    """Reasons on one thing that one kind of work removes are one task, the fullest first."""
    result = sound(
        batteries=[{"state": "swollen"}, {"state": "dented"}],
        clearance={"account_lock": {"result": "clear"}},
    )
    assert tasks(result) == [
        Task("check", "clearance.ownership", ("clearance-unchecked",)),
        Task("part", "batteries[main]", ("cell-suspect",)),
    ]


def test_what_no_work_removes_is_no_task() -> None:
    """A reason that never goes away is told as a reason, not as work."""
    assert (
        tasks(sound(clearance={n: {"result": "found"} for n in ("ownership", "account_lock")}))
        == []
    )


@pytest.mark.parametrize(
    ("fields", "worth"),
    [
        ({"clearance": {"ownership": {"result": "clear"}}}, ["clearance.account_lock"]),
        ({"marks": [mark()]}, ["marks[0].visibility"]),
        ({"batteries": []}, ["batteries[main].state", "batteries[main].health_pct"]),
        ({"marks": [mark(width_mm=0.2, visibility=0)]}, ["marks[0].visibility"]),
    ],
)
def test_a_check_is_worth_it_if_it_costs_or_could_cost(fields: Any, worth: list[str]) -> None:
    """Listed is what costs now, could cost more than what holds now, or asks for a second look."""
    assert [check.about for check in worth_looking(sound(**fields))] == worth


def test_a_check_that_could_cost_no_more_is_not_worth_it() -> None:
    """Under a worse cap than it could bring, an open question changes nothing."""
    result = sound(
        marks=[mark(), mark(visibility=0), mark(visibility=0)],
        tests=[{**FAILING, "function": "power_on"}],
    )
    assert (result.sale_class, result.grade) == ("for_parts", "D")
    assert worth_looking(result) == []
