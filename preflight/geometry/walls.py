"""Walls of a region as arrays, and the chords between facing walls that are locally shortest.

A chord runs from wall to wall through the material (or, for gaps, through the open). It is locally
shortest where neither end can move along its wall to shorten it. On polygons that leaves three forms:
from a vertex square to an edge, from vertex to vertex, and between two parallel edges. Every one of
them is found, exactly, from pairs of edges whose boxes come near each other.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from preflight.curves import Bools, Floats, Ints
from preflight.errors import LimitError
from preflight.geometry.gather import diagonals, dot

_SLACK = np.sin(np.radians(0.75))
"""How far off square a chord may be and still count: walls that flattening has left slightly askew."""
_FACING = np.cos(np.radians(35.0))
"""Walls within 35 degrees of facing each other squarely can bound a spike that is long for its width."""

_AT_ONCE = 2000
"""Edges whose pairs are sought in one go: at worst 4 million pairs, and 64 MB."""
_BATCH = 100_000
"""Pairs that are measured in one go: what they need fits into the processor's cache."""
_MOST_SEEN = 200_000_000
_MOST_PAIRS = 7_500_000
"""Pairs beyond which the search is refused: of near boxes, and of near edges (some seconds of work, and 1 GB)."""
_DEEP = 0.7
"""Share of the limit at which a tapering strip is cut: there it is clear of the disc that sits in its mouth."""


@dataclass(frozen=True, eq=False)
class Walls:
    """All edges of a region's rings, material on the left of each.

    ``start``, ``along`` (unit) and ``normal`` (n, 2, into the material), ``size`` (n,); ``before`` and
    ``after`` (n,) the neighbours in the ring; ``ring`` and ``part`` (n,) what each belongs to;
    ``run`` (n,) the way along the ring to the edge's start; ``perimeter`` (rings,); ``parts`` the polygons.
    """

    start: Floats
    along: Floats
    size: Floats
    before: Ints
    after: Ints
    ring: Ints
    part: Ints
    run: Floats
    perimeter: Floats
    parts: npt.NDArray[np.object_]
    _pairs: list[tuple[float, tuple[Ints, Ints]]] = field(default_factory=list, repr=False)

    @cached_property
    def normal(self) -> Floats:
        """Unit normals into the material, (n, 2)."""
        return np.stack((-self.along[:, 1], self.along[:, 0]), axis=1)

    @cached_property
    def end(self) -> Floats:
        """Ends of the edges, (n, 2)."""
        return self.start[self.after]

    @cached_property
    def low(self) -> Floats:
        """Least x and y of the edges, (n, 2)."""
        return np.minimum(self.start, self.end)

    @cached_property
    def high(self) -> Floats:
        """Greatest x and y of the edges, (n, 2)."""
        return np.maximum(self.start, self.end)

    def ring_points(self, ring: int) -> Floats:
        """Return the vertices of one ring, (m, 2)."""
        first, last = np.searchsorted(self.ring, (ring, ring + 1))
        return self.start[first:last]


def polygons_of(region: BaseGeometry) -> list[Polygon]:
    """Return the polygons of any geometry, mended first where it is invalid; what has no area is left out."""
    if not region.is_valid:
        region = shapely.make_valid(region)
    found: list[Polygon] = []
    for part in shapely.get_parts(region):
        if isinstance(part, Polygon) and part.area > 0:
            found.append(part)
        elif isinstance(part, MultiPolygon):
            found += [p for p in part.geoms if p.area > 0]
    return found


