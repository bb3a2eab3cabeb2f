"""Path data against the grammar and the error rule of SVG 2, chapter 9, and the arc formulae."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from preflight.curves import Floats, evaluate
from preflight.readers.svg.pathdata import arc_cubics, parse_path


def ends(data: str) -> list[tuple[float, float]]:
    """Return the start of the first segment and the end of each."""
    controls = parse_path(data).path.controls
    if not len(controls):
        return []
    return [tuple(controls[0, 0].tolist()), *(tuple(c.tolist()) for c in controls[:, 3])]


# SVG 2, 9.3.9: superfluous white space and separators may be left out; numbers end where the
# grammar lets no further character belong to them.
@pytest.mark.parametrize(
    ("data", "points"),
    [
        ("M0,0.5.5-3e1", [(0, 0.5), (0.5, -30)]),
        ("M 0 0 L 10 0", [(0, 0), (10, 0)]),
        ("M0 0L10-5", [(0, 0), (10, -5)]),
        ("M0 0 10 0 10 10", [(0, 0), (10, 0), (10, 10)]),
        ("m1 1 2 0 0 2", [(1, 1), (3, 1), (3, 3)]),
        ("M.5.5.5.6", [(0.5, 0.5), (0.5, 0.6)]),
        ("M1e1,1E+1L2e-1 3", [(10, 10), (0.2, 3)]),
        ("M 0\t,\n0 1\r1", [(0, 0), (1, 1)]),
        ("M0 0H5V6h-1v-1", [(0, 0), (5, 0), (5, 6), (4, 6), (4, 5)]),
        ("M0 0h1 2 3", [(0, 0), (1, 0), (3, 0), (6, 0)]),
        ("  M0 0L1 1  ", [(0, 0), (1, 1)]),
        ("M+1+1L+2+2", [(1, 1), (2, 2)]),
        ("M1.,1.L2.,2.", [(1, 1), (2, 2)]),  # a number may end with a point: SVG 1.1, 8.3.9
    ],
)
def test_grammar(data: str, points: list[tuple[float, float]]) -> None:
    parsed = parse_path(data)
    assert parsed.error is None
    np.testing.assert_allclose(ends(data), points, atol=1e-12)


# SVG 2, 9.5.4 (from memory): an error ends the path before the faulty segment; what precedes stays.
@pytest.mark.parametrize(
    ("data", "points"),
    [
        ("M0 0L10 0 L 20", [(0, 0), (10, 0)]),
        ("M0 0L10 0L20 20 30", [(0, 0), (10, 0), (20, 20)]),
        ("M0 0L10 0 X 5 5 L 9 9", [(0, 0), (10, 0)]),
        ("M0 0L10 0 L 5 5,", [(0, 0), (10, 0), (5, 5)]),
        ("M0 0L10 0 C 1 2 3 4 5", [(0, 0), (10, 0)]),
        ("M0 0 L10 0 L 1,,2", [(0, 0), (10, 0)]),
        ("M0 0 L10 0 A 5 5 0 2 0 9 9", [(0, 0), (10, 0)]),
        ("M0 0 L10 0 A 5 5 0 0 -1 9 9", [(0, 0), (10, 0)]),
        ("L10 0", []),
        ("M0", []),
        ("", []),
        ("M0 0L1e999 0", []),
        ("M0 0L5 5 L nan 0", [(0, 0), (5, 5)]),
        ("M0 0L5 5 L 1e400 0 L 2 2", [(0, 0), (5, 5)]),
    ],
)
def test_errors_keep_what_came_before(data: str, points: list[tuple[float, float]]) -> None:
    parsed = parse_path(data)
    assert (parsed.error is None) == (data == "")
    assert ends(data) == points


def test_error_names_the_place() -> None:
    assert "character 9" in (parse_path("M0 0L1 1?").error or "")


def test_flags_need_no_separators() -> None:
    """SVG 2, 9.3.9: a flag is one character, so ``01`` is two of them."""
    packed = parse_path("M0 0a5 5 0 0110 10").path.controls
    spaced = parse_path("M0 0 a 5 5 0 0 1 10 10").path.controls
    np.testing.assert_array_equal(packed, spaced)
    assert parse_path("M0 0a5 5 0 01.5.5").error is None


@pytest.mark.parametrize(
    ("data", "first_control"),
    [
        # SVG 2, 9.3.6: S reflects the second control of a cubic before it, else starts on the point.
        ("M0 0C1 1 2 3 4 4S8 8 9 9", (6, 5)),
        ("M0 0T5 5S8 8 9 9", (5, 5)),
        ("M0 0Q1 3 5 5S8 8 9 9", (5, 5)),
        ("M0 0L5 5S8 8 9 9", (5, 5)),
        ("M0 0c1 1 2 3 4 4s8 8 9 9", (6, 5)),
    ],
)
def test_smooth_cubic(data: str, first_control: tuple[float, float]) -> None:
    assert tuple(parse_path(data).path.controls[-1, 1].tolist()) == first_control


@pytest.mark.parametrize(
    ("data", "control"),
    [
        # SVG 2, 9.3.7: T reflects the control of a quadratic before it, else its control is the point.
        ("M0 0Q1 3 4 4T9 9", (7, 5)),
        ("M0 0C1 1 2 3 4 4T9 9", (4, 4)),
        ("M0 0L4 4T9 9", (4, 4)),
        ("M0 0Q1 3 4 4T9 9T0 0", (11, 13)),
    ],
)
def test_smooth_quadratic(data: str, control: tuple[float, float]) -> None:
    p0, p1, _, _ = parse_path(data).path.controls[-1]
    # A raised quadratic's first control lies two thirds of the way to the quadratic's own.
    np.testing.assert_allclose(p0 + (p1 - p0) * 1.5, control, atol=1e-12)


def test_subpaths() -> None:
    path = parse_path("M0 0L1 0L1 1zM5 5L6 6m1 1L9 9z L2 2").path
    assert path.starts.tolist() == [0, 3, 4, 6]
    assert path.closed.tolist() == [True, False, True, False]
    # After a close the next subpath starts where the closed one began (SVG 2, 9.3.4).
    np.testing.assert_array_equal(path.controls[-1, 0], (7, 7))


def test_lone_moves_draw_nothing_and_dots_stay() -> None:
    assert not len(parse_path("M1 1M2 2").path)
    dot = parse_path("M1 1z").path
    assert dot.controls.tolist() == [[[1, 1]] * 4]
    assert dot.closed.all()
    assert parse_path("M1 1L1 1").path.controls.tolist() == [[[1, 1]] * 4]


def test_relative_close_leaves_no_stub() -> None:
    path = parse_path("m0.1 0.2 l0.1 0 0 0.1 -0.1 0 0 -0.1z").path
    assert len(path.controls) == 4
    np.testing.assert_array_equal(path.controls[-1, 3], path.controls[0, 0])


# SVG 2, B.2.4: sweep means angles that grow, which with y down is clockwise; both centres lie one
# radius from both ends.
@pytest.mark.parametrize(
    ("large", "sweep", "centre"),
    [(False, True, (0, 1)), (True, True, (1, 0)), (False, False, (1, 0)), (True, False, (0, 1))],
)
def test_arc_centres(large: bool, sweep: bool, centre: tuple[float, float]) -> None:
    """Of the four arcs from (0, 0) to (1, 1) with radius 1, flags choose the centre and the way."""
    pieces = arc_cubics((0, 0), (1, 1), 0, large=large, sweep=sweep, end=(1, 1))
    assert pieces is not None
    controls = _controls((0, 0), pieces)
    at = np.linspace(0, 1, 9)
    for segment in controls:
        points = evaluate(np.repeat(segment[None], 9, axis=0), at)
        np.testing.assert_allclose(np.hypot(*(points - centre).T), 1, atol=5e-6)
    assert len(controls) == (6 if large else 2)  # 270 and 90 degrees in steps of at most 45


def _controls(start: tuple[float, float], pieces: Sequence[tuple[float, ...]]) -> Floats:
    found = []
    for piece in pieces:
        found.append([start, piece[0:2], piece[2:4], piece[4:6]])
        start = (piece[4], piece[5])
    return np.array(found)


def test_arc_radii_too_small_are_scaled_up() -> None:
    """SVG 2, B.2.5 step 3: the radii grow until the ends just fit, and the centre is their middle."""
    pieces = arc_cubics((0, 0), (1, 1), 0, large=False, sweep=True, end=(10, 0))
    assert pieces is not None
    controls = _controls((0, 0), pieces)
    np.testing.assert_allclose(controls[1, 3], (5, -5), atol=1e-12)
    assert len(controls) == 4


def test_arc_radii_negative_and_zero() -> None:
    """SVG 2, B.2.5: signs of radii are dropped; a zero radius makes a straight line."""
    np.testing.assert_array_equal(
        parse_path("M0 0A-5 -5 0 0 1 10 0").path.controls, parse_path("M0 0A5 5 0 0 1 10 0").path.controls
    )
    line = parse_path("M0 0A0 5 0 0 1 10 0").path
    assert line.lines.tolist() == [True]
    # Equal ends: the segment is left out (SVG 2, 9.5.1); a dot remains for round caps.
    assert parse_path("M1 1A5 5 0 0 1 1 1").path.controls.tolist() == [[[1, 1]] * 4]


@pytest.mark.parametrize("turn", [0, 30, 90, 135, -45, 400])
def test_arc_rotation(turn: float) -> None:
    """Every point of a turned arc fulfils the turned ellipse's equation about the arc's centre."""
    pieces = arc_cubics((10, 20), (30, 10), turn, large=True, sweep=False, end=(25, 31))
    assert pieces is not None
    controls = _controls((10, 20), pieces)
    points = np.concatenate([evaluate(np.repeat(c[None], 7, axis=0), np.linspace(0, 1, 7)) for c in controls])
    phi = math.radians(turn)
    back = points @ np.array([[math.cos(phi), -math.sin(phi)], [math.sin(phi), math.cos(phi)]])
    unit = back / (30, 10)
    # A circle through three of the points has radius 1 and fits all others.
    a = np.column_stack((2 * unit, np.ones(len(unit))))
    solved = np.linalg.lstsq(a, (unit**2).sum(axis=1), rcond=None)[0]
    radius = math.sqrt(solved[2] + solved[0] ** 2 + solved[1] ** 2)
    assert radius == pytest.approx(1, abs=1e-5)
    np.testing.assert_allclose(np.hypot(*(unit - solved[:2]).T), 1, atol=1e-5)


def test_arc_end_is_exact_and_inner_ends_are_no_vertices() -> None:
    parsed = parse_path("M0 0A10 10 0 0 1 3.3 7.7")
    assert tuple(parsed.path.controls[-1, 3].tolist()) == (3.3, 7.7)
    half = parse_path("M0 0A5 5 0 0 1 10 0L0 0")
    assert half.inner == frozenset((0, 1, 2))
