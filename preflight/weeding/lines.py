"""Proposed weed lines: straight cuts in the waste that never come near film that stays.

Within the weed border the waste is parted like a page into rows and words, by the recursive cut along
the empty bands of its projections (Nagy and Seth 1984, "Hierarchical representation of optically scanned
documents"; from memory): first between rows from edge to edge, then at the widest gaps of a row, until
a block is no longer than a hand can pull off at once. A block that cannot be parted so gets cuts from
its long sides in towards the film, which open the ring of waste around it. Enclosed waste
is parted in the same way by the pieces that stand in it, or else cut across.

Lines are straight, and upright or level. Each ends at the weed border, at another line, or ``clearance``
short of film that stays.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Floats
from preflight.job import WeedingSpec
from preflight.weeding.model import Box, LineKind, WeedLine

_LEAST = 3.0
"""Shorter cuts help nobody, mm."""
_PROBES = 33
"""Places tried along the middle third of a block's side for the shortest way in."""
_SLACK = 1e-6
_WIDER = 1.003
"""An arc of 16 chords a quadrant falls short by 1 - cos(pi / 64) of its radius, 0.12 %; what ends there must not."""
_MANY, _COARSE = 20_000, 0.25
"""Outlines of more nodes than this are first made simpler, within so many mm."""


def weed_lines(
    stays: BaseGeometry, frame: Box | None, waste: BaseGeometry, options: WeedingSpec | None = None
) -> tuple[WeedLine, ...]:
    """Return weed lines for one film, none of which comes within the clearance of ``stays``.

    ``frame`` is the weed border's box around all that stays; with None the film around the shapes stays,
    and only ``waste``, the pieces that come off, is parted. Lengths mm.
    """
    options = options or WeedingSpec()
    near = _near(stays, options.clearance * _WIDER + _SLACK)
    found: list[WeedLine] = []
    if frame is not None:
        found += _Parting(stays, near, options).lines(frame)
    pieces = shapely.get_parts(stays)
    tree = shapely.STRtree(pieces)
    for part in shapely.get_parts(waste):
        if not part.is_empty and (frame is None or not _reaches(part, frame)):
            inner = pieces[tree.query(shapely.Polygon(part.exterior), predicate="contains_properly")]
            found += _enclosed(part, shapely.MultiPolygon(list(inner)), near, options)
    # Whatever went before, what is proposed has been measured.
    ends = np.array([[line.start, line.end] for line in found]).reshape(-1, 2, 2)
    clear = shapely.distance(shapely.linestrings(ends), stays) >= options.clearance - _SLACK
    return tuple(line for line, is_clear in zip(found, np.atleast_1d(clear), strict=True) if is_clear)


def _near(stays: BaseGeometry, distance: float) -> BaseGeometry:
    """Return all within ``distance`` of what stays, and hardly more; quick for traces of very many nodes."""
    if shapely.get_num_coordinates(stays) <= _MANY:
        return stays.buffer(distance, quad_segs=16)
    # No point of the outline is farther than the tolerance from the simpler one, so nothing near is left out.
    return shapely.simplify(stays, _COARSE).buffer(distance + _COARSE, quad_segs=16)


def _reaches(part: BaseGeometry, frame: Box) -> bool:
    x0, y0, x1, y1 = part.bounds
    return (
        x0 <= frame[0] + _SLACK
        or y0 <= frame[1] + _SLACK
        or x1 >= frame[2] - _SLACK
        or y1 >= frame[3] - _SLACK
    )


