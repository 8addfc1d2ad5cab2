"""WORKS: what was done to a unit, in order, and which findings it has cancelled."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from msgspec import UNSET

from gradekit.inspection import Stage
from gradekit.works import Works, open_list, stands, timeline
from tests import small

BEFORE, THAT_DAY, AFTER = date(2026, 11, 17), date(2026, 11, 18), date(2026, 11, 19)
NONE: dict[str, Any] = {"parts": [], "repairs": []}


def works(kind: str = "beacon", **fields: Any) -> Works:
    return timeline(small.read(kind, **fields), small.book().kind(kind))


def touching(function: str, **fields: Any) -> list[str]:
    return [done.about for done in works(**fields).touching(function)]


def rereading(path: str, **fields: Any) -> list[str]:
    return [done.about for done in works(**fields).rereading(path)]


# --- the timeline --------------------------------------------------------------------------------


def test_a_fitted_part_is_work_of_its_own() -> None:
    """Parts and repairs stand on one timeline, each with its path, its day and what it fixes."""
    done = works(
        parts=[{"part": "cell", "on": "2026-11-18"}],
        repairs=[{"work": "port", "on": "2026-11-19", "fixes": ["wired_charging"]}],
    ).done
    assert [(d.about, d.on, d.fitted, d.fixes) for d in done] == [
        ("parts[0]", THAT_DAY, True, ()),
        ("repairs[0]", AFTER, False, ("wired_charging",)),
    ]


def test_undated_work_is_last() -> None:
    """Work without a day counts as the last thing that happened to the unit."""
    assert [d.on for d in works(parts=[{"part": "cell"}], repairs=[{"work": "port"}]).done] == [
        date.max,
        date.max,
    ]


@pytest.mark.parametrize(
    ("fields", "whole"),
    [
        ({}, False),
        ({"parts": []}, False),
        ({"repairs": []}, False),
        (NONE, True),
        ({"parts": [{"part": "cell"}], "repairs": []}, True),
        ({**NONE, "partly": ["parts"]}, False),
        ({**NONE, "partly": ["repairs"]}, False),
        ({**NONE, "partly": ["marks"]}, True),
    ],
)
def test_works_are_whole_when_both_lists_are(fields: Any, whole: bool) -> None:
    """All work is known only where parts and repairs are both recorded to the end."""
    assert works(**fields).whole is whole


@pytest.mark.parametrize(
    ("fields", "opened"),
    [
        (NONE, False),
        ({"repairs": [{"work": "clean"}], "parts": [{"part": "foot"}]}, False),
        ({"repairs": [{"work": "port"}]}, True),
        ({"parts": [{"part": "lens"}]}, True),
    ],
)
def test_only_some_work_opens_the_housing(fields: Any, opened: bool) -> None:
    """Cleaning and outer parts leave the housing shut; any other work opens it."""
    assert works(**fields).opened is opened


# --- what work touches ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "function", "touched"),
    [
        ({"repairs": [{"work": "port"}]}, "wired_charging", True),
        ({"repairs": [{"work": "port"}]}, "touch", False),
        ({"repairs": [{"work": "port", "fixes": ["touch"]}]}, "touch", True),
        ({"repairs": [{"work": "board_repair"}]}, "dimming", True),
        ({"repairs": [{"work": "clean"}]}, "wired_charging", False),
        ({"parts": [{"part": "board"}]}, "touch", True),
        ({"parts": [{"part": "cell"}]}, "wired_charging", True),
        ({"parts": [{"part": "foot"}]}, "wired_charging", False),
        (NONE, "wired_charging", False),
    ],
)
def test_a_function_is_touched_by_its_works(fields: Any, function: str, touched: bool) -> None:
    """Work touches what its kind data re-tests, and whatever it set out to fix."""
    about = next(iter(fields))
    assert touching(function, **fields) == ([f"{about}[0]"] if touched else [])


@pytest.mark.parametrize(
    ("fields", "path", "touched"),
    [
        ({"parts": [{"part": "cell"}]}, "batteries[main]", True),
        ({"parts": [{"part": "cell"}]}, "batteries[reserve]", False),
        ({"parts": [{"part": "board"}]}, "batteries[reserve]", True),
        ({"parts": [{"part": "screen"}]}, "displays", True),
        ({"parts": [{"part": "screen"}]}, "batteries[main]", False),
        ({"repairs": [{"work": "board_swap"}]}, "clearance.account_lock", True),
        ({"repairs": [{"work": "board_swap"}]}, "clearance.ownership", False),
        ({"repairs": [{"work": "board_swap"}]}, "device.identifiers", True),
        ({"repairs": [{"work": "clean"}]}, "erasure", True),
        ({"parts": [{"part": "foot"}]}, "erasure", True),
    ],
)
def test_a_reading_is_touched_by_its_works(fields: Any, path: str, touched: bool) -> None:
    """Work re-opens the readings it names, by itself or with their whole list, or as all work."""
    about = next(iter(fields))
    assert rereading(path, **fields) == ([f"{about}[0]"] if touched else [])


def test_what_all_work_re_opens_may_be_a_whole_list(tmp_path: Path) -> None:
    """A list that every work re-opens is re-opened item by item, as one that one work names."""
    files = small.changed("kinds/beacon.toml", '_rereads = ["erasure"]', '_rereads = ["batteries"]')
    kind = small.load(tmp_path, files).kind("beacon")
    done = timeline(small.read(repairs=[{"work": "clean"}]), kind)
    assert [d.about for d in done.rereading("batteries[main]")] == ["repairs[0]"]


# --- what stands ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("on", "stage", "expected"),
    [
        (BEFORE, UNSET, False),
        (BEFORE, "after_work", False),
        (BEFORE, "soak", False),
        (THAT_DAY, UNSET, False),
        (THAT_DAY, "intake", False),
        (THAT_DAY, "after_work", True),
        (THAT_DAY, "soak", True),
        (AFTER, UNSET, True),
        (AFTER, "intake", True),
        (AFTER, "after_work", True),
    ],
)
def test_a_finding_stands_if_it_is_later_than_the_work(
    on: date, stage: Stage, expected: bool
) -> None:
    """Later is a later day, or the same day with a stage after the work."""
    done = list(works(repairs=[{"work": "port", "on": "2026-11-18"}]).done)
    assert stands(on, stage, done) is expected


@pytest.mark.parametrize("stage", [UNSET, "intake", "after_work", "soak"])
def test_nothing_of_a_record_is_later_than_undated_work(stage: Stage) -> None:
    """Undated work cancels whatever the record holds, the soak of the last day as well."""
    done = list(works(repairs=[{"work": "port"}]).done)
    assert not stands(date.fromisoformat(small.DAY), stage, done)


def test_a_finding_must_be_later_than_every_work() -> None:
    """One later work is enough to cancel a finding; no work cancels none."""
    done = list(
        works(
            repairs=[{"work": "port", "on": "2026-11-17"}, {"work": "port", "on": "2026-11-19"}]
        ).done
    )
    assert not stands(THAT_DAY, "soak", done)
    assert stands(AFTER, "soak", done)
    assert stands(BEFORE, UNSET, [])


# --- open lists ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "recorded"),
    [
        ("marks", {"marks": []}),
        ("displays", {"displays": []}),
        ("tests", {"tests": []}),
        ("tests", {"test_runs": []}),
        ("parts", {"parts": []}),
        ("repairs", {"repairs": []}),
        ("removed", {"removed": []}),
        ("missing", {"missing": []}),
        ("signs", {"signs": []}),
        ("batteries", {"batteries": []}),
        ("accessories", {"accessories": []}),
        ("symptoms", {"intake": {"symptoms": []}}),
    ],
)
def test_a_list_is_open_until_it_is_recorded_to_the_end(name: str, recorded: Any) -> None:
    """Absent was not looked at; empty was; partly is recorded but still open."""
    assert open_list(small.read(), name)
    assert not open_list(small.read(**recorded), name)
    assert open_list(small.read(**recorded, partly=[name]), name)


def test_an_intake_without_symptoms_leaves_them_open() -> None:
    """That a unit came in faulty says nothing yet of what was wrong with it."""
    assert open_list(small.read(intake={"bought": "as_faulty"}), "symptoms")
