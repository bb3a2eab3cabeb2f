"""Paths as arrays of segments: flattening, bounds and lengths, vectorised over many paths at once.

A path is kept as cubic control points, since every segment of an SVG, PDF or font outline is a
cubic or can be raised to one exactly (arcs are approximated by the reader, see there). Straight
segments are marked, so that they flatten to one chord and stay straight when written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

IDENTITY: tuple[float, float, float, float, float, float] = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
Matrix = tuple[float, float, float, float, float, float]
"""An affine map in SVG's order ``(a, b, c, d, e, f)``: x' = a x + c y + e, y' = b x + d y + f."""


def multiply(outer: Matrix, inner: Matrix) -> Matrix:
    """Return the map that applies ``inner`` first and ``outer`` second."""
    a, b, c, d, e, f = outer
    p, q, r, s, t, u = inner
    return (a * p + c * q, b * p + d * q, a * r + c * s, b * r + d * s, a * t + c * u + e, b * t + d * u + f)


def apply(matrix: Matrix, points: Floats) -> Floats:
    """Map points of shape (..., 2) through ``matrix``."""
    a, b, c, d, e, f = matrix
    x, y = points[..., 0], points[..., 1]
    return np.stack((a * x + c * y + e, b * x + d * y + f), axis=-1)


def largest_stretch(matrix: Matrix) -> float:
    """Return the largest factor by which ``matrix`` stretches a length (its spectral norm)."""
    a, b, c, d, _, _ = matrix
    half = (a * a + b * b + c * c + d * d) / 2
    det = a * d - b * c
    return float(np.sqrt(half + np.sqrt(max(half * half - det * det, 0.0))))


def determinant(matrix: Matrix) -> float:
    """Return the signed factor by which ``matrix`` changes areas."""
    return matrix[0] * matrix[3] - matrix[1] * matrix[2]


@dataclass(frozen=True, eq=False)
class Path:
    """Subpaths made of lines and cubics.

    ``controls`` has shape (n, 4, 2): the control points of each segment, in drawing order.
    ``lines`` (n,) marks straight segments. ``starts`` (k,) is the first segment of each subpath.
    ``closed`` (k,) says which subpaths were closed by a closing command; the segment that closes
    the gap, where there is one, is among the segments. A subpath of no length (a dot) is one
    straight segment with equal ends.
    """

    controls: Floats
    lines: Bools
    starts: Ints
    closed: Bools

    @classmethod
    def empty(cls) -> Path:
        """Return a path without subpaths."""
        return cls(np.zeros((0, 4, 2)), np.zeros(0, bool), np.zeros(0, np.int64), np.zeros(0, bool))

    @classmethod
    def polygon(cls, points: Sequence[tuple[float, float]] | Floats, *, closed: bool = True) -> Path:
        """Return a path of straight segments through ``points`` (n, 2)."""
        nodes = np.asarray(points, float)
        if closed:
            nodes = np.concatenate((nodes, nodes[:1]))
        first, last = nodes[:-1], nodes[1:]
        controls = np.stack((first, first, last, last), axis=1)
        count = len(controls)
        return cls(controls, np.ones(count, bool), np.zeros(1, np.int64), np.array([closed]))

    @classmethod
    def joined(cls, paths: Sequence[Path]) -> Path:
        """Return one path with the subpaths of all ``paths``."""
        if not paths:
            return cls.empty()
        offsets = np.cumsum([0] + [len(p.controls) for p in paths[:-1]])
        return cls(
            np.concatenate([p.controls for p in paths]),
            np.concatenate([p.lines for p in paths]),
            np.concatenate([p.starts + o for p, o in zip(paths, offsets, strict=True)]),
            np.concatenate([p.closed for p in paths]),
        )

    @cached_property
    def ends(self) -> Ints:
        """One past the last segment of each subpath, shape (k,)."""
        return np.append(self.starts[1:], len(self.controls))[: len(self.starts)]

    def __len__(self) -> int:
        return len(self.starts)

    def mapped(self, matrix: Matrix) -> Path:
        """Return the path mapped through ``matrix``."""
        return Path(apply(matrix, self.controls), self.lines, self.starts, self.closed)

    def subpath(self, index: int) -> Path:
        """Return subpath ``index`` as a path of its own."""
        part = slice(int(self.starts[index]), int(self.ends[index]))
        return Path(
            self.controls[part], self.lines[part], np.zeros(1, np.int64), self.closed[index : index + 1]
        )

    def bounds(self) -> tuple[float, float, float, float]:
        """Return the exact bounds (x0, y0, x1, y1), curves' extrema included; the path is not empty."""
        corners = [self.controls[:, 0], self.controls[:, 3]]
        curved = self.controls[~self.lines]
        if len(curved):
            corners.append(_extrema(curved))
        nodes = np.concatenate(corners)
        low, high = nodes.min(axis=0), nodes.max(axis=0)
        return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))


