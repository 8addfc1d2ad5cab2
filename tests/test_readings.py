"""READINGS: of several readings the worse rules, and work makes the readings before it stale."""

from pathlib import Path
from typing import Any

import pytest

from gradekit.facts import establish
from gradekit.subjects import BatteryFact, DisplayFact
from tests import small
from tests.small import DAY

NONE: dict[str, Any] = {"parts": [], "repairs": []}
WORK: dict[str, Any] = {"repairs": [{"work": "board_repair", "on": "2026-11-18"}], "parts": []}
FITTED: dict[str, Any] = {"parts": [{"part": "cell", "on": "2026-11-18"}], "repairs": []}
BEFORE = {"read_on": "2026-11-17"}
AFTER = {"read_on": "2026-11-19"}


def battery(*readings: Any, on: str = DAY, **fields: Any) -> BatteryFact:
    device = {"has": [], **fields.pop("device", {})}
    (fact,) = small.facts(on=on, batteries=list(readings), device=device, **fields).batteries
    return fact


def display(*readings: Any, **fields: Any) -> DisplayFact:
    (fact,) = small.facts(displays=list(readings), **fields).displays
    return fact


# --- one fact for every battery and display ------------------------------------------------------


def test_each_battery_of_the_unit_has_its_fact() -> None:
    """Read or not, each battery is there; one that the unit lacks or that is out is not."""

    def batteries(**fields: Any) -> list[str]:
        return [b.about for b in small.facts(**fields).batteries]

    assert batteries() == ["batteries[main]", "batteries[reserve]"]
    assert batteries(device={"has": []}) == ["batteries[main]"]
    assert batteries(removed=["cell"]) == ["batteries[reserve]"]
    assert batteries(batteries=[{"which": "reserve"}, {}]) == ["batteries[1]", "batteries[0]"]


def test_each_display_of_the_unit_has_its_fact() -> None:
    """Read or not, the display is there, until the part that carries it is out."""
    assert display().about == "displays[main]"
    assert display({"lines": 0}).about == "displays[0]"
    assert small.facts(displays=[{"lines": 3}], removed=["screen"]).displays == ()


def test_several_readings_are_about_the_thing_they_read() -> None:
    """A fact made of one reading bears its path; one made of several bears the thing's name."""
    assert battery({"cycles": 1}).about == "batteries[0]"
    assert battery({"cycles": 1}, {"cycles": 2}).about == "batteries[main]"
    assert (
        battery({**BEFORE, "cycles": 1}, {**AFTER, "cycles": 2}, **FITTED).about == "batteries[1]"
    )


# --- the worse rules -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "readings", "worse"),
    [
        ("state", [{"state": "ok"}, {"state": "worn"}], "worn"),
        ("state", [{"state": "swollen"}, {"state": "removed"}], "swollen"),
        ("state", [{"state": "leaking"}, {"state": "swollen"}], "leaking"),
        ("state", [{"state": "dented"}, {"state": "none"}], "dented"),
        ("state", [{"state": "not_readable"}, {"state": "worn"}], "not_readable"),
        ("state", [{"state": "worn"}, {}], "worn"),
        ("cycles", [{"cycles": 210}, {"cycles": 480}], 480),
        ("cycles", [{"cycles": 210}, {}], 210),
        ("shuts_down", [{"shuts_down": False}, {"shuts_down": True}], True),
        ("health_pct", [{"reported_health_pct": 91}, {"reported_health_pct": 84}], 84.0),
        (
            "health_pct",
            [{"full_charge_mah": 2100, "rated_mah": 3000, "reported_health_pct": 91}],
            70.0,
        ),
        (
            "run_time_pct",
            [
                {"run_time_min": 300, "claimed_run_time_min": 600},
                {"run_time_min": 540, "claimed_run_time_min": 600},
            ],
            50.0,
        ),
        (
            "watt_hours",
            [{"rated_mah": 2550, "nominal_v": 3.85}, {"rated_mah": 3000, "nominal_v": 3.85}],
            11.55,
        ),
    ],
)
def test_the_worse_of_two_battery_readings_rules(
    field: str, readings: list[Any], worse: Any
) -> None:
    """Of two readings of one battery the worse counts, in whatever order they stand."""
    assert getattr(battery(*readings), field) == worse
    assert getattr(battery(*reversed(readings)), field) == worse


