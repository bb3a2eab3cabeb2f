"""Boolean operations on paths that keep curves as curves.

The engine is linesweeper, which works on the curves themselves. It is exact but not infallible, so
nothing here is trusted unseen: whoever calls compares the result with an independent fill.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

import numpy as np

from preflight.curves import Floats, Path

if TYPE_CHECKING:
    from kurbopy import BezPath

SCALE = 100.0
"""Coordinates are multiplied by this for the engine, whose own tolerance is absolute (in mm: 1/100)."""

SPECK = 1e-3
"""Segments shorter than this (mm) in the engine's answer are closed up: a thousandth of a millimetre."""

Operation = Literal["union", "intersection", "difference", "xor"]


class CurveError(Exception):
    """The engine gave up on these paths."""


def combine(first: Path, second: Path, operation: Operation, *, evenodd: bool = False) -> Path:
    """Return the region of ``first`` and ``second`` (mm) under ``operation`` as closed contours.

    Both are read by one fill rule. Outer contours and holes of the answer turn opposite ways and
    nothing in it overlaps, so that both fill rules give the same region. Raises `CurveError`.
    """
    import linesweeper  # noqa: PLC0415  (it brings a font library along; checks must not wait for that)

    rule = "evenodd" if evenodd else "nonzero"
    one, other = _bezier(first), _bezier(second)
    try:
        answer = linesweeper.binary_op(one, other, rule, operation)
    except linesweeper.LinesweeperError as error:
        raise CurveError(str(error)) from error
    except BaseException as error:  # a panic in the engine is no Exception
        if type(error).__name__ != "PanicException":
            raise
        raise CurveError(str(error)) from error
    return Path.joined([_path(part.to_svg()) for part in answer])


def simplified(path: Path, *, evenodd: bool) -> Path:
    """Return ``path``, filled by its rule, as contours that do not cross. Raises `CurveError`."""
    return combine(path, Path.empty(), "union", evenodd=evenodd)


def united(paths: Sequence[Path]) -> Path:
    """Return the union of paths that are simplified already. Raises `CurveError`."""
    return combine(Path.joined(list(paths)), Path.empty(), "union")


def reversed_path(path: Path) -> Path:
    """Return ``path`` with every contour drawn the other way round."""
    parts = []
    for index in range(len(path)):
        part = path.subpath(index)
        parts.append(Path(part.controls[::-1, ::-1], part.lines[::-1], part.starts, part.closed))
    return Path.joined(parts)


def _bezier(path: Path) -> BezPath:
    from kurbopy import BezPath, Point  # noqa: PLC0415  (see `combine`)

    result = BezPath()
    scaled = path.controls * SCALE
    for start, end in zip(path.starts, path.ends, strict=True):
        result.move_to(Point(*scaled[start, 0]))
        for index in range(start, end):
            _, a, b, last = scaled[index]
            if path.lines[index]:
                result.line_to(Point(*last))
            else:
                result.curve_to(Point(*a), Point(*b), Point(*last))
        result.close_path()
    return result


_COMMAND = re.compile(r"([MLQCZ])([^MLQCZ]*)")


def _path(svg: str) -> Path:
    """Return the engine's answer (absolute M, L, Q, C, Z only) as a path in mm."""
    controls: list[Floats] = []
    straight: list[bool] = []
    here = np.zeros(2)
    first = np.zeros(2)
    for letter, text in _COMMAND.findall(svg):
        if letter == "Z":
            break
        points = np.array(re.split(r"[ ,]+", text.strip()), float).reshape(-1, 2) / SCALE
        if letter == "M":
            here = first = points[-1]
            continue
        for group in points.reshape(-1, {"L": 1, "Q": 2, "C": 3}[letter], 2):
            if letter == "L":
                controls.append(np.stack((here, here, group[0], group[0])))
            elif letter == "Q":
                a, b = here + (group[0] - here) * 2 / 3, group[1] + (group[0] - group[1]) * 2 / 3
                controls.append(np.stack((here, a, b, group[1])))
            else:
                controls.append(np.concatenate((here[None], group)))
            straight.append(letter == "L")
            here = group[-1]
    if np.hypot(*(here - first)) > 0:
        controls.append(np.stack((here, here, first, first)))
        straight.append(True)
    return _without_specks(np.array(controls).reshape(-1, 4, 2), np.array(straight, bool))


def _without_specks(controls: Floats, straight: np.ndarray) -> Path:
    """Return one closed contour; segments of next to no length are closed up into their neighbours."""
    reach = np.abs(controls - controls[:, :1]).max(axis=(1, 2))
    kept = reach >= SPECK
    if kept.sum() < 2:
        return Path.empty()
    controls, straight = controls[kept].copy(), straight[kept]
    # Where a speck went, both sides meet at the end of the segment before it.
    ends = controls[:, 3]
    controls[:, 0] = np.roll(ends, 1, axis=0)
    return Path(controls, straight, np.zeros(1, np.int64), np.ones(1, bool))
