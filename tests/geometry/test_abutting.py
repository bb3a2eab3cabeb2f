"""Edges that face each other: lengths and distances known from the construction."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.geometry.abutting import facing_edges

SQUARE = shapely.box(0, 0, 10, 10)


@pytest.mark.parametrize(
    ("other", "length", "distance"),
    [
        (shapely.box(10, 0, 20, 10), 10.0, 0.0),
        (shapely.box(10.3, 2, 20, 8), 6.0, 0.3),
        (shapely.box(9.97, 0, 20, 10), 10.0, -0.03),
        (shapely.box(-5, 10.5, 5, 20), 5.0, 0.5),
    ],
)
def test_two_boxes(other: BaseGeometry, length: float, distance: float) -> None:
    for turned in (0.0, 30.0, 90.0, 217.0):
        pair = [shapely.affinity.rotate(shape, turned, origin=(3, 4)) for shape in (SQUARE, other)]
        found = facing_edges(pair, -0.05, 0.5 + 1e-9)
        assert found.lengths.sum() == pytest.approx(length, abs=1e-9)
        assert found.distance == pytest.approx(distance, abs=1e-9)
        assert found.regions.tolist() == [[0, 1]] * len(found.distance)


@pytest.mark.parametrize(
    "other",
    [
        shapely.box(10.6, 0, 20, 10),  # farther than asked
        shapely.box(9.9, 0, 20, 10),  # overlaps by more than asked
        shapely.box(5, 0, 10, 10),  # inside, flush with the edge
        shapely.box(2, 2, 8, 8),  # inside
        shapely.box(10, 10, 20, 20),  # corner to corner
        shapely.Polygon([(10, 5), (20, 0), (20, 10)]),  # a point against an edge
    ],
)
def test_edges_that_do_not_face(other: BaseGeometry) -> None:
    assert facing_edges([SQUARE, other], -0.05, 0.5).lengths.sum() == 0


def test_a_disc_in_its_hole_meets_it_all_round() -> None:
    disc = shapely.Point(50, 50).buffer(20, quad_segs=64)
    found = facing_edges([shapely.box(0, 0, 100, 100).difference(disc), disc], -0.05, 0.5)
    assert found.lengths.sum() == pytest.approx(2 * math.pi * 20, rel=1e-3)


def test_a_smaller_disc_leaves_a_gap_however_it_is_flattened() -> None:
    hole = shapely.Point(50, 50).buffer(20, quad_segs=64)
    disc = shapely.Point(50, 50).buffer(19.7, quad_segs=49)
    found = facing_edges([shapely.box(0, 0, 100, 100).difference(hole), disc], -0.05, 0.5)
    assert found.lengths.sum() == pytest.approx(2 * math.pi * 20, rel=0.01)
    assert np.all(np.abs(found.distance - 0.3) < 0.02)


def test_of_three_regions_each_pair_is_told_apart() -> None:
    found = facing_edges([SQUARE, shapely.box(10, 0, 20, 10), shapely.box(0, 10, 10, 20)], -0.05, 0.5)
    totals = {
        tuple(pair): float(found.lengths[np.all(found.regions == pair, axis=1)].sum())
        for pair in found.regions.tolist()
    }
    assert totals == {(0, 1): pytest.approx(10.0), (0, 2): pytest.approx(10.0)}


def test_one_region_or_none_faces_nothing() -> None:
    for regions in ([], [SQUARE], [SQUARE, shapely.Polygon()]):
        assert not len(facing_edges(regions, -0.05, 0.5).distance)


@pytest.mark.parametrize(("least", "most"), [(0.5, 0.1), (-1.0, -0.5)])
def test_distances_out_of_order_are_refused(least: float, most: float) -> None:
    with pytest.raises(ValueError, match="in order"):
        facing_edges([SQUARE, SQUARE], least, most)