@pytest.mark.parametrize(
    ("field", "readings", "worse"),
    [
        ("lines", [{"lines": 0}, {"lines": 2}], 2),
        ("burn_in", [{"burn_in": "in_use"}, {"burn_in": "dim_grey"}], "in_use"),
        ("spots", [{"spots": "edge"}, {"spots": "centre"}], "centre"),
        ("spots", [{"spots": "edge"}, {}], "edge"),
        ("faults", [{"dark": 1}, {"dark": 3}], 3),
    ],
)
def test_the_worse_of_two_display_readings_rules(
    field: str, readings: list[Any], worse: Any
) -> None:
    """Of two readings of one display the worse counts, in whatever order they stand."""
    assert getattr(display(*readings), field) == worse
    assert getattr(display(*reversed(readings)), field) == worse


def test_what_no_reading_tells_is_not_known() -> None:
    """A reading that is silent on a field leaves it None, and open only if it may yet change."""
    fact = battery({}, **NONE)
    assert (fact.state, fact.health_pct, fact.health_from, fact.cycles) == (None,) * 4
    assert (fact.run_time_pct, fact.shuts_down, fact.watt_hours, *fact.open) == (None,) * 3


# --- health, run time and their uncertainty ------------------------------------------------------


@pytest.mark.parametrize(
    ("reading", "uncertainty", "health", "margin"),
    [
        ({"full_charge_mah": 2400, "rated_mah": 3000}, {}, 80.0, None),
        ({"full_charge_mah": 2400, "rated_mah": 3000}, {"full_charge_mah": 30}, 79.0, 1.0),
        ({"full_charge_mah": 20, "rated_mah": 3000}, {"full_charge_mah": 30}, 0.0, 1.0),
        ({"full_charge_mah": 0, "rated_mah": 3000}, {}, 0.0, None),
        ({"full_charge_mah": 3150, "rated_mah": 3000}, {}, 105.0, None),
        ({"full_charge_mah": 1025.6, "rated_mah": 1282}, {}, 80.0, None),
        ({"reported_health_pct": 81}, {"reported_health_pct": 2}, 79.0, 2.0),
        ({"reported_health_pct": 1}, {"reported_health_pct": 2}, 0.0, 2.0),
        ({"reported_health_pct": 103}, {}, 103.0, None),
        ({"full_charge_mah": 2400}, {"full_charge_mah": 30}, None, None),
        ({"rated_mah": 3000}, {}, None, None),
    ],
)
def test_health_counts_at_its_unfavourable_end(
    reading: Any, uncertainty: Any, health: float | None, margin: float | None
) -> None:
    """Health is full charge to rated capacity less the stated uncertainty (JCGM 106), unclamped.

    Regulation (EU) 2023/1670, Annex I (37) and (40); a fresh pack may well hold more than rated.
    """
    fact = battery(reading, uncertainty=uncertainty)
    assert fact.health_pct == health
    assert fact.margins == ({} if margin is None else {"health_pct": margin})


def test_the_margin_is_that_of_the_reading_that_rules() -> None:
    """The uncertainty told is that of the worse reading, not of the other."""
    reading = {"full_charge_mah": 2400, "rated_mah": 3000, "reported_health_pct": 90}
    fact = battery(reading, uncertainty={"full_charge_mah": 30, "reported_health_pct": 15})
    assert (fact.health_pct, fact.margins) == (75.0, {"health_pct": 15.0})


@pytest.mark.parametrize(
    ("reading", "source"),
    [
        ({"full_charge_mah": 2400, "rated_mah": 3000, "source": "meter"}, "measured"),
        ({"full_charge_mah": 2400, "rated_mah": 3000, "source": "run_down"}, "measured"),
        ({"full_charge_mah": 2400, "rated_mah": 3000, "source": "gauge"}, "read_from_device"),
        ({"full_charge_mah": 2400, "rated_mah": 3000}, "read_from_device"),
        ({"reported_health_pct": 91, "source": "meter"}, "read_from_device"),
        ({"source": "meter"}, None),
    ],
)
def test_only_a_meter_or_a_run_down_measures(reading: Any, source: str | None) -> None:
    """What the device tells of itself is never worded as measured."""
    assert battery(reading).health_from == source


@pytest.mark.parametrize(
    ("uncertainty", "share", "margins"),
    [
        ({}, 50.0, {}),
        ({"run_time_min": 30}, 45.0, {"run_time_pct": 5.0}),
        ({"run_time_min": 900}, 0.0, {"run_time_pct": 150.0}),
    ],
)
def test_run_time_counts_at_its_unfavourable_end(
    uncertainty: Any, share: float, margins: Any
) -> None:
    """Run time is a share of the maker's claim, less its uncertainty, and never below nothing."""
    reading = {"run_time_min": 300, "claimed_run_time_min": 600}
    fact = battery(reading, uncertainty=uncertainty)
    assert (fact.run_time_pct, fact.margins) == (share, margins)
    assert battery({"run_time_min": 300}).run_time_pct is None


