"""Noding: cut lines wherever they meet, and find one good spot to test beside every piece.

A *piece* is what lies between two neighbouring meetings, or a whole ring that meets nothing. All
of a piece has the same fill on its left and on its right, so one test a piece is enough.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Bools, Floats, Ints

PROBE = 1e-5
"""How far to either side of a piece (mm) the fill is asked for: ten nanometres, far below any
machine's step and far above the rounding of coordinates of a few metres."""

SNAP = 1e-6
"""Grid (mm) that lines are rounded to where exact noding does not come to an end."""


@dataclass(frozen=True, eq=False)
class Pieces:
    """Noded pieces: ``lines`` (m,) linestrings, ``length`` (m,), and the ends ``start`` and ``end``
    (m, 2) of each one's longest chord, where it is tested.
    """

    lines: np.ndarray
    length: Floats
    start: Floats
    end: Floats

    def __len__(self) -> int:
        return len(self.lines)

    def spots(self) -> Floats:
        """Return a point (m, 2) on each longest chord, near its middle.

        Not the middle itself: there, a line with twice the nodes would have one of them.
        """
        return self.start + 0.4637 * (self.end - self.start)

    def beside(self) -> tuple[Floats, Floats]:
        """Return test points (m, 2) on either side, `PROBE` away: towards (dy, -dx), then away."""
        step = self.end - self.start
        size = np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-300)
        normal = np.stack((step[:, 1], -step[:, 0]), axis=1) / size[:, None]
        return self.spots() + PROBE * normal, self.spots() - PROBE * normal

    def chosen(self, which: Bools | Ints) -> Pieces:
        """Return some of the pieces."""
        return Pieces(self.lines[which], self.length[which], self.start[which], self.end[which])


def node(lines: np.ndarray) -> Pieces:
    """Cut ``lines`` (linestrings or rings) where they meet; a stretch drawn twice comes out once."""
    if not len(lines):
        return pieces_of(np.zeros(0, object))
    try:
        noded: BaseGeometry = shapely.node(shapely.MultiLineString(list(lines)))
    except shapely.GEOSException:
        # Exact noding can fail to settle on nearly coincident lines; on a grid it always does.
        noded = shapely.union_all(np.asarray(lines), grid_size=SNAP)
    parts = shapely.get_parts(noded)
    return pieces_of(parts[shapely.length(parts) > 0])


def pieces_of(lines: np.ndarray) -> Pieces:
    """Return lines that are pieces already, with their test spots."""
    points, which = shapely.get_coordinates(lines, return_index=True)
    if not len(points):
        return Pieces(lines, np.zeros(0), np.zeros((0, 2)), np.zeros((0, 2)))
    same = which[1:] == which[:-1]
    start, end, owner = points[:-1][same], points[1:][same], which[:-1][same]
    size = np.hypot(*(end - start).T)
    begin = np.searchsorted(owner, np.arange(len(lines)))
    longest = np.maximum.reduceat(size, begin)
    # The first chord of greatest length of each piece.
    best = np.flatnonzero(size == longest[owner])
    _, first = np.unique(owner[best], return_index=True)
    pick = best[first]
    return Pieces(lines, np.add.reduceat(size, begin), start[pick], end[pick])


def faces(borders: np.ndarray) -> tuple[np.ndarray, Floats]:
    """Return the polygons that noded lines enclose, and a point (k, 2) just inside each."""
    polygons = shapely.get_parts(shapely.polygonize(borders))
    rings = shapely.get_exterior_ring(polygons)
    left, right = pieces_of(rings).beside()
    # Towards (dy, -dx) lies outside a ring that turns counter-clockwise (y up).
    inside = np.where(shapely.is_ccw(rings)[:, None], right, left)
    return polygons, inside
