"""Lettering measured from outlines: which pieces stand in a line, how high, how thick and how close.

An outline does not say which letter it is. What is measured here is what can be told without
reading: pieces that stand side by side on one level baseline, at most twice as high as each other.
Heights, gaps and strokes are measured on them; a straight upright bar and a round ring as tall as
the rest are told apart by their shape alone. Script whose letters touch, lettering on a curve or at
an angle, and single letters are not found.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.artwork import Box
from preflight.curves import Bools, Floats, Ints
from preflight.geometry.gather import linked

if TYPE_CHECKING:
    from preflight.films import Film

SMALLEST = 1.0
"""Pieces lower than this (mm) are not looked at as letters."""

FEWEST = 3
"""So many pieces on one baseline are a line of lettering."""

_WIDEST = 2.0
"""A piece wider than this many heights is no letter."""
_THICKEST = 0.32
"""A piece of more area than this many heights times half its outline is a blot, not made of strokes.

A bar much longer than wide of thickness s has 2 area / outline = s; a disc of height h has h / 2, a diamond 0.35 h.
The letters of the heaviest faces tried have up to 0.31 h, but for a few of one face.
"""
_USUAL_GAP = 0.6
"""Pieces that usually stand farther apart than this many heights are things in a row, not a word."""
_REACH = 1.0
"""Pieces farther apart than this many heights are of different lines."""
_LEVEL = 0.05
"""Bottoms that differ by less than this share of the height stand on one baseline: round letters hang lower."""
_DESCENT = 0.45
"""Descenders reach less than this share of the height below the baseline."""
_TALL = 0.88
"""Pieces at least this share of the highest are tall: capitals, figures and letters with ascenders."""
_ROUND = 0.04
"""Round letters are higher than flat ones by less than this share."""
_LEVELS = np.linspace(0.2, 0.8, 13)
"""Where strokes are measured, as shares of the height."""


@dataclass(frozen=True, eq=False)
class Line:
    """One level line of lettering. Lengths in mm."""

    pieces: np.ndarray
    """The letters' areas (n,), from left to right; letters with descenders are among them."""
    baseline: float
    """y of the baseline."""
    height: float
    """Height of the flat ones among the tall pieces: capitals, where there are any."""
    one_height: bool
    """Whether all pieces are equally high, so that capitals and small letters cannot be told apart."""

    @cached_property
    def box(self) -> Box:
        """The line's bounds."""
        x0, y0, x1, y1 = shapely.total_bounds(self.pieces).tolist()
        return (x0, y0, x1, y1)

    @cached_property
    def gaps(self) -> Floats:
        """Shortest distance of each piece to the next, shape (n - 1,); word spaces are among them."""
        gaps: Floats = shapely.distance(self.pieces[:-1], self.pieces[1:])
        return gaps

    @cached_property
    def _sizes(self) -> Floats:
        """Width and height of each piece, shape (n, 2)."""
        boxes = shapely.bounds(self.pieces)
        sizes: Floats = boxes[:, 2:] - boxes[:, :2]
        return sizes

    @property
    def _as_tall(self) -> Bools:
        tall: Bools = np.abs(self._sizes[:, 1] / self.height - 1) <= 2 * _ROUND
        return tall

    @cached_property
    def bars(self) -> Floats:
        """Widths of the tall pieces that are straight upright bars, as a capital I without serifs is."""
        width, height = self._sizes.T
        full = shapely.area(self.pieces) >= 0.98 * width * height
        bars: Floats = width[full & self._as_tall & (width < 0.5 * height)]
        return bars

    @cached_property
    def rings(self) -> Floats:
        """Widths of the tall pieces that are round rings, as a capital O and a zero are."""
        chosen = [index for index in np.flatnonzero(self._as_tall) if _is_ring(self.pieces[index])]
        rings: Floats = self._sizes[chosen, 0]
        return rings

    @cached_property
    def stroke(self) -> float | None:
        """The usual thickness of an upright stroke: the median of the level chords; None: no chords.

        Chords as long as half the height or more are bars and arms, and are left out. Slanted and
        curved strokes are measured a little too thick.
        """
        lengths = _chords(self.pieces)
        lengths = lengths[lengths < 0.5 * self.height]
        return float(np.median(lengths)) if len(lengths) else None


