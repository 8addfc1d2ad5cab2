"""FACTS: later work has cancelled what it touched, and what is not known stays not known."""

from typing import Any

import pytest

from gradekit.subjects import TestFact, UnitFact
from tests import small
from tests.small import DAY, mark

NONE: dict[str, Any] = {"parts": [], "repairs": []}
NO_WORK = {**NONE, "signs": []}
TOLD_EMPTY = (
    "marks",
    "displays",
    "tests",
    "parts",
    "repairs",
    "missing",
    "signs",
    "batteries",
    "accessories",
)


def result_of(function: str, which: str | None = None, **fields: Any) -> TestFact:
    (found,) = (
        t for t in small.facts(**fields).tests if (t.function, t.which) == (function, which)
    )
    return found


def unit(on: str = DAY, **fields: Any) -> UnitFact:
    return small.facts(on=on, **fields).unit[0]


def touch(result: str, **fields: Any) -> dict[str, Any]:
    return {"function": "touch", "result": result, **fields}


def run(**fields: Any) -> dict[str, Any]:
    return {"list": "all", "result": "pass", **fields}


# --- tests: the latest result counts -------------------------------------------------------------


@pytest.mark.parametrize(
    ("tests", "result", "is_open"),
    [
        ([], None, False),
        ([touch("pass")], "pass", False),
        ([touch("not_tested", why="no tool")], None, False),
        ([touch("pass", on="2026-11-19"), touch("fail")], "fail", False),
        ([touch("fail", on="2026-11-19"), touch("pass")], "pass", False),
        ([touch("fail"), touch("pass", on="2026-11-19")], "fail", False),
        ([touch("fail", stage="intake"), touch("pass", stage="after_work")], "pass", False),
        ([touch("pass", stage="after_work"), touch("fail", stage="soak")], "fail", False),
        ([touch("pass", stage="soak"), touch("fail", stage="after_work")], "pass", False),
        ([touch("fail"), touch("pass", stage="intake")], "fail", True),
        ([touch("pass"), touch("fail", stage="intake")], "fail", True),
        ([touch("pass"), touch("pass", stage="intake")], "pass", False),
        ([touch("pass", on="2026-11-19", stage="soak"), touch("fail")], "fail", False),
        ([touch("pass", on="2026-11-19"), touch("not_tested")], "pass", True),
        ([touch("fail", on="2026-11-19"), touch("not_tested")], "fail", True),
        ([touch("not_tested", on="2026-11-19"), touch("pass")], "pass", False),
    ],
)
def test_the_latest_result_of_a_function_counts(
    tests: list[Any], result: str | None, is_open: bool
) -> None:
    """A later day counts, of one day the later stage; what was last not tested is open."""
    fact = result_of("touch", tests=tests, **NONE)
    assert (fact.result, fact.cancelled) == (result, False)
    assert ("result" in fact.open) is is_open


@pytest.mark.parametrize(
    ("fields", "is_open"),
    [
        ({"tests": [touch("pass")], **NONE}, False),
        ({"tests": [touch("pass")]}, True),
        ({"tests": [], **NONE}, True),
        ({"tests": [touch("pass")], "parts": [{"part": "screen"}], "repairs": []}, True),
    ],
)
def test_whether_a_test_was_cancelled_is_open_while_it_may_be(fields: Any, is_open: bool) -> None:
    """Work that nobody wrote down, or an old test that turns up, may show a cancelled test."""
    assert ("cancelled" in result_of("touch", **fields).open) is is_open


@pytest.mark.parametrize(
    ("single", "result", "is_open"),
    [
        ("pass", "pass", False),
        ("partial", "partial", False),
        ("fail", "fail", False),
        ("not_tested", "pass", True),
    ],
)
def test_a_tie_takes_the_worse(single: str, result: str, is_open: bool) -> None:
    """A single test says where a clean run of the same day and stage differed."""
    fact = result_of("touch", test_runs=[run()], tests=[touch(single)], **NONE)
    assert fact.result == result
    assert ("result" in fact.open) is is_open


