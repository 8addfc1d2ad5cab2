"""What the eye resolves, against published examples of visual acuity."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradekit.measures import (
    ARMS_LENGTH_MM,
    READING_DISTANCE_MM,
    implied_visibility,
    resolvable_from_mm,
    resolvable_width_mm,
)

lengths = st.floats(0.001, 10_000)
angles = st.floats(0.1, 60)

# A lighting maker's glossary (two lines, printed to 0.01 minute) and the Snellen letter of 5
# minutes at 6 m, all as quoted; half a step of the printed angle is the tolerance.
PUBLISHED = [
    (2000, 1.03, 0.6),
    (2000, 0.52, 0.3),
    (6000, 5.0, 8.73),
]


@pytest.mark.parametrize(("distance", "minutes", "width"), PUBLISHED)
def test_published_widths(distance: float, minutes: float, width: float) -> None:
    """The published width at a distance follows from the published angle."""
    half_a_step = resolvable_width_mm(distance, 0.005)
    assert resolvable_width_mm(distance, minutes) == pytest.approx(width, abs=half_a_step)


# w = 2 d tan(a / 2), worked by hand to 0.0001 mm: at 1 minute and at 2 (acuity 0.5).
@pytest.mark.parametrize(
    ("distance", "at_one", "at_two"),
    [
        (250, 0.0727, 0.1454),
        (300, 0.0873, 0.1745),
        (400, 0.1164, 0.2327),
        (500, 0.1454, 0.2909),
        (600, 0.1745, 0.3491),
        (1000, 0.2909, 0.5818),
    ],
)
def test_worked_widths(distance: float, at_one: float, at_two: float) -> None:
    """The smallest resolvable width grows with distance and with a poorer eye."""
    assert round(resolvable_width_mm(distance), 4) == at_one
    assert round(resolvable_width_mm(distance, 2.0), 4) == at_two


# The same formula turned round, worked by hand to the millimetre.
@pytest.mark.parametrize(("width", "farthest"), [(0.05, 172), (0.1, 344), (0.2, 688), (0.3, 1031)])
def test_worked_distances(width: float, farthest: int) -> None:
    """A mark is resolved from farther away the wider it is."""
    assert round(resolvable_from_mm(width)) == farthest


# Pixel pitch (25.4 / pixels an inch) and its angle at 300 mm, worked by hand to 0.01 minute.
@pytest.mark.parametrize(
    ("per_inch", "minutes"), [(264, 1.10), (326, 0.89), (401, 0.73), (460, 0.63), (538, 0.54)]
)
def test_a_pixel_against_the_eye(per_inch: int, minutes: float) -> None:
    """A pixel is resolved at 300 mm by an eye as sharp as its angle, not by one less sharp."""
    pitch = 25.4 / per_inch
    assert (
        resolvable_width_mm(300, minutes - 0.005)
        < pitch
        < resolvable_width_mm(300, minutes + 0.005)
    )


def test_a_tenth_of_a_millimetre_at_two_distances() -> None:
    """0.10 mm is above the 1-minute limit at 300 mm and below it at 600 mm."""
    assert resolvable_width_mm(300) < 0.10 < resolvable_width_mm(600)


@given(lengths, angles)
def test_width_and_distance_are_inverses(distance: float, minutes: float) -> None:
    """The width resolvable at a distance is resolvable from that distance."""
    width = resolvable_width_mm(distance, minutes)
    assert resolvable_from_mm(width, minutes) == pytest.approx(distance)


@given(lengths, angles, st.floats(1.01, 10))
def test_farther_wants_wider_and_sharper(distance: float, minutes: float, times: float) -> None:
    """Distance and angle each raise the resolvable width; width raises the distance."""
    width = resolvable_width_mm(distance, minutes)
    assert resolvable_width_mm(distance * times, minutes) > width
    assert resolvable_width_mm(distance, minutes * times) > width
    assert resolvable_from_mm(width * times, minutes) > resolvable_from_mm(width, minutes)


# 600 mm: ISO 17637:2016 as quoted in a national edition. 350 mm: common practice, no source.
@pytest.mark.parametrize(
    ("width", "visibility"),
    [(0.0, 0), (0.1, 0), (0.1018, 0), (0.1019, 1), (0.1745, 1), (0.1746, 2), (3.0, 2)],
)
def test_visibility_follows_from_the_two_distances(width: float, visibility: int) -> None:
    """A mark resolved at arm's length is 2, at reading distance 1, else 0."""
    assert implied_visibility(width) == visibility


def test_the_two_distances_are_in_order() -> None:
    """Arm's length lies beyond reading distance, so visibility 2 includes 1."""
    assert READING_DISTANCE_MM == 350
    assert ARMS_LENGTH_MM == 600


@given(lengths, lengths)
def test_a_wider_mark_is_never_less_visible(one: float, other: float) -> None:
    """Implied visibility never falls as the width grows."""
    narrow, wide = sorted((one, other))
    assert implied_visibility(narrow) <= implied_visibility(wide)


def test_nonsense_is_refused() -> None:
    """No negative length and no impossible angle gets an answer."""
    with pytest.raises(ValueError, match="width"):
        implied_visibility(-0.1)
    with pytest.raises(ValueError, match="width"):
        resolvable_from_mm(math.nan)
    with pytest.raises(ValueError, match="distance"):
        resolvable_width_mm(-1)
    for minutes in (0, -1, 180 * 60, math.nan):
        with pytest.raises(ValueError, match="angle"):
            resolvable_width_mm(300, minutes)
