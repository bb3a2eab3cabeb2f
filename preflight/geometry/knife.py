"""What the knife meets: every noded piece of the knife lines of one film, classed.

A cutter follows lines. A piece followed once with film to keep on one side only is a true edge. Any
other piece is a fault: followed twice or more (double cut), film to keep on both sides (cut in
film), or waste on both sides (cut in waste).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Bools, Floats, Ints
from preflight.geometry.arrangement import Pieces, node

ON_LINE = 1e-5
"""A piece belongs to a line that passes its test spot this near (mm)."""


class Knifing(StrEnum):
    """Class of a piece."""

    EDGE = "edge"
    DOUBLE = "double"
    IN_FILM = "in-film"
    IN_WASTE = "in-waste"


@dataclass(frozen=True, eq=False)
class KnifeLines:
    """All pieces of one film's knife lines.

    ``kinds`` (m,) holds `Knifing` words, ``times`` (m,) how often each piece is followed;
    ``lines`` are the contours given and ``contours`` their indices.
    """

    pieces: Pieces
    kinds: np.ndarray
    times: Ints
    lines: np.ndarray
    contours: Ints

    def of(self, kind: Knifing) -> Ints:
        """Return the indices of the pieces of one class."""
        return np.flatnonzero(self.kinds == kind)

    def length(self, kind: Knifing) -> float:
        """Return the total length of the pieces of one class, mm."""
        return float(self.pieces.length[self.of(kind)].sum())

    def contours_at(self, pieces: Ints) -> tuple[Ints, Ints]:
        """Return pairs (i, contour): that contour follows ``pieces[i]``. Sorted by i."""
        spots = shapely.points(self.pieces.spots()[pieces])
        which, line = shapely.STRtree(self.lines).query(spots, predicate="dwithin", distance=ON_LINE)
        order = np.argsort(which, kind="stable")
        return which[order], self.contours[line[order]]


def classify(lines: np.ndarray, contours: Ints, region: BaseGeometry) -> KnifeLines:
    """Node ``lines`` (the contours numbered ``contours``) and class every piece against ``region``.

    ``region`` is what the contours' fills cover together, a valid polygonal geometry in mm.
    """
    pieces = node(lines)
    kinds = np.full(len(pieces), Knifing.EDGE, object)
    times = np.ones(len(pieces), np.int64)
    if not len(pieces):
        return KnifeLines(pieces, kinds, times, lines, contours)
    inside = Inside(region)
    left, right = (inside(points) for points in pieces.beside())
    # Nothing is followed twice where the noded length is the drawn length.
    drawn = float(shapely.length(lines).sum())
    if drawn - float(pieces.length.sum()) > ON_LINE:
        times = _times(pieces, lines)
    kinds[left & right] = Knifing.IN_FILM
    kinds[~left & ~right] = Knifing.IN_WASTE
    kinds[times > 1] = Knifing.DOUBLE
    return KnifeLines(pieces, kinds, times, lines, contours)


class Inside:
    """Asks of many points whether they lie in a polygonal region."""

    def __init__(self, region: BaseGeometry) -> None:
        self._parts = shapely.get_parts(region)
        shapely.prepare(self._parts)
        self._tree = shapely.STRtree(self._parts)

    def __call__(self, points: Floats) -> Bools:
        """Return which of ``points`` (n, 2) lie in the region."""
        found = np.zeros(len(points), bool)
        # The tree's own predicate would prepare the points, and walk round every part for each.
        point, part = self._tree.query(shapely.points(points))
        found[point[shapely.intersects_xy(self._parts[part], points[point])]] = True
        return found


def _times(pieces: Pieces, lines: np.ndarray) -> Ints:
    """Count for each piece the chords of ``lines`` that pass its test spot along it."""
    points, which = shapely.get_coordinates(lines, return_index=True)
    same = which[1:] == which[:-1]
    chords = np.asarray(shapely.linestrings(np.stack((points[:-1][same], points[1:][same]), axis=1)))
    spots = shapely.points(pieces.spots())
    found, _ = shapely.STRtree(chords).query(spots, predicate="dwithin", distance=ON_LINE)
    return np.maximum(np.bincount(found, minlength=len(pieces)), 1)
