"""Paths as arrays: bounds, lengths and flattening against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from preflight.curves import Outlines, Path, apply, evaluate, flatten, largest_stretch, lengths, multiply


def cubic(*points: tuple[float, float]) -> Path:
    return Path(np.array([points], float), np.array([False]), np.zeros(1, np.int64), np.array([False]))


def parabola() -> Path:
    """y = x^2 for x from 0 to 1, a quadratic (0,0) (0.5,0) (1,1) raised to a cubic."""
    return cubic((0, 0), (1 / 3, 0), (2 / 3, 1 / 3), (1, 1))


def test_length_of_a_parabola_has_a_closed_form() -> None:
    # The integral of sqrt(1 + 4 x^2) from 0 to 1 is sqrt(5)/2 + asinh(2)/4 (calculus).
    assert lengths(parabola())[0] == pytest.approx(math.sqrt(5) / 2 + math.asinh(2) / 4, abs=1e-9)


def test_length_of_straight_segments_is_exact() -> None:
    assert lengths(Path.polygon([(0, 0), (3, 4), (3, 0)])) == pytest.approx([5, 4, 3])


def test_bounds_take_the_curve_and_not_its_handles() -> None:
    # y(t) = 3 t (1 - t) has its greatest value 3/4 at t = 1/2.
    assert cubic((0, 0), (0, 1), (1, 1), (1, 0)).bounds() == pytest.approx((0, 0, 1, 0.75))


@given(
    st.lists(st.tuples(st.floats(-1000, 1000), st.floats(-1000, 1000)), min_size=4, max_size=4, unique=True),
    st.sampled_from([1.0, 0.1, 0.01]),
)
@settings(derandomize=True, max_examples=150, deadline=None)
def test_flattening_stays_within_its_tolerance(points: list[tuple[float, float]], tolerance: float) -> None:
    path = cubic(*points)
    lines = flatten([path], tolerance)
    chords = lines[0]
    pieces = len(chords) - 1
    # Wang's bound is on parameter-wise distance: halfway along each chord's span is the worst spot.
    t = (np.arange(pieces) + 0.5) / pieces
    on_curve = evaluate(np.repeat(path.controls, pieces, axis=0), t)
    on_chord = (chords[:-1] + chords[1:]) / 2
    assert np.hypot(*(on_curve - on_chord).T).max() <= tolerance * (1 + 1e-9)


def test_flattening_keeps_subpaths_corners_and_owners_apart() -> None:
    square = Path.polygon([(0, 0), (1, 0), (1, 1), (0, 1)])
    lines = flatten([Path.joined([square, parabola()]), square], 0.001)
    assert len(lines) == 3
    assert lines.path.tolist() == [0, 0, 1]
    assert lines.closed.tolist() == [True, False, True]
    assert (lines[0][0] == lines[0][-1]).all()
    corners = lines.corners[lines.starts[1] : lines.starts[2]]
    assert corners[0]
    assert corners[-1]
    assert corners.sum() == 2


def test_mapping_many_paths_is_mapping_each() -> None:
    paths = [parabola(), Path.polygon([(0, 0), (2, 0), (2, 1)])]
    matrices = [(2.0, 0.5, -1.0, 1.5, 10.0, 20.0), (0.0, 1.0, -1.0, 0.0, 3.0, 4.0)]
    together = Outlines.of(paths, matrices).whole.controls
    apart = np.concatenate([apply(m, p.controls) for p, m in zip(paths, matrices, strict=True)])
    assert together == pytest.approx(apart)


def test_matrices_multiply_inner_first_and_stretch_by_their_norm() -> None:
    turn, grow = (0.0, 1.0, -1.0, 0.0, 0.0, 0.0), (3.0, 0.0, 0.0, 2.0, 1.0, 1.0)
    point = np.array([1.0, 0.0])
    assert apply(multiply(grow, turn), point) == pytest.approx(apply(grow, apply(turn, point)))
    assert largest_stretch(multiply(turn, grow)) == pytest.approx(3.0)


def test_nothing_at_all() -> None:
    assert len(flatten([Path.empty()], 0.1)) == 0
    assert Outlines.of([Path.empty()]).lengths().tolist() == [0.0]
