"""Fitted curves against the lines they were fitted to; distances are GEOS's (shapely.hausdorff_distance)."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from preflight.curves import Floats, Path, flatten
from preflight.geometry.fitting import find_corners, fit


def deviation(path: Path, points: Floats) -> float:
    fitted = shapely.LineString(flatten([path], 1e-3).points)
    return float(shapely.hausdorff_distance(fitted, shapely.LineString(points), densify=0.02))


def closed(points: Floats) -> Floats:
    return np.concatenate((points, points[:1]))


def ring(radius: float, sides: int) -> Floats:
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    return closed(radius * np.stack((np.cos(angle), np.sin(angle)), axis=1))


def trace(count: int, noise: float, seed: int = 1) -> Floats:
    """Return a closed wavy outline about 200 mm across, its points off at random by up to ``noise``."""
    random = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    waves = sum(random.normal() / k**1.3 * np.cos(k * angle + random.uniform(0, 6)) for k in range(2, 40))
    radius = 100 * (1 + 0.25 * waves)
    points = np.stack((radius * np.cos(angle), radius * np.sin(angle)), axis=1)
    return closed(points + random.uniform(-noise, noise, points.shape))


@pytest.mark.parametrize(("radius", "most"), [(1.0, 4), (10.0, 5), (150.0, 7)])
def test_a_circle_takes_few_cubics(radius: float, most: int) -> None:
    # A quarter by one cubic errs by 2.7e-4 of the radius (from memory: the usual 0.5523 construction).
    points = ring(radius, 720)
    path = fit(points, 0.05)
    assert 2 <= len(path.controls) <= most
    assert path.closed.all()
    assert deviation(path, points) <= 0.051


def test_corners_are_kept_and_straight_sides_stay_straight() -> None:
    square = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0], [0.0, 0.0]])
    path = fit(square, 0.05)
    assert path.lines.all()
    assert path.controls[:, 0] == pytest.approx(square[:-1])
    drop = closed(np.concatenate((ring(5, 200)[20:-20], [[9.0, 0.0]])))
    kept = fit(drop, 0.05)
    assert np.hypot(*(kept.controls[:, 3] - [9.0, 0.0]).T).min() < 1e-9
    assert deviation(kept, drop) <= 0.06


def test_a_loop_from_a_corner_to_itself_is_no_straight_line() -> None:
    t = np.linspace(0, 1, 100)
    loop = np.stack((3 * t * (1 - t) ** 2 * 30, 3 * t**2 * (1 - t) * 30), axis=1)
    loop[-1] = loop[0]
    path = fit(loop, 0.05, corners=np.array([0]))
    assert not path.lines.any()
    assert len(path.controls) <= 4
    assert deviation(path, loop) <= 0.06


def test_a_cubic_is_found_again() -> None:
    cubic = Path(
        np.array([[[0, 0], [10, 30], [40, -20], [50, 10.0]]]),
        np.zeros(1, bool),
        np.zeros(1, int),
        np.zeros(1, bool),
    )
    points = flatten([cubic], 1e-4).points
    path = fit(points, 0.01)
    assert len(path.controls) <= 3
    assert deviation(path, points) <= 0.011
    assert not path.closed.any()


@pytest.mark.parametrize(
    ("noise", "tolerance", "most"), [(0.0, 0.05, 120), (0.02, 0.05, 150), (0.03, 0.11, 100)]
)
def test_a_trace_of_thousands_of_nodes_takes_a_hundred(noise: float, tolerance: float, most: int) -> None:
    points = trace(5000, noise)
    path = fit(points, tolerance)
    assert len(path.controls) <= most
    assert deviation(path, points) <= tolerance * 1.01


def test_given_corners_are_where_pieces_meet() -> None:
    points = ring(10, 360)
    path = fit(points, 0.05, corners=np.array([90, 200]))
    for corner in (90, 200):
        assert np.hypot(*(path.controls[:, 0] - points[corner]).T).min() < 1e-12


def test_smooth_pieces_share_a_direction() -> None:
    path = fit(trace(3000, 0.0), 0.05)
    into = path.controls[:, 3] - path.controls[:, 2]
    out = np.roll(path.controls, -1, axis=0)[:, 1] - path.controls[:, 3]
    cosine = (into * out).sum(axis=1) / np.hypot(*into.T) / np.hypot(*out.T)
    assert cosine.min() > 1 - 1e-9


def test_corners_of_a_star_are_found_and_none_on_a_circle() -> None:
    angle = np.linspace(0, 2 * np.pi, 10, endpoint=False)
    radius = np.where(np.arange(10) % 2, 5.0, 12.0)
    star = closed(np.stack((radius * np.cos(angle), radius * np.sin(angle)), axis=1))
    assert find_corners(star, 0.05).tolist() == list(range(10))
    assert not len(find_corners(ring(10, 300), 0.05))


def test_repeated_points_do_no_harm() -> None:
    points = np.repeat(ring(10, 100), 3, axis=0)
    assert len(fit(points, 0.05).controls) == len(fit(ring(10, 100), 0.05).controls)


def test_what_cannot_be_fitted_is_refused() -> None:
    with pytest.raises(ValueError, match="two different points"):
        fit(np.zeros((5, 2)), 0.05)
    with pytest.raises(ValueError, match="greater than 0"):
        fit(ring(1, 10), 0.0)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-20, 20), st.floats(-20, 20)), min_size=2, max_size=25),
    st.sampled_from((0.02, 0.1, 1.0)),
    st.booleans(),
)
def test_any_line_is_kept_within_the_tolerance(
    points: list[tuple[float, float]], tolerance: float, joined: bool
) -> None:
    line = np.round(np.array(points), 2)
    if joined:
        line = closed(line)
    if (line == line[0]).all():
        return
    path = fit(line, tolerance)
    # Between the spots looked at (every 20 tolerances) a curve can stray a little further.
    samples = flatten([path], tolerance / 20).points
    nodes = shapely.points(line)
    assert shapely.distance(nodes, shapely.LineString(samples)).max() <= tolerance * 1.1
    assert (path.controls[1:, 0] == path.controls[:-1, 3]).all()
    assert path.controls[0, 0] == pytest.approx(line[0])
    assert path.controls[-1, 3] == pytest.approx(line[-1])
