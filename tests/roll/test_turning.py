"""Turns against closed forms, GEOS's minimum width, and a dense search.

Closed forms: a regular polygon of circumradius R has least width 2 R cos(pi/n) for even n and
R (1 + cos(pi/n)) for odd n; a stick of length a in a roll of width w takes sqrt(a^2 - w^2).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from preflight.curves import Floats
from preflight.roll.turning import extents, largest_scale, narrowest_turn, shortest_turn


def regular(sides: int, radius: float = 100.0, turned: float = 0.0) -> Floats:
    angle = 2 * np.pi * np.arange(sides) / sides + turned
    return radius * np.stack((np.cos(angle), np.sin(angle)), axis=1)


def rectangle(width: float, height: float) -> Floats:
    return np.array([[0, 0], [width, 0], [width, height], [0, height]], float)


@pytest.mark.parametrize("sides", [3, 4, 5, 6, 7, 8, 12, 31])
@pytest.mark.parametrize("turned", [0.0, 0.3, 1.1])
def test_least_width_of_regular_polygons(sides: int, turned: float) -> None:
    expected = 200 * math.cos(math.pi / sides) if sides % 2 == 0 else 100 * (1 + math.cos(math.pi / sides))
    points = regular(sides, 100, turned)
    found = narrowest_turn(points)
    assert found.across == pytest.approx(expected, rel=1e-12)
    assert extents(points, found.angle).across == pytest.approx(expected, rel=1e-9)
    assert largest_scale(points, 1000).scale == pytest.approx(1000 / expected, rel=1e-9)


@pytest.mark.parametrize("turned", [0.0, 0.2, math.pi / 4])
def test_a_square_needs_its_side(turned: float) -> None:
    points = regular(4, 100, turned)
    side = 100 * math.sqrt(2)
    for width in (side, 1.2 * side, 10 * side):
        found = shortest_turn(points, width)
        assert found is not None
        assert found.along == pytest.approx(side)
    assert shortest_turn(points, side - 0.01) is None


def test_a_circle_needs_its_diameter_at_any_turn() -> None:
    points = regular(720, 50)
    found = shortest_turn(points, 100.0)
    assert found is not None
    assert found.along == pytest.approx(100, rel=1e-4)
    assert shortest_turn(points, 99.9) is None


@pytest.mark.parametrize("limit", [10.0, 50.0, 99.0])
def test_a_stick_lies_askew(limit: float) -> None:
    found = shortest_turn(np.array([[0.0, 0.0], [100.0, 0.0]]), limit)
    assert found is not None
    assert found.along == pytest.approx(math.sqrt(100**2 - limit**2), rel=1e-9)
    assert found.across == pytest.approx(limit)


@pytest.mark.parametrize("limit", [30.0, 60.0, 90.0, 95.0, 99.0, 99.9, 100.0, 150.0])
def test_a_rectangle_lies_askew_only_where_that_is_shorter(limit: float) -> None:
    # 100 by 30. Long side along: 100. Askew with w = limit: 100 sin t + 30 cos t = limit, which has the
    # roots t = asin(limit / c) - atan(30 / 100) and its mirror image, c the diagonal.
    c, lean = math.hypot(100, 30), math.atan2(30, 100)
    found = shortest_turn(rectangle(100, 30), limit)
    assert found is not None
    choices = [100.0]
    if limit >= 100:
        choices.append(30.0)
    if limit <= c:
        roots = [math.asin(limit / c) - lean, math.pi - math.asin(limit / c) - lean]
        choices += [100 * math.cos(t) + 30 * math.sin(t) for t in roots if 0 <= t <= math.pi / 2]
    assert found.along == pytest.approx(min(choices), rel=1e-9)


def test_as_drawn_and_quarter_turns() -> None:
    points = rectangle(100, 30)
    assert shortest_turn(points, 120, "as-drawn") == extents(points, 0)
    assert shortest_turn(points, 50, "as-drawn") is None
    assert shortest_turn(points, 50, "quarter") == extents(points, 90)
    assert shortest_turn(points, 20, "quarter") is None


def test_nothing_is_turned_for_nothing() -> None:
    found = shortest_turn(rectangle(30, 30), 1000)
    assert found is not None
    assert found.angle == 0
    tall = shortest_turn(rectangle(100, 30), 1000)
    assert tall is not None
    assert tall.angle == 0


@settings(max_examples=80, deadline=None)
@given(st.integers(3, 25), st.integers(0, 10_000), st.floats(0.5, 1.1))
def test_no_turn_of_a_dense_search_is_shorter(count: int, seed: int, share: float) -> None:
    points = np.random.default_rng(seed).normal(0, 1, (count, 2)) * (40, 15)
    least = narrowest_turn(points).across
    if hasattr(shapely, "minimum_width"):  # since shapely 2.2
        width = shapely.minimum_width(shapely.multipoints(points))
        assert least == pytest.approx(shapely.length(width), rel=1e-9)
    limit = share * extents(points, 0).across
    angles = np.radians(np.linspace(0, 180, 3601))
    x = np.cos(angles)[:, None] * points[:, 0] - np.sin(angles)[:, None] * points[:, 1]
    y = np.sin(angles)[:, None] * points[:, 0] + np.cos(angles)[:, None] * points[:, 1]
    across, along = np.ptp(x, axis=1), np.ptp(y, axis=1)
    found = shortest_turn(points, limit)
    fits = across <= limit
    if found is None:
        assert least > limit
        return
    assert found.across <= limit + 1e-5
    assert extents(points, found.angle).along == pytest.approx(found.along, abs=1e-6)
    if fits.any():
        step = math.radians(180 / 3600) * float(np.hypot(*np.ptp(points, axis=0)))
        assert along[fits].min() - step <= found.along <= along[fits].min() + 1e-6


@settings(max_examples=60, deadline=None)
@given(st.integers(3, 15), st.integers(0, 10_000), st.floats(0.2, 5))
def test_no_scale_of_a_dense_search_is_larger(count: int, seed: int, ratio: float) -> None:
    points = np.random.default_rng(seed).normal(0, 10, (count, 2))
    found = largest_scale(points, 100, 100 * ratio)
    assert found.turn.across <= 100 + 1e-6
    assert found.turn.along <= 100 * ratio + 1e-6
    best = max(
        min(100 / turn.across, 100 * ratio / turn.along)
        for turn in (extents(points, angle) for angle in np.linspace(0, 180, 1801))
    )
    assert best * (1 - 1e-9) <= found.scale <= best * 1.01
    turned = extents(points * found.scale, found.turn.angle)
    assert turned.across == pytest.approx(found.turn.across)


def test_largest_scale_of_a_square() -> None:
    assert largest_scale(regular(4), 100, 50).scale == pytest.approx(50 / (100 * math.sqrt(2)))
    assert largest_scale(rectangle(10, 30), 100, 60, "as-drawn").scale == pytest.approx(2)
    assert largest_scale(rectangle(10, 30), 100, 60, "quarter").scale == pytest.approx(10 / 3)


def test_no_points_are_refused() -> None:
    with pytest.raises(ValueError, match="no points"):
        shortest_turn(np.zeros((0, 2)), 10)
    with pytest.raises(ValueError, match="no extent"):
        largest_scale(np.ones((3, 2)), 10)
