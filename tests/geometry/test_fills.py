"""Fill rules against closed forms and an independent count of crossings on a raster."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Floats, Path, flatten
from preflight.geometry.fills import fill_regions
from preflight.geometry.winding import winding_numbers

Points = Sequence[tuple[float, float]]

SQUARE: Points = [(0, 0), (10, 0), (10, 10), (0, 10)]


def polygon(points: Points | Floats) -> Path:
    return Path.polygon(points)


def fill(path: Path, evenodd: bool = False) -> BaseGeometry:
    return fill_regions(flatten([path], 0.01), [evenodd])[0]


def shifted(points: Points, x: float, y: float) -> Points:
    return [(a + x, b + y) for a, b in points]


@pytest.mark.parametrize(("evenodd", "area"), [(False, 175.0), (True, 150.0)])
def test_two_overlapping_squares(evenodd: bool, area: float) -> None:
    both = Path.joined([polygon(SQUARE), polygon(shifted(SQUARE, 5, 5))])
    assert fill(both, evenodd).area == pytest.approx(area)


@pytest.mark.parametrize(
    ("reverse", "evenodd", "area"), [(False, False, 100), (True, False, 64), (False, True, 64)]
)
def test_a_square_in_a_square_follows_the_rule_and_the_direction(
    reverse: bool, evenodd: bool, area: float
) -> None:
    """SVG 2, 13.3.2: nonzero counts directions, evenodd counts crossings."""
    inner = [(2, 2), (8, 2), (8, 8), (2, 8)]
    both = Path.joined([polygon(SQUARE), polygon(inner[::-1] if reverse else inner)])
    assert fill(both, evenodd).area == pytest.approx(area)


def test_a_pentagram() -> None:
    """Areas of a pentagram in a circle of radius 1: filled, and without its inner pentagon (geometry)."""
    star = polygon(np.array([(math.cos(a), math.sin(a)) for a in np.arange(5) * 4 * math.pi / 5]))
    inner = (math.sqrt(5) - 1) / 2 / (1 + (math.sqrt(5) - 1) / 2)  # radius of the inner pentagon: 1 / phi^2
    pentagon = 2.5 * inner**2 * math.sin(2 * math.pi / 5)
    whole = 5 * inner * math.sin(math.pi / 5)
    assert fill(star).area == pytest.approx(whole, rel=1e-9)
    assert fill(star, True).area == pytest.approx(whole - pentagon, rel=1e-9)


def test_islands_in_holes_keep_their_nesting() -> None:
    rings = [[(-k, -k), (k, -k), (k, k), (-k, k)] for k in (10, 8, 6, 4, 2)]
    nested = Path.joined([polygon(ring) for ring in rings])
    region = fill(nested, True)
    assert region.area == pytest.approx(400 - 256 + 144 - 64 + 16)
    assert shapely.get_num_geometries(region) == 3


def test_an_open_contour_is_filled_as_if_closed() -> None:
    """SVG 2, 13.4: open subpaths are closed for filling."""
    assert fill(Path.polygon(SQUARE, closed=False)).area == pytest.approx(100)


@pytest.mark.parametrize("points", [[(0, 0), (10, 0)], [(0, 0)], [(0, 0), (10, 0), (5, 0), (0, 0)]])
def test_lines_and_dots_fill_nothing(points: Points) -> None:
    assert fill(polygon(points)).area == 0


def test_opposite_directions_cancel_where_they_overlap() -> None:
    both = Path.joined([polygon(SQUARE), polygon(shifted(SQUARE, 5, 0)[::-1])])
    assert fill(both).area == pytest.approx(100)


@pytest.mark.parametrize("evenodd", [False, True])
@pytest.mark.parametrize("grid", [None, 1.0])
def test_random_crossing_contours_against_a_raster(evenodd: bool, grid: float | None) -> None:
    """The reference counts, for each cell's middle, signed crossings of a ray, by brute force."""
    random = np.random.default_rng(7 if evenodd else 8)
    for _ in range(40):
        contours = []
        for _ in range(int(random.integers(1, 5))):
            points = random.uniform(0, 20, (int(random.integers(3, 12)), 2))
            contours.append(np.round(points / grid) * grid if grid else points)
        region = fill(Path.joined([polygon(c) for c in contours]), evenodd)
        assert region.is_valid
        spots = random.uniform(0, 20, (800, 2)) + 1e-3 * math.pi
        winding = sum(_brute_force(spots, np.asarray(c, float)) for c in contours)
        expected = winding % 2 != 0 if evenodd else winding != 0
        got = shapely.intersects_xy(region, spots[:, 0], spots[:, 1])
        near = shapely.dwithin(shapely.boundary(region), shapely.points(spots), 1e-6)
        assert (got == expected)[~near].all()


def _brute_force(spots: Floats, contour: Floats) -> np.ndarray:
    winding = np.zeros(len(spots), np.int64)
    for a, b in zip(contour, np.roll(contour, -1, axis=0), strict=True):
        if a[1] == b[1]:
            continue
        t = (spots[:, 1] - a[1]) / (b[1] - a[1])
        # A half-open span must be half-open from below, whichever way the edge runs.
        low, high = min(a[1], b[1]), max(a[1], b[1])
        crosses = (spots[:, 1] >= low) & (spots[:, 1] < high) & (a[0] + t * (b[0] - a[0]) > spots[:, 0])
        winding += np.where(crosses, 1 if b[1] > a[1] else -1, 0)
    return winding


def test_winding_numbers_in_groups_meet_only_their_own_segments() -> None:
    ring = np.array([(0, 0, 4, 0), (4, 0, 4, 4), (4, 4, 0, 4), (0, 4, 0, 0)], float)
    segments = np.concatenate((ring, ring[:, [2, 3, 0, 1]], ring))
    group = np.repeat([0, 1, 2], 4)
    points = np.array([(1, 1), (1, 1), (9, 9), (1, 1)], float)
    assert winding_numbers(points, segments, np.array([0, 1, 0, 2]), group).tolist() == [1, -1, 0, 1]


def test_many_paths_at_once_are_each_path_alone() -> None:
    random = np.random.default_rng(3)
    paths, rules = [], []
    for _ in range(60):
        parts = [
            polygon(random.uniform(0, 30, (int(random.integers(3, 7)), 2)))
            for _ in range(random.integers(1, 4))
        ]
        paths.append(Path.joined(parts))
        rules.append(bool(random.integers(2)))
    together = fill_regions(flatten(paths, 0.01), rules)
    for path, rule, region in zip(paths, rules, together, strict=True):
        assert region.symmetric_difference(fill(path, rule)).area == pytest.approx(0, abs=1e-9)
