"""The swivel knife against closed forms of the trailed blade.

The tip of a blade whose pivot is drawn along a straight line runs on a tractrix, x = r sech u,
y = r (u - tanh u), with u the pivot's way over the offset r (J. D. Lawrence, A Catalog of Special
Plane Curves, 1972; from memory, and derived again from dpsi/ds = sin(phi - psi)/r). Blade offsets:
about 0.25 mm for 45 degree and 0.5 mm for 60 degree blades (Graphics Pro, August 2021, p. 43).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from preflight.curves import Floats
from preflight.cutting.knife import (
    deviations,
    headings,
    parted,
    pivot_path,
    tip_path,
    turns,
    worst_deviation,
)

OFFSETS = (0.25, 0.5)


def circle(radius: float, sides: int, laps: float = 1.0) -> Floats:
    angle = np.linspace(0, 2 * np.pi * laps, round(sides * laps) + 1)
    return radius * np.stack((np.cos(angle), np.sin(angle)), axis=1)


@pytest.mark.parametrize("offset", OFFSETS)
@pytest.mark.parametrize("turned", [0.1, 1.0, 2.0, 3.0, -2.5])
def test_a_straight_run_settles_as_the_half_angle_s_tangent_decays(offset: float, turned: float) -> None:
    ways = np.array([0.05, 0.2, 0.7, 2.0])
    pivot = np.stack((np.concatenate(([0.0], ways)), np.zeros(5)), axis=1)
    left = -headings(pivot, offset, -turned)
    assert np.tan(left[1:] / 2) == pytest.approx(math.tan(turned / 2) * np.exp(-ways / offset), rel=1e-9)


@pytest.mark.parametrize("offset", OFFSETS)
def test_the_tip_of_a_blade_drawn_sideways_runs_on_a_tractrix(offset: float) -> None:
    u = np.linspace(0, 6, 61)
    pivot = np.stack((np.zeros(61), offset * u), axis=1)
    tip = tip_path(pivot, offset, 0.0)
    assert tip[:, 0] == pytest.approx(-offset / np.cosh(u), rel=1e-9)
    assert tip[:, 1] == pytest.approx(offset * (u - np.tanh(u)), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("offset", OFFSETS)
def test_a_right_angle_cut_without_compensation_errs_by_0_482_offsets(offset: float) -> None:
    low, high = 1.0, 2.0
    for _ in range(60):
        u = (low + high) / 2
        # As far from the one leg as from the other: sech u = u - tanh u.
        low, high = (u, high) if 1 / math.cosh(u) > u - math.tanh(u) else (low, u)
    expected = offset / math.cosh(u)
    assert expected == pytest.approx(0.482 * offset, abs=0.0005 * offset)
    after = np.sort(np.append(np.linspace(0, 8, 81), u))
    wanted = np.array([[-8.0, 0.0], [0.0, 0.0], [0.0, 8.0]]) * offset
    pivot = np.concatenate((wanted[:1], np.stack((np.zeros(82), offset * after), axis=1)))
    off, _ = deviations(tip_path(pivot, offset, 0.0)[1:], wanted)
    assert off.max() == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("offset", OFFSETS)
@pytest.mark.parametrize("radius", [0.6, 1.0, 5.0])
def test_a_circle_cut_without_compensation_comes_out_smaller(offset: float, radius: float) -> None:
    # The chords' midpoints lie inside the circle: 20,000 of them err by 1e-8 of the radius.
    tip = tip_path(circle(radius, 20_000, laps=8), offset, np.pi / 2)
    assert np.hypot(*tip[-1]) == pytest.approx(math.sqrt(radius**2 - offset**2), rel=1e-6)


@pytest.mark.parametrize("offset", OFFSETS)
@pytest.mark.parametrize("radius", [0.05, 0.25, 3.0])
def test_the_pivot_of_a_circle_runs_on_a_larger_one_also_below_the_offset(
    offset: float, radius: float
) -> None:
    pivot = pivot_path(circle(radius, 20_000), offset)
    assert np.hypot(*pivot.points.T) == pytest.approx(math.hypot(radius, offset), rel=1e-4)
    tip = tip_path(pivot.points, offset, pivot.heading)
    assert np.hypot(*tip.T) == pytest.approx(radius, rel=1e-4)


@pytest.mark.parametrize("offset", OFFSETS)
@pytest.mark.parametrize("degrees", [20, 90, 135, 175, -90, -160])
def test_a_compensated_corner_is_cut_exactly(offset: float, degrees: float) -> None:
    angle = math.radians(degrees)
    wanted = np.array([[-5.0, 0.0], [0.0, 0.0], [5 * math.cos(angle), 5 * math.sin(angle)]])
    pivot = pivot_path(wanted, offset, arc_error=1e-6)
    cut = tip_path(parted(pivot.points, offset / 50), offset, pivot.heading)
    assert worst_deviation(cut, parted(wanted, 0.01)).distance < 2e-3 * offset
    assert np.hypot(*(pivot.points - pivot.tip).T) == pytest.approx(offset, rel=1e-9)
    swing = pivot.points[pivot.vertex == 1]
    assert np.hypot(*swing.T) == pytest.approx(offset, rel=1e-9)


def test_blocks_of_running_products_give_what_one_chord_after_the_other_gives() -> None:
    random = np.random.default_rng(3)
    pivot = np.cumsum(random.normal(0, 0.1, (1001, 2)), axis=0)
    offset, psi, expected = 0.25, 1.0, [1.0]
    for step in np.diff(pivot, axis=0):
        phi = math.atan2(step[1], step[0])
        psi = phi - 2 * math.atan(math.tan((phi - psi) / 2) * math.exp(-math.hypot(*step) / offset))
        expected.append(psi)
    found = headings(pivot, offset, 1.0)
    assert np.cos(found) == pytest.approx(np.cos(expected), abs=1e-9)
    assert np.sin(found) == pytest.approx(np.sin(expected), abs=1e-9)


def test_a_wavy_path_agrees_with_stepping_through_the_differential_equation() -> None:
    offset, t = 0.5, np.linspace(0, 4, 40_001)
    pivot = np.stack((t, 0.3 * np.sin(3 * t)), axis=1)
    step = np.diff(pivot, axis=0)
    psi, slope = 0.0, step[:, 1] / step[:, 0]
    for phi, way in zip(np.arctan(slope), np.hypot(*step.T), strict=True):
        # Midpoint rule on dpsi/ds = sin(phi - psi) / r.
        half = psi + way / 2 * math.sin(phi - psi) / offset
        psi += way * math.sin(phi - half) / offset
    assert headings(pivot, offset, 0.0)[-1] == pytest.approx(psi, abs=1e-7)


def test_without_an_offset_the_tip_is_at_the_pivot() -> None:
    path = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 0.0], [1.0, 1.0]])
    assert tip_path(path, 0.0, 0.0) == pytest.approx(path)
    assert headings(path, 0.0, 0.0) == pytest.approx([0, 0, 0, np.pi / 2])
    assert pivot_path(path[[0, 1, 3]], 0.0).points[-1] == pytest.approx([1, 1])


def test_a_blade_pushed_backwards_turns_round_and_chords_of_any_length_do_not_overflow() -> None:
    pivot = np.array([[0.0, 0.0], [-1e6, 0.0], [-1e6, 1e6]])
    assert np.cos(headings(pivot, 0.25, 0.01))[1] == pytest.approx(-1)
    assert np.sin(headings(pivot, 0.25, 0.01))[2] == pytest.approx(1)


@pytest.mark.parametrize("heading", np.linspace(-3, 3, 13))
@pytest.mark.parametrize("way", [1.0, 40.0, 4000.0])
def test_a_blade_pushed_exactly_straight_back_turns_round_too(heading: float, way: float) -> None:
    """It is askew by a thousandth of a degree, and settles from there: tan(a/2) = tan(a0/2) exp(-s/r)."""
    toward = np.array([math.cos(heading), math.sin(heading)])
    pivot = np.array([[0.0, 0.0], toward * 4000, toward * (4000 - way)])
    found = headings(pivot, 0.25, heading)
    left = 2 * math.atan(math.tan((math.pi - math.radians(0.001)) / 2) * math.exp(-way / 0.25))
    back = abs(math.remainder(found[-1] - heading - math.pi, 2 * math.pi))
    assert back == pytest.approx(left, abs=1e-4)


def test_turns_and_parts() -> None:
    path = np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 4.0], [0.0, 4.0]])
    assert turns(path) == pytest.approx([np.pi / 2, np.pi / 2])
    parts = parted(path, 1.5)
    assert len(parts) == 1 + 2 + 3 + 2
    assert np.hypot(*np.diff(parts, axis=0).T).max() <= 1.5


def test_the_deviation_is_taken_both_ways() -> None:
    wanted = np.array([[0.0, 0.0], [10.0, 0.0]])
    short = worst_deviation(np.array([[0.0, 0.0], [8.0, 0.0]]), wanted)
    assert (short.distance, short.point, short.cut) == (2.0, (10.0, 0.0), (8.0, 0.0))
    bulge = worst_deviation(np.array([[0.0, 0.0], [5.0, 3.0], [10.0, 0.0]]), wanted)
    assert (bulge.distance, bulge.point, bulge.cut) == (3.0, (5.0, 0.0), (5.0, 3.0))


@pytest.mark.parametrize(
    ("tip", "offset", "says"),
    [
        ([[0.0, 0.0]], 0.25, "two vertices"),
        ([[0.0, 0.0], [1.0, 0.0]], -0.1, "negative"),
        ([[0.0, 0.0], [1.0, 0.0], [1.0, 0.0]], 0.25, "no length"),
    ],
)
def test_what_is_no_tip_path_is_refused(tip: list[list[float]], offset: float, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        pivot_path(np.array(tip), offset)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.3, 5), st.floats(-3.1, 3.1)), min_size=2, max_size=12),
    st.sampled_from(OFFSETS),
)
def test_any_polyline_is_cut_within_the_error_of_the_arcs(
    legs: list[tuple[float, float]], offset: float
) -> None:
    sizes, heading = np.array([leg[0] for leg in legs]), np.cumsum([leg[1] for leg in legs])
    steps = sizes[:, None] * np.stack((np.cos(heading), np.sin(heading)), axis=1)
    wanted = np.concatenate((np.zeros((1, 2)), np.cumsum(steps, axis=0)))
    pivot = pivot_path(wanted, offset, arc_error=1e-6)
    tip = tip_path(pivot.points, offset, pivot.heading)
    assert np.hypot(*(tip - pivot.tip).T).max() < 5e-3 * offset