def test_cycles_are_shown_beside_the_published_line() -> None:
    """Cycles are told in per cent of the kind's endurance line: 500 for the beacon."""
    assert battery({"cycles": 210}).cycle_line_pct == 42.0
    assert battery({}).cycle_line_pct is None


def test_a_kind_without_a_line_has_no_share_of_it(tmp_path: Path) -> None:
    """Where no endurance is published for a kind, cycles are only cycles."""
    book = small.load(tmp_path, small.changed("kinds/beacon.toml", "cycle_line = 500\n"))
    inspection = small.read(batteries=[{"cycles": 210}])
    facts = establish(inspection, book.kind("beacon"), inspection.inspected_on)
    assert (facts.batteries[0].cycles, facts.batteries[0].cycle_line_pct) == (210, None)


@pytest.mark.parametrize(
    ("year", "reading", "too_good"),
    [
        (2024, {"reported_health_pct": 100, "cycles": 300}, True),
        (2024, {"reported_health_pct": 100}, True),
        (2024, {"reported_health_pct": 101, "cycles": 300}, True),
        (2024, {"reported_health_pct": 93, "cycles": 0}, True),
        (2024, {"cycles": 0}, True),
        (2024, {"reported_health_pct": 99, "cycles": 1}, False),
        (2025, {"reported_health_pct": 100, "cycles": 0}, False),
        (2024, {"reported_health_pct": 99}, None),
        (2024, {"cycles": 300}, None),
        (2024, {}, None),
        (None, {"reported_health_pct": 100}, None),
    ],
)
def test_a_battery_too_good_for_its_years_is_a_question(
    year: int | None, reading: Any, too_good: bool | None
) -> None:
    """Full health or no cycle at two years or more is a question; what is open leaves it open.

    Common practice, no source: from two years on a battery has worn.
    """
    device = {} if year is None else {"year": year}
    assert battery(reading, device=device, **NONE).too_good is too_good


def test_age_is_counted_on_the_day_of_the_assessment() -> None:
    """A device may become two years old between its inspection and its sale."""
    reading, device = {"reported_health_pct": 100, "cycles": 3}, {"year": 2025}
    assert battery(reading, device=device, on="2026-12-31").too_good is False
    assert battery(reading, device=device, on="2027-01-01").too_good is True


# --- work makes readings stale -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("when", "stale"),
    [
        ({"read_on": "2026-11-17"}, True),
        ({"read_on": "2026-11-18"}, True),
        ({"read_on": "2026-11-18", "stage": "intake"}, True),
        ({"read_on": "2026-11-18", "stage": "after_work"}, False),
        ({"read_on": "2026-11-18", "stage": "soak"}, False),
        ({"read_on": "2026-11-19"}, False),
        ({}, False),
    ],
)
@pytest.mark.parametrize("fields", [WORK, FITTED], ids=["repaired", "fitted"])
def test_a_reading_before_the_work_is_stale(fields: Any, when: Any, stale: bool) -> None:
    """A reading from before the last work that touched it keeps its value and is open."""
    fact = battery({"reported_health_pct": 91, "state": "ok", **when}, **fields)
    assert (fact.health_pct, fact.state) == (91.0, "ok")
    assert ({"health_pct", "state"} <= fact.open) is stale
    assert bool(fact.open) is stale


def test_a_display_reading_before_the_work_is_stale() -> None:
    """What was seen on a display before it was worked on may no longer hold."""
    reading = {"lines": 2, **BEFORE}
    work: Any = {"repairs": [{"work": "panel_service", "on": "2026-11-18"}], "parts": []}
    assert "lines" in display(reading, **work).open
    assert display(reading, **work).lines == 2
    assert "lines" not in display(reading, **WORK).open


def test_work_elsewhere_leaves_a_reading_alone() -> None:
    """A new charging port says nothing of what the cell held."""
    reading = {"reported_health_pct": 91, **BEFORE}
    assert not battery(reading, parts=[{"part": "port"}], repairs=[]).open


def test_a_fitted_battery_retires_the_readings_before_it() -> None:
    """Once the new battery has a reading of its own, those of the old one are over."""
    old = {"state": "swollen", "reported_health_pct": 60, "cycles": 900, **BEFORE}
    fact = battery(old, {"state": "ok", "reported_health_pct": 100, **AFTER}, **FITTED)
    assert (fact.state, fact.health_pct, fact.cycles) == ("ok", 100.0, None)
    assert not fact.open


def test_a_fitted_battery_alone_retires_nothing() -> None:
    """While the new battery has no reading, the old one's are all there is, and are open."""
    fact = battery({"state": "swollen", **BEFORE}, **FITTED)
    assert fact.state == "swollen"
    assert "state" in fact.open