def lettering_of(films: Iterable[Film]) -> tuple[tuple[Film, Line], ...]:
    """Return the lines in all films.

    Where letters of one film lie in the openings of another, each letter is found twice: as a piece and
    as an opening. The line that comes first is kept.
    """
    found: list[tuple[Film, Line]] = []
    for film in films:
        for line in lines_of(film.region):
            if not any(_same_place(line.box, other.box) for _, other in found):
                found.append((film, line))
    return tuple(found)


def _same_place(one: Box, other: Box) -> bool:
    return all(abs(a - b) <= SMALLEST for a, b in zip(one, other, strict=True))


def lines_of(region: BaseGeometry) -> list[Line]:
    """Return the lines of lettering among the pieces of ``region``, and among what is cut out of a piece.

    Lines are in order from the top, then from the left.
    """
    parts = shapely.get_parts(region)
    found = _lines(parts)
    # Letters cut out of a plate are holes in it; counters of a letter are no more than two.
    for plate in parts[shapely.get_num_interior_rings(parts) >= FEWEST]:
        holes = np.asarray(shapely.polygons(shapely.get_rings(plate)[1:]), object)
        found.extend(_lines(shapely.get_parts(shapely.difference(shapely.multipolygons(holes), region))))
    return sorted(found, key=lambda line: (line.baseline, line.box))


def _lines(parts: np.ndarray) -> list[Line]:
    if len(parts) < FEWEST:
        return []
    boxes = shapely.bounds(parts)
    width, height = boxes[:, 2] - boxes[:, 0], boxes[:, 3] - boxes[:, 1]
    strokes = 2 * shapely.area(parts) <= _THICKEST * height * shapely.length(parts)
    letters = np.flatnonzero((height >= SMALLEST) & (width <= _WIDEST * height) & strokes)
    parts, boxes, width, height = parts[letters], boxes[letters], width[letters], height[letters]
    found = []
    for members in linked(len(parts), *_neighbours(boxes)):
        if len(members) < FEWEST:
            continue
        line = _line(parts[members], boxes[members])
        if line is not None:
            found.append(line)
    return found


def _line(parts: np.ndarray, boxes: Floats) -> Line | None:
    """Return the line that pieces side by side make, or None where they are no lettering."""
    bottoms, width, height = boxes[:, 3], boxes[:, 2] - boxes[:, 0], boxes[:, 3] - boxes[:, 1]
    # Most pieces stand on the baseline; those that reach below it have descenders.
    level = np.abs(bottoms[:, None] - bottoms) <= _LEVEL * height.max()
    standing = level[int(np.argmax(level.sum(axis=1)))]
    if standing.sum() < FEWEST or not _varied(parts[standing], width[standing], height[standing]):
        return None
    high = height[standing]
    tall = high[high >= _TALL * high.max()]
    cap = float(np.median(tall[tall <= tall.min() * (1 + _ROUND)]))
    # Flat letters stand on the baseline, round ones hang a little lower.
    lowest = bottoms[standing].min() + 0.01 * cap
    baseline = float(np.median(bottoms[standing & (bottoms <= lowest)]))
    hanging = (bottoms > baseline) & (boxes[:, 1] < baseline - 0.4 * cap)
    every = np.flatnonzero(standing | hanging)
    every = every[np.argsort(boxes[every, 0], kind="stable")]
    line = Line(parts[every], baseline, cap, bool(high.min() >= high.max() * (1 - 2 * _ROUND)))
    return line if float(np.median(line.gaps)) <= _USUAL_GAP * cap else None