class _Parting:
    """Parts the waste within the weed border."""

    def __init__(self, stays: BaseGeometry, near: BaseGeometry, options: WeedingSpec) -> None:
        self.boxes: Floats = shapely.bounds(shapely.get_parts(stays)).reshape(-1, 4)
        self.near, self.options = near, options
        shapely.prepare(near)

    def lines(self, frame: Box) -> Iterator[WeedLine]:
        yield from self._block(np.array(frame), self.boxes)

    def _block(self, block: Floats, boxes: Floats) -> Iterator[WeedLine]:
        if not len(boxes) or max(block[2] - block[0], block[3] - block[1]) <= self.options.strip:
            return
        cuts, axis = self._cuts(block, boxes)
        if not cuts:
            yield from self._relief(block)
            return
        edges = [float(block[axis]), *cuts, float(block[axis + 2])]
        for cut in cuts:
            yield _line("row" if axis == 1 else "gap", *_spanning(block, axis, cut))
        for low, high in pairwise(edges):
            inner = block.copy()
            inner[axis], inner[axis + 2] = low, high
            held = (boxes[:, axis] >= low) & (boxes[:, axis + 2] <= high)
            yield from self._block(inner, boxes[held])

    def _cuts(self, block: Floats, boxes: Floats) -> tuple[list[float], int]:
        """Return where to part a block, and along which axis the places are counted (1: between rows)."""
        rows = self._spaced(block, 1, [(low + high) / 2 for low, high in self._gaps(boxes, 1)])
        if rows and block[2] - block[0] > self.options.strip:
            return rows, 1
        long = 0 if block[2] - block[0] >= block[3] - block[1] else 1
        for axis in (long, 1 - long):
            best = self._best(block, axis, self._gaps(boxes, axis))
            if best is not None and block[axis + 2] - block[axis] > self.options.strip:
                return [best], axis
        return [], 0

    def _gaps(self, boxes: Floats, axis: int) -> list[tuple[float, float]]:
        """Return the empty bands between boxes along an axis that have room for a line."""
        order = np.argsort(boxes[:, axis], kind="stable")
        reached = np.maximum.accumulate(boxes[order, axis + 2])[:-1]
        begins = boxes[order, axis][1:]
        wide = begins - reached >= 2 * self.options.clearance * 1.01
        return list(zip(reached[wide].tolist(), begins[wide].tolist(), strict=True))

    def _spaced(self, block: Floats, axis: int, places: list[float]) -> list[float]:
        """Return the places that leave no strip too narrow, from the first on."""
        kept: list[float] = []
        for place in places:
            before = kept[-1] if kept else float(block[axis])
            if min(place - before, float(block[axis + 2]) - place) >= self.options.least_strip:
                kept.append(place)
        return kept

    def _best(self, block: Floats, axis: int, gaps: list[tuple[float, float]]) -> float | None:
        """Return the middle of the gap that is widest and least far from the block's middle."""
        low, high = float(block[axis]), float(block[axis + 2])

        def worth(gap: tuple[float, float]) -> float:
            share = ((gap[0] + gap[1]) / 2 - low) / (high - low)
            return (gap[1] - gap[0]) * (1 - abs(2 * share - 1))

        fitting = [gap for gap in gaps if self._spaced(block, axis, [(gap[0] + gap[1]) / 2])]
        if not fitting:
            return None
        best = max(fitting, key=worth)
        return (best[0] + best[1]) / 2

    def _relief(self, block: Floats) -> Iterator[WeedLine]:
        """Yield cuts from both long sides in to the film, one for each strip's length of them."""
        axis = 0 if block[2] - block[0] >= block[3] - block[1] else 1
        low, high = float(block[axis]), float(block[axis + 2])
        count = max(int((high - low) // self.options.strip), 1)
        edges = np.linspace(low, high, count + 1)
        for start, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
            yield from self._reliefs(block, axis, start + (end - start) / 3, end - (end - start) / 3)

    def _reliefs(self, block: Floats, axis: int, low: float, high: float) -> Iterator[WeedLine]:
        """Yield a cut from each long side between two places, where the way to the film is shortest."""
        places = np.linspace(low, high, _PROBES)
        middle = np.abs(places - (low + high) / 2)
        strip = block.copy()
        strip[axis], strip[axis + 2] = low - 1, high + 1
        # Only what lies there: a difference takes as long as the whole of what it is made with.
        near = shapely.intersection(self.near, shapely.box(*strip))
        for side, other in ((1 - axis, 3 - axis), (3 - axis, 1 - axis)):
            ends = np.empty((_PROBES, 2, 2))
            ends[:, :, axis] = places[:, None]
            ends[:, 0, 1 - axis], ends[:, 1, 1 - axis] = block[side], block[other]
            free = [shapely.difference(shapely.LineString(one), near) for one in ends]
            runs = [
                _first(part, start, self.options.clearance * 1.01)
                for part, start in zip(free, ends[:, 0], strict=True)
            ]
            lengths = [np.inf if run is None else float(np.hypot(*(run[1] - run[0]))) for run in runs]
            best = min(range(_PROBES), key=lambda i: (round(lengths[i], 3), middle[i]))
            run = runs[best]
            if run is None or lengths[best] < _LEAST:
                continue
            yield _line("relief", run[0], run[1])
            if lengths[best] >= float(block[3 - axis] - block[1 - axis]) - _SLACK:
                return  # it has come out on the other side


def _spanning(block: Floats, axis: int, at: float) -> tuple[Floats, Floats]:
    start, end = block[:2].copy(), block[2:].copy()
    start[axis] = end[axis] = at
    return start, end


def _first(free: BaseGeometry, start: Floats, within: float) -> Floats | None:
    """Return the run of ``free`` that begins at ``start``, or as near to it as film at the very edge allows."""
    for part in shapely.get_parts(free):
        points: Floats = shapely.get_coordinates(part)
        if len(points) and np.abs(points[0] - start).max() <= within + _SLACK:
            return points[[0, -1]]
    return None


def _enclosed(
    part: BaseGeometry, inner: BaseGeometry, near: BaseGeometry, options: WeedingSpec
) -> Iterator[WeedLine]:
    """Yield cuts in a piece of enclosed waste that is longer than a strip; ``inner`` is what stands in it."""
    parted = _Parting(inner, near, options).lines(part.bounds) if not inner.is_empty else ()
    ends = np.array([[line.start, line.end] for line in parted]).reshape(-1, 2, 2)
    if not len(ends):
        ends = _across(part.bounds, options)
    if not len(ends):
        return
    room = shapely.difference(part, near)
    for run in shapely.get_parts(shapely.intersection(np.asarray(shapely.linestrings(ends)), room)):
        if run.geom_type == "LineString" and run.length >= _LEAST:
            points: Floats = shapely.get_coordinates(run)
            yield _line("inside", points[0], points[-1])


def _across(box: Box, options: WeedingSpec) -> Floats:
    """Return lines (n, 2, 2) across the longer side of a box that part it into strips of equal length."""
    axis = 0 if box[2] - box[0] >= box[3] - box[1] else 1
    low, high = box[axis], box[axis + 2]
    count = max(int(np.ceil((high - low) / options.strip)), 1)
    ends = np.empty((count - 1, 2, 2))
    ends[:, :, axis] = np.linspace(low, high, count + 1)[1:-1, None]
    ends[:, :, 1 - axis] = box[1 - axis], box[3 - axis]
    return ends


def _line(kind: LineKind, start: Floats, end: Floats) -> WeedLine:
    a, b = (float(start[0]), float(start[1])), (float(end[0]), float(end[1]))
    return WeedLine(kind=kind, start=a, end=b, length=float(np.hypot(b[0] - a[0], b[1] - a[1])))