@pytest.mark.parametrize(
    ("fields", "result"),
    [
        ({"test_runs": [run()]}, "pass"),
        ({"test_runs": [run(list="full")]}, "pass"),
        ({"test_runs": [run(list="core")]}, None),
        ({"test_runs": [run(**{"except": ["touch"]})]}, None),
        ({"test_runs": [run(**{"except": ["touch"]}), run(stage="soak")]}, "pass"),
        ({"test_runs": [run(**{"except": ["touch"]})], "tests": [touch("fail")]}, "fail"),
        ({"test_runs": [run(on="2026-11-19")], "tests": [touch("fail")]}, "fail"),
        ({"test_runs": [run()], "tests": [touch("fail", on="2026-11-19")]}, "pass"),
    ],
)
def test_a_run_passes_every_function_of_its_list(fields: Any, result: str | None) -> None:
    """A whole run counts for all of its list but what it excepts, and like a single test."""
    assert result_of("touch", **fields).result == result


def test_every_function_of_the_unit_has_its_fact() -> None:
    """Tested or not, each function and each twin is there; absent features take theirs away."""
    every = [(t.about, t.need) for t in small.facts().tests]
    assert every == [
        ("tests[power_on]", "core"),
        ("tests[lamp.left]", "core"),
        ("tests[lamp.right]", "core"),
        ("tests[wired_charging]", "core"),
        ("tests[touch]", "full"),
        ("tests[radio_link]", "full"),
        ("tests[dimming]", "full"),
    ]
    some = small.facts(device={"has": ["dimmer"]}).tests
    assert {t.function for t in some} == {t.function for t in small.facts().tests} - {"radio_link"}


def test_twins_are_tested_one_by_one() -> None:
    """A test that names a twin says nothing of the other; one that names none is about both."""
    one = [{"function": "lamp", "which": "left", "result": "fail"}]
    assert result_of("lamp", "left", tests=one).result == "fail"
    assert result_of("lamp", "right", tests=one).result is None
    both = [{"function": "lamp", "result": "fail"}]
    assert result_of("lamp", "right", tests=both).result == "fail"


def test_the_reason_why_it_was_not_tested_is_kept() -> None:
    """The reason that goes with the last finding stays with the fact; an earlier one is over."""
    tests = [touch("not_tested", why="broken"), touch("not_tested", why="no tool", on="2026-11-19")]
    assert result_of("touch", tests=tests).why == "broken"
    assert result_of("touch", tests=[*tests, touch("pass", stage="soak")]).why is None
    assert result_of("touch").why is None


def test_what_a_failing_function_shows_is_kept() -> None:
    """The words for a fault are those of the result that counts."""
    earlier = [
        touch("fail", shows="dead", on="2026-11-18"),
        touch("partial", shows="dead at the edge", on="2026-11-19"),
    ]
    assert result_of("touch", tests=earlier).shows == "dead at the edge"
    assert result_of("touch", tests=[*earlier, touch("pass")]).shows is None


# --- tests: later work cancels -------------------------------------------------------------------

WORK_ON_TOUCH: dict[str, Any] = {
    "repairs": [{"work": "panel_service", "on": "2026-11-18"}],
    "parts": [],
}


@pytest.mark.parametrize("result", ["pass", "partial", "fail"])
@pytest.mark.parametrize(
    ("when", "cancelled"),
    [
        ({"on": "2026-11-17"}, True),
        ({"on": "2026-11-18"}, True),
        ({"on": "2026-11-18", "stage": "intake"}, True),
        ({"on": "2026-11-18", "stage": "after_work"}, False),
        ({"on": "2026-11-18", "stage": "soak"}, False),
        ({"on": "2026-11-19"}, False),
        ({}, False),
    ],
)
def test_work_cancels_the_test_before_it(when: Any, cancelled: bool, result: str) -> None:
    """A cancelled result stays and is open: a pass counts as not tested, a fail still as a fail."""
    fact = result_of("touch", tests=[touch(result, **when)], **WORK_ON_TOUCH)
    assert (fact.result, fact.cancelled) == (result, cancelled)
    assert fact.open == ({"result", "cancelled"} if cancelled else set())


@pytest.mark.parametrize(
    ("work", "cancelled"),
    [
        ({"parts": [{"part": "screen"}]}, True),
        ({"repairs": [{"work": "board_repair"}]}, True),
        ({"repairs": [{"work": "port", "fixes": ["touch"]}]}, True),
        ({"repairs": [{"work": "port"}]}, False),
        ({"parts": [{"part": "cell"}]}, False),
        ({"repairs": [{"work": "clean"}]}, False),
    ],
)
def test_undated_work_cancels_whatever_it_touches(work: Any, cancelled: bool) -> None:
    """Undated work counts as the last, and touches what its kind data or its ``fixes`` names."""
    fact = result_of("touch", tests=[touch("pass", stage="soak")], **{**NONE, **work})
    assert fact.cancelled is cancelled


