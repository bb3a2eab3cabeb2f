"""Clip contours at a straight line, their curves kept: only the pieces that the line meets are split.

Splitting a cubic at a parameter is exact (de Casteljau), so what is kept of a curve is that curve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from preflight.curves import Floats, Path

Side = Literal["below", "above"]
"""Which side of the line stays: smaller or larger coordinates."""

SPECK = 1e-3
"""Contours no wider and no higher than this (mm) are dropped: they enclose nothing a knife could cut."""
_ENDS = 1e-9
"""Roots so near to a segment's end are its end."""


class ClipError(Exception):
    """The contours cross or are not closed, so what lies on which side of the line cannot be told."""


@dataclass(frozen=True, eq=False)
class _Run:
    """Segments of one contour, on the side that stays; without ends it is the whole contour."""

    controls: Floats
    lines: np.ndarray
    open: bool


def clipped(path: Path, axis: Literal[0, 1], at: float, side: Side) -> Path:
    """Return the closed contours of ``path`` (mm) on one side of the line where coordinate ``axis`` is ``at``.

    Contours must be closed and must not cross, and both fill rules must agree on them, as those of a mended
    film do. Where the line is cut through film the answer has straight edges on it. Raises `ClipError`.
    """
    keep_low = side == "below"
    runs: list[_Run] = []
    for index in range(len(path)):
        runs += _runs(path.subpath(index), axis, at, keep_low=keep_low)
    whole = [_closed([run]) for run in runs if not run.open]
    joined = _joined([run for run in runs if run.open], axis)
    return Path.joined([part for part in (*whole, *joined) if not _is_speck(part)])


def clipped_lines(path: Path, axis: Literal[0, 1], at: float, side: Side) -> Path:
    """Return the lines of ``path`` (mm), open or closed, on one side of the line; those cut are open."""
    parts = []
    for index in range(len(path)):
        part = path.subpath(index)
        for run in _runs(part, axis, at, keep_low=side == "below", ring=bool(part.closed[0])):
            closed = np.array([not run.open and bool(part.closed[0])])
            parts.append(Path(run.controls, run.lines, np.zeros(1, np.int64), closed))
    return Path.joined(parts)


def _runs(part: Path, axis: int, at: float, *, keep_low: bool, ring: bool = True) -> list[_Run]:
    """Return the stretches of one contour that stay, each with its segments split at the line.

    What lies on the line counts as above it: then a contour that only touches the line is never torn,
    and every contour that comes to the line leaves it again.
    """
    controls, lines = _split(part, axis, at)
    if not len(controls):
        return []
    middle = _halfway(controls)[:, axis]
    stays = (middle < at - _ENDS) == keep_low
    if stays.all():
        return [_Run(controls, lines, open=False)]
    if not stays.any():
        return []
    count = len(stays)
    before = np.roll(stays, 1)
    if not ring:
        before[0] = False
    runs = []
    for first in np.flatnonzero(stays & ~before).tolist():
        length = 1
        while length < count and (ring or first + length < count) and stays[(first + length) % count]:
            length += 1
        chosen = (first + np.arange(length)) % count
        runs.append(_Run(controls[chosen], lines[chosen], open=True))
    return runs


def _split(part: Path, axis: int, at: float) -> tuple[Floats, np.ndarray]:
    """Return a contour's segments, those that cross the line split there; the ends lie on it exactly."""
    controls: list[Floats] = []
    straight: list[bool] = []
    for segment, line in zip(part.controls, part.lines, strict=True):
        roots = _roots(segment[:, axis], at, straight=bool(line))
        for piece in _pieces(segment, roots, straight=bool(line), axis=axis, at=at):
            controls.append(piece)
            straight.append(bool(line))
    return np.array(controls).reshape(-1, 4, 2), np.array(straight, bool)


