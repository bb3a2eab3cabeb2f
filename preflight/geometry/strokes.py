"""The region a stroke paints, as SVG 2 defines it (section 13.5.8, computing the shape of the stroke).

A stroke is the union of the segments' own bands, of a shape at every join, and of caps at the ends.
The flattened path is walked once: each run of it becomes one ring, left side out and right side
back. Where the ring crosses itself the run is halved, and where a turn is too tight for its inner
side the run is broken at the turn; what comes out is united once. The work is done in the path's
own coordinates and mapped afterwards, so that uneven scale makes uneven strokes.

Joins of kind ``arcs`` are drawn as ``miter``. Where a curve turns on the spot within a segment (a
cusp), the turn is round: the limit of curves that turn ever more tightly.

One bound is looser than the tolerance: where a curve of radius R below half the width runs into a
butt end, the inner edge near the curve's centre may lie up to half a chord, sqrt(2 R tolerance / 3), out.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from preflight.artwork import Cap, Join, Stroke
from preflight.curves import Floats, Ints, Matrix, Path, apply, determinant, largest_stretch
from preflight.geometry.chords import Edges, Joints, chords, joints_of
from preflight.geometry.dashes import dashed
from preflight.geometry.pen import Pen, corner_points, left, turned


def stroke_region(path: Path, matrix: Matrix, stroke: Stroke, tolerance: float) -> BaseGeometry:
    """Return the region that ``stroke`` paints along ``path``, in mm.

    ``path`` and the stroke's lengths are local, ``matrix`` maps them to mm, ``tolerance`` is the
    largest distance in mm between the region's edge and the exact one. The answer is a valid
    Polygon or MultiPolygon, empty for a stroke without width or a matrix that flattens everything.

    Raises ValueError for a tolerance that is not positive.
    """
    if not tolerance > 0:
        raise ValueError(f"the tolerance must be above 0 mm, not {tolerance}")
    stretch = largest_stretch(matrix)
    if stroke.width <= 0 or not len(path) or abs(determinant(matrix)) <= 1e-12 * stretch * stretch:
        return Polygon()
    # A third each for the chords of the curve, the round parts, and the turn of the first chord.
    pen = Pen(stroke.width / 2, stroke.cap, stroke.join, stroke.miter_limit, tolerance / stretch / 3)
    dots, directions = _points(path)
    if sum(stroke.dashes) > 0:
        cut = dashed(path, stroke.dashes, stroke.dash_offset)
        path, dots, directions = cut.path, cut.dots, cut.directions
    rings = _dots(pen, dots, directions)
    areas: list[BaseGeometry] = []
    edges = chords(path, pen)
    if edges is not None:
        _outline(edges, pen, rings, areas)
    return _united(np.concatenate((np.array(areas, object), _polygons(rings))), matrix, tolerance)


def _polygons(rings: list[Floats]) -> npt.NDArray[np.object_]:
    """Return the polygons of rings (n, 2), which need not repeat their first point."""
    if not rings:
        return np.zeros(0, object)
    sizes = np.array([len(ring) for ring in rings])
    drawn = shapely.linearrings(np.concatenate(rings), indices=np.repeat(np.arange(len(rings)), sizes))
    return np.asarray(shapely.polygons(np.asarray(drawn)))


def _united(areas: npt.NDArray[np.object_], matrix: Matrix, tolerance: float) -> BaseGeometry:
    if not len(areas):
        return Polygon()
    mapped = np.asarray(shapely.transform(areas, lambda xy: apply(matrix, xy)))
    sound = shapely.is_valid(mapped)
    mapped[~sound] = shapely.make_valid(mapped[~sound])
    whole = mapped[0] if len(mapped) == 1 else shapely.union_all(mapped)
    # Pieces that meet along a line leave holes of rounding size there.
    parts = [_without_pinholes(part, tolerance * tolerance) for part in shapely.get_parts(_areas_only(whole))]
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def _without_pinholes(part: Polygon, area: float) -> Polygon:
    kept = [ring for ring in part.interiors if Polygon(ring).area > area]
    return part if len(kept) == len(part.interiors) else Polygon(part.exterior, kept)


def _areas_only(shape: BaseGeometry) -> BaseGeometry:
    """Drop the points and lines that mending may leave beside the areas."""
    if shape.geom_type in ("Polygon", "MultiPolygon"):
        return shape
    parts = shapely.get_parts(shape)
    return shapely.union_all(parts[shapely.get_dimensions(parts) == 2])


def _reach(path: Path) -> Floats:
    """Return the largest extent of each segment, (n,)."""
    return np.asarray(np.ptp(path.controls, axis=1).max(axis=1)) if len(path.controls) else np.zeros(0)


def _points(path: Path) -> tuple[Floats, Floats]:
    """Return places and directions (n, 2) of the subpaths of no length; their caps look along x."""
    widest = np.maximum.reduceat(_reach(path), path.starts)
    still = widest <= 0
    where = path.controls[path.starts[still], 0]
    return where, np.broadcast_to((1.0, 0.0), where.shape)


def _dots(pen: Pen, places: Floats, directions: Floats) -> list[Floats]:
    if pen.cap is Cap.BUTT or not len(places):
        return []
    if pen.cap is Cap.ROUND:
        count = max(int(pen.steps(np.array([2 * np.pi]))[0]), 4)
        turn = 2 * np.pi * np.arange(count) / count
        shape = pen.half * np.stack((np.cos(turn), np.sin(turn)), axis=1)
        return [place + shape for place in places]
    forward, aside = pen.half * directions, pen.half * left(directions)
    square = np.stack((forward + aside, aside - forward, -forward - aside, forward - aside), axis=1)
    return list(places[:, None] + square)


def _outline(edges: Edges, pen: Pen, rings: list[Floats], areas: list[BaseGeometry]) -> None:
    """Add the rings of all runs and joins, and the areas between two rings of closed subpaths."""
    joints = joints_of(edges, pen)
    order = _seams_first(edges, joints)
    if order is not None:
        edges = edges.take(order)
        joints = _reordered(joints, order, edges)
    rings += _wedges(edges, joints, pen)
    sides = _Sides(edges, joints, pen)
    runs: list[tuple[int, int]] = []
    whole: list[tuple[int, int]] = []
    for a, b in pairwise(edges.bounds().tolist()):
        cuts = np.flatnonzero(joints.hard[a:b] & joints.live[a:b]) + a
        if edges.closed[a] and not len(cuts):
            whole.append((a, b))
            continue
        runs += [(int(s), int(e)) for s, e in pairwise(np.unique(np.concatenate(([a], cuts + 1, [b]))))]
    areas += _closed_bands(sides, whole, runs)
    _open_bands(sides, runs, rings)


def _seams_first(edges: Edges, joints: Joints) -> Ints | None:
    """Return an order in which closed subpaths start after one of their hard breaks, or None."""
    order: Ints | None = None
    for a, b in pairwise(edges.bounds().tolist()):
        if not edges.closed[a] or joints.hard[b - 1]:
            continue
        cuts = np.flatnonzero(joints.hard[a:b])
        if len(cuts):
            order = np.arange(len(edges.owner)) if order is None else order
            order[a:b] = np.roll(order[a:b], -int(cuts[-1]) - 1)
    return order


def _reordered(joints: Joints, order: Ints, edges: Edges) -> Joints:
    bounds = edges.bounds()
    following = np.arange(1, len(order) + 1)
    following[bounds[1:] - 1] = bounds[:-1]
    return Joints(
        following, joints.live[order], joints.turn[order], joints.bend[order],
        joints.corner[order], joints.hard[order], joints.head[order], joints.tail[order],
    )  # fmt: skip


def _wedges(edges: Edges, joints: Joints, pen: Pen) -> list[Floats]:
    """Return the shapes of the joins at hard breaks, and what fills turns broken for tightness."""
    found: list[Floats] = []
    for i in np.flatnonzero(joints.hard & joints.live):
        j = joints.following[i]
        place = edges.end[i]
        if joints.corner[i]:
            found += pen.fan(place, edges.tail[i], edges.head[j], pen.join)
            found += pen.fan(place, joints.tail[i], edges.tail[i], Join.ROUND)
            found += pen.fan(place, edges.head[j], joints.head[j], Join.ROUND)
        else:
            # A curve tighter than the pen sweeps its inner side too, beyond the chords' own bands.
            for sign in (1.0, -1.0):
                found += pen.fan(place, sign * joints.tail[i], sign * joints.head[j], Join.ROUND)
    for i in np.flatnonzero(~joints.live):
        j = joints.following[i]
        found += pen.fan(edges.end[i], joints.tail[i], edges.tail[i], Join.ROUND)
        found += pen.fan(edges.begin[j], edges.head[j], joints.head[j], Join.ROUND)
    return found


class _Sides:
    """The left and right edge of the stroke, vertex after vertex.

    Each subpath of m edges has m + 1 vertices: the one before its first edge and the one after each
    edge. Edge e of subpath k has vertices e + k and e + k + 1. A hard vertex holds the corner of the
    edge before and that of the edge after; a soft one holds the points of the turn.
    """

    def __init__(self, edges: Edges, joints: Joints, pen: Pen) -> None:
        self.edges, self.joints, self.pen = edges, joints, pen
        bounds = edges.bounds()
        rank = np.repeat(np.arange(len(bounds) - 1), np.diff(bounds))
        self.rank = rank
        count = len(edges.owner) + len(bounds) - 1
        after = np.arange(len(rank)) + rank + 1
        lead = bounds[:-1] + np.arange(len(bounds) - 1)
        self.hard = np.zeros(count, bool)
        self.hard[after] = joints.hard & joints.live
        self.hard[lead] = self.hard[after[bounds[1:] - 1]]
        self.place = np.empty((count, 2))
        self.place[after] = edges.end
        self.place[lead] = edges.begin[bounds[:-1]]
        self.open_lead, self.open_last = lead[~edges.closed[bounds[:-1]]], after[~joints.live]
        turn = self._turn_points()
        self.left, self.left_at = self._lay(turn, after, lead, bounds, 1.0)
        self.right, self.right_at = self._lay(turn, after, lead, bounds, -1.0)

    def _turn_points(self) -> tuple[Floats, Ints, Ints]:
        """Return the outer points of all soft turns, how many each has, and where they start."""
        joints, pen, edges = self.joints, self.pen, self.edges
        half = np.abs(joints.turn) / 2
        soft = joints.live & ~joints.hard
        mitre = soft & ~joints.corner & (pen.half * half * half / 2 <= pen.error)
        counts = pen.steps(joints.turn) + 1
        if pen.join is not Join.ROUND:
            counts[joints.corner] = 2
            if pen.join is not Join.BEVEL:
                mitre |= soft & joints.corner & (np.cos(half) * pen.limit >= 1)
        clipped = soft & joints.corner & ~mitre & (pen.join is Join.MITER_CLIP)
        counts[mitre] = 1
        counts[clipped] = 4
        counts[~soft] = 0
        starts = np.cumsum(counts) - counts
        which = np.repeat(np.arange(len(counts)), counts)
        part = np.arange(len(which)) - starts[which]
        outer = np.where(joints.turn > 0, -1.0, 1.0)
        normal = outer[:, None] * left(edges.along)
        share = part / np.maximum(counts[which] - 1, 1)
        points = edges.end[which] + pen.half * turned(normal[which], joints.turn[which] * share)
        at = starts[mitre]
        points[at] = edges.end[mitre] + pen.half * (
            normal[mitre] + np.tan(half[mitre])[:, None] * edges.along[mitre]
        )
        for i in np.flatnonzero(clipped):
            middle = corner_points(normal[i], edges.along[i], float(joints.turn[i]), pen, pen.join)
            stop = pen.half * turned(normal[i], joints.turn[i])
            points[starts[i] : starts[i] + 4] = edges.end[i] + np.concatenate(
                (pen.half * normal[i][None], middle, stop[None])
            )
        return points, counts, starts

    def _lay(
        self, turn: tuple[Floats, Ints, Ints], after: Ints, lead: Ints, bounds: Ints, side: float
    ) -> tuple[Floats, Ints]:
        """Return one side's points and where each vertex's points start."""
        edges, joints, half = self.edges, self.joints, self.pen.half
        outer_points, outer_counts, outer_starts = turn
        soft = joints.live & ~joints.hard
        outer = soft & ((joints.turn > 0) == (side < 0))
        counts = np.ones(len(self.place), np.int64)
        counts[after] = np.where(outer, outer_counts, np.where(soft | ~joints.live, 1, 2))
        # Closed subpaths repeat their last vertex before the first edge.
        closed = edges.closed[bounds[:-1]]
        counts[lead[closed]] = counts[after[bounds[1:] - 1][closed]]
        at = np.concatenate(([0], np.cumsum(counts)))
        points = np.empty((at[-1], 2))
        inner = soft & ~outer
        shift = np.tan(np.abs(joints.turn) / 2)[:, None] * -edges.along
        points[at[after[inner]]] = (edges.end + half * (side * left(edges.along) + shift))[inner]
        chosen = np.flatnonzero(outer)
        which = np.repeat(chosen, outer_counts[chosen])
        part = np.arange(len(which)) - np.repeat(
            np.cumsum(outer_counts[chosen]) - outer_counts[chosen], outer_counts[chosen]
        )
        points[at[after[which]] + part] = outer_points[outer_starts[which] + part]
        hard = np.flatnonzero(joints.live & joints.hard)
        points[at[after[hard]]] = edges.end[hard] + side * half * left(joints.tail[hard])
        points[at[after[hard]] + 1] = edges.end[hard] + side * half * left(
            joints.head[joints.following[hard]]
        )
        last = np.flatnonzero(~joints.live)
        points[at[after[last]]] = edges.end[last] + side * half * left(joints.tail[last])
        opening = bounds[:-1][~closed]
        points[at[lead[~closed]]] = edges.begin[opening] + side * half * left(joints.head[opening])
        for k in np.flatnonzero(closed):
            final = after[bounds[k + 1] - 1]
            points[at[lead[k]] : at[lead[k] + 1]] = points[at[final] : at[final + 1]]
        return points, at

    def span(self, side: Floats, at: Ints, a: int, b: int) -> Floats:
        """Return one side's points (n, 2) along edges ``a`` to ``b`` (excluded)."""
        first, last = a + self.rank[a], b + self.rank[a]
        begin = at[first] + 1 if self.hard[first] else at[first + 1] - 1
        end = at[last] + 1 if self.hard[last] else at[last + 1]
        return side[begin:end]

    def ring(self, a: int, b: int, caps: tuple[dict[int, Floats], dict[int, Floats]]) -> Floats:
        """Return the ring of the band along edges ``a`` to ``b`` (excluded), caps at open ends included."""
        first, last = a + int(self.rank[a]), b + int(self.rank[a])
        start, stop = caps[0].get(first), caps[1].get(last)
        return np.concatenate(
            (
                self.span(self.left, self.left_at, a, b),
                self.place[last][None] if stop is None else stop,
                self.span(self.right, self.right_at, a, b)[::-1],
                self.place[first][None] if start is None else start,
            )
        )

    def caps(self) -> tuple[dict[int, Floats], dict[int, Floats]]:
        """Return what stands at open starts and ends, by vertex, going on round the ring."""
        edges, joints = self.edges, self.joints
        last = np.flatnonzero(~joints.live)
        first = joints.following[last]
        starts = {
            int(v): self._cap(edges.begin[e], -edges.head[e], -joints.head[e])
            for v, e in zip(self.open_lead, first, strict=True)
        }
        ends = {
            int(v): self._cap(edges.end[e], edges.tail[e], joints.tail[e])
            for v, e in zip(self.open_last, last, strict=True)
        }
        return starts, ends

    def _cap(self, place: Floats, outward: Floats, cut: Floats) -> Floats:
        pen = self.pen
        if pen.cap is Cap.BUTT:
            return place[None]
        normal = left(outward)
        if pen.cap is Cap.ROUND:
            shape = pen.arc(normal, -np.pi)
        else:
            shape = pen.half * np.stack((outward + normal, outward - normal))
        if np.array_equal(outward, cut):
            return np.asarray(place + shape)
        # The band ends along its chord, the cap stands on the true tangent: through the middle and back.
        corners = pen.half * np.stack((normal, -normal))
        return np.asarray(
            place + np.concatenate((np.zeros((1, 2)), corners[:1], shape, corners[1:], np.zeros((1, 2))))
        )