@pytest.mark.parametrize(
    "work",
    [
        {"repairs": [{"work": "board_repair", "on": "2026-11-18"}]},
        {"repairs": [{"work": "cell", "on": "2026-11-18"}]},
        {"repairs": [{"work": "clean", "on": "2026-11-18"}]},
        {"parts": [{"part": "port", "on": "2026-11-18"}]},
        {"parts": [{"part": "reserve_cell", "on": "2026-11-18"}]},
    ],
)
def test_work_alone_never_clears_a_swollen_cell(work: Any) -> None:
    """However good a later reading is, only a fitted battery ends the finding of a bad one."""
    fact = battery({"state": "swollen", **BEFORE}, {"state": "ok", **AFTER}, **{**NONE, **work})
    assert fact.state == "swollen"
    assert "state" not in fact.open


def test_work_alone_never_raises_a_bad_reading() -> None:
    """After a repair the worse of the readings before and after it still rules, and is firm."""
    old, new = {"reported_health_pct": 60, **BEFORE}, {"reported_health_pct": 95, **AFTER}
    fact = battery(old, new, **WORK)
    assert (fact.health_pct, *fact.open) == (60.0,)


def test_a_field_not_read_again_after_the_work_stays_open() -> None:
    """A later look at the cell's state says nothing of a health that was read before the work."""
    fact = battery({"reported_health_pct": 91, **BEFORE}, {"state": "ok", **AFTER}, **WORK)
    assert fact.health_pct == 91.0
    assert "health_pct" in fact.open
    assert "state" not in fact.open


@pytest.mark.parametrize(
    ("fields", "shaky"), [({}, True), (NONE, False), ({**NONE, "partly": ["parts"]}, True)]
)
def test_readings_are_shaky_while_work_may_be_missing(fields: Any, shaky: bool) -> None:
    """While the lists of works are open, some work may yet turn out to have come after them."""
    assert battery({"cycles": 1}, **fields).shaky is shaky
    assert display({"lines": 0}, **fields).shaky is shaky


# --- pixel faults --------------------------------------------------------------------------------

COUNTS = {"bright": 0, "dark": 0, "subpixel_lit": 0, "subpixel_dark": 0}
MEGAPIXEL = {"px": [1000, 1000]}


@pytest.mark.parametrize(
    ("counts", "fault_class", "faults"),
    [
        ({}, 0, 0),
        ({"dark": 1}, 1, 1),
        ({"bright": 1, "dark": 1, "subpixel_lit": 2, "subpixel_dark": 1}, 1, 5),
        ({"subpixel_lit": 3}, 2, 3),
        ({"dark": 2}, 2, 2),
        ({"dark": 3}, 3, 3),
        ({"bright": 6}, 4, 6),
        ({"dark": 151}, 5, 151),
    ],
)
def test_pixel_faults_make_a_class(counts: Any, fault_class: int, faults: int) -> None:
    """On one million pixels the counts fit the classes of ISO 9241-307:2008 as they are printed.

    The table is as quoted on monitor makers' pages; class 5 is beyond class IV.
    """
    fact = display({**COUNTS, **MEGAPIXEL, **counts})
    assert (fact.fault_class, fact.faults, *fact.open) == (fault_class, faults)


@pytest.mark.parametrize(
    ("reading", "fault_class", "faults", "class_open", "count_open"),
    [
        ({}, None, None, True, True),
        (MEGAPIXEL, None, None, True, True),
        (COUNTS, 0, 0, False, False),
        ({**COUNTS, "dark": 1}, 1, 1, True, False),
        ({"bright": 0, **MEGAPIXEL}, 0, 0, True, True),
        ({"dark": 3, **MEGAPIXEL}, 3, 3, True, True),
        ({"dark": 3}, 1, 3, True, True),
    ],
)
def test_counts_that_lack_leave_the_class_open(
    reading: Any,
    fault_class: int | None,
    faults: int | None,
    class_open: bool,
    count_open: bool,
) -> None:
    """A class needs the pixels and all four counts; one fault at least rules out class 0."""
    fact = display(reading)
    assert (fact.fault_class, fact.faults) == (fault_class, faults)
    assert ("fault_class" in fact.open) is class_open
    assert ("faults" in fact.open) is count_open


def test_one_whole_count_does_not_close_another_that_lacks() -> None:
    """Of two readings, one without every count still leaves the class open."""
    whole, lacking = {**COUNTS, **MEGAPIXEL}, {"dark": 3, **MEGAPIXEL}
    fact = display(whole, lacking)
    assert fact.fault_class == 3
    assert "fault_class" in fact.open
