"""Where a region, or the space between its parts, is narrower than a limit.

Two looks are taken, and each covers what the other cannot see. The locally shortest chords from wall
to wall (`preflight.geometry.walls`) find every neck and measure it exactly. What opening with half
the limit removes finds what hangs on one side only, or on none: limbs, spikes and slivers. The
opening is only made in windows round the places that the walls make suspect, so artwork with no
walls near each other costs one search for near edges.

Corners are quiet: what opening removes and what touches the rest on one side counts only where it reaches more
than four radii (twice the limit) past it. The tip of a straight corner of angle a reaches 1 / sin(a / 2) - 1
radii, so corners blunter than 2 asin(1 / 5), 23.1 degrees, stay quiet.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from preflight.curves import Bools, Ints
from preflight.geometry.grouping import gathered_boxes, grouped, joined_boxes
from preflight.geometry.slivers import hollow, narrowest
from preflight.geometry.walls import Chords, Walls, near_pairs, shortest_chords, tapering_chords, walls_of

Coordinate = tuple[float, float]
Box = tuple[float, float, float, float]

_REACH = 4.0
"""Radii past the rest from which on something held on one side counts."""
_ROUND = 1.02
"""The opening dilates by this much more than it eroded: flattened arcs would leave films along curves."""
_QUADRANT = 16
"""Chords a quadrant of the opening's arcs; with `_ROUND` no arc falls short of its circle."""
_NONE = np.zeros(0, np.int64)
_TIP = 0.1
"""A limb whose end is below this share of the limit is pointed."""


class ThinKind(StrEnum):
    """What sort of place is too narrow."""

    NECK = "neck"
    """Wide on both sides, or a limb of some width that hangs on one side."""
    SLIVER = "sliver"
    """Nowhere as wide as the limit and held by nothing."""
    SPIKE = "spike"
    """A long point."""


@dataclass(frozen=True, slots=True)
class ThinPart:
    """One place that is too narrow. Lengths in mm.

    ``width`` is the length of ``chord``, the shortest line from wall to wall that is locally shortest.
    A piece without such a line is measured where it is widest (sliver) or half way along (spike).
    ``area`` in mm² is what is thinner than the limit there; 0 for a pinch between two wide parts.
    """

    kind: ThinKind
    width: float
    chord: tuple[Coordinate, Coordinate]
    box: Box
    point: Coordinate
    area: float


def thin_parts(
    region: BaseGeometry, width: float, *, tolerance: float = 0.01, walls: Walls | None = None
) -> list[ThinPart]:
    """Return every place where ``region`` is narrower than ``width`` mm, narrowest first.

    ``tolerance`` is the chord error in mm the region was flattened with; widths are right to twice
    that. A part counts when it is narrower than ``width`` by more than `noise_margin`, so that a part
    exactly as wide as the limit stays quiet however its curves were flattened. ``walls`` may be given
    where they are known (`known_walls`), to save their making.

    Raises ValueError for a width or tolerance that is not positive, LimitError for an outline so fine
    that nearly all of its edges lie within ``width`` of each other.
    """
    if not (width > 0 and tolerance > 0):
        raise ValueError(f"width and tolerance must be above 0 mm, not {width} and {tolerance}")
    walls = known_walls(region, tolerance) if walls is None else walls
    limit = width - noise_margin(width, tolerance)
    whole = hollow(walls.parts, limit)
    if not whole.any():
        return _Search(region, width, tolerance, walls, gaps=False).places()
    found = _whole_slivers(walls.parts[whole], limit, tolerance)
    rest = walls.parts[~whole]
    if len(rest):
        found += _Search(MultiPolygon(list(rest)), width, tolerance, None, gaps=False).found()
    return [place.part for place in _merged(found, width)]


def _whole_slivers(parts: npt.NDArray[np.object_], limit: float, tolerance: float) -> list[_Place]:
    """Return the places of parts that are narrower than ``limit`` everywhere."""
    chords = narrowest(parts, limit, tolerance / 10)
    places = []
    for part, chord in zip(parts, chords, strict=True):
        a, b = _widest(part, tolerance) if chord is None else chord
        places.append(_Place(_part(ThinKind.SLIVER, a, b, part), part))
    return places


def narrow_gaps(
    region: BaseGeometry, width: float, *, tolerance: float = 0.01, walls: Walls | None = None
) -> list[ThinPart]:
    """Return every place where the space between and within the parts of ``region`` is narrower than ``width`` mm.

    Counters of letters, gaps between two parts, and slits that are open to the outside all count.
    Otherwise as `thin_parts`.
    """
    return _Search(region, width, tolerance, walls, gaps=True).places()


