"""Dashes: cutting subpaths into the pieces that a dash pattern paints, by true arc length.

Source of the rules: SVG 2, section 13.5.6 (dash pattern restarts with each subpath, a negative
offset shifts the other way) and 13.5.8 (a dash of no length still has caps, turned as the path
runs there). Where a dash runs through the start of a closed subpath, its two pieces are one dash
with a join between them, as renderers draw it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from preflight.curves import Bools, Floats, Ints, Path

_STEPS = 16
"""Pieces of a cubic in the table of its arc length."""
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)


@dataclass(frozen=True, eq=False)
class Dashed:
    """What a dash pattern leaves of a path: pieces, and dashes of no length.

    ``path`` has one open subpath a dash. ``dots`` (n, 2) and ``directions`` (n, 2, unit vectors)
    are the dashes of no length.
    """

    path: Path
    dots: Floats
    directions: Floats


def dashed(path: Path, dashes: tuple[float, ...], offset: float) -> Dashed:
    """Cut ``path`` by the pattern ``dashes`` (dash, gap, dash, gap ..., local units).

    Subpaths of no length are left out: what a dash pattern makes of a point is not defined. A pattern
    whose lengths sum to zero is no pattern, and the path comes back unbroken.

    Raises ValueError for an odd number of lengths or a negative one, which a reader must not let pass.
    """
    if len(dashes) % 2 or min(dashes, default=0.0) < 0:
        raise ValueError("a dash pattern needs an even number of lengths, none of them negative")
    period = float(sum(dashes))
    if period <= 0 or not len(path):
        return Dashed(path, np.zeros((0, 2)), np.zeros((0, 2)))
    controls = _evenly(path.controls, path.lines)
    table = _arc_lengths(controls, path.lines)
    pieces: list[tuple[Floats, Bools]] = []
    dots: list[Floats] = []
    directions: list[Floats] = []
    for first, last, closed in zip(path.starts, path.ends, path.closed, strict=True):
        part = slice(int(first), int(last))
        cut = _Cutter(controls[part], path.lines[part], table[part])
        if cut.total <= 0:
            continue
        found = _dash_positions(cut.total, dashes, offset % period, period)
        empty = found[:, 0] == found[:, 1]
        if np.any(empty):
            where, along = cut.at(found[empty, 0])
            dots.append(where)
            directions.append(along)
        pieces += _joined(cut.pieces(found[~empty]), found[~empty], cut.total, closed=bool(closed))
    return Dashed(_path_of(pieces), _stacked(dots), _stacked(directions))


def _stacked(arrays: list[Floats]) -> Floats:
    return np.concatenate(arrays) if arrays else np.zeros((0, 2))


def _dash_positions(total: float, dashes: tuple[float, ...], offset: float, period: float) -> Floats:
    """Return start and end (n, 2) of each dash along a subpath of length ``total``."""
    edges = np.concatenate(([0.0], np.cumsum(dashes)))
    begin, end = edges[0:-1:2], edges[1::2]
    rounds = np.arange(int(np.ceil((total + offset) / period)) + 1) * period - offset
    starts = (rounds[:, None] + begin).ravel()
    ends = (rounds[:, None] + end).ravel()
    kept = (
        (ends >= 0)
        & (starts <= total)
        & ~((ends == 0) & (starts < 0))
        & ~((starts == total) & (ends > total))
    )
    return np.stack((np.maximum(starts[kept], 0.0), np.minimum(ends[kept], total)), axis=1)


def _joined(
    pieces: list[tuple[Floats, Bools]], found: Floats, total: float, *, closed: bool
) -> list[tuple[Floats, Bools]]:
    """Make one dash of the last and the first where they meet at the start of a closed subpath."""
    if not closed or len(pieces) < 2 or found[0, 0] > 0 or found[-1, 1] < total:
        return pieces
    (first, first_lines), (last, last_lines) = pieces[0], pieces[-1]
    seam = (np.concatenate((last, first)), np.concatenate((last_lines, first_lines)))
    return [*pieces[1:-1], seam]


def _path_of(pieces: list[tuple[Floats, Bools]]) -> Path:
    if not pieces:
        return Path.empty()
    starts = np.cumsum([0] + [len(lines) for _, lines in pieces[:-1]])
    return Path(
        np.concatenate([c for c, _ in pieces]),
        np.concatenate([lines for _, lines in pieces]),
        starts.astype(np.int64),
        np.zeros(len(pieces), bool),
    )


def _evenly(controls: Floats, lines: Bools) -> Floats:
    """Return the controls with straight segments run through at an even speed."""
    thirds = np.arange(4)[None, :, None] / 3
    even = (1 - thirds) * controls[:, :1] + thirds * controls[:, 3:]
    return np.where(lines[:, None, None], even, controls)


def _speed(controls: Floats, t: Floats) -> Floats:
    """Return the length of the derivative of cubics (n, 4, 2) at ``t`` (n, ...)."""
    steps = 3 * np.diff(controls, axis=1)
    extra = (1,) * (t.ndim - 1)
    a, b, c = (steps[:, i].reshape(-1, *extra, 2) for i in range(3))
    u = t[..., None]
    slope = (1 - u) ** 2 * a + 2 * u * (1 - u) * b + u * u * c
    return np.asarray(np.hypot(slope[..., 0], slope[..., 1]))


def _between(controls: Floats, low: Floats, high: Floats) -> Floats:
    """Return the arc length of cubics (n, 4, 2) between parameters ``low`` and ``high`` (n, ...)."""
    half, middle = (high - low) / 2, (high + low) / 2
    t = middle[..., None] + half[..., None] * _NODES
    return np.asarray((_speed(controls, t) * _WEIGHTS).sum(axis=-1) * half)


def _arc_lengths(controls: Floats, lines: Bools) -> Floats:
    """Return the arc length of each segment up to 0, 1/16 ... 16/16 of its parameter, (n, 17)."""
    knots = np.linspace(0.0, 1.0, _STEPS + 1)
    chord = np.hypot(*(controls[:, 3] - controls[:, 0]).T)
    table = np.asarray(chord[:, None] * knots)
    curved = np.flatnonzero(~lines)
    if len(curved):
        shape = (len(curved), _STEPS)
        low, high = np.broadcast_to(knots[:-1], shape), np.broadcast_to(knots[1:], shape)
        table[curved, 1:] = np.cumsum(_between(controls[curved], low, high), axis=1)
    return table


class _Cutter:
    """One subpath and its arc length."""

    def __init__(self, controls: Floats, lines: Bools, table: Floats) -> None:
        self.controls, self.lines, self.table = controls, lines, table
        self.knots = np.concatenate(([0.0], np.cumsum(table[:, -1])))
        self.total = float(self.knots[-1])

    def locate(self, distance: Floats, *, ending: bool) -> tuple[Ints, Floats]:
        """Return segment and parameter at each distance; at a node, the one before it if ``ending``."""
        found = np.searchsorted(self.knots, distance, "left" if ending else "right")
        segment = np.clip(found - 1, 0, len(self.lines) - 1)
        # A segment of no length has no inside; step over it.
        rest = np.clip(distance - self.knots[segment], 0.0, self.table[segment, -1])
        length = self.table[segment, -1]
        t = np.divide(rest, length, out=np.zeros_like(rest), where=length > 0)
        curved = np.flatnonzero(~self.lines[segment] & (length > 0))
        if len(curved):
            t[curved] = self._inverse(segment[curved], rest[curved])
        return segment, t

    def _inverse(self, segment: Ints, rest: Floats) -> Floats:
        """Return the parameters at arc lengths ``rest`` of curved segments, by Newton's method."""
        rows = self.table[segment]
        column = np.clip((rows <= rest[:, None]).sum(axis=1) - 1, 0, _STEPS - 1)
        each = np.arange(len(rest))
        before, step = rows[each, column], rows[each, column + 1] - rows[each, column]
        low = column / _STEPS
        high = low + 1 / _STEPS
        part = np.divide(rest - before, step, out=np.zeros_like(rest), where=step > 0)
        t = low + part / _STEPS
        controls = self.controls[segment]
        for _ in range(4):
            speed = _speed(controls, t)
            miss = before + _between(controls, low, t) - rest
            move = np.divide(miss, speed, out=np.zeros_like(miss), where=speed > 1e-12 * (step + 1e-300))
            t = np.clip(t - move, low, high)
        return np.asarray(t)

    def at(self, distance: Floats) -> tuple[Floats, Floats]:
        """Return points and unit directions (n, 2) at each distance."""
        segment, t = self.locate(distance, ending=False)
        controls = self.controls[segment]
        s, u = (1 - t)[:, None], t[:, None]
        steps = np.diff(controls, axis=1)
        slope = s * s * steps[:, 0] + 2 * s * u * steps[:, 1] + u * u * steps[:, 2]
        size = np.hypot(slope[:, 0], slope[:, 1])
        still = size <= 1e-12 * np.abs(controls).max(initial=1e-300)
        slope[still] = (controls[:, 3] - controls[:, 0])[still]
        size = np.hypot(slope[:, 0], slope[:, 1])
        slope[size == 0] = (1.0, 0.0)
        size[size == 0] = 1.0
        head, tail = _split(controls, np.zeros(len(t)), t)[:, 3], slope / size[:, None]
        return head, tail

    def pieces(self, found: Floats) -> list[tuple[Floats, Bools]]:
        """Return controls and line marks of the subpath between each start and end (n, 2)."""
        if not len(found):
            return []
        first, t0 = self.locate(found[:, 0], ending=False)
        last, t1 = self.locate(found[:, 1], ending=True)
        last = np.maximum(last, first)
        counts = last - first + 1
        bounds = np.concatenate(([0], np.cumsum(counts)))
        segment = np.repeat(first, counts) + np.arange(bounds[-1]) - np.repeat(bounds[:-1], counts)
        low, high = np.zeros(bounds[-1]), np.ones(bounds[-1])
        low[bounds[:-1]] = t0
        high[bounds[1:] - 1] = t1
        controls, lines = _split(self.controls[segment], low, np.maximum(low, high)), self.lines[segment]
        return [(controls[a:b], lines[a:b]) for a, b in pairwise(bounds.tolist())]


def _split(controls: Floats, low: Floats, high: Floats) -> Floats:
    """Return the parts of cubics (n, 4, 2) between parameters ``low`` and ``high`` (n,)."""

    def blossom(a: Floats, b: Floats, c: Floats) -> Floats:
        points = controls
        for t in (a, b, c):
            u = t[:, None, None]
            points = (1 - u) * points[:, :-1] + u * points[:, 1:]
        return np.asarray(points[:, 0])

    parts = (
        blossom(low, low, low),
        blossom(low, low, high),
        blossom(low, high, high),
        blossom(high, high, high),
    )
    return np.stack(parts, axis=1)