def walls_of(region: BaseGeometry, tolerance: float) -> Walls:
    """Return the walls of ``region``; vertices that move no edge by more than ``tolerance`` mm are left out."""
    parts = np.array(polygons_of(region), dtype=object)
    if not len(parts):
        none, index = np.zeros(0), np.zeros(0, np.int64)
        return Walls(np.zeros((0, 2)), np.zeros((0, 2)), none, index, index, index, index, none, none, parts)
    parts = np.asarray(shapely.orient_polygons(parts))
    rings, owner = shapely.get_rings(parts, return_index=True)
    points, ring = shapely.get_coordinates(_thinned(rings, tolerance), return_index=True)
    # Each ring repeats its first point at its end.
    last = np.append(ring[1:] != ring[:-1], True)
    keep = ~last
    step = np.zeros_like(points)
    step[:-1] = np.diff(points, axis=0)
    size = np.hypot(step[:, 0], step[:, 1])
    keep &= size > 0
    start, step, size, ring = points[keep], step[keep], size[keep], ring[keep]
    count = len(start)
    firsts = np.flatnonzero(np.append(True, ring[1:] != ring[:-1])) if count else np.zeros(0, np.int64)
    lasts = np.append(firsts[1:], count) - 1
    after, before = np.arange(1, count + 1), np.arange(-1, count - 1)
    after[lasts], before[firsts] = firsts, lasts
    run = np.cumsum(size) - size
    lead = np.zeros(len(rings))
    lead[ring[firsts]] = run[firsts]
    perimeter = np.asarray(np.bincount(ring, size, minlength=len(rings)), float)
    return Walls(
        start, step / size[:, None], size, before, after, ring, owner[ring], run - lead[ring], perimeter, parts
    )  # fmt: skip


def _thinned(rings: npt.NDArray[np.object_], tolerance: float) -> npt.NDArray[np.object_]:
    """Return the rings with fewer vertices; one that would fall together is kept as it is."""
    thin = np.asarray(shapely.simplify(rings, tolerance, preserve_topology=False))
    lost = shapely.is_empty(thin) | (shapely.get_num_coordinates(thin) < 4)
    return np.where(lost, rings, thin)


@dataclass(frozen=True, eq=False)
class Chords:
    """Chords (n,) between walls: ``tail`` and ``head`` (n, 2), ``width`` (n,) in mm, the edges they are on.

    ``around`` (n,) is the shorter way along the ring from end to end, infinite between two rings;
    ``ways`` (n, 2) is how far along their rings the two ends lie.
    """

    tail: Floats
    head: Floats
    width: Floats
    first: Ints
    second: Ints
    around: Floats
    ways: Floats

    def take(self, chosen: Ints | Bools) -> Chords:
        """Return some of the chords."""
        return Chords(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))

    def __len__(self) -> int:
        return len(self.width)


def near_pairs(walls: Walls, reach: float) -> tuple[Ints, Ints]:
    """Return pairs of edges (i, j), i < j: all that lie within ``reach`` of each other.

    Some farther apart may be among them. Pairs found for a larger reach serve again, less those of edges
    whose boxes lie too far apart.

    Raises LimitError where an outline is so fine against ``reach`` that the pairs would fill the memory.
    """
    for known, pairs in walls._pairs:
        if reach <= known:
            return pairs if known <= 1.5 * reach else _nearer(walls, pairs, reach)
    pairs = _find_pairs(walls, reach)
    walls._pairs[:] = [(reach, pairs)]
    return pairs


def _nearer(walls: Walls, pairs: tuple[Ints, Ints], reach: float) -> tuple[Ints, Ints]:
    found = []
    for begin in range(0, len(pairs[0]), _BATCH):
        i, j = (side[begin : begin + _BATCH] for side in pairs)
        close = (walls.low[i] <= walls.high[j] + reach) & (walls.low[j] <= walls.high[i] + reach)
        near = np.flatnonzero(close[:, 0] & close[:, 1])
        i, j = i[near], j[near]
        close = ~_apart(walls, i, j, reach)
        found.append((i[close], j[close]))
    return np.concatenate([pairs[0][:0], *(i for i, _ in found)]), np.concatenate(
        [pairs[1][:0], *(j for _, j in found)]
    )