def test_a_result_after_the_work_makes_the_earlier_one_idle() -> None:
    """A failure found when it came in is over once a test after the repair has passed."""
    tests = [touch("fail", stage="intake", on="2026-11-02"), touch("pass", stage="after_work")]
    fact = result_of("touch", tests=tests, **WORK_ON_TOUCH)
    assert (fact.result, fact.cancelled, *fact.open) == ("pass", False)


@pytest.mark.parametrize(
    ("fields", "shaky"), [({}, True), (NONE, False), ({**NONE, "partly": ["repairs"]}, True)]
)
def test_a_test_is_shaky_while_work_may_be_missing(fields: Any, shaky: bool) -> None:
    """While the lists of works are open, some work may yet turn out to have cancelled it."""
    assert result_of("touch", tests=[touch("pass")], **fields).shaky is shaky


# --- lists: absent, empty, partly ----------------------------------------------------------------


def test_a_list_that_the_kind_cannot_have_is_never_open() -> None:
    """A bell has neither displays nor batteries, so nobody need look for them."""
    facts = small.facts("bell")
    assert not {"displays", "batteries"} & facts.open_subjects
    assert (facts.unit[0].displays, facts.unit[0].batteries) == (True, True)
    assert (facts.unit[0].marks, "marks" in facts.open_subjects) == (None, True)


@pytest.mark.parametrize("name", TOLD_EMPTY)
def test_a_list_is_known_when_recorded_to_the_end(name: str) -> None:
    """Absent is not known, empty is known, and a list named in ``partly`` is open again."""
    empty: dict[str, Any] = {name: []}
    assert getattr(unit(), name) is None
    assert getattr(unit(**empty), name) is True
    assert getattr(unit(**empty, partly=[name]), name) is None
    assert name in small.facts().open_subjects
    assert name not in small.facts(**empty).open_subjects


def test_items_of_an_open_list_still_count() -> None:
    """What was found is a fact, though the list it stands in may hold more."""
    facts = small.facts(missing=["foot"], partly=["missing"])
    assert [m.part for m in facts.missing] == ["foot"]
    assert "missing" in facts.open_subjects


# --- the unit: seals, water, earlier work --------------------------------------------------------

SIGN = {"signs": [{"sign": "pry_mark"}]}
RUST = {"signs": [{"sign": "corrosion"}]}
OPENING = {"repairs": [{"work": "port"}], "parts": []}


@pytest.mark.parametrize(
    ("fields", "opened", "sealing", "water"),
    [
        ({}, None, None, None),
        (NO_WORK, None, None, None),
        ({"sealing": "unopened"}, None, "unopened", "as_rated_unopened"),
        ({"sealing": "unopened", **NONE}, None, "unopened", "as_rated_unopened"),
        ({"sealing": "unopened", **NO_WORK}, False, "unopened", "as_rated_unopened"),
        ({"sealing": "unopened", **NONE, **RUST}, False, "unopened", "as_rated_unopened"),
        ({"sealing": "unopened", **NONE, **SIGN}, True, "unknown", "not_assured"),
        ({"sealing": "unopened", "signs": [], **OPENING}, True, "unknown", "not_assured"),
        ({"sealing": "unopened", **NO_WORK, "inside_seen": True}, True, "unknown", "not_assured"),
        (
            {"sealing": "unopened", **NO_WORK, "inside_seen": False},
            False,
            "unopened",
            "as_rated_unopened",
        ),
        ({"sealing": "opened_resealed"}, True, "opened_resealed", "not_assured"),
        (
            {"sealing": "opened_resealed_leak_tested", **NO_WORK},
            True,
            "opened_resealed_leak_tested",
            "leak_tested",
        ),
        ({"sealing": "opened_unsealed"}, True, "opened_unsealed", "not_sealed"),
        ({"sealing": "unknown", **NO_WORK}, True, "unknown", "not_assured"),
        ({"sealing": "unknown", **OPENING}, True, "unknown", "not_assured"),
        (SIGN, True, None, "not_assured"),
        (OPENING, True, None, "not_assured"),
        ({"inside_seen": True}, True, None, "not_assured"),
        ({"repairs": [{"work": "clean"}], "parts": [{"part": "foot"}]}, None, None, None),
    ],
)
def test_what_is_known_of_the_seals(
    fields: Any, opened: bool | None, sealing: str | None, water: str | None
) -> None:
    """Whoever says unopened must not show signs or work; a rating holds only while unopened."""
    fact = unit(device={"ip_rating": "IP68"}, **fields)
    assert (fact.opened, fact.sealing, fact.water) == (opened, sealing, water)
    assert unit(**fields).water is None