def _roots(values: Floats, at: float, *, straight: bool) -> list[float]:
    """Return the parameters, ascending, at which a segment's coordinate is ``at``, its ends left out."""
    low, high = float(values.min()), float(values.max())
    if low > at or high < at:
        return []
    first, last = float(values[0]), float(values[3])
    if straight:
        found = [(at - first) / (last - first)] if first != last else []
    else:
        a, b, c, d = (float(v) for v in values - at)
        found = [
            float(root.real)
            for root in np.roots([d - 3 * c + 3 * b - a, 3 * (c - 2 * b + a), 3 * (b - a), a])
            if abs(root.imag) < 1e-7
        ]
    return sorted(t for t in found if _ENDS < t < 1 - _ENDS)


def _pieces(segment: Floats, roots: Sequence[float], *, straight: bool, axis: int, at: float) -> list[Floats]:
    pieces, rest, done = [], segment, 0.0
    for root in roots:
        share = (root - done) / (1 - done)
        first, rest = _halves(rest, share, straight=straight)
        first[3, axis] = rest[0, axis] = at
        if straight:
            first[2, axis] = rest[1, axis] = at
        pieces.append(first)
        done = root
    return [*pieces, rest]


def _halves(segment: Floats, t: float, *, straight: bool) -> tuple[Floats, Floats]:
    """Return both pieces of a cubic at ``t``, by de Casteljau; a straight one's stay straight."""
    if straight:
        spot = segment[0] + t * (segment[3] - segment[0])
        return (
            np.stack((segment[0], segment[0], spot, spot)),
            np.stack((spot, spot, segment[3], segment[3])),
        )
    p01, p12, p23 = (segment[k] + t * (segment[k + 1] - segment[k]) for k in range(3))
    p012, p123 = p01 + t * (p12 - p01), p12 + t * (p23 - p12)
    spot = p012 + t * (p123 - p012)
    return np.stack((segment[0], p01, p012, spot)), np.stack((spot.copy(), p123, p23, segment[3]))


def _halfway(controls: Floats) -> Floats:
    found: Floats = (controls[:, 0] + 3 * controls[:, 1] + 3 * controls[:, 2] + controls[:, 3]) / 8
    return found


def _joined(runs: Sequence[_Run], axis: int) -> list[Path]:
    """Return contours made of runs and of straight pieces of the line between them.

    Along the line film and no film take turns, so its meetings pair off: the first with the second, the
    third with the fourth. In each pair one run arrives and the other leaves.
    """
    if not runs:
        return []
    other = 1 - axis
    ends = [(float(run.controls[-1, 3, other]), 0, k) for k, run in enumerate(runs)]
    ends += [(float(run.controls[0, 0, other]), 1, k) for k, run in enumerate(runs)]
    ends.sort()
    following: dict[int, int] = {}
    for (_, a_starts, a), (_, b_starts, b) in zip(ends[::2], ends[1::2], strict=True):
        if a_starts == b_starts:
            raise ClipError("two contours arrive at the line side by side")
        following[b if a_starts else a] = a if a_starts else b
    contours, left = [], set(range(len(runs)))
    while left:
        first = here = min(left)
        chain = []
        while here in left:
            left.remove(here)
            chain.append(runs[here])
            here = following[here]
        if here != first:
            raise ClipError("a contour does not come back")
        contours.append(_closed(chain))
    return contours


def _closed(chain: Sequence[_Run]) -> Path:
    """Return one closed contour of runs, with straight segments where one ends and the next begins."""
    controls: list[Floats] = []
    lines: list[np.ndarray] = []
    for run, following in zip(chain, (*chain[1:], chain[0]), strict=True):
        controls.append(run.controls)
        lines.append(run.lines)
        end, start = run.controls[-1, 3], following.controls[0, 0]
        if run.open and (end != start).any():
            controls.append(np.stack((end, end, start, start))[None])
            lines.append(np.ones(1, bool))
    return Path(np.concatenate(controls), np.concatenate(lines), np.zeros(1, np.int64), np.ones(1, bool))


def _is_speck(part: Path) -> bool:
    x0, y0, x1, y1 = part.bounds()
    return min(x1 - x0, y1 - y0) < SPECK
