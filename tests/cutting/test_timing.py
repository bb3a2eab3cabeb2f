"""Times against closed forms of uniformly accelerated motion (any textbook on mechanics).

A move of length L from rest to rest with speed v and acceleration a takes L/v + v/a where it is long
enough to reach v (L >= v^2/a), else 2 sqrt(L/a). The arc that touches both legs of a corner of inner
angle h and passes it at distance d has radius R = d sin(h/2) / (1 - sin(h/2)); v^2 = a R.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from preflight.curves import Path, flatten
from preflight.cutting.timing import (
    Machine,
    chord_times,
    corner_speed,
    cut_time,
    end_speeds,
    motion,
    move_times,
)
from preflight.errors import JobError

MACHINE = Machine(speed=500, acceleration=5000, cornering=0.02, drop=0.04, lift=0.03)


@pytest.mark.parametrize(
    ("length", "seconds"), [(1000.0, 2.1), (10.0, 2 * math.sqrt(10 / 5000)), (50.0, 0.2)]
)
def test_moves_from_rest_to_rest(length: float, seconds: float) -> None:
    assert move_times(np.array([length]), 500, 5000) == pytest.approx([seconds], rel=1e-12)
    if length == 10.0:
        assert seconds == pytest.approx(0.08944, abs=5e-6)


@pytest.mark.parametrize("inner", [170.0, 135.0, 90.0, 60.0, 20.0])
def test_a_corner_is_taken_as_fast_as_the_arc_past_it_allows(inner: float) -> None:
    # The arc's centre lies on the bisector, R / sin(h/2) from the corner, so R / sin(h/2) - R = d.
    h, d = math.radians(inner), 0.02
    radius = d / (1 / math.sin(h / 2) - 1)
    assert corner_speed(math.pi - h, 5000, d) == pytest.approx(math.sqrt(5000 * radius), rel=1e-12)


def test_a_right_angle() -> None:
    assert corner_speed(math.pi / 2, 5000, 0.02) == pytest.approx(15.5377397, rel=1e-8)
    assert corner_speed(0.0, 5000, 0.02) == math.inf
    assert corner_speed(math.pi, 5000, 0.02) == pytest.approx(0.0, abs=1e-6)


def test_a_square_is_four_sides_with_three_corners_taken_in_motion() -> None:
    side, corner = 30.0, float(corner_speed(math.pi / 2, 5000, 0.02))
    line = Path.polygon([(0, 0), (side, 0), (side, side), (0, side)])

    def ramped(enter: float, leave: float) -> float:
        # Too short to reach 500 mm/s: up to the peak, down again.
        peak = math.sqrt((enter**2 + leave**2) / 2 + 5000 * side)
        assert peak < 500
        return (2 * peak - enter - leave) / 5000

    expected = 2 * ramped(0, corner) + 2 * ramped(corner, corner)
    lines = flatten([line], 0.01)
    assert motion(lines.points, lines.starts, MACHINE).duration == pytest.approx([expected], rel=1e-9)


def test_points_on_a_straight_line_change_nothing() -> None:
    whole = np.array([[0.0, 0.0], [700.0, 0.0]])
    parted = np.stack((np.linspace(0, 700, 1001), np.zeros(1001)), axis=1)
    doubled = np.repeat(parted, 2, axis=0)
    for points in (whole, parted, doubled):
        took = motion(points, np.array([0, len(points)]), MACHINE)
        assert took.duration == pytest.approx([700 / 500 + 500 / 5000], rel=1e-6)


@pytest.mark.parametrize("radius", [5.0, 20.0, 200.0])
@pytest.mark.parametrize("sides", [720, 7200])
def test_a_circle_is_followed_at_the_speed_its_radius_allows(radius: float, sides: int) -> None:
    # Chords so fine that the corner rule alone would allow any speed: v = min(500, sqrt(a R)).
    angle = np.linspace(0, 2 * np.pi, sides + 1)
    points = radius * np.stack((np.cos(angle), np.sin(angle)), axis=1)
    v = min(500.0, math.sqrt(5000 * radius))
    drawn = np.zeros(len(points), bool)
    took = motion(points, np.array([0, len(points)]), MACHINE, corners=drawn)
    assert took.duration == pytest.approx([2 * math.pi * radius / v + v / 5000], rel=2e-3)
    assert took.speed.max() <= v * 1.001


def test_polylines_in_a_row_do_not_depend_on_each_other() -> None:
    generator = np.random.default_rng(3)
    lines = [generator.uniform(0, 50, (n, 2)) for n in (2, 7, 1, 30)]
    starts = np.cumsum([0] + [len(line) for line in lines])
    together = motion(np.concatenate(lines), starts, MACHINE)
    for i, line in enumerate(lines):
        alone = motion(line, np.array([0, len(line)]), MACHINE)
        assert together.duration[i] == pytest.approx(alone.duration[0], rel=1e-9)
        assert together.time[starts[i] : starts[i + 1]] == pytest.approx(alone.time, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(0.001, 200), st.floats(0, 900)), min_size=1, max_size=40))
def test_no_chord_asks_for_more_than_the_machine_gives(chords: list[tuple[float, float]]) -> None:
    length = np.array([c[0] for c in chords])
    limit = np.concatenate(([0.0], [c[1] for c in chords[:-1]], [0.0]))
    speed = end_speeds(length, limit, 5000)
    assert (speed <= limit).all()
    assert (np.abs(np.diff(speed**2)) <= 2 * 5000 * length * (1 + 1e-9) + 1e-6).all()
    # And no speed could be raised alone: each is at its own limit or as far as a neighbour's allows.
    reach = np.minimum(
        np.concatenate(([np.inf], speed[:-1] ** 2 + 1e4 * length)),
        np.concatenate((speed[1:] ** 2 + 1e4 * length, [np.inf])),
    )
    assert speed == pytest.approx(np.minimum(limit, np.sqrt(reach)), rel=1e-6, abs=1e-3)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.01, 500), st.floats(0, 400), st.floats(0, 400))
def test_a_chord_s_time_is_that_of_its_profile_integrated(length: float, enter: float, leave: float) -> None:
    if abs(enter**2 - leave**2) > 2 * 5000 * length:
        return
    # The fastest allowed speed at each place, integrated numerically: t = int ds / v(s).
    s = np.linspace(0, length, 20_001)
    s = (s[1:] + s[:-1]) / 2
    v = np.minimum(np.minimum(np.sqrt(enter**2 + 1e4 * s), np.sqrt(leave**2 + 1e4 * (length - s))), 500)
    took = chord_times(np.array([length]), np.array([enter]), np.array([leave]), 500, 5000)
    assert took[0] == pytest.approx(float((length / len(s) / v).sum()), rel=4e-3)


def test_the_whole_time_counts_every_lift_and_move() -> None:
    lines = flatten([Path.polygon([(0, 0), (100, 0)], closed=False)] * 3, 0.01)
    took = cut_time(lines, np.array([100.0, 100.0]), MACHINE)
    assert took.cut_length == pytest.approx(300)
    assert took.knife == pytest.approx(3 * 0.07)
    assert took.cutting == pytest.approx(3 * (100 / 500 + 0.1))
    assert took.travelling == pytest.approx(2 * (100 / 800 + 0.1))
    assert took.total == pytest.approx(took.knife + took.cutting + took.travelling)


def test_a_machine_that_cannot_move_is_refused() -> None:
    with pytest.raises(JobError, match=r"machine\.acceleration is 0"):
        Machine(acceleration=0)