def _neighbours(boxes: Floats) -> tuple[Ints, Ints]:
    """Return the pairs of boxes that stand side by side on one baseline, or one of them with a descender."""
    x0, y0, x1, y1 = boxes.T
    height = y1 - y0
    reach = _REACH * height / 2
    strips = shapely.box(x0 - reach, y1 - _LEVEL * height, x1 + reach, y1 + _DESCENT * height)
    a, b = shapely.STRtree(strips).query(strips, predicate="intersects")
    a, b = a[a < b], b[a < b]
    high, low = np.maximum(height[a], height[b]), np.minimum(height[a], height[b])
    lap = np.minimum(x1[a], x1[b]) - np.maximum(x0[a], x0[b])
    narrow = np.minimum(x1[a] - x0[a], x1[b] - x0[b])
    beside = (low >= 0.5 * high) & (lap <= np.maximum(0.3 * narrow, 0))
    shift = np.abs(y1[a] - y1[b])
    # A letter with a descender begins at a letter's height: at least 0.4 of it lies above the baseline.
    above = np.minimum(y1[a], y1[b]) - np.maximum(y0[a], y0[b])
    hangs = (shift <= _DESCENT * high) & (above >= 0.4 * high)
    beside &= (shift <= _LEVEL * high) | hangs
    return a[beside], b[beside]


def _varied(parts: np.ndarray, width: Floats, height: Floats) -> bool:
    """Return whether the pieces differ as letters of a word do, unlike bars of a fence or a symmetrical figure."""
    measures = np.stack((np.sqrt(shapely.area(parts)), width, height), axis=1)
    alike = np.all(
        np.abs(measures[:, None] - measures) <= 0.02 * np.maximum(measures[:, None], measures), axis=2
    )
    different = len(linked(len(parts), *np.nonzero(alike)))
    return different >= min(FEWEST, (len(parts) + 1) // 2)


def _is_ring(piece: BaseGeometry) -> bool:
    """Return whether a piece is round outside and inside, and alike on all four sides."""
    rings = shapely.get_rings(piece)
    if len(rings) != 2:
        return False
    discs = np.asarray(shapely.polygons(rings), object)
    areas: Floats = np.asarray(shapely.area(discs))
    boxes = shapely.bounds(discs)
    sizes = boxes[:, 2:] - boxes[:, :2]
    middles = (boxes[:, 2:] + boxes[:, :2]) / 2
    off = np.abs(shapely.get_coordinates(shapely.centroid(discs)) - middles) / sizes
    hulls = shapely.area(shapely.convex_hull(discs))
    # An ellipse fills pi / 4 of its box, a rounded rectangle more, and a D is off its middle.
    return bool(np.all(areas >= 0.99 * hulls) and np.all(off < 0.015) and areas[0] < 0.95 * sizes[0].prod())


def _chords(pieces: np.ndarray) -> Floats:
    """Return the lengths of the level chords inside the pieces, at `_LEVELS` of each one's height."""
    rings, owner = shapely.get_rings(pieces, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    same = np.flatnonzero(ring[1:] == ring[:-1])
    start, end, piece = points[same], points[same + 1], owner[ring[same]]
    boxes = shapely.bounds(pieces)
    levels = boxes[:, 1, None] + (boxes[:, 3] - boxes[:, 1])[:, None] * _LEVELS
    at = levels[piece]
    edge, level = np.nonzero((start[:, 1, None] <= at) != (end[:, 1, None] <= at))
    share = (at[edge, level] - start[edge, 1]) / (end[edge, 1] - start[edge, 1])
    x = start[edge, 0] + share * (end[edge, 0] - start[edge, 0])
    order = np.lexsort((x, level, piece[edge]))
    # A closed outline is crossed an even number of times at every level: in, out, in, out.
    ends = x[order].reshape(-1, 2)
    lengths: Floats = ends[:, 1] - ends[:, 0]
    return lengths