def _find_pairs(walls: Walls, reach: float) -> tuple[Ints, Ints]:
    count = len(walls.size)
    if not count:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    tree = shapely.STRtree(diagonals(walls.low, walls.high))
    step = count if count <= _AT_ONCE else _AT_ONCE // 8
    found: list[tuple[Ints, Ints]] = []
    seen = kept = 0
    for begin in range(0, count, step):
        wide = diagonals(walls.low[begin : begin + step] - reach, walls.high[begin : begin + step] + reach)
        i, j = tree.query(wide)
        seen += len(i)
        i += begin
        ordered = i < j
        i, j = i[ordered], j[ordered]
        # Boxes of slanting edges meet long before the edges do.
        close = np.flatnonzero(~_apart(walls, i, j, reach))
        found.append((i[close], j[close]))
        kept += len(close)
        if seen > _MOST_SEEN or kept > _MOST_PAIRS:
            raise LimitError(
                "outline-too-fine",
                f"{count} edges lie so close together that their distances below {reach:g} mm cannot be measured.",
                "Simplify the outline, or cut it at a larger size.",
            )
    return np.concatenate([i for i, _ in found]), np.concatenate([j for _, j in found])


def _apart(walls: Walls, i: Ints, j: Ints, reach: float) -> Bools:
    """Say where all of one edge lies more than ``reach`` to one side of the other's line."""
    apart = np.zeros(len(i), bool)
    for one, other in ((i, j), (j, i)):
        normal = walls.normal[one]
        near = dot(walls.start[other] - walls.start[one], normal)
        far = dot(walls.end[other] - walls.start[one], normal)
        apart |= (np.minimum(near, far) > reach) | (np.maximum(near, far) < -reach)
    return apart


def shortest_chords(
    walls: Walls, pairs: tuple[Ints, Ints], limit: float, *, gaps: bool
) -> tuple[Chords, npt.NDArray[np.object_]]:
    """Return the locally shortest chords below ``limit`` mm, through the material or through ``gaps``.

    With each comes the box of what it stands for: the chord itself, or for parallel walls the whole
    strip between them.

    Chords through the material stay within one part. That nothing else stands in a chord's way is
    not checked here.
    """
    i, j = pairs
    if not gaps:
        same = walls.part[i] == walls.part[j]
        i, j = i[same], j[same]
    sign = -1.0 if gaps else 1.0
    found: list[_Found] = []
    boxes: list[Floats] = []
    for begin in range(0, len(i), _BATCH):
        a, b = i[begin : begin + _BATCH], j[begin : begin + _BATCH]
        ended = [
            _square_chords(walls, a, b, limit, sign),
            _square_chords(walls, b, a, limit, sign),
            _corner_chords(walls, a, b, limit, sign),
        ]
        boxes += [np.concatenate((np.minimum(f[0], f[1]), np.maximum(f[0], f[1])), axis=1) for f in ended]
        parallel, strips = _parallel_chords(walls, a, b, limit, sign)
        found += [*ended, parallel]
        boxes.append(strips)
    if not found:
        none, index = np.zeros((0, 2)), np.zeros(0, np.int64)
        found, boxes = [(none, none, index, index)], [np.zeros((0, 4))]
    chords = _finished(walls, *(np.concatenate(column) for column in zip(*found, strict=True)))
    return chords, np.asarray(shapely.box(*np.concatenate(boxes).T))


def _finished(walls: Walls, tail: Floats, head: Floats, first: Ints, second: Ints) -> Chords:
    step = head - tail
    ways = [
        walls.run[edge] + dot(place - walls.start[edge], walls.along[edge])
        for place, edge in ((tail, first), (head, second))
    ]
    whole = walls.perimeter[walls.ring[first]]
    around = np.abs(ways[0] - ways[1]) % whole
    around = np.minimum(around, whole - around)
    around[walls.ring[first] != walls.ring[second]] = np.inf
    return Chords(
        tail, head, np.hypot(step[:, 0], step[:, 1]), first, second, around, np.stack(ways, axis=1)
    )  # fmt: skip


_Found = tuple[Floats, Floats, Ints, Ints]


def _holds(walls: Walls, vertex: Ints, toward: Floats, sign: float) -> Bools:
    """Say where a chord leaving ``vertex`` along the unit vector ``toward`` cannot shorten by moving its end."""
    ahead = dot(toward, walls.along[vertex])
    back = -dot(toward, walls.along[walls.before[vertex]])
    inward = walls.normal[vertex] + walls.normal[walls.before[vertex]]
    return np.asarray((ahead <= _SLACK) & (back <= _SLACK) & (sign * dot(toward, inward) > 0))