@pytest.mark.parametrize(
    ("fields", "is_open"),
    [
        ({"sealing": "unopened"}, True),
        ({"sealing": "unopened", **NONE}, True),
        ({"sealing": "unopened", **NO_WORK, "partly": ["signs"]}, True),
        ({"sealing": "unopened", **NO_WORK}, False),
        ({"sealing": "unopened", **SIGN}, True),
        ({"sealing": "opened_resealed"}, False),
        ({}, True),
    ],
)
@pytest.mark.parametrize("field", ["sealing", "water"])
def test_unopened_is_open_until_signs_and_works_are_recorded(
    fields: Any, is_open: bool, field: str
) -> None:
    """While a sign or a work could still show up, neither the seal nor its rating is certain.

    Nor are they where nobody told, or where a sign belies what was told.
    """
    assert (field in unit(device={"ip_rating": "IP68"}, **fields).open) is is_open


@pytest.mark.parametrize(
    ("fields", "earlier"),
    [
        ({}, None),
        (NONE, None),
        (NO_WORK, False),
        ({**NONE, **RUST}, False),
        (SIGN, True),
        ({"parts": [{"part": "cell", "fitted_by": "previous_unknown"}]}, True),
        ({"repairs": [{"work": "port", "by": "previous_unknown"}]}, True),
        ({**NO_WORK, "parts": [{"part": "cell", "fitted_by": "in_house"}]}, False),
        ({**NO_WORK, "repairs": [{"work": "port", "by": "owner"}]}, False),
        ({**NO_WORK, "parts": [{"part": "cell"}]}, None),
        ({**NO_WORK, "repairs": [{"work": "port"}]}, None),
        ({**NO_WORK, "partly": ["signs"]}, None),
        ({**NO_WORK, "partly": ["repairs"]}, None),
    ],
)
def test_earlier_work_by_somebody_unknown(fields: Any, earlier: bool | None) -> None:
    """Signs and unknown hands show it; only full lists with a hand for every work rule it out."""
    assert unit(**fields).earlier_work is earlier


def test_what_is_said_of_the_unit_is_a_fact_and_nothing_else() -> None:
    """The unit's plain fields are taken over; an unknown lock is not known."""
    assert unit().powers_on is None
    fact = unit(
        cleaned=True,
        inside_seen=False,
        intake={"powers_on": False, "bought": "as_faulty", "symptoms": []},
        device={"network_lock": "locked"},
    )
    assert (fact.cleaned, fact.inside_seen, fact.powers_on) == (True, False, False)
    assert (fact.bought, fact.network_lock, fact.symptoms) == ("as_faulty", "locked", True)


@pytest.mark.parametrize(
    ("kind", "device", "lock"),
    [
        ("beacon", {}, None),
        ("beacon", {"network_lock": "unknown"}, None),
        ("beacon", {"network_lock": "none"}, "none"),
        ("beacon", {"has": ["radio"], "network_lock": "locked"}, "locked"),
        ("beacon", {"has": []}, "none"),
        ("bell", {}, "none"),
    ],
)
def test_only_what_reaches_a_network_can_be_locked_to_one(
    kind: str, device: Any, lock: str | None
) -> None:
    """Where the means may be there, silence is not known; where they are not, there is no lock."""
    (fact,) = small.facts(kind, device=device).unit
    assert fact.network_lock == lock


@pytest.mark.parametrize(
    ("until", "on", "months"),
    [
        ("2028-06", "2026-11-20", 19),
        ("2026-12", "2026-11-30", 1),
        ("2026-11", "2026-11-20", 0),
        ("2026-10", "2026-11-20", -1),
        ("2027-11", "2027-01-01", 10),
    ],
)
def test_months_of_updates_are_counted_from_the_day(until: str, on: str, months: int) -> None:
    """Months of updates left are whole months from the month of the assessment."""
    assert unit(on=on, device={"updates_until": until}).updates_left_months == months


# --- marks ---------------------------------------------------------------------------------------


def test_a_mark_brings_what_its_zone_is() -> None:
    """A mark knows how much its zone is looked at and what it is made of; silence stays None."""
    fact, below = small.facts(marks=[mark(), mark(zone="base")]).marks
    assert (fact.about, fact.zone, fact.kind) == ("marks[0]", "lens", "scratch")
    assert (fact.seen, fact.material, fact.over_cell) == ("always_seen", "glass", False)
    assert (below.seen, below.material, below.over_cell) == ("hidden", "bare_metal", True)
    measured = (fact.length_mm, fact.width_mm, fact.area_mm2, fact.depth, fact.visibility)
    assert measured == (None,) * 5
    assert (fact.resolvable_from_mm, fact.margins, *fact.open) == (None, {})