def _extrema(controls: Floats) -> Floats:
    """Return the points (m, 2) where cubics turn back in x or y."""
    p0, p1, p2, p3 = (controls[:, i] for i in range(4))
    a, b, c = p3 - 3 * p2 + 3 * p1 - p0, 2 * (p2 - 2 * p1 + p0), p1 - p0
    found = []
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(b * b - 4 * a * c)
        flat = np.abs(a) < 1e-12 * (np.abs(b) + np.abs(c))
        for t in (
            np.where(flat, -c / b, (-b + root) / (2 * a)),
            np.where(flat, -c / b, (-b - root) / (2 * a)),
        ):
            for axis in (0, 1):
                inside = (t[:, axis] > 0) & (t[:, axis] < 1)
                found.append(evaluate(controls[inside], t[inside, axis]))
    return np.concatenate(found)


def evaluate(controls: Floats, t: Floats) -> Floats:
    """Return the points (n, 2) of cubics ``controls`` (n, 4, 2) at parameters ``t`` (n,)."""
    s = (1 - t)[:, None]
    u = t[:, None]
    return (
        s * s * s * controls[:, 0]
        + 3 * s * s * u * controls[:, 1]
        + 3 * s * u * u * controls[:, 2]
        + u * u * u * controls[:, 3]
    )


@dataclass(frozen=True, eq=False)
class Polylines:
    """Flattened subpaths, one after another.

    ``points`` (n, 2); ``starts`` (k + 1,) bounds polyline i to ``points[starts[i]:starts[i+1]]``;
    ``closed`` (k,) as in `Path`; ``path`` (k,) is the index of the path each came from;
    ``corners`` (n,) marks points that are ends of segments (the rest were put in by flattening).
    A closed polyline repeats its first point at its end.
    """

    points: Floats
    starts: Ints
    closed: Bools
    path: Ints
    corners: Bools

    def __len__(self) -> int:
        return len(self.closed)

    def __getitem__(self, index: int) -> Floats:
        return self.points[self.starts[index] : self.starts[index + 1]]

    def take(self, which: Ints) -> Polylines:
        """Return the polylines with the indices ``which`` (m,), in that order."""
        sizes = np.diff(self.starts)[which]
        index = np.repeat(self.starts[:-1][which], sizes) + counting(sizes)
        return Polylines(
            self.points[index],
            np.concatenate(([0], np.cumsum(sizes))).astype(np.int64),
            self.closed[which],
            self.path[which],
            self.corners[index],
        )

    def along(self) -> Floats:
        """Return how far along its polyline each point lies (n,)."""
        size = np.zeros(len(self.points))
        size[1:] = np.hypot(*np.diff(self.points, axis=0).T)
        size[self.starts[:-1]] = 0.0
        total = np.cumsum(size)
        along: Floats = total - np.repeat(total[self.starts[:-1]], np.diff(self.starts))
        return along


def counting(sizes: Ints) -> Ints:
    """Return 0 .. size - 1 for each of ``sizes``, one after another."""
    total = np.arange(int(sizes.sum()))
    counted: Ints = total - np.repeat(np.cumsum(sizes) - sizes, sizes)
    return counted


@dataclass(frozen=True, eq=False)
class Outlines:
    """Many paths in one coordinate system: their subpaths one after another in ``whole``.

    ``segments`` and ``subpaths`` (p,) say how many of each every path has.
    """

    whole: Path
    segments: Ints
    subpaths: Ints

    @classmethod
    def of(cls, paths: Sequence[Path], matrices: Sequence[Matrix] | None = None) -> Outlines:
        """Return ``paths``, each mapped through its matrix where matrices are given."""
        whole = Path.joined(list(paths))
        segments = np.array([len(p.controls) for p in paths], np.int64)
        subpaths = np.array([len(p) for p in paths], np.int64)
        if matrices is not None and len(whole.controls):
            m = np.repeat(np.asarray(matrices, float), segments, axis=0)[:, :, None]
            x, y = whole.controls[..., 0], whole.controls[..., 1]
            mapped = np.stack(
                (m[:, 0] * x + m[:, 2] * y + m[:, 4], m[:, 1] * x + m[:, 3] * y + m[:, 5]), axis=-1
            )
            whole = Path(mapped, whole.lines, whole.starts, whole.closed)
        return cls(whole, segments, subpaths)

    def lengths(self) -> Floats:
        """Return the arc length of each path, shape (p,)."""
        owner = np.repeat(np.arange(len(self.segments)), self.segments)
        total = np.bincount(owner, weights=lengths(self.whole), minlength=len(self.segments))
        return np.asarray(total, float)