def _square_chords(walls: Walls, vertex: Ints, edge: Ints, limit: float, sign: float) -> _Found:
    """Return chords from the start of each edge ``vertex`` square to ``edge``."""
    place = walls.start[vertex]
    off = place - walls.start[edge]
    along = walls.along[edge]
    ahead = dot(off, along)
    aside = sign * (off[:, 1] * along[:, 0] - off[:, 0] * along[:, 1])
    # A vertex that touches the edge counts, with a chord of no length.
    aside = np.where(np.abs(aside) < 1e-9 * limit, 0.0, aside)
    good = (ahead > 0) & (ahead < walls.size[edge]) & (aside >= 0) & (aside < limit)
    # An edge's own ends are no facing wall.
    good &= (walls.after[edge] != vertex) & (vertex != edge)
    kept = np.flatnonzero(good)
    vertex, edge, place = vertex[kept], edge[kept], place[kept]
    toward = -sign * walls.normal[edge]
    holds = _holds(walls, vertex, toward, sign)
    vertex, edge, place, toward = vertex[holds], edge[holds], place[holds], toward[holds]
    return place, place + aside[kept][holds, None] * toward, vertex, edge


def _corner_chords(walls: Walls, i: Ints, j: Ints, limit: float, sign: float) -> _Found:
    """Return chords between the starts of edges ``i`` and ``j``."""
    step = walls.start[j] - walls.start[i]
    size = np.hypot(step[:, 0], step[:, 1])
    kept = np.flatnonzero((size < limit) & (walls.after[i] != j) & (walls.after[j] != i))
    i, j, step, size = i[kept], j[kept], step[kept], size[kept]
    toward = np.divide(step, size[:, None], out=np.zeros_like(step), where=size[:, None] > 0)
    # Walls that touch in a point are as near as can be, whatever their directions.
    holds = (size == 0) | (_holds(walls, i, toward, sign) & _holds(walls, j, -toward, sign))
    i, j = i[holds], j[holds]
    return walls.start[i], walls.start[j], i, j


def _parallel_chords(walls: Walls, i: Ints, j: Ints, limit: float, sign: float) -> tuple[_Found, Floats]:
    """Return the chords in the middle of where parallel edges run alongside each other, and those strips' boxes."""
    a, b = walls.along[i], walls.along[j]
    turned = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) <= _SLACK
    kept = np.flatnonzero(turned & (dot(a, b) < 0))
    i, j, a = i[kept], j[kept], a[kept]
    off = walls.start[j] - walls.start[i]
    from_j = dot(off, a)
    to_j = from_j + dot(walls.along[j], a) * walls.size[j]
    low, high = np.maximum(0, to_j), np.minimum(walls.size[i], from_j)
    middle = (low + high) / 2
    tail = walls.start[i] + middle[:, None] * a
    rest = dot(tail - walls.start[j], walls.along[j])
    head = walls.start[j] + rest[:, None] * walls.along[j]
    step = head - tail
    aside = sign * dot(step, walls.normal[i])
    good = (high > low) & (aside > 0) & (np.hypot(step[:, 0], step[:, 1]) < limit)
    corners = np.stack([walls.start[i] + low[:, None] * a, walls.start[i] + high[:, None] * a])[:, good]
    corners = np.concatenate((corners, corners + step[good]))
    strips = np.concatenate((corners.min(axis=0), corners.max(axis=0)), axis=1)
    return (tail[good], head[good], i[good], j[good]), strips


