"""What is left of a compensated offset. The assumption behind it is stated in the module; here it is
checked for what it must keep quiet about, what it must see, and that the quick search misses nothing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from preflight.curves import Floats, Path, Polylines, flatten
from preflight.cutting.corners import TightSpot, lags, least_turn, suspects, tight_spots
from preflight.cutting.knife import deviations, parted, pivot_path, tip_path

OFFSET, TOLERANCE = 0.25, 0.1


def polygon(points: list[tuple[float, float]], *, closed: bool = True) -> Polylines:
    return flatten([Path.polygon(points, closed=closed)], 0.01)


def spots(lines: Polylines, offset: float = OFFSET, tolerance: float = TOLERANCE) -> list[TightSpot]:
    return [
        spot
        for i in range(len(lines))
        for spot in tight_spots(
            lines[i],
            lines.corners[lines.starts[i] : lines.starts[i + 1]],
            closed=bool(lines.closed[i]),
            offset=offset,
            tolerance=tolerance,
        )
    ]


def slot(width: float) -> Polylines:
    """A square with a slit of this width into it."""
    return polygon([(0, 0), (10, 0), (10, 5), (4, 5), (4, 5 + width), (10, 5 + width), (10, 10), (0, 10)])


@pytest.mark.parametrize("degrees", [10, 30, 60, 90, 120])
def test_points_and_corners_with_long_sides_are_cut_exactly(degrees: float) -> None:
    half = np.radians(degrees) / 2
    lines = polygon([(0, 0), (20 * np.cos(half), 20 * np.sin(half)), (20 * np.cos(half), -20 * np.sin(half))])
    assert not len(suspects(lines, OFFSET, TOLERANCE))
    assert spots(lines) == []


def test_the_right_angles_of_an_e_are_quiet_with_either_published_offset() -> None:
    e = [(0, 0), (6, 0), (6, 1), (1, 1), (1, 3), (5, 3), (5, 4), (1, 4), (1, 6), (6, 6), (6, 7), (0, 7)]
    for offset in (0.25, 0.5):
        assert not len(suspects(polygon([(float(x), float(y)) for x, y in e]), offset, TOLERANCE))


@pytest.mark.parametrize("radius", [0.3, 0.5, 2.0])
def test_rounded_corners_and_small_circles_are_quiet(radius: float) -> None:
    angle = np.linspace(0, 2 * np.pi, 97)[:-1]
    ring = [(float(x), float(y)) for x, y in zip(radius * np.cos(angle), radius * np.sin(angle), strict=True)]
    assert spots(polygon(ring)) == []


def test_a_slit_s_blunt_end_is_seen_once_it_is_too_narrow_to_turn_in() -> None:
    assert spots(slot(0.2)) == []
    (spot,) = spots(slot(0.03))
    assert not spot.back_and_forth
    assert not spot.bend
    assert spot.turns == 2
    assert abs(spot.turn) == pytest.approx(np.pi)
    assert spot.leg == pytest.approx(0.03)
    assert spot.point == pytest.approx((4, 5), abs=0.3)
    assert TOLERANCE < spot.error < OFFSET
    (same,) = suspects(slot(0.03), OFFSET, TOLERANCE)
    assert same == 0


def test_steps_below_half_a_cutter_s_step_are_not_seen() -> None:
    jogs = [(x * 0.1, 0.005 * (x % 2)) for x in range(100)]
    assert spots(polygon([*jogs, (9.9, 9.0), (0.0, 9.0)]), 0.5, 0.02) == []


def test_where_a_contour_begins_makes_no_difference() -> None:
    points = [
        (10.0, 5.0),
        (4.0, 5.0),
        (4.0, 5.03),
        (10.0, 5.03),
        (10.0, 10.0),
        (0.0, 10.0),
        (0.0, 0.0),
        (10.0, 0.0),
    ]
    found = [spots(polygon(points[i:] + points[:i])) for i in range(len(points))]
    assert all(len(one) == 1 for one in found)
    assert [one[0].error for one in found] == pytest.approx([found[0][0].error] * len(points), rel=1e-6)
    assert all(len(suspects(polygon(points[i:] + points[:i]), OFFSET, TOLERANCE)) for i in range(len(points)))


def test_an_open_line_is_judged_between_its_ends() -> None:
    line = polygon([(0, 0), (5, 0), (5, 0.03), (0, 0.03)], closed=False)
    assert len(spots(line)) == 1
    assert spots(polygon([(0, 0), (5, 0), (5, 0.03)], closed=False)) == []


def test_a_long_run_is_one_spot_where_it_is_worst() -> None:
    teeth = [(x * 0.1, 0.04 * (x % 2)) for x in range(1000)]
    teeth[501] = (50.1, 0.4)
    lines = polygon([*teeth, (99.9, 90.0), (0.0, 90.0)])
    (spot,) = spots(lines, 0.5)
    assert spot.back_and_forth
    assert spot.point == pytest.approx((50.1, 0.2), abs=0.5)


def test_nothing_is_seen_without_an_offset_or_with_any_error_accepted() -> None:
    assert not len(suspects(slot(0.03), 0.0, TOLERANCE))
    assert not len(suspects(slot(0.03), OFFSET, 2 * OFFSET))
    assert not len(
        suspects(Polylines(np.zeros((0, 2)), np.zeros(1, int), *[np.zeros(0, bool)] * 3), 0.25, 0.1)
    )


@pytest.mark.parametrize("degrees", range(5, 180, 5))
def test_one_turn_left_unswung_errs_by_less_than_the_bound(degrees: int) -> None:
    angle = np.radians(degrees)
    wanted = np.array([[-4.0, 0.0], [0.0, 0.0], [8 * np.cos(angle), 8 * np.sin(angle)]])
    pivot = pivot_path(wanted, 1.0, swung=np.zeros(1, bool))
    cut = tip_path(parted(pivot.points, 0.02), 1.0, pivot.heading)
    off = deviations(cut, wanted)[0].max()
    assert least_turn(1.0, float(off)) <= angle + 1e-6


def _zigzag(legs: list[tuple[float, float]]) -> Floats:
    sizes, heading = np.array([leg[0] for leg in legs]), np.cumsum([leg[1] for leg in legs])
    heading *= 1 - 1e-3
    steps = sizes[:, None] * np.stack((np.cos(heading), np.sin(heading)), axis=1)
    return np.concatenate(([[-5.0, 0.0], [0.0, 0.0]], np.cumsum(steps, axis=0)))


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.04, 0.6), st.floats(-2.8, 2.8)), min_size=2, max_size=8),
    st.sampled_from((0.25, 0.5)),
    st.sampled_from((0.05, 0.1, 0.2)),
)
def test_the_quick_search_and_the_bound_miss_nothing(
    legs: list[tuple[float, float]], offset: float, tolerance: float
) -> None:
    points = _zigzag(legs)
    end = points[-1] + 6 * (points[-1] - points[-2]) / np.hypot(*(points[-1] - points[-2]))
    lines = polygon([(float(x), float(y)) for x, y in [*points, end]], closed=False)
    if spots(lines, offset, tolerance):
        assert len(suspects(lines, offset, tolerance))
    sharp = np.ones(len(lines.points) - 2, bool)
    # All turns unswung, and together less than the bound: never worse than accepted.
    pivot = pivot_path(lines.points, offset, swung=~sharp)
    turned = np.abs(np.diff(np.unwrap(np.arctan2(*np.diff(lines.points, axis=0).T[::-1])))).sum()
    if turned < least_turn(offset, tolerance):
        cut = tip_path(parted(pivot.points, offset / 20), offset, pivot.heading)
        assert deviations(cut, lines.points)[0].max() <= tolerance


def test_the_lag_after_one_turn_follows_from_the_half_angle() -> None:
    # A turn by 90 degrees: the pivot goes sqrt(2) r at 135 degrees to the blade.
    left = 2 * np.arctan(np.tan(np.radians(67.5)) * np.exp(-np.sqrt(2)))
    (found,) = lags(np.array([np.pi / 2]), np.array([9.0]), 0.25)
    assert found == pytest.approx(0.25 * np.sin(left - np.pi / 4), rel=1e-9)


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.03, 1.0), st.floats(-3.0, 3.0)), min_size=1, max_size=7),
    st.sampled_from((0.1, 0.2, 0.4, 0.6, 1.0)),
)
def test_runs_that_are_passed_over_for_their_lag_never_stray_too_far(
    turns_and_legs: list[tuple[float, float]], tolerance: float
) -> None:
    legs, turn = np.array(turns_and_legs).T
    legs[-1] = 9.0
    heading = np.cumsum(turn)
    steps = legs[:, None] * np.stack((np.cos(heading), np.sin(heading)), axis=1)
    wanted = np.concatenate(([[-9.0, 0.0], [0.0, 0.0]], np.cumsum(steps, axis=0)))
    if 1.3 * lags(turn, legs, 1.0).max() > tolerance:
        return
    pivot = pivot_path(wanted, 1.0, swung=np.zeros(len(turn), bool))
    cut = tip_path(parted(pivot.points, 0.1), 1.0, pivot.heading)
    assert deviations(cut, wanted)[0].max() <= tolerance
    assert deviations(parted(wanted, 0.1), cut)[0].max() <= tolerance