def flatten(paths: Sequence[Path] | Outlines, tolerance: float | Floats) -> Polylines:
    """Flatten all paths at once with a chord error of at most ``tolerance`` (one, or one a path).

    The number of chords of a cubic follows Wang's bound, with M the largest second difference of
    the control points: n = ceil(sqrt(3 M / (4 tolerance))). Source: G.-Z. Wang, 1984, as given by
    Sederberg, Computer Aided Geometric Design, ch. 10 (memory).
    """
    outlines = paths if isinstance(paths, Outlines) else Outlines.of(paths)
    whole = outlines.whole
    total = len(whole.controls)
    owner = np.repeat(np.arange(len(outlines.segments)), outlines.subpaths)
    if total == 0:
        empty = np.zeros(0, bool)
        return Polylines(np.zeros((0, 2)), np.zeros(1, np.int64), empty, owner, empty)
    pieces = _chord_counts(outlines, tolerance)
    # Each subpath gives its first point, then the end of every chord.
    first_of = np.zeros(total, np.int64)
    first_of[whole.starts] = 1
    offset = np.concatenate(([0], np.cumsum(pieces + first_of)))
    points = np.empty((offset[-1], 2))
    corners = np.zeros(offset[-1], bool)
    begin = offset[:-1] + first_of
    points[offset[whole.starts]] = whole.controls[whole.starts, 0]
    corners[offset[whole.starts]] = True
    points[offset[1:] - 1] = whole.controls[:, 3]
    corners[offset[1:] - 1] = True
    inner = pieces - 1
    chosen = np.flatnonzero(inner)
    if len(chosen):
        which = np.repeat(chosen, inner[chosen])
        step = np.arange(len(which)) - np.repeat(np.cumsum(inner[chosen]) - inner[chosen], inner[chosen])
        points[begin[which] + step] = evaluate(whole.controls[which], (step + 1) / pieces[which])
    starts = np.append(offset[whole.starts], offset[-1])
    return Polylines(points, starts, whole.closed, owner, corners)


def _chord_counts(outlines: Outlines, tolerance: float | Floats) -> Ints:
    """Return how many chords each segment is cut into."""
    whole = outlines.whole
    allowed = np.repeat(
        np.broadcast_to(np.asarray(tolerance, float), len(outlines.segments)), outlines.segments
    )
    pieces = np.ones(len(whole.controls), np.int64)
    curved = np.flatnonzero(~whole.lines)
    if len(curved):
        c = whole.controls[curved]
        second = np.stack((c[:, 0] - 2 * c[:, 1] + c[:, 2], c[:, 1] - 2 * c[:, 2] + c[:, 3]), axis=1)
        most = np.sqrt((second * second).sum(axis=2).max(axis=1))
        pieces[curved] = np.maximum(np.ceil(np.sqrt(0.75 * most / allowed[curved])), 1).astype(np.int64)
    return pieces


_GAUSS_AT, _GAUSS_WEIGHT = np.polynomial.legendre.leggauss(12)


def lengths(path: Path) -> Floats:
    """Return the arc length of every segment, shape (n,).

    Curves are integrated by Gauss-Legendre quadrature with 12 points on each half, which is exact
    to a few parts in a million also where a curve turns sharply.
    """
    result: Floats = np.hypot(*(path.controls[:, 3] - path.controls[:, 0]).T)
    curved = ~path.lines
    c = path.controls[curved]
    if len(c):
        first = 3 * (c[:, 1:] - c[:, :-1])
        at = np.concatenate(((_GAUSS_AT + 1) / 4, (_GAUSS_AT + 3) / 4))
        weight = np.concatenate((_GAUSS_WEIGHT, _GAUSS_WEIGHT)) / 4
        basis = np.stack(((1 - at) ** 2, 2 * at * (1 - at), at**2))
        speed = np.einsum("nkd,km->nmd", first, basis)
        result[curved] = np.hypot(speed[..., 0], speed[..., 1]) @ weight
    return result
