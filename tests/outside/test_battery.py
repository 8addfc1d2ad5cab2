"""Battery figures against a regulation, transport rules and published worked examples."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradekit.measures import (
    SMALL_BATTERY_WH,
    SMALL_CELL_WH,
    endurance_floor,
    health_pct,
    watt_hours,
    whole_pct,
    within,
)

# Regulation (EU) 2023/1670, Annex I (40): remaining full-charge capacity over rated capacity.
# 3898 of 3800 mAh: a smart battery in a kernel log, as quoted on the Linux power-supply list.
# The thresholds 80 % (Annex II B 1.2(4)) and 83 % (1.1(5)(c)(ii)) are from the same regulation.
HEALTH = [
    (3898, 3800, 102.578947368),
    (2550, 3000, 85.0),
    (2400, 3000, 80.0),
    (2490, 3000, 83.0),
    (2397, 3000, 79.9),
    (2489.7, 3000, 82.99),
    (0, 3000, 0.0),
    # Plain binary division answers 79.99999999999999 and 80.00000000000001 to these two.
    (1025.6, 1282, 80.0),
    (2400.8, 3001, 80.0),
]


@pytest.mark.parametrize(("full", "rated", "per_cent"), HEALTH)
def test_health_is_full_charge_over_rated(full: float, rated: float, per_cent: float) -> None:
    """Health is the published ratio, exact at a threshold and not clamped above 100 %."""
    assert health_pct(full, rated) == per_cent


@given(st.integers(1, 200_000), st.integers(0, 300))
def test_health_is_exact_in_tenths_of_a_milliamp_hour(rated_tenths: int, per_cent: int) -> None:
    """A capacity of exactly n % of the rated one is n %, and one step less is below it."""
    full_thousandths = rated_tenths * per_cent
    rated = rated_tenths / 10
    assert health_pct(full_thousandths / 1000, rated) == per_cent
    if per_cent:
        assert health_pct((full_thousandths - 1) / 1000, rated) < per_cent


@pytest.mark.parametrize(
    ("full", "rated"),
    [(2000, 0), (2000, -1), (-1, 3000), (math.nan, 3000), (2000, math.nan), (math.inf, 3000)],
)
def test_health_of_an_unknown_capacity_is_refused(full: float, rated: float) -> None:
    """Without a rated capacity there is no health, least of all 100 %."""
    with pytest.raises(ValueError, match="capacity"):
        health_pct(full, rated)


# Common practice, no source: a percentage is shown rounded down.
@pytest.mark.parametrize(
    ("value", "shown"), [(79.99, 79), (80.0, 80), (79.999999999, 79), (102.58, 102), (0.4, 0)]
)
def test_a_shown_percentage_is_never_better_than_the_measured(value: float, shown: int) -> None:
    """A percentage is shown rounded down."""
    assert whole_pct(value) == shown


# Regulation (EU) 2023/1670, Annex III point 5: its two examples, then the edges of a hundred.
@pytest.mark.parametrize(
    ("cycles", "claim"),
    [(867, 800), (1049, 1000), (800, 800), (799, 700), (99, 0), (100, 100), (0, 0)],
)
def test_an_endurance_claim_is_rounded_down_to_full_hundreds(cycles: int, claim: int) -> None:
    """A claim in cycles never exceeds what was reached."""
    assert endurance_floor(cycles) == claim


def test_cycles_below_zero_are_refused() -> None:
    """A battery cannot have been cycled less than never."""
    with pytest.raises(ValueError, match="cycles"):
        endurance_floor(-1)


# 49 CFR 171.8 "Watt-hour"; the first three are worked examples on explainers' pages and, for
# 41.04 Wh, the design figures of the smart battery in the kernel log above. The last two are
# worked here.
ENERGY = [
    (4400, 11.1, 48.84),
    (2500, 10.8, 27.0),
    (3800, 10.8, 41.04),
    (3000, 3.85, 11.55),
    (5200, 11.4, 59.28),
]


@pytest.mark.parametrize(("mah", "volts", "energy"), ENERGY)
def test_energy_is_charge_times_voltage(mah: float, volts: float, energy: float) -> None:
    """Watt-hours are ampere-hours times nominal volts, to the printed figure."""
    assert watt_hours(mah, volts) == energy


@pytest.mark.parametrize(("mah", "volts"), [(-1, 3.7), (3000, -3.7), (math.nan, 3.7)])
def test_energy_of_nonsense_is_refused(mah: float, volts: float) -> None:
    """No negative or missing figure turns into an energy."""
    with pytest.raises(ValueError, match="capacity and voltage"):
        watt_hours(mah, volts)


# UN Model Regulations, special provision 188, as quoted in carriers' guidance: "not more than".
@pytest.mark.parametrize(
    ("mah", "volts", "limit", "passes"),
    [
        (5000, 4.0, SMALL_CELL_WH, True),
        (5002.5, 4.0, SMALL_CELL_WH, False),  # 20.01 Wh
        (5405.4, 3.7, SMALL_CELL_WH, True),  # 19.99998 Wh
        (5405.5, 3.7, SMALL_CELL_WH, False),  # 20.00035 Wh
        (10000, 10.0, SMALL_BATTERY_WH, True),
        (10001, 10.0, SMALL_BATTERY_WH, False),  # 100.01 Wh
        (13513.5, 7.4, SMALL_BATTERY_WH, True),  # 99.9999 Wh
    ],
)
def test_the_limit_itself_passes(mah: float, volts: float, limit: float, passes: bool) -> None:
    """20.00 and 100.00 Wh are small batteries, 20.01 and 100.01 Wh are not."""
    assert within(watt_hours(mah, volts), limit) is passes


@given(st.integers(100, 6000), st.integers(-3, 3), st.sampled_from([20, 100]))
def test_the_limit_is_exact_for_any_voltage(centivolts: int, step: int, limit: int) -> None:
    """Judged in whole microwatt-hours, the answer next to a limit is the exact one."""
    tenths_mah = limit * 1_000_000 // centivolts + step
    passes = tenths_mah * centivolts <= limit * 1_000_000
    assert within(watt_hours(tenths_mah / 10, centivolts / 100), limit) is passes


def test_binary_noise_refuses_no_battery() -> None:
    """24.6, 39.7 and 35.7 Wh make 100 Wh, though their binary sum is a little more."""
    summed = 24.6 + 39.7 + 35.7
    assert summed > SMALL_BATTERY_WH
    assert within(summed, SMALL_BATTERY_WH)


def test_an_unknown_energy_is_within_no_limit() -> None:
    """What cannot be worked out does not pass as small."""
    assert not within(math.nan, SMALL_CELL_WH)
