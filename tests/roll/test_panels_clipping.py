"""Contours clipped at a line: against GEOS's clipping of their flattened fill, and node by node."""

from __future__ import annotations

import math
import random
from typing import Literal

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Path, evaluate, flatten, lengths
from preflight.geometry.fills import fill_regions
from preflight.roll.panels.clipping import ClipError, Side, clipped, clipped_lines

K = 4 / 3 * (math.sqrt(2) - 1)


def circle(x: float, y: float, r: float, *, hole: bool = False) -> Path:
    nodes = [(r, 0.0), (0.0, r), (-r, 0.0), (0.0, -r)]
    turns = [(0.0, K * r), (-K * r, 0.0), (0.0, -K * r), (K * r, 0.0)]
    segments = []
    for k in range(4):
        (ax, ay), (bx, by) = nodes[k], nodes[(k + 1) % 4]
        (tx, ty), (sx, sy) = turns[k], turns[(k + 1) % 4]
        segments.append([(ax, ay), (ax + tx, ay + ty), (bx - sx, by - sy), (bx, by)])
    controls = np.array(segments) + np.array([x, y])
    if hole:
        controls = controls[::-1, ::-1]
    return Path(controls, np.zeros(4, bool), np.zeros(1, np.int64), np.ones(1, bool))


def box(x0: float, y0: float, x1: float, y1: float, *, hole: bool = False) -> Path:
    points = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    return Path.polygon(points[::-1] if hole else points)


def region(path: Path, tolerance: float = 1e-4) -> BaseGeometry:
    return fill_regions(flatten([path], tolerance), [False])[0]


def half(axis: int, at: float, side: Side) -> BaseGeometry:
    low, high = (-1e4, at) if side == "below" else (at, 1e4)
    return shapely.box(low, -1e4, high, 1e4) if axis == 0 else shapely.box(-1e4, low, 1e4, high)


def agrees(path: Path, axis: Literal[0, 1], at: float, side: Side) -> bool:
    wanted = shapely.intersection(region(path), half(axis, at, side))
    apart = shapely.symmetric_difference(region(clipped(path, axis, at, side)), wanted)
    return bool(apart.area < 1e-2) and bool(shapely.buffer(apart, -1e-3).is_empty)


@pytest.mark.parametrize("side", ["below", "above"])
@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("at", [-12.0, -10.0, -5.0, 0.0, 3.3, 7.0, 9.999, 10.0, 25.0])
def test_a_ring_of_curves(axis: Literal[0, 1], at: float, side: Side) -> None:
    ring = Path.joined([circle(0, 0, 10), circle(0, 0, 7, hole=True), circle(1, 1, 3)])
    assert agrees(ring, axis, at, side)


@pytest.mark.parametrize("side", ["below", "above"])
@pytest.mark.parametrize("at", [0.0, 2.0, 5.0, 8.0, 10.0])
def test_edges_and_corners_that_lie_on_the_line(at: float, side: Side) -> None:
    stepped = Path.polygon([(0, 0), (10, 0), (10, 4), (5, 4), (5, 8), (2, 10), (0, 10)])
    lozenge = Path.polygon([(5, 20), (8, 23), (5, 26), (2, 23)])
    assert agrees(Path.joined([stepped, lozenge, box(5, 12, 10, 18), box(0, 12, 5, 18)]), 0, at, side)


def test_random_stacks_of_rings_and_holes() -> None:
    rng = random.Random(4)
    for _ in range(60):
        parts = []
        for row in range(rng.randint(1, 6)):
            x, r = rng.uniform(0, 60), rng.uniform(5, 9)
            parts.append(circle(x, 20 * row, r))
            if rng.random() < 0.7:
                parts.append(circle(x, 20 * row, r * 0.7, hole=True))
                if rng.random() < 0.7:
                    parts.append(box(x - 2, 20 * row - 1, x + 2, 20 * row + 2))
        path = Path.joined(parts[::-1] if rng.random() < 0.5 else parts)
        for axis in (0, 1):
            at = rng.choice([rng.uniform(0, 60), float(rng.randint(0, 60))])
            assert agrees(path, axis, at, "below")
            assert agrees(path, axis, at, "above")


def test_what_stays_of_a_curve_is_that_curve() -> None:
    whole = circle(0, 0, 10)
    part = clipped(whole, 0, 4.0, "below")
    assert part.lines.sum() == 1, "only the edge on the line is straight"
    t = np.linspace(0, 1, 50)
    fine = evaluate(np.repeat(whole.controls, 2000, axis=0), np.tile(np.linspace(0, 1, 2000), 4))
    for segment in part.controls[~part.lines]:
        spots = evaluate(np.repeat(segment[None], 50, axis=0), t)
        near = np.hypot(*(spots[:, None] - fine[None]).transpose(2, 0, 1)).min(axis=1)
        assert near.max() < 5e-3
        assert near[[0, -1]].max() < 1e-2
    # The untouched two quadrants on the left are there bit for bit.
    kept = {segment.tobytes() for segment in part.controls}
    assert whole.controls[1].tobytes() in kept
    assert whole.controls[2].tobytes() in kept


def test_both_halves_have_all_of_the_outline() -> None:
    whole = Path.joined([circle(0, 0, 10), circle(0, 0, 6, hole=True)])
    halves = [clipped(whole, 0, 2.5, side) for side in ("below", "above")]
    curved = sum(float(lengths(h)[~h.lines].sum()) for h in halves)
    assert curved == pytest.approx(float(lengths(whole).sum()), rel=1e-6)
    assert {h.lines.sum() for h in halves} == {2}


def test_contours_that_cross_are_refused() -> None:
    with pytest.raises(ClipError):
        clipped(Path.joined([box(0, 0, 10, 10), box(5, 5, 15, 15)]), 0, 7.0, "below")


def test_lines_are_cut_and_stay_open() -> None:
    line = Path.polygon([(0, 0), (10, 0), (10, 10)], closed=False)
    low = clipped_lines(line, 0, 4.0, "below")
    assert low.controls[:, [0, 3]].tolist() == [[[0, 0], [4, 0]]]
    assert not low.closed.any()
    high = clipped_lines(line, 0, 4.0, "above")
    assert high.controls[:, 3].tolist() == [[10, 0], [10, 10]]
    assert clipped_lines(box(0, 0, 5, 5), 0, 9.0, "below").closed.all()
