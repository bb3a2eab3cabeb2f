"""Lines that run near each other, on cases whose lengths follow from geometry and against brute force."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon, box

from preflight.geometry.coincidence import Nearness, NearPlace, near_lines, near_places
from preflight.geometry.knife import Inside

DISTANCE = 0.05


def places(*shapes: Polygon, distance: float = DISTANCE) -> list[NearPlace]:
    lines = np.array([LineString(shape.exterior.coords) for shape in shapes], object)
    return near_places(lines, np.arange(len(lines)), distance, Inside(shapely.union_all(shapes)))


def disc(x: float, y: float, radius: float) -> Polygon:
    """A disc flattened to a chord error of 0.03 um."""
    return Point(x, y).buffer(radius, quad_segs=int(100 * math.sqrt(radius)))


@pytest.mark.parametrize("turn", [0.0, 33.0, 90.0, 171.0])
@pytest.mark.parametrize("gap", [0.04, 0.003, -0.03])
def test_two_squares_edge_to_edge(gap: float, turn: float) -> None:
    shapes = [box(0, 0, 20, 20), box(20 + gap, 3, 40, 15)]
    [place] = places(*(affinity.rotate(shape, turn, origin=(0, 0)) for shape in shapes))
    assert place.kind is Nearness.EDGES
    assert place.length == pytest.approx(12.0, abs=0.11)
    assert place.distance == pytest.approx(abs(gap), abs=1e-6)
    assert place.contours == (0, 1)


def test_concentric_discs() -> None:
    [place] = places(disc(0, 0, 20), disc(0, 0, 19.96))
    assert place.kind is Nearness.COPY
    assert place.length == pytest.approx(math.pi * (20 + 19.96), rel=1e-4)
    assert place.distance == pytest.approx(0.04, abs=1e-4)


def test_a_ring_with_next_to_no_film() -> None:
    ring = Polygon(disc(0, 0, 20).exterior, [disc(0, 0, 19.97).exterior])
    lines = np.array([LineString(r.coords) for r in (ring.exterior, ring.interiors[0])], object)
    [place] = near_places(lines, np.array([7, 9]), DISTANCE, Inside(ring))
    assert (place.kind, place.contours) == (Nearness.STRIP, (7, 9))


@pytest.mark.parametrize("degrees", [1.0, 2.5, 5.0, 5.6])
def test_lines_that_cross_are_near_for_twice_the_distance_over_the_sine(degrees: float) -> None:
    [place] = places(box(-40, -6, 40, 0), affinity.rotate(box(-30, 0, 30, 9), degrees, origin=(0, 0)))
    assert place.length == pytest.approx(2 * DISTANCE / math.sin(math.radians(degrees)), rel=0.01)
    assert place.distance == pytest.approx(DISTANCE)


@pytest.mark.parametrize("degrees", [5.9, 9.0, 45.0, 90.0, 85.0])
def test_lines_that_cross_at_more_than_six_degrees_are_quiet(degrees: float) -> None:
    assert places(box(-40, -6, 40, 0), affinity.rotate(box(-30, 0, 30, 9), degrees, origin=(0, 0))) == []


@pytest.mark.parametrize("gap", [0.0001, 0.02, 0.03])
def test_two_discs_that_nearly_touch(gap: float) -> None:
    radius = 15.0
    [place] = places(disc(0, 0, radius), disc(2 * radius + gap, 0, radius))
    # A point of one disc at angle a is d off the other where its distance from that centre is R + d.
    apart = 2 * radius + gap
    cosine = (radius**2 + apart**2 - (radius + DISTANCE) ** 2) / (2 * radius * apart)
    assert place.length == pytest.approx(2 * radius * math.acos(cosine), rel=0.02)


@pytest.mark.parametrize("width", [0.02, 0.045])
def test_a_strip_is_near_itself_but_for_its_ends(width: float) -> None:
    [place] = places(box(0, 0, 30, width))
    assert place.kind is Nearness.STRIP
    # Spots nearer than 40 distances along the line (here 1 mm in from either end) are one line's.
    assert place.length == pytest.approx(30 - 40 * DISTANCE + width, abs=1e-6)


def test_points_and_corners_are_quiet() -> None:
    for degrees in (2.5, 10.0, 60.0):
        half = 50 * math.tan(math.radians(degrees / 2))
        assert places(Polygon([(0, 0), (50, -half), (50, half)])) == []


def test_what_coincides_exactly_is_quiet() -> None:
    assert places(box(0, 0, 20, 20), box(0, 0, 20, 20), box(20, 5, 30, 15)) == []
    ring = disc(0, 0, 9)
    assert places(ring, ring) == []


def test_the_tolerance_scales_everything() -> None:
    assert places(box(0, 0, 20, 20), box(20.3, 0, 40, 20), distance=0.2) == []
    [place] = places(box(0, 0, 20, 20), box(20.3, 0, 40, 20), distance=0.4)
    assert place.length == pytest.approx(20, abs=0.5)
    assert places(box(0, 0, 20, 7.9), box(20.3, 0, 40, 7.9), distance=0.4) == []


def test_places_far_from_each_other_are_two() -> None:
    found = places(box(0, 0, 60, 10), box(5, 10.03, 15, 20), box(40, 10.03, 55, 20))
    assert sorted(round(place.length, 1) for place in found) == [10.0, 15.0]
    assert sorted(place.contours for place in found) == [(0, 1), (0, 2)]


def test_nothing_gives_nothing() -> None:
    assert near_lines(np.zeros(0, object), DISTANCE).tolist() == []
    assert places() == []


@pytest.mark.parametrize("seed", range(6))
def test_against_distances_of_many_spots(seed: int) -> None:
    """Brute force: spots every 0.02 mm on either line, each with its distance from the other (GEOS)."""
    random = np.random.default_rng(seed)
    x = np.linspace(0, 60, 1200)
    wave = random.uniform(0.2, 1.5) * np.sin(x / random.uniform(3, 9))
    offset = np.interp(x, np.linspace(0, 60, 7), random.uniform(0.0, 0.12, 7))
    lower = Polygon(np.concatenate((np.stack((x, wave), axis=1), [[60, -9], [0, -9]])))
    upper = Polygon(np.concatenate((np.stack((x, wave + offset), axis=1), [[60, 9], [0, 9]])))
    found = places(lower, upper)
    lines = [LineString(np.stack((x, y), axis=1)) for y in (wave, wave + offset)]
    near = 0.0
    for line, other in (lines, lines[::-1]):
        count = int(line.length / 0.02)
        spots = shapely.line_interpolate_point(line, np.linspace(0, line.length, count))
        near += float((shapely.distance(spots, other) <= DISTANCE).mean()) * line.length / 2
    assert sum(place.length for place in found) == pytest.approx(near, rel=0.04, abs=1.0)
    assert sum(place.length for place in found) > 0.3 * near
