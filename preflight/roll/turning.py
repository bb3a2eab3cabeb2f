"""How to turn a cut on its roll: the shortest length of film for a width, over all turns, exactly.

Turned by t, a set of points reaches w(t) across the roll and l(t) along it. Both are widths of its
convex hull. Between two turns at which an edge of the hull lies flush with the roll or square to it,
each width is that of one fixed pair of corners with chord c, |c| cos(t - phi): a concave function. So
the least length among turns with w(t) <= limit is at a flush turn or at a root of w(t) = limit, and
these are finitely many. The same holds for the largest scale that fits, where the turns at which
width and length bind alike are added. (The argument is that of rotating calipers: G. Toussaint, 1983,
from memory; made complete here.)

Lengths mm, angles degrees, from the x axis towards the y axis: clockwise as seen, since y points down.
The x axis runs across the roll, y along it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from preflight.curves import Floats

Allowed = Literal["as-drawn", "quarter", "any"]

SLACK = 1e-6
"""A design exactly as wide as the limit fits, whatever the last digit says (mm)."""

_BLOCK = 1 << 22
"""Projections held at once."""


@dataclass(frozen=True, slots=True)
class Turn:
    """A turn by ``angle`` degrees, and what the points then measure across and along the roll, mm."""

    angle: float
    across: float
    along: float


def extents(points: Floats, angle: float) -> Turn:
    """Return what ``points`` (n, 2) measure, turned by ``angle`` degrees."""
    across, along = _spans(points, np.array([np.radians(angle)]))
    return Turn(angle, float(across[0]), float(along[0]))


def shortest_turn(points: Floats, width: float, allowed: Allowed = "any") -> Turn | None:
    """Return the turn of least length among those at most ``width`` across; None: there is none.

    Of equal ones the least angle in size is taken, so that nothing is turned for nothing. Raises
    ValueError where there are no points.
    """
    hull = _hull(points)
    angles = _turns(hull, width, None, allowed)
    across, along = _spans(hull, angles)
    fits = across <= width + SLACK
    return _best(angles[fits], across[fits], along[fits], along[fits])


def narrowest_turn(points: Floats, allowed: Allowed = "any") -> Turn:
    """Return the turn that takes the least width across the roll."""
    hull = _hull(points)
    angles = _turns(hull, None, None, allowed)
    across, along = _spans(hull, angles)
    found = _best(angles, across, along, across)
    assert found is not None
    return found


@dataclass(frozen=True, slots=True)
class LargestFit:
    """The largest scale at which a cut fits, and how it is then turned (measured at that scale)."""

    scale: float
    turn: Turn


def largest_scale(
    points: Floats, width: float, length: float | None = None, allowed: Allowed = "any"
) -> LargestFit:
    """Return the largest scale at which ``points`` (n, 2) fit into ``width`` and, where stated, ``length``.

    Raises ValueError where there are no points, where they all are one spot, or where a limit is not
    above 0.
    """
    if not width > 0 or (length is not None and not length > 0):
        raise ValueError("width and length must be more than 0")
    hull = _hull(points)
    angles = _turns(hull, None, (width, length) if length is not None else None, allowed)
    across, along = _spans(hull, angles)
    need = across / width if length is None else np.maximum(across / width, along / length)
    best = _best(angles, across, along, need)
    assert best is not None
    worst = best.across / width if length is None else max(best.across / width, best.along / length)
    if worst <= 0:
        raise ValueError("the points have no extent, so every scale fits")
    return LargestFit(1 / worst, Turn(best.angle, best.across / worst, best.along / worst))


def _best(angles: Floats, across: Floats, along: Floats, measure: Floats) -> Turn | None:
    """Return the turn of least ``measure``; among equals the least in size, then the positive."""
    if not len(angles):
        return None
    same = measure <= measure.min() + SLACK * max(1.0, float(measure.min())) * 1e-3
    degrees = np.degrees(angles)
    # Half a turn changes no extent; -90 .. 90 is what a person would do.
    degrees = np.round((degrees + 90) % 180 - 90, 10)
    degrees = np.where(degrees == -90, 90.0, degrees)
    rank = np.lexsort((-degrees, np.abs(degrees), ~same))
    chosen = int(rank[0])
    return Turn(float(degrees[chosen]) + 0.0, float(across[chosen]), float(along[chosen]))


def _hull(points: Floats) -> Floats:
    """Return the corners of the convex hull (h, 2)."""
    if not len(points):
        raise ValueError("there are no points to turn")
    hull = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(points)))
    return hull[:-1] if len(hull) > 1 and (hull[0] == hull[-1]).all() else hull


def _turns(hull: Floats, width: float | None, both: tuple[float, float] | None, allowed: Allowed) -> Floats:
    """Return the turns (k,), radians, among which the best is: flush ones, and roots where limits bind."""
    if allowed == "as-drawn":
        return np.zeros(1)
    quarter = np.array([0.0, np.pi / 2])
    if allowed == "quarter":
        return quarter
    edge = np.roll(hull, -1, axis=0) - hull
    edge = edge[np.hypot(edge[:, 0], edge[:, 1]) > 0]
    flush = np.unique(np.concatenate(([0.0], -np.arctan2(edge[:, 1], edge[:, 0]) % (np.pi / 2))))
    flush = np.concatenate((flush, flush + np.pi / 2))
    found = [flush, quarter]
    upper = np.append(flush[1:], flush[0] + np.pi)
    for part in _blocks(len(flush), len(hull)):
        low, high = flush[part], upper[part]
        across, along = _pairs(hull, (low + high) / 2)
        if width is not None:
            found.append(_within(_roots(across, width), low, high))
        if both is not None:
            # across / width = along / length: linear in cos t and sin t.
            a, b = across / both[0], along / both[1]
            difference = np.stack((a[:, 0] - b[:, 1], -a[:, 1] - b[:, 0]), axis=1)
            angle = np.arctan2(-difference[:, 0], difference[:, 1])
            found.append(_within(np.stack((angle, angle + np.pi)), low, high))
    return np.concatenate(found)


def _roots(chord: Floats, width: float) -> Floats:
    """Return the turns (2, k) at which chords (k, 2) are ``width`` across: c . (cos t, -sin t) = width."""
    size = np.hypot(chord[:, 0], chord[:, 1])
    phi = np.arctan2(-chord[:, 1], chord[:, 0])
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = np.arccos(width / size)  # nan where the chord is shorter than the width
    return np.stack((phi - apart, phi + apart))


def _within(angles: Floats, low: Floats, high: Floats) -> Floats:
    """Return those of ``angles`` (m, k) that lie, up to half turns, in their interval (k,)."""
    shifted = low + (angles - low) % np.pi
    kept: Floats = shifted[np.isfinite(shifted) & (shifted <= high)]
    return kept


def _blocks(rows: int, columns: int) -> Iterator[slice]:
    size = max(_BLOCK // max(columns, 1), 1)
    return (slice(start, start + size) for start in range(0, rows, size))


def _projections(hull: Floats, angles: Floats) -> tuple[Floats, Floats]:
    """Return the places (a, h) across and along the roll of corners (h, 2) turned by ``angles`` (a,)."""
    cos, sin = np.cos(angles)[:, None], np.sin(angles)[:, None]
    x, y = hull[:, 0], hull[:, 1]
    return cos * x - sin * y, sin * x + cos * y


def _pairs(hull: Floats, angles: Floats) -> tuple[Floats, Floats]:
    """Return the chords (a, 2) between the outermost corners across and along the roll, as drawn."""
    across, along = _projections(hull, angles)
    return (
        hull[across.argmax(axis=1)] - hull[across.argmin(axis=1)],
        hull[along.argmax(axis=1)] - hull[along.argmin(axis=1)],
    )


def _spans(hull: Floats, angles: Floats) -> tuple[Floats, Floats]:
    """Return the extents (a,) across and along the roll for each of ``angles`` (a,), radians."""
    across, along = np.empty(len(angles)), np.empty(len(angles))
    for part in _blocks(len(angles), len(hull)):
        x, y = _projections(hull, angles[part])
        across[part], along[part] = np.ptp(x, axis=1), np.ptp(y, axis=1)
    return across, along
