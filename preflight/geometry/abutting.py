"""Where the edges of different regions run along each other, outside against outside.

Each straight piece of one region's edge is compared with the pieces near it of another's. Only edges
that face each other count: the insides lie on opposite sides, so a region that lies on another one,
flush with its edge, is none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Floats, Ints

_FACING = -np.cos(np.radians(15.0))
"""Edges that turn more than this from each other's direction cross or part; they do not run along."""


@dataclass(frozen=True, eq=False)
class Facing:
    """Pieces of edges that face an edge of another region; all arrays have one row a piece.

    ``regions`` (n, 2): the two regions, lower index first. ``lines`` (n, 2, 2): the piece of the first
    region's edge. ``distance`` (n,): mm from edge to edge, negative where the regions overlap.
    ``ring`` (n,): which closed outline of the first region the piece is of. Pieces are in the order of
    their outlines.
    """

    regions: Ints
    lines: Floats
    distance: Floats
    ring: Ints

    def runs(self, chosen: Ints, gap: float) -> list[Ints]:
        """Return the ``chosen`` pieces (indices in ascending order) in runs along one outline.

        A run ends where the next piece begins farther than ``gap`` mm away.
        """
        if not len(chosen):
            return []
        first, last = self.lines[chosen[:-1], 1], self.lines[chosen[1:], 0]
        ring = self.ring[chosen]
        broken = (np.hypot(*(last - first).T) > gap) | (ring[1:] != ring[:-1])
        runs = np.split(chosen, np.flatnonzero(broken) + 1)
        # An outline begins somewhere: a run across that spot is one.
        whole: dict[int, list[Ints]] = {}
        for run in runs:
            whole.setdefault(int(self.ring[run[0]]), []).append(run)
        result = []
        for same in whole.values():
            start, end = self.lines[same[0][0], 0], self.lines[same[-1][-1], 1]
            if len(same) > 1 and float(np.hypot(*(end - start))) <= gap:
                same[0] = np.concatenate((same.pop(), same[0]))
            result.extend(same)
        return result

    @property
    def lengths(self) -> Floats:
        """Length of each piece, mm, shape (n,)."""
        lengths: Floats = np.hypot(*(self.lines[:, 1] - self.lines[:, 0]).T)
        return lengths


def facing_edges(regions: Sequence[BaseGeometry], least: float, most: float) -> Facing:
    """Return where edges of two different ``regions`` (areas) face each other, ``least`` to ``most`` mm apart.

    Near linear in the number of edges. Raises ValueError unless least <= most and most >= 0.
    """
    if not (least <= most and most >= 0):
        raise ValueError(f"distances must be in order and reach at least 0, not {least} to {most}")
    reach = max(most, -least)
    starts, ends, owner, ring = _edges(regions, reach)
    if len(np.unique(owner)) < 2:
        none = np.zeros(0, np.int64)
        return Facing(np.zeros((0, 2), np.int64), np.zeros((0, 2, 2)), np.zeros(0), none)
    a, b = _near_pairs(starts, ends, owner, reach)
    along = ends[a] - starts[a]
    length = np.hypot(*along.T)
    along = along / length[:, None]
    other = ends[b] - starts[b]
    facing = (along * other).sum(axis=1) < _FACING * np.hypot(*other.T)
    a, b, along, length = a[facing], b[facing], along[facing], length[facing]
    # Insides lie on the left of every edge, so what faces an edge lies on its right, and runs backwards.
    right = np.stack((along[:, 1], -along[:, 0]), axis=1)
    first, last = ends[b] - starts[a], starts[b] - starts[a]
    first_at, last_at = (first * along).sum(axis=1), (last * along).sum(axis=1)
    slope = ((last - first) * right).sum(axis=1) / (last_at - first_at)
    begin, end = np.clip(first_at, 0, length), np.clip(last_at, 0, length)
    distance = (first * right).sum(axis=1) + slope * ((begin + end) / 2 - first_at)
    kept = np.flatnonzero((end > begin) & (distance >= least) & (distance <= most))
    kept = kept[np.lexsort((begin[kept], a[kept]))]
    ways = np.stack((begin, end), axis=1)[kept, :, None]
    lines = starts[a[kept], None] + along[kept, None] * ways
    return Facing(np.stack((owner[a], owner[b]), axis=1)[kept], lines, distance[kept], ring[a[kept]])


def as_lines(ends: Floats) -> np.ndarray:
    """Return straight lines between pairs of points, (n, 2, 2) to (n,)."""
    return np.asarray(shapely.linestrings(ends), object)


def _edges(regions: Sequence[BaseGeometry], reach: float) -> tuple[Floats, Floats, Ints, Ints]:
    """Return start and end (n, 2) of the edges, insides on the left, their regions and their rings.

    Rings that lie farther than ``reach`` from every other region's are left out.
    """
    parts, part_of = shapely.get_parts(np.asarray(regions, object), return_index=True)
    rings, ring_of = shapely.get_rings(shapely.orient_polygons(parts), return_index=True)
    owner = part_of[ring_of]
    if not len(rings):
        return np.zeros((0, 2)), np.zeros((0, 2)), owner, owner
    a, b = shapely.STRtree(rings).query(rings, predicate="dwithin", distance=reach)
    near = np.unique(a[owner[a] != owner[b]])
    points, ring = shapely.get_coordinates(rings[near], return_index=True)
    same = np.flatnonzero((ring[1:] == ring[:-1]) & np.any(points[1:] != points[:-1], axis=1))
    return points[same], points[same + 1], owner[near][ring[same]], ring[same]


def _near_pairs(starts: Floats, ends: Floats, owner: Ints, reach: float) -> tuple[Ints, Ints]:
    """Return pairs of edges of different regions whose boxes are nearer than ``reach``, the lower region's first."""
    low, high = np.minimum(starts, ends), np.maximum(starts, ends)
    tree = shapely.STRtree(as_lines(np.stack((low, high), axis=1)))
    # Boxes alone are looked up, and the distances are measured later: many times as quick as asking the tree.
    # Every pair is one of a higher region's edge with a lower one's, so one side is enough.
    asking = np.flatnonzero(owner < owner.max())
    a, b = tree.query(shapely.box(*(low[asking] - reach).T, *(high[asking] + reach).T))
    a = asking[a]
    kept = owner[a] < owner[b]
    return a[kept], b[kept]