def known_walls(region: BaseGeometry, tolerance: float = 0.01) -> Walls:
    """Return the walls of ``region`` for both `thin_parts` and `narrow_gaps` at this ``tolerance``."""
    return walls_of(region, tolerance / 10)


def noise_margin(width: float, tolerance: float) -> float:
    """Return by how much a part must fall below the limit ``width`` to count: twice the tolerance, at most 2 %."""
    return min(2 * tolerance, width / 50)


@dataclass(eq=False)
class _Window:
    """A rectangle, and the chords in it (all indices into the search's)."""

    frame: Polygon
    chords: Ints
    tapers: Ints


class _Search:
    """One look for what is narrower than a limit."""

    def __init__(
        self, region: BaseGeometry, width: float, tolerance: float, walls: Walls | None, *, gaps: bool
    ) -> None:
        if not (width > 0 and tolerance > 0):
            raise ValueError(f"width and tolerance must be above 0 mm, not {width} and {tolerance}")
        self.width, self.tolerance, self.gaps = width, tolerance, gaps
        self.limit = width - noise_margin(width, tolerance)
        self.radius = self.limit / 2
        self.walls = known_walls(region, tolerance) if walls is None else walls
        self.tree = shapely.STRtree(self.walls.parts)
        pairs = near_pairs(self.walls, width)
        chords, strips = shortest_chords(self.walls, pairs, self.limit, gaps=gaps)
        # What a chord cuts off within a few of its own lengths is a tooth of the outline, not a part.
        kept = chords.around > 3 * chords.width
        self.chords, self.strips = chords.take(kept), strips[kept]
        tapers, extents = tapering_chords(self.walls, pairs, self.limit, gaps=gaps)
        kept = _farthest_of_pair(tapers) > width
        self.tapers, self.extents = tapers.take(kept), extents[kept]
        self.small = self._small_rings()

    def _small_rings(self) -> npt.NDArray[np.object_]:
        """Return the boxes of the parts, or of the holes, that may be too small for a disc of the limit."""
        walls = self.walls
        rings, owner = shapely.get_rings(walls.parts, return_index=True)
        outer = np.append(True, owner[1:] != owner[:-1])[: len(rings)]
        chosen = (walls.perimeter < 8 * self.width) & (outer != self.gaps)
        return np.asarray(shapely.envelope(rings[chosen]))

    def places(self) -> list[ThinPart]:
        """Return what was found, narrowest first."""
        return [place.part for place in _merged(self.found(), self.width)]

    def found(self) -> list[_Place]:
        """Return what was found, window by window."""
        return [place for window in self._windows() for place in _Opened(self, window).places()]

    def _windows(self) -> list[_Window]:
        """Return rectangles that do not overlap, three limits wider than what is suspect in them."""
        boxes = np.concatenate((self.strips, self.extents, self.small))
        if not len(boxes):
            return []
        suspect = gathered_boxes(shapely.bounds(boxes), 3 * self.width)
        frames = joined_boxes(suspect + 3 * self.width * np.array([-1, -1, 1, 1]))
        tree = shapely.STRtree(frames)
        windows = [_Window(frame, np.zeros(0, np.int64), np.zeros(0, np.int64)) for frame in frames]
        for name, suspects in (("chords", self.strips), ("tapers", self.extents)):
            which, frame = tree.query(shapely.centroid(suspects), predicate="intersects")
            order = np.lexsort((which, frame))
            which, frame = which[order], frame[order]
            cuts = np.searchsorted(frame, np.arange(len(frames) + 1))
            for k, window in enumerate(windows):
                setattr(window, name, which[cuts[k] : cuts[k + 1]])
        return windows

    def material(self, frame: Polygon) -> list[Polygon]:
        """Return what is judged within a rectangle: the parts, or for gaps the space they leave."""
        near = np.sort(self.tree.query(frame))
        parts: list[Polygon] = []
        for part in self.walls.parts[near]:
            inside = part if _holds(frame, part) else part.intersection(frame)
            parts += _areas(inside)
        if not self.gaps:
            return parts
        return _areas(frame.difference(MultiPolygon(parts)))


def _farthest_of_pair(chords: Chords) -> npt.NDArray[np.float64]:
    """Return for each chord the longest way round among the chords between the same two edges."""
    if not len(chords):
        return np.zeros(0)
    edges = np.sort(np.stack((chords.first, chords.second), axis=1), axis=1)
    _, pair = np.unique(edges, axis=0, return_inverse=True)
    longest = np.zeros(len(chords))
    np.maximum.at(longest, pair.ravel(), chords.around)
    return longest[pair.ravel()]


