"""Errors of the tip against closed forms of the trailing blade, and against slow, fine calculation.

The closed forms follow from the kinematics of a trailed wheel (tractrix: J. D. Lawrence, A Catalog of
Special Plane Curves, 1972, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from preflight.curves import Floats, Polylines
from preflight.cutting.knife import deviations, parted, tip_path
from preflight.cutting.rehearsal.tip import Errors, compensated, lead_lengths, uncompensated

OFFSETS = (0.25, 0.5)


def lines(*ways: Floats | list[tuple[float, float]]) -> Polylines:
    parts = [np.asarray(way, float) for way in ways]
    points = np.concatenate(parts)
    return Polylines(
        points,
        np.concatenate(([0], np.cumsum([len(part) for part in parts]))).astype(np.int64),
        np.zeros(len(parts), bool),
        np.arange(len(parts)),
        np.ones(len(points), bool),
    )


def settled(corner: float) -> list[tuple[float, float]]:
    """A straight run, a turn by so many degrees, and a run that is long enough to settle again."""
    angle = math.radians(corner)
    return [(-40.0, 7.0), (0.0, 7.0), (40 * math.cos(angle), 7 + 40 * math.sin(angle))]


@pytest.mark.parametrize("offset", OFFSETS)
def test_a_right_angle_without_compensation_errs_by_0_482_offsets(offset: float) -> None:
    """Where the tractrix is as far from the one leg as from the other: sech u = u - tanh u."""
    low, high = 1.0, 2.0
    for _ in range(60):
        u = (low + high) / 2
        low, high = (u, high) if 1 / math.cosh(u) > u - math.tanh(u) else (low, u)
    found = uncompensated(lines(settled(90)), offset, turned=True)
    assert found.largest == pytest.approx(offset / math.cosh(u), abs=0.005 * offset)
    assert found.largest == pytest.approx(0.482 * offset, abs=0.005 * offset)
    assert found.contour == 0
    assert found.at is not None
    assert math.dist(found.at, (0, 7)) < offset


@pytest.mark.parametrize("offset", OFFSETS)
def test_the_mean_of_a_right_angle_is_the_area_beside_the_line_over_its_length(offset: float) -> None:
    # By integrating, over the way of the pivot, the distance of the exact tractrix from the nearer leg.
    u = np.linspace(0, 30, 300_001)
    off = np.minimum(1 / np.cosh(u), np.abs(u - np.tanh(u))) * offset
    # And the tip comes down one offset before the line's start, up to which it has to be drawn.
    area = float(np.trapezoid(off, u * offset)) + offset**2 / 2
    found = uncompensated(lines(settled(90)), offset, turned=True)
    assert found.mean == pytest.approx(area / 80, rel=0.03)


@pytest.mark.parametrize("offset", OFFSETS)
@pytest.mark.parametrize("radius", [1.0, 5.0])
def test_a_circle_without_compensation_is_cut_at_the_root_of_r2_less_offset2(
    offset: float, radius: float
) -> None:
    angle = np.linspace(0, 4 * np.pi, 4001)
    way = radius * np.stack((np.cos(angle), np.sin(angle)), axis=1)
    found = uncompensated(lines(way), offset, turned=True)
    exact = radius - math.sqrt(radius**2 - offset**2)
    assert found.largest == pytest.approx(exact, abs=2e-3 * exact + 1e-5)
    assert found.mean == pytest.approx(exact, rel=0.15)


@pytest.mark.parametrize("offset", OFFSETS)
@pytest.mark.parametrize("turn", [0.3, 1.0, 1.5, 2.5, -2.0])
def test_a_blade_left_askew_settles_as_the_half_angle_s_tangent_decays(offset: float, turn: float) -> None:
    """tan(a/2) = tan(a0/2) exp(-s/r), and the tip is r sin(a) beside the line."""
    tolerance = 0.1 * offset
    (way,) = lead_lengths(np.array([turn]), offset, tolerance)
    angle = 2 * math.atan(math.tan(abs(turn) / 2) * math.exp(-way / offset))
    if math.sin(abs(turn)) * offset > tolerance or abs(turn) > math.pi / 2:
        assert offset * math.sin(angle) == pytest.approx(tolerance, rel=1e-9)
        assert angle < math.pi / 2
    pivot = np.array([[0.0, 0.0], [way, 0.0]])
    assert abs(tip_path(pivot, offset, -turn)[-1, 1]) <= tolerance * (1 + 1e-9)


def test_no_lead_is_needed_where_the_blade_stands_right_or_has_no_offset() -> None:
    assert lead_lengths(np.array([0.0, 0.05]), 0.25, 0.1).tolist() == [0.0, 0.0]
    assert lead_lengths(np.array([3.0]), 0.0, 0.1).tolist() == [0.0]
    assert np.isfinite(lead_lengths(np.array([math.pi, -math.pi]), 0.25, 0.1)).all()


@pytest.mark.parametrize("corner", [20, 90, 150, -120])
def test_a_corner_that_is_swung_leaves_no_error(corner: float) -> None:
    found = compensated(lines(settled(corner)), 0.25, turned=True)
    assert (found.largest, found.mean, found.at, found.entry) == (0.0, 0.0, None, 0.0)


def test_sharp_turns_within_one_offset_leave_an_error_near_them() -> None:
    way = [(-20.0, 0.0), (0.0, 0.0), (0.0, 0.2), (20.0, 0.2)]
    found = compensated(lines([(50.0, 50.0), (90.0, 50.0)], way), 0.25, turned=True)
    assert 0.02 < found.largest < 0.25
    assert found.contour == 1
    assert found.at is not None
    assert math.dist(found.at, (0, 0.1)) < 1.0
    assert 0 < found.mean < 0.05 * found.largest


@pytest.mark.parametrize("seed", range(6))
def test_any_contours_agree_with_one_fine_calculation_each(seed: int) -> None:
    """Slow check: every contour alone, in steps of a two-hundredth offset, distance to all of it."""
    rng = np.random.default_rng(seed)
    offset = 0.3
    # Lines that go on to the right never come near themselves again, so that all of one may be asked.
    steps = [rng.normal(0, 4, (12, 2)) * (0.3, 1) for _ in range(4)]
    ways = [
        np.cumsum(np.abs(s) * (1, 0) + (0.8, 0) + s * (0, 1), axis=0) + 200 * i for i, s in enumerate(steps)
    ]
    worst, entry = [], []
    for way in ways:
        heading = math.atan2(*(way[1] - way[0])[::-1])
        pivot = parted(way, offset / 200)
        tip = tip_path(pivot, offset, heading)
        off, _ = deviations(tip, way)
        along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(pivot, axis=0).T))))
        worst.append(off[along >= 4 * offset].max())
        entry.append(off[along < 4 * offset].max())
    found = uncompensated(lines(*ways), offset, turned=True)
    assert found.largest == pytest.approx(max(worst), abs=0.01 * offset)
    assert found.entry == pytest.approx(max(entry), abs=0.05 * offset)
    assert found.contour == int(np.argmax(worst))


@pytest.mark.parametrize("make_up", [compensated, uncompensated])
def test_a_blade_not_turned_errs_where_contours_begin(make_up: Callable[..., Errors]) -> None:
    """The second contour sets out at right angles to the first; settling is the closed form's."""
    two = lines([(0.0, 0.0), (40.0, 0.0)], [(60.0, 0.0), (60.0, 40.0)])
    found = make_up(two, 0.25, turned=False)
    # The tip begins one offset beside the new line.
    assert found.entry == pytest.approx(0.25, abs=1e-6)
    if make_up is compensated:
        assert found.entry_contour == 1
        # The entry ends after four offsets: tan(a/2) = tan(45 degrees) exp(-4).
        assert found.largest == pytest.approx(0.25 * math.sin(2 * math.atan(math.exp(-4))), rel=1e-2)


def test_without_an_offset_or_without_contours_there_is_no_error() -> None:
    none = lines([(0.0, 0.0), (1.0, 0.0)])
    for find in (compensated, uncompensated):
        assert find(none, 0.0, turned=True).at is None
    empty = Polylines(
        np.zeros((0, 2)), np.zeros(1, np.int64), np.zeros(0, bool), np.zeros(0, np.int64), np.zeros(0, bool)
    )
    assert uncompensated(empty, 0.25, turned=True).at is None


def test_contours_that_follow_each_other_in_one_spot_do_not_disturb_each_other() -> None:
    hook = [(0.0, 0.0), (20.0, 0.0), (20.0, 0.2), (0.0, 0.2)]
    alone = compensated(lines(hook), 0.25, turned=True)
    after = compensated(lines(hook, [(0.0, 0.2), (-5.0, 9.0)], hook), 0.25, turned=True)
    assert after.largest == pytest.approx(alone.largest, rel=1e-6)
