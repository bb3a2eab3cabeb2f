"""Markers: places that lie together share a badge, and badges keep out of each other's way."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from svgelements import Path as ReferencePath

from preflight.report.markers import (
    BADGES_A_FINDING,
    BADGES_IN_ALL,
    TOGETHER,
    Spots,
    arranged,
    chosen,
    grouped,
    outline,
    radius,
)
from preflight.report.model import Severity

AREA = (0.0, 0.0, 1000.0, 700.0)


def test_ten_findings_on_one_spot_get_ten_badges_apart() -> None:
    groups = [Spots(n, Severity.ERROR, ((500.0, 350.0),)) for n in range(1, 11)]
    badges = arranged(groups, AREA)
    for a, b in itertools.combinations(badges, 2):
        assert math.dist(a.at, b.at) > radius(a.spots.number) + radius(b.spots.number)


def test_no_badge_covers_the_spot_it_means() -> None:
    groups = [Spots(n, Severity.NOTE, ((40.0 * n, 20.0), (40.0 * n + 12, 30.0))) for n in range(1, 20)]
    for item in arranged(groups, AREA):
        assert all(math.dist(item.at, anchor) > radius(item.spots.number) for anchor in item.spots.anchors)


coordinate = st.tuples(st.floats(0, 1000), st.floats(0, 700))


@settings(max_examples=40, deadline=None)
@given(st.lists(coordinate, min_size=1, max_size=12))
def test_badges_stay_inside_and_clear_of_each_other(points: list[tuple[float, float]]) -> None:
    groups = [Spots(n, Severity.WARNING, (point,)) for n, point in enumerate(points, 1)]
    badges = arranged(groups, AREA)
    for item in badges:
        r = radius(item.spots.number)
        assert r <= item.at[0] <= 1000 - r
        assert r <= item.at[1] <= 700 - r
    for a, b in itertools.combinations(badges, 2):
        assert math.dist(a.at, b.at) >= radius(a.spots.number) + radius(b.spots.number)


@settings(max_examples=40, deadline=None)
@given(st.lists(coordinate, max_size=60))
def test_grouping_keeps_every_place(points: list[tuple[float, float]]) -> None:
    groups = grouped(1, Severity.ERROR, points)
    assert sorted(p for g in groups for p in g.anchors) == sorted(points)
    assert all(math.dist(g.anchors[0], p) < TOGETHER for g in groups for p in g.anchors)


def test_every_finding_gets_a_badge_before_any_gets_a_second() -> None:
    many = [[Spots(n, Severity.NOTE, ((i * 50.0, n * 50.0),)) for i in range(9)] for n in range(1, 41)]
    got = [spots.number for spots in chosen(many)]
    assert len(got) == BADGES_IN_ALL
    assert set(got) == set(range(1, 41))
    assert max(got.count(n) for n in set(got)) <= BADGES_A_FINDING


@pytest.mark.parametrize(
    ("severity", "corners"), [(Severity.ERROR, 8), (Severity.WARNING, 3), (Severity.NOTE, 2)]
)
def test_severities_differ_by_shape_and_not_only_by_colour(severity: Severity, corners: int) -> None:
    # An octagon, a triangle, and a disc of two half circles, as an independent path reader sees them.
    path = ReferencePath(outline(severity, (50, 50), 12))
    edges = [segment for segment in path if type(segment).__name__ in ("Line", "Arc", "Close")]
    drawn = [edge for edge in edges if edge.length() > 1e-6]
    assert len(drawn) == corners
    assert all((type(edge).__name__ == "Arc") == (severity is Severity.NOTE) for edge in drawn)