def _holds(frame: Polygon, part: Polygon) -> bool:
    a, b = frame.bounds, part.bounds
    return a[0] <= b[0] and a[1] <= b[1] and b[2] <= a[2] and b[3] <= a[3]


def _areas(shape: BaseGeometry) -> list[Polygon]:
    return [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and p.area > 0]


@dataclass(frozen=True, eq=False)
class _Place:
    """A place found, and its shape for joining it with its neighbours."""

    part: ThinPart
    shape: BaseGeometry


class _Opened:
    """One window, and what opening removes in it."""

    def __init__(self, search: _Search, window: _Window) -> None:
        self.search, self.window = search, window
        radius = search.radius
        wide = box(*(np.array(window.frame.bounds) + 2.1 * search.width * np.array([-1, -1, 1, 1])))
        self.material = np.array(search.material(wide), dtype=object)
        eroded = shapely.buffer(self.material, -radius, quad_segs=_QUADRANT)
        grown = shapely.buffer(eroded, _ROUND * radius, quad_segs=_QUADRANT)
        cores = shapely.get_parts(eroded)
        self.cores = shapely.STRtree(shapely.point_on_surface(cores[~shapely.is_empty(cores)]))
        self.rest = shapely.get_parts(grown)
        removed = shapely.get_parts(shapely.difference(self.material, grown))
        self.removed = removed[(shapely.get_dimensions(removed) == 2) & ~shapely.is_empty(removed)]
        shapely.prepare(self.material)
        self.chords = self._clear(search.chords.take(window.chords))
        self.tapers = search.tapers.take(window.tapers)
        self.parted = self._parted(self.chords)

    def _clear(self, chords: Chords) -> Chords:
        """Keep the chords with nothing in their way."""
        if not len(chords) or not len(self.material):
            return chords.take(np.zeros(0, np.int64))
        step = chords.head - chords.tail
        ends = np.stack((chords.tail + 0.02 * step, chords.tail + 0.98 * step), axis=1)
        lines = np.asarray(shapely.linestrings(ends))
        # Asked from the material's side, whose edges are then indexed once for all lines.
        _, which = shapely.STRtree(lines).query(self.material, predicate="contains")
        touching = np.flatnonzero(chords.width < 1e-6 * self.search.width)
        return chords.take(np.union1d(which, touching))

    def _parted(self, chords: Chords) -> Bools:
        """Say which chords have wide material on both sides: those are necks.

        A chord between two rings always has; so has one that cuts off a piece far longer than what
        a limb could be without being reported as such.
        """
        parted = np.isinf(chords.around) | (chords.around > 20 * self.search.width)
        asked = np.flatnonzero(~parted)
        if not len(asked) or not len(self.cores.geometries):
            return parted
        # Chords whose ends lie within a quarter limit along the ring have no wide place between them.
        spots = np.floor(4 / self.search.width * chords.ways[asked])
        keys = np.column_stack((self.search.walls.ring[chords.first[asked]], spots))
        _, chosen, group = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        pieces = [self._cut_off(chords, int(k)) for k in asked[chosen]]
        holding = np.zeros(len(pieces), bool)
        holding[self.cores.query(pieces, predicate="contains")[0]] = True
        parted[asked] = holding[group.ravel()]
        return parted

    def _cut_off(self, chords: Chords, k: int) -> BaseGeometry:
        """Return the piece that chord ``k`` cuts off along the shorter way round its ring."""
        walls = self.search.walls
        ring = walls.ring[chords.first[k]]
        points = walls.ring_points(int(ring))
        base = int(np.searchsorted(walls.ring, ring))
        a, b = int(chords.first[k]) - base, int(chords.second[k]) - base
        one = np.concatenate((chords.tail[k][None], _between(points, a, b), chords.head[k][None]))
        other = np.concatenate((chords.head[k][None], _between(points, b, a), chords.tail[k][None]))
        lengths = [np.hypot(*np.diff(way, axis=0).T).sum() for way in (one, other)]
        way = one if lengths[0] <= lengths[1] else other
        piece = Polygon(way) if len(way) > 3 else Polygon()
        return piece if piece.is_valid else shapely.make_valid(piece)

    def places(self) -> list[_Place]:
        """Return the places found in this window."""
        found: list[_Place] = []
        used = np.zeros(len(self.chords), bool)
        # Grown by a hair, so that what lies on an edge is in it whatever the rounding.
        grown = shapely.buffer(self.removed, 1e-6 * self.search.width, quad_segs=1)
        inside, tapering = _mostly_in(self.chords, grown), _mostly_in(self.tapers, grown)
        rest = shapely.STRtree(self.rest)
        touching = _by_second(*rest.query(grown, "intersects")[::-1])
        for k, shape in enumerate(self.removed):
            chords = inside.get(k, _NONE)
            place = self._judge(shape, chords, tapering.get(k, _NONE), self.rest[touching.get(k, _NONE)])
            if place is not None:
                used[chords] = True
                found.append(place)
        return found + [self._pinch(k) for k in self._narrowest_each(np.flatnonzero(self.parted & ~used))]

    def _narrowest_each(self, loose: Ints) -> list[int]:
        """Return the narrowest of the chords that lie within a limit of each other along their rings."""
        loose = loose[np.argsort(self.chords.width[loose], kind="stable")]
        chords, ring = self.chords, self.search.walls.ring
        spots = np.floor(chords.ways[loose] / self.search.width)
        keys = np.column_stack((ring[chords.first[loose]], ring[chords.second[loose]], spots))
        return [int(k) for k in np.sort(loose[np.unique(keys, axis=0, return_index=True)[1]])]

    def _judge(
        self, shape: Polygon, inside: Ints, tapering: Ints, rest: npt.NDArray[np.object_]
    ) -> _Place | None:
        """Return what a removed piece is, or None for a quiet one and for one that is not suspect.

        ``inside`` and ``tapering`` are the chords in it, ``rest`` is what it touches of what opening left.
        """
        long = self._long(inside)
        if not len(rest) and shape.within(self.window.frame):
            return self._place(ThinKind.SLIVER, shape, long)
        if self.parted[inside].any():
            return self._place(ThinKind.NECK, shape, long)
        axis = self._axis(shape, rest) if len(inside) or len(tapering) else None
        if axis is None:
            return None
        return self._place(ThinKind.NECK, shape, long) if len(long) else self._limb(shape, tapering, axis)

    def _axis(self, shape: Polygon, rest: npt.NDArray[np.object_]) -> LineString | None:
        """Return the line from the tip of a piece to where it is held; None where it does not reach far."""
        points = np.asarray(shapely.points(shapely.get_coordinates(shape)))
        near = [shapely.dwithin(points, core, 1e-6 * self.search.width) for core in rest]
        held = points[np.any(near, axis=0)] if near else points[:0]
        if not len(held):
            return None
        mouth = shapely.union_all(held)
        reach = shapely.distance(points, mouth)
        if reach.max() <= _REACH * self.search.radius + self.search.tolerance:
            return None
        return LineString(shapely.get_coordinates(shapely.shortest_line(points[int(reach.argmax())], mouth)))

    def _long(self, inside: Ints) -> Ints:
        """Return the chords that measure a part, not a tooth of its outline.

        These part wide material, or cut off a piece that is more than twice as long as the chord.
        """
        chords = self.chords
        return inside[self.parted[inside] | (chords.around[inside] > 5 * chords.width[inside])]

    def _limb(self, shape: Polygon, ends: Ints, axis: LineString) -> _Place:
        """Return a part held on one side that has no locally shortest chord: it narrows to its end."""
        tapers, walls = self.tapers, self.search.walls
        pointed = (walls.after[tapers.first[ends]] == tapers.second[ends]) | (
            walls.after[tapers.second[ends]] == tapers.first[ends]
        )
        if len(ends) and not pointed.any():
            least = ends[int(tapers.width[ends].argmin())]
            if tapers.width[least] > max(_TIP * self.search.width, 4 * self.search.tolerance):
                return _Place(_part(ThinKind.NECK, tapers.tail[least], tapers.head[least], shape), shape)
        a, b = self._half_way(shape, axis)
        return _Place(_part(ThinKind.SPIKE, a, b, shape), shape)

    def _half_way(self, shape: Polygon, axis: LineString) -> tuple[Coordinate, Coordinate]:
        """Return the chord across ``shape`` half way along the line from its tip to its mouth."""
        tip, foot = np.array(axis.coords)
        middle, step = (foot + tip) / 2, foot - tip
        across = np.array([-step[1], step[0]]) / np.hypot(*step) * 2 * self.search.width
        cut = shape.intersection(LineString([middle - across, middle + across]))
        pieces = [p for p in shapely.get_parts(cut) if p.geom_type == "LineString" and not p.is_empty]
        if not pieces:
            # The tip is bent away from the line: the piece's widest place is what can be told.
            return _widest(shape, self.search.tolerance)
        nearest = min(pieces, key=lambda piece: piece.distance(Point(middle)))
        return _ends(nearest)

    def _place(self, kind: ThinKind, shape: Polygon, chords: Ints) -> _Place:
        if not len(chords):
            return _Place(_part(kind, *_widest(shape, self.search.tolerance), shape), shape)
        # Of equally short chords, the one nearest the middle of the place is what a reader expects.
        least = chords[self.chords.width[chords] <= self.chords.width[chords].min() + 1e-6]
        middle = (self.chords.tail[least] + self.chords.head[least]) / 2
        x0, y0, x1, y1 = shape.bounds
        best = least[int(np.hypot(*(middle - ((x0 + x1) / 2, (y0 + y1) / 2)).T).argmin())]
        return _Place(_part(kind, self.chords.tail[best], self.chords.head[best], shape), shape)

    def _pinch(self, k: int) -> _Place:
        line = LineString([self.chords.tail[k], self.chords.head[k]])
        return _Place(_part(ThinKind.NECK, *_ends(line), line), line)


