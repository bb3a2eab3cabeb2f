"""A swivel knife: where the tip cuts when the pivot is moved, and how to move the pivot for a wanted cut.

The blade turns freely about a vertical pivot and its tip trails behind it by the blade offset r. The
film lets the tip go along the blade's edge only, never sideways. With the tip at t, the blade heading
psi (the direction from tip to pivot), and the pivot at c:

- c = t + r (cos psi, sin psi), and dt is along (cos psi, sin psi);
- so for a pivot that moves in direction phi by ds: dpsi/ds = sin(phi - psi) / r. This is the
  kinematics of a trailed wheel; the tip's path is a tractrix (J. D. Lawrence, A Catalog of Special
  Plane Curves, 1972, from memory);
- along a straight chord the angle a = phi - psi therefore relaxes as tan(a/2) = tan(a0/2) exp(-s/r),
  which is solved exactly here, chord by chord.

Read backwards, a tip that is to go along T takes a pivot at c = t + r T. Since dc/ds = T + r k N for
a path of curvature k, the pivot of a smooth path never turns back, however tight the bend: a circle
of radius R is cut by a pivot on radius sqrt(R^2 + r^2). At a corner the pivot swings round the
resting tip on an arc of radius r.

All lengths are in one unit (the project's is mm), angles in radians, in the sense of the given axes.
Nothing here knows of force, speed or film: whether the film holds a tip that turns in place is for
the caller to judge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from preflight.curves import Bools, Floats, Ints, counting

_LONGEST = 600.0
"""Chords of more offsets than this turn the blade no further; exp() of more would be nothing."""

HAIR = np.radians(0.001)
"""What a blade that is pushed straight back is taken to be askew by; it turns round after some 12 offsets."""


@dataclass(frozen=True, eq=False)
class PivotPath:
    """Where the pivot goes for a wanted tip path.

    ``points`` (m, 2); ``tip`` (m, 2) is where the tip is wanted while the pivot is there;
    ``vertex`` (m,) is the vertex of the tip path last reached, counted from 0; ``heading`` is the
    blade's heading at the start, radians.
    """

    points: Floats
    tip: Floats
    vertex: Ints
    heading: float


def turns(points: Floats) -> Floats:
    """Return the turn at each inner vertex of a polyline (n, 2): (n - 2,), in -pi to pi.

    Positive from the x axis towards the y axis. Chords must have a length.
    """
    step = np.diff(points, axis=0)
    a, b = step[:-1], step[1:]
    turn: Floats = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1))
    return turn


def parted(points: Floats, longest: float) -> Floats:
    """Return a polyline (n, 2) with its chords parted evenly into pieces of at most ``longest``."""
    step = np.diff(points, axis=0)
    parts = np.maximum(np.ceil(np.hypot(step[:, 0], step[:, 1]) / longest), 1).astype(np.int64)
    which = np.repeat(np.arange(len(step)), parts)
    share = (counting(parts) + 1) / parts[which]
    return np.concatenate((points[:1], points[which] + step[which] * share[:, None]))


def pivot_path(
    tip: Floats, offset: float, *, swung: Bools | None = None, arc_error: float = 0.001
) -> PivotPath:
    """Return the pivot path for a tip path ``tip`` (n, 2) with the offset compensated.

    ``swung`` (n - 2,) says at which inner vertices the pivot swings round the resting tip on an arc
    (chord error ``arc_error``); at the others it goes straight from t + r T before to t + r T after.
    By default it swings at all. The pivot path ends with the tip at its last vertex.

    Raises ValueError for fewer than two vertices, a chord of no length, or a negative offset.
    """
    _accept(tip, offset)
    step = np.diff(tip, axis=0)
    heading = np.arctan2(step[:, 1], step[:, 0])
    turn = turns(tip)
    # For each chord: the steps of the turn at its start, then one step along it.
    steps = np.full(len(step), 2)
    if offset > 0:
        swing = np.ones(len(turn), bool) if swung is None else swung
        steps[1:] = 1 + np.where(swing, _arc_parts(turn, offset, arc_error), 1)
    which = np.repeat(np.arange(len(step)), steps)
    nth = counting(steps) + 1
    turning = steps[which] - 1
    along = nth > turning
    turned = np.concatenate(([0.0], turn))[which]
    angle = heading[which] - turned * (1 - np.minimum(nth / turning, 1.0))
    there = tip[which + along]
    return PivotPath(
        points=there + offset * np.stack((np.cos(angle), np.sin(angle)), axis=1),
        tip=there,
        vertex=which + along,
        heading=float(heading[0]),
    )


def _accept(tip: Floats, offset: float) -> None:
    if len(tip) < 2:
        raise ValueError("a tip path has two vertices or more")
    if not offset >= 0:
        raise ValueError(f"the blade offset is {offset}; it must not be negative")
    if not (np.abs(np.diff(tip, axis=0)).max(axis=1) > 0).all():
        raise ValueError("a chord of the tip path has no length: drop repeated vertices first")


def _arc_parts(turn: Floats, radius: float, error: float) -> Ints:
    """Return how many chords keep each arc within ``error``: sagitta = radius (1 - cos(part / 2))."""
    widest = 2 * np.arccos(1 - min(error / radius, 1.0))
    parts: Ints = np.maximum(np.ceil(np.abs(turn) / max(widest, 1e-6)), 1).astype(np.int64)
    return parts


def headings(pivot: Floats, offset: float, heading: float) -> Floats:
    """Return the blade's heading at each pivot point (n, 2): (n,), radians, each exact for its chord.

    ``heading`` is the one at the first point. With no offset the blade turns at once, so the
    heading is that of the chord that ends at the point.

    Each chord maps the half-angle vector (cos psi/2, sin psi/2) linearly, up to its length: turned
    by -phi/2, its second part shrunk by exp(-s/r), turned back. So all headings follow from running
    products of 2 x 2 matrices, which are taken in blocks side by side.
    """
    step = np.diff(pivot, axis=0)
    size = np.hypot(step[:, 0], step[:, 1])
    phi = np.arctan2(step[:, 1], step[:, 0])
    if offset <= 0:
        moved = size > 0
        latest = np.maximum.accumulate(np.where(moved, np.arange(len(step)), -1))
        return np.concatenate(([heading], np.where(latest < 0, heading, phi[latest])))
    phi = _unbalanced(phi, size)
    shrunk = np.exp(-np.minimum(size / offset, _LONGEST))
    cos, sin = np.cos(phi / 2), np.sin(phi / 2)
    # turn(phi/2) diag(1, k) turn(-phi/2), written out; it is symmetric.
    maps = np.empty((len(step), 2, 2))
    maps[:, 0, 0] = cos * cos + shrunk * sin * sin
    maps[:, 1, 1] = sin * sin + shrunk * cos * cos
    maps[:, 0, 1] = maps[:, 1, 0] = (1 - shrunk) * sin * cos
    start = np.array([np.cos(heading / 2), np.sin(heading / 2)])
    half = np.concatenate((start[None], _running(maps) @ start))
    found: Floats = 2 * np.arctan2(half[:, 1], half[:, 0])
    return found


def _unbalanced(phi: Floats, size: Floats) -> Floats:
    """Return the chords' directions (n,), those that go straight back turned by `HAIR`.

    A blade that is pushed exactly against its edge could stay so for ever: the model has no answer there.
    """
    moved = np.flatnonzero(size > 0)
    turn = np.abs(np.diff(phi[moved]))
    back = moved[1:][np.abs(turn - np.pi) < HAIR / 2]
    turned = phi.copy()
    turned[back] += HAIR
    return turned


def _running(maps: Floats) -> Floats:
    """Return the running products (n, 2, 2) of 2 x 2 matrices, later ones on the left, each up to a factor."""
    count = len(maps)
    width = max(int(np.sqrt(count)), 1)
    blocks = -(-count // width)
    padded = np.broadcast_to(np.eye(2), (blocks * width, 2, 2)).copy()
    padded[:count] = maps
    grid = padded.reshape(blocks, width, 2, 2)
    for i in range(1, width):
        grid[:, i] = _scaled(grid[:, i] @ grid[:, i - 1])
    for block in range(1, blocks):
        grid[block] = _scaled(grid[block] @ grid[block - 1, -1])
    return grid.reshape(-1, 2, 2)[:count]


def _scaled(maps: Floats) -> Floats:
    """Return matrices (n, 2, 2) with their largest entry at 1: products of many would underflow."""
    size = np.abs(maps)
    # Four maxima of whole columns; along axes of two they take several times as long.
    largest = np.maximum(np.maximum(size[:, 0, 0], size[:, 0, 1]), np.maximum(size[:, 1, 0], size[:, 1, 1]))
    scaled: Floats = maps / largest[:, None, None]
    return scaled


def tip_path(pivot: Floats, offset: float, heading: float) -> Floats:
    """Return where the tip is at each pivot point (n, 2), the blade heading ``heading`` radians at the first.

    Give the wanted path itself as the pivot's for a cut without compensation. Between two points
    the tip's path is curved; part long chords of the pivot path where it matters.
    """
    angle = headings(pivot, offset, heading)
    return pivot - offset * np.stack((np.cos(angle), np.sin(angle)), axis=1)


@dataclass(frozen=True, slots=True)
class Deviation:
    """How far a cut is from the wanted path at its worst, and where on the wanted path."""

    distance: float
    point: tuple[float, float]
    cut: tuple[float, float]
    """The spot of the cut that is farthest off, or nearest to a stretch that the cut misses."""


def deviations(points: Floats, path: Floats) -> tuple[Floats, Floats]:
    """Return the distance (n,) of each of ``points`` (n, 2) to a polyline (m, 2), and the nearest spots (n, 2)."""
    tree = shapely.STRtree(np.asarray(shapely.linestrings(np.stack((path[:-1], path[1:]), axis=1))))
    chord = np.empty(len(points), np.int64)
    which, found = tree.query_nearest(shapely.points(points), all_matches=False)
    chord[which] = found
    start, step = path[:-1][chord], np.diff(path, axis=0)[chord]
    square = (step * step).sum(axis=1)
    share = ((points - start) * step).sum(axis=1) / np.where(square > 0, square, 1.0)
    nearest = start + np.clip(share, 0, 1)[:, None] * step
    return np.hypot(*(points - nearest).T), nearest


def worst_deviation(cut: Floats, wanted: Floats) -> Deviation:
    """Return the largest distance between two polylines (n, 2) and (m, 2), vertex to line, both ways.

    Both ways, because a cut may leave the wanted path (the one way) or leave a stretch of it out (the
    other). Only vertices are asked: part chords that are longer than the answer may be wrong by.
    """
    off, on_wanted = deviations(cut, wanted)
    missed, on_cut = deviations(wanted, cut)
    i, j = int(np.argmax(off)), int(np.argmax(missed))
    if off[i] >= missed[j]:
        return Deviation(float(off[i]), _pair(on_wanted[i]), _pair(cut[i]))
    return Deviation(float(missed[j]), _pair(wanted[j]), _pair(on_cut[j]))


def _pair(point: Floats) -> tuple[float, float]:
    return (float(point[0]), float(point[1]))
