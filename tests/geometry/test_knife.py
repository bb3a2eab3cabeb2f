"""Classes of knife lines on cases whose lengths are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.geometry.arrangement import node
from preflight.geometry.gather import groups
from preflight.geometry.knife import KnifeLines, Knifing, classify


def box(x0: float, y0: float, x1: float, y1: float) -> shapely.Polygon:
    return shapely.box(x0, y0, x1, y1)


def knife(*shapes: shapely.Polygon, region: BaseGeometry | None = None) -> KnifeLines:
    lines = np.array([shapely.LineString(shape.exterior.coords) for shape in shapes], object)
    return classify(lines, np.arange(len(shapes)), region or shapely.union_all(shapes))


def lengths(result: KnifeLines) -> tuple[float, float, float, float]:
    """Lengths in mm of edges, double cuts, cuts in film, cuts in waste."""
    a, b, c, d = (
        result.length(kind) for kind in (Knifing.EDGE, Knifing.DOUBLE, Knifing.IN_FILM, Knifing.IN_WASTE)
    )
    return (a, b, c, d)


@pytest.mark.parametrize(
    ("shapes", "expected"),
    [
        ([box(0, 0, 10, 10)], (40, 0, 0, 0)),
        ([box(0, 0, 10, 10), box(20, 0, 30, 10)], (80, 0, 0, 0)),
        ([box(0, 0, 10, 10), box(5, 5, 15, 15)], (60, 0, 20, 0)),
        ([box(0, 0, 10, 10), box(2, 2, 8, 8)], (40, 0, 24, 0)),
        ([box(0, 0, 10, 10), box(0, 0, 10, 10)], (0, 40, 0, 0)),
        ([box(0, 0, 10, 10), box(10, 0, 20, 10)], (60, 10, 0, 0)),
        ([box(0, 0, 10, 10), box(10, 2, 20, 8)], (4 + 30 + 26, 6, 0, 0)),
        ([box(0, 0, 10, 10), box(10, 10, 20, 20)], (80, 0, 0, 0)),
    ],
    ids=["one", "apart", "crossing", "inside", "copy", "shared edge", "part of an edge", "corner to corner"],
)
def test_classes_of_boxes(shapes: list[shapely.Polygon], expected: tuple[float, ...]) -> None:
    assert lengths(knife(*shapes)) == pytest.approx(expected)


def test_a_cut_in_waste() -> None:
    result = knife(box(0, 0, 10, 10), box(20, 20, 25, 25), region=box(0, 0, 10, 10))
    assert lengths(result) == pytest.approx((40, 0, 0, 20))


def test_a_line_drawn_three_times_is_counted() -> None:
    result = knife(*[box(0, 0, 10, 10)] * 3)
    assert result.times.tolist() == [3] * len(result.times)


def test_two_circles_cut_each_other_by_the_angle_between_them() -> None:
    # Radius r, centres d apart: each has an arc of 2 acos(d / 2r) inside the other.
    r, d = 20.0, 25.0
    circles = [shapely.Point(x, 0).buffer(r, quad_segs=400) for x in (0.0, d)]
    assert lengths(knife(*circles))[2] == pytest.approx(2 * r * 2 * math.acos(d / (2 * r)), rel=1e-4)


def test_the_contours_that_follow_a_piece_are_told() -> None:
    result = knife(box(0, 0, 10, 10), box(10, 0, 20, 10))
    which, contours = result.contours_at(result.of(Knifing.DOUBLE))
    assert which.tolist() == [0, 0]
    assert sorted(contours.tolist()) == [0, 1]


def test_noding_keeps_the_length_of_lines_that_only_cross() -> None:
    random = np.random.default_rng(11)
    lines = np.array([shapely.LineString(random.uniform(0, 100, (5, 2))) for _ in range(40)], object)
    pieces = node(lines)
    assert pieces.length.sum() == pytest.approx(shapely.length(lines).sum(), rel=1e-9)
    middles = shapely.points(pieces.spots())
    assert shapely.dwithin(shapely.multilinestrings(lines), middles, 1e-9).all()


def test_nothing_to_node() -> None:
    assert len(node(np.zeros(0, object))) == 0
    assert lengths(classify(np.zeros(0, object), np.zeros(0, np.int64), shapely.MultiPolygon())) == (
        0,
        0,
        0,
        0,
    )


def test_groups_are_linked_by_nearness_in_chains() -> None:
    points = shapely.points([(0, 0), (10, 0), (1, 0), (2, 0), (10.5, 0)])
    assert [group.tolist() for group in groups(points, 1.0)] == [[0, 2, 3], [1, 4]]