def _widest(shape: Polygon, tolerance: float) -> tuple[Coordinate, Coordinate]:
    """Return a diameter of the largest circle in ``shape``."""
    radius = shapely.maximum_inscribed_circle(shape, tolerance=tolerance / 4)
    (x, y), (u, v) = _ends(radius)
    return (2 * x - u, 2 * y - v), (u, v)


def _ends(line: BaseGeometry) -> tuple[Coordinate, Coordinate]:
    (a, b), (u, v) = shapely.get_coordinates(line)[[0, -1]].tolist()
    return (a, b), (u, v)


def _between(points: npt.NDArray[np.float64], a: int, b: int) -> npt.NDArray[np.float64]:
    """Return the vertices passed going on from within edge ``a`` to within edge ``b``."""
    if a < b:
        return points[a + 1 : b + 1]
    return np.concatenate((points[a + 1 :], points[: b + 1]))


def _mostly_in(chords: Chords, shapes: npt.NDArray[np.object_]) -> dict[int, Ints]:
    """Return for each shape (by index) the chords of which two of three inner points lie in it."""
    if not len(chords) or not len(shapes):
        return {}
    step = chords.head - chords.tail
    places = np.concatenate([chords.tail + share * step for share in (0.25, 0.5, 0.75)])
    inner = np.asarray(shapely.points(places))
    shape, point = shapely.STRtree(inner).query(shapes, predicate="intersects")
    pairs, counts = np.unique(shape * len(chords) + point % len(chords), return_counts=True)
    pairs = pairs[counts > 1]
    return _by_second(pairs % len(chords), pairs // len(chords))


def _by_second(first: Ints, second: Ints) -> dict[int, Ints]:
    """Return the values of ``first`` for each value of ``second``, ascending."""
    order = np.lexsort((first, second))
    first, second = first[order], second[order]
    keys, starts = np.unique(second, return_index=True)
    return dict(zip(keys.tolist(), np.split(first, starts[1:]), strict=True)) if len(keys) else {}


def _part(kind: ThinKind, a: Coordinate, b: Coordinate, shape: BaseGeometry) -> ThinPart:
    first, second = sorted(((float(a[0]), float(a[1])), (float(b[0]), float(b[1]))))
    x0, y0, x1, y1 = shape.bounds
    return ThinPart(
        kind,
        float(np.hypot(second[0] - first[0], second[1] - first[1])),
        (first, second),
        (x0, y0, x1, y1),
        ((first[0] + second[0]) / 2, (first[1] + second[1]) / 2),
        float(shape.area),
    )


def _merged(found: list[_Place], width: float) -> list[_Place]:
    """Join places of one kind that lie within an eighth of the limit of each other; return them narrowest first."""
    if not found:
        return []
    shapes = np.array([place.shape for place in found], dtype=object)
    first, second = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=width / 8)
    kinds = np.array([place.part.kind for place in found])
    same = kinds[first] == kinds[second]
    group = grouped(len(found), first[same], second[same])
    joined = []
    for number in range(int(group.max()) + 1):
        members = [found[k] for k in np.flatnonzero(group == number)]
        # Of equally narrow ones, the one that stands for the most film is pointed at.
        best = min(members, key=lambda place: (round(place.part.width, 6), -place.part.area, _order(place)))
        # Removed pieces do not overlap, so their areas add up.
        low = np.min([m.part.box[:2] for m in members], axis=0)
        high = np.max([m.part.box[2:] for m in members], axis=0)
        part = replace(
            best.part,
            box=(float(low[0]), float(low[1]), float(high[0]), float(high[1])),
            area=sum(m.part.area for m in members),
        )
        joined.append(_Place(part, best.shape))
    return sorted(joined, key=_order)


def _order(place: _Place) -> tuple[float, float, float]:
    part = place.part
    return (round(part.width, 6), round(part.point[1], 6), round(part.point[0], 6))