def _closed_bands(
    sides: _Sides, whole: list[tuple[int, int]], runs: list[tuple[int, int]]
) -> list[BaseGeometry]:
    """Return the areas between the two rings of closed subpaths; where they cross, add runs instead."""
    found: list[BaseGeometry] = []
    for a, b in whole:
        shape = _annulus(
            sides.span(sides.left, sides.left_at, a, b), sides.span(sides.right, sides.right_at, a, b)
        )
        if shape is None:
            runs.append((a, b))
        else:
            found.append(shape)
    return found


def _annulus(left: Floats, right: Floats) -> BaseGeometry | None:
    areas = [
        0.5 * float(np.sum(_cross(r, np.roll(r, -1, axis=0)))) for r in (left - left[0], right - left[0])
    ]
    if len(left) < 3 or len(right) < 3 or areas[0] * areas[1] <= 0:
        return None
    outer, inner = (left, right) if abs(areas[0]) > abs(areas[1]) else (right, left)
    shape = Polygon(outer, [inner])
    return shape if shape.is_valid else None


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def _open_bands(sides: _Sides, runs: list[tuple[int, int]], rings: list[Floats]) -> None:
    """Add the rings of all runs, halving those that cross themselves."""
    caps = sides.caps()
    while runs:
        drawn = [sides.ring(a, b, caps) for a, b in runs]
        sound = shapely.is_valid(_polygons(drawn)).tolist()
        halves: list[tuple[int, int]] = []
        for (a, b), ring, good in zip(runs, drawn, sound, strict=True):
            if good or b - a == 1:
                rings.append(ring)
            else:
                middle = (a + b) // 2
                halves += [(a, middle), (middle, b)]
        runs = halves