def _nearest_facing(walls: Walls, i: Ints, j: Ints, sign: float) -> tuple[Ints, Ints]:
    """Keep, for the start, middle and end of each wall, the pair with the nearest wall across.

    What lies behind the nearest wall bounds another strip. In artwork all of whose walls are near each
    other this leaves a few pairs a wall instead of all pairs.
    """
    kept = np.zeros(len(i), bool)
    for one, other in ((i, j), (j, i)):
        for share in (0.0, 0.5, 1.0):
            place = walls.start[one] + (share * walls.size[one])[:, None] * walls.along[one]
            ahead = dot(place - walls.start[other], walls.along[other])
            foot = walls.start[other] + np.clip(ahead, 0, walls.size[other])[:, None] * walls.along[other]
            step = foot - place
            size = np.hypot(step[:, 0], step[:, 1])
            across = np.flatnonzero(sign * dot(step, walls.normal[one]) >= 0)
            order = across[np.lexsort((size[across], one[across]))]
            first = np.append(True, one[order][1:] != one[order][:-1])[: len(order)]
            kept[order[first]] = True
    return i[kept], j[kept]


def _below(near: Floats, far: Floats, depth: float) -> tuple[Floats, Floats]:
    """Return from and to which share of a wall the distance from ``near`` to ``far`` is below ``depth``."""
    slope = far - near
    level = np.abs(slope) < 1e-12 * np.maximum(np.abs(near), depth)
    cut = np.clip(np.divide(depth - near, slope, out=np.zeros_like(near), where=~level), 0, 1)
    begin = np.where(~level & (near > depth), cut, 0.0)
    return begin, np.where(~level & (far > depth), cut, 1.0)


def _across(walls: Walls, one: Ints, other: Ints, share: Floats) -> tuple[Floats, Floats]:
    """Return the points at a ``share`` of the walls ``one``, and the nearest ones of the walls ``other``."""
    place = walls.start[one] + (share * walls.size[one])[:, None] * walls.along[one]
    ahead = dot(place - walls.start[other], walls.along[other])
    head = walls.start[other] + np.clip(ahead, 0, walls.size[other])[:, None] * walls.along[other]
    return place, head


def tapering_chords(
    walls: Walls, pairs: tuple[Ints, Ints], limit: float, *, gaps: bool
) -> tuple[Chords, npt.NDArray[np.object_]]:
    """Return chords between walls of one ring that face each other at up to 35 degrees, and their strips' boxes.

    For each pair these are the chords from the ends of what lies nearer than ``limit`` to the other
    wall. A spike or a limb that narrows shows in them and has no locally shortest chord.
    """
    i, j = pairs
    sign = -1.0 if gaps else 1.0
    chosen = walls.ring[i] == walls.ring[j]
    for begin in range(0, len(i), _BATCH):
        batch = slice(begin, begin + _BATCH)
        chosen[batch] &= dot(walls.along[i[batch]], walls.along[j[batch]]) < -_FACING
    i, j = i[chosen], j[chosen]
    if len(i):
        i, j = _nearest_facing(walls, i, j, sign)
    found: list[_Found] = []
    low, high = [], []
    for one, other in ((i, j), (j, i)):
        a, b = walls.start[one] - walls.start[other], walls.end[one] - walls.start[other]
        normal = sign * walls.normal[other]
        # Distance from the other wall's line, at both ends of this one.
        near, far = dot(a, normal), dot(b, normal)
        for share in _below(near, far, _DEEP * limit):
            place, head = _across(walls, one, other, share)
            step = head - place
            size = np.hypot(step[:, 0], step[:, 1])
            good = (size < limit) & (size > 0) & (sign * dot(step, walls.normal[one]) >= 0)
            good &= sign * dot(step, walls.normal[other]) <= 0
            found.append((place[good], head[good], one[good], other[good]))
            low.append(good)
        # The strip itself reaches to where it is as wide as the limit: what it hangs on lies there.
        corners = np.concatenate([_across(walls, one, other, share) for share in _below(near, far, limit)])
        high += [np.concatenate((corners.min(axis=0), corners.max(axis=0)), axis=1)] * 2
    chords = _finished(walls, *(np.concatenate(columns) for columns in zip(*found, strict=True)))
    extent = np.concatenate([box[good] for box, good in zip(high, low, strict=True)])
    return chords, np.asarray(shapely.box(*extent.T))