def test_a_measure_counts_at_its_unfavourable_end() -> None:
    """A stated uncertainty is added to a length, width or area (JCGM 106, guard band)."""
    (fact,) = small.facts(
        marks=[mark(length_mm=4.0, width_mm=0.0, area_mm2=2.5)],
        uncertainty={"length_mm": 0.5, "area_mm2": 0.25, "run_time_min": 3},
    ).marks
    assert (fact.length_mm, fact.width_mm, fact.area_mm2) == (4.5, 0.0, 2.75)
    assert fact.margins == {"length_mm": 0.5, "area_mm2": 0.25}


@pytest.mark.parametrize(
    ("width", "visibility", "look_again"),
    [
        (0.05, 0, False),
        (0.11, 0, True),
        (0.11, 1, False),
        (0.18, 1, True),
        (0.18, 2, False),
        (0.18, 3, False),
        (9.0, 2, False),
        (None, 0, False),
        (0.18, None, False),
    ],
)
def test_a_mark_seen_less_than_its_width_implies_is_looked_at_again(
    width: float | None, visibility: int | None, look_again: bool
) -> None:
    """A width resolved from farther away than the inspector says asks for another look.

    0.102 mm at 350 mm and 0.175 mm at 600 mm are one minute of arc (acuity 1.0, see measures).
    """
    fields = {"width_mm": width, "visibility": visibility}
    said = {name: value for name, value in fields.items() if value is not None}
    (fact,) = small.facts(marks=[mark(**said)]).marks
    assert (fact.look_again, fact.visibility, *fact.open) == (look_again, visibility)


def test_a_mark_goes_with_the_part_that_carries_it() -> None:
    """What is on a part that is out has no fact at all; the other marks keep their paths."""
    facts = small.facts(marks=[mark(), mark(zone="grip")], removed=["lens"])
    assert [m.about for m in facts.marks] == ["marks[1]"]
    assert [(r.about, r.part) for r in facts.removed] == [("removed[0]", "lens")]


# --- symptoms, accessories, missing, removed -----------------------------------------------------


def test_a_symptom_tells_whether_some_work_covers_it() -> None:
    """A symptom keeps its outcome and need; some recorded work may cover its function."""
    symptoms = [{"function": "wired_charging", "outcome": "fixed"}, {"function": "touch"}]
    facts = small.facts(intake={"symptoms": symptoms}, repairs=[{"work": "port"}]).symptoms
    assert [(s.about, s.need, s.outcome, s.fixed_by_work) for s in facts] == [
        ("intake.symptoms[0]", "core", "fixed", True),
        ("intake.symptoms[1]", "full", None, False),
    ]


def test_an_accessory_that_stays_behind_is_no_fact() -> None:
    """Only what goes with the unit can help or hurt its buyer; an unknown origin is not known."""
    facts = small.facts(
        accessories=[
            {"item": "strap", "included": False},
            {"item": "charger", "included": True, "origin": "unknown", "mains_check": "fail"},
        ]
    ).accessories
    assert [(a.about, a.item, a.mains, a.origin, a.mains_check) for a in facts] == [
        ("accessories[1]", "charger", True, None, "fail")
    ]


@pytest.mark.parametrize("method", ["storage_removed", "destroyed"])
def test_storage_taken_out_by_the_erasure_is_out(method: str) -> None:
    """Storage that is gone counts as removed, with the path that says so, and once only."""
    facts = small.facts(erasure={"method": method})
    assert [(r.about, r.part, r.vital) for r in facts.removed] == [
        ("erasure.method", "storage", True)
    ]
    assert facts.erasure == ()


def test_what_a_kind_never_had_cannot_be_out() -> None:
    """An erasure recorded of a kind without storage takes nothing out of it."""
    assert small.facts("bell", erasure={"method": "destroyed"}).removed == ()


def test_a_kind_with_next_to_nothing_has_next_to_no_facts() -> None:
    """A bell has no displays, batteries, storage or numbers, so there is nothing to say of them."""
    facts = small.facts("bell", displays=[{}], batteries=[{}])
    assert (facts.displays, facts.batteries, facts.erasure, facts.identity) == ((), (), (), ())
    assert [c.check for c in facts.clearance] == ["ownership"]
