"""Unions that keep curves, against closed forms and a raster count of windings."""

from __future__ import annotations

import math

import numpy as np
import pytest

from preflight.curves import Floats, Path, flatten, lengths
from preflight.geometry.curved import combine, reversed_path, simplified, united
from preflight.geometry.fills import fill_regions
from preflight.geometry.winding import winding_numbers

QUARTER = 4 / 3 * math.tan(math.pi / 8)
"""Control length of the usual cubic quarter circle (geometry)."""


def circle(x: float, y: float, r: float) -> Path:
    turns = np.arange(4) * math.pi / 2
    start = np.stack((np.cos(turns), np.sin(turns)), axis=1)
    tangent = np.stack((-np.sin(turns), np.cos(turns)), axis=1)
    end, end_tangent = np.roll(start, -1, axis=0), np.roll(tangent, -1, axis=0)
    controls = np.stack((start, start + QUARTER * tangent, end - QUARTER * end_tangent, end), axis=1)
    return Path(controls * r + (x, y), np.zeros(4, bool), np.zeros(1, np.int64), np.ones(1, bool))


def area(path: Path) -> float:
    return float(fill_regions(flatten([path], 0.001), [False])[0].area)


def test_union_of_two_circles_has_the_closed_forms_area_and_length() -> None:
    # Circles of radius r, d apart: lens area 2 r^2 acos(d / 2r) - d / 2 sqrt(4 r^2 - d^2) (geometry).
    r, d = 20.0, 25.0
    both = united([circle(0, 0, r), circle(d, 0, r)])
    lens = 2 * r * r * math.acos(d / (2 * r)) - d / 2 * math.sqrt(4 * r * r - d * d)
    outline = 2 * (2 * math.pi - 2 * math.acos(d / (2 * r))) * r
    assert area(both) == pytest.approx(2 * math.pi * r * r - lens, rel=4e-4)
    assert lengths(both).sum() == pytest.approx(outline, rel=4e-4)
    assert len(both.controls) <= 10
    assert not both.lines.any()


def test_holes_turn_against_their_surround_whatever_the_rule_was() -> None:
    ring = Path.joined([circle(0, 0, 20), circle(0, 0, 10)])
    for evenodd in (False, True):
        clean = simplified(ring, evenodd=evenodd)
        expected = math.pi * (300 if evenodd else 400)
        assert area(clean) == pytest.approx(expected, rel=5e-4)
        assert fill_regions(flatten([clean], 0.001), [True])[0].area == pytest.approx(expected, rel=5e-4)


@pytest.mark.parametrize(
    ("operation", "expected"), [("difference", 300.0), ("intersection", 100.0), ("xor", 600.0)]
)
def test_operations_on_squares(operation: str, expected: float) -> None:
    one = Path.polygon([(0, 0), (20, 0), (20, 20), (0, 20)])
    other = Path.polygon([(10, 10), (30, 10), (30, 30), (10, 30)])
    assert area(combine(one, other, operation)) == pytest.approx(expected)  # type: ignore[arg-type]


def test_reversing_turns_every_contour_and_keeps_the_line() -> None:
    path = Path.joined([circle(0, 0, 5), Path.polygon([(0, 0), (4, 0), (0, 3)])])
    back = reversed_path(path)
    assert lengths(back).sum() == pytest.approx(lengths(path).sum())
    spot = np.array([[-2.0, -2.0]])
    assert winding_numbers(spot, _segments(back))[0] == -winding_numbers(spot, _segments(path))[0] != 0


def _segments(path: Path) -> Floats:
    lines = flatten([path], 0.01)
    return np.concatenate(
        [np.concatenate((p[:-1], p[1:]), axis=1) for p in (lines[i] for i in range(len(lines)))]
    )


def test_random_unions_against_winding_counts_of_their_parts() -> None:
    """A spot lies in the union where it lies in any part; the parts' own windings are counted apart."""
    random = np.random.default_rng(5)
    for _ in range(40):
        parts = [
            circle(random.uniform(0, 60), random.uniform(0, 60), random.uniform(4, 20))
            for _ in range(int(random.integers(2, 8)))
        ]
        whole = united(parts)
        spots = random.uniform(-20, 80, (1500, 2))
        inside = np.zeros(len(spots), bool)
        near = np.zeros(len(spots), bool)
        for part in parts:
            segments = _segments(part)
            inside |= winding_numbers(spots, segments) != 0
            centre = part.controls[:, 0].mean(axis=0)
            radius = np.hypot(*(part.controls[0, 0] - centre))
            near |= np.abs(np.hypot(*(spots - centre).T) - radius) < 0.05
        got = winding_numbers(spots, _segments(whole))
        assert ((got != 0) == inside)[~near].all()
        assert set(np.unique(np.abs(got))) <= {0, 1}


def test_nothing() -> None:
    assert len(simplified(Path.empty(), evenodd=False)) == 0
