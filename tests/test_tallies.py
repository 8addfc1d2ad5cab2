"""What a lot is told to come to: things by their names, and parts that can be bought."""

from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradekit.inspection import Inspection
from gradekit.tallies import EXAMPLES, Finding, Group, Tally, named, part_of
from tests.lot_sheets import RULEBOOK

RECORD: dict[str, Any] = {
    "unit_id": "T-1",
    "inspected_on": "2026-11-20",
    "device": {"kind": "phone"},
    "marks": [{"zone": "display", "kind": "crack"}, {"zone": "frame", "kind": "dent"}],
    "batteries": [{"which": "main", "state": "worn"}],
    "parts": [{"part": "back_cover"}],
    "missing": ["sim_tray"],
    "repairs": [{"work": "charge_port"}],
    "intake": {"symptoms": [{"function": "wifi", "seen": "none", "outcome": "not_fixed"}]},
}
INSPECTION = msgspec.convert(RECORD, Inspection)
PHONE = RULEBOOK.kind("phone")


@pytest.mark.parametrize(
    ("about", "words"),
    [
        ("marks[1]", "marks: dent, frame"),
        ("marks[1].depth", "marks: dent, frame: depth"),
        ("batteries[0].health_pct", "batteries: main: health_pct"),
        ("repairs[0]", "repairs: charge_port"),
        ("missing[0]", "missing: sim_tray"),
        ("intake.symptoms[0]", "intake.symptoms: wifi"),
        ("tests[speaker.top]", "tests: speaker.top"),
        ("displays[main].lines", "displays: main: lines"),
        ("clearance.account_lock", "clearance.account_lock"),
        ("marks", "marks"),
    ],
)
def test_paths_are_told_by_what_they_are_about(about: str, words: str) -> None:
    """Two units with the same dent meet under one name, wherever it stands in their lists."""
    assert named(about, INSPECTION) == words


@pytest.mark.parametrize(
    ("about", "part"),
    [
        ("marks[0]", PHONE.zones["display"].carried_by[0]),
        ("batteries[0]", "battery"),
        ("batteries[main]", "battery"),
        ("parts[0]", "back_cover"),
        ("missing[0]", "sim_tray"),
        ("tests[wifi]", None),
        ("cleaned", None),
    ],
)
def test_the_part_to_buy_is_the_one_that_carries_it(about: str, part: str | None) -> None:
    """A part is named where the record or the kind tells which; else none is made up."""
    assert part_of(about, INSPECTION, PHONE) == part


def test_equal_problems_meet_whatever_their_values() -> None:
    """Refusals are grouped by what is wrong: values and numbers do not tell them apart."""
    tally = Tally()
    for row, value in ((2, "spoon"), (3, "fork"), (9, "17")):
        problem = f"'{value}' is not known here"
        tally.find(Finding("error", row, "kind", value, problem, "use another"))
    ((words, group),) = tally.problems.largest()
    assert words[:2] == ("error", "kind")
    assert (group.count, group.rows) == (3, [2, 3, 9])
    assert group.said == "… is not known here"


SAYINGS = st.lists(st.sampled_from(["a", "b", "c"]), max_size=4).map(" ".join)


@given(st.lists(SAYINGS, min_size=1, max_size=8), st.integers(0, 8))
def test_groups_add_up_the_same_however_they_are_cut(said: list[str], cut: int) -> None:
    """Rows counted one by one, or in two parts that are added, make one and the same group."""

    def group(rows: list[tuple[int, str]]) -> Group:
        (row, text), *others = rows
        made = Group(1, [row], text)
        for row, text in others:
            made.add_row(row, text)
        return made

    rows = list(enumerate(said, 2))
    whole = group(rows)
    assert whole.count == len(rows)
    assert whole.rows == [row for row, _ in rows[:EXAMPLES]]
    if 0 < cut < len(rows):
        parts = group(rows[:cut])
        parts.add(group(rows[cut:]))
        assert parts == whole


def test_what_every_row_says_is_shown_whole() -> None:
    """Where all rows say the same, it stands there as said; a difference is left out."""
    group = Group(1, [2], "13 digits are given")
    group.add_row(3, "13 digits are given")
    assert group.said == "13 digits are given"
    group.add_row(4, "12 digits are given")
    assert group.said == "… digits are given"
