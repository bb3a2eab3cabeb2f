"""Pieces of film so small that they are told as a whole, not as a strip that is too narrow.

A piece or a hole is a speck where its area is under the film's limit and it is compact: at most three
times as long as wide, and covering a third of the rectangle round it at least. What is longer is a strip,
and what covers less is a ring or a frame of strips, which `thin-feature` and `narrow-gap` speak of.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.analysis import Analysis
from preflight.artwork import Box
from preflight.curves import Floats
from preflight.films import Film
from preflight.report.model import Severity

COMPACT = 3.0
"""A piece longer than this many times its width is a strip."""

COVERED = 1 / 3
"""A piece that covers less of the smallest rectangle round it is made of strips."""

NOISE = 1e-3
"""Pieces of less area than this (mm2) are leftovers of overlays, not something a person drew."""


@dataclass(frozen=True, slots=True)
class Speck:
    """One small piece or hole: area in mm2, sides of the smallest rectangle round it in mm, short one first."""

    outline: BaseGeometry
    area: float
    short: float
    long: float
    box: Box
    point: tuple[float, float]


def small_islands(film: Film) -> list[Speck]:
    """Return the separate pieces of film that are specks."""
    return _specks(shapely.get_parts(film.region), film.limits.island_area.warning)


def small_counters(film: Film) -> list[Speck]:
    """Return the holes in the film that are specks."""
    parts = shapely.get_parts(film.region)
    rings, owner = shapely.get_rings(parts, return_index=True)
    # The first ring of each part is its outside.
    inner = np.append(False, owner[1:] == owner[:-1]) if len(owner) else np.zeros(0, bool)
    return _specks(shapely.polygons(rings[inner]), film.limits.island_area.warning)


def holding(specks: list[Speck], points: list[tuple[float, float]]) -> list[bool]:
    """Return for every point whether it lies in one of the specks, edges included."""
    if not specks or not points:
        return [False] * len(points)
    tree = shapely.STRtree([speck.outline for speck in specks])
    found = np.zeros(len(points), bool)
    found[tree.query(shapely.points(points), predicate="intersects")[0]] = True
    held: list[bool] = found.tolist()
    return held


def told_as_islands(analysis: Analysis, film: Film, points: list[tuple[float, float]]) -> list[bool]:
    """Return for every point whether it lies in a small piece that `tiny-island` reports as a whole."""
    if not points or analysis.job.severity_of("tiny-island", "island", Severity.WARNING) is None:
        return [False] * len(points)
    return holding(small_islands(film), points)


def _specks(pieces: np.ndarray, limit: float) -> list[Speck]:
    areas = shapely.area(pieces)
    chosen = np.flatnonzero((areas < limit) & (areas > NOISE))
    if not len(chosen):
        return []
    small = pieces[chosen]
    sides = _sides(small)
    solid = areas[chosen] >= COVERED * sides[:, 0] * sides[:, 1]
    compact = np.flatnonzero(solid & (sides[:, 1] <= COMPACT * sides[:, 0]))
    boxes = shapely.bounds(small)
    spots = shapely.get_coordinates(shapely.point_on_surface(small))
    return [
        Speck(
            small[i],
            float(areas[chosen[i]]),
            float(sides[i, 0]),
            float(sides[i, 1]),
            (float(boxes[i, 0]), float(boxes[i, 1]), float(boxes[i, 2]), float(boxes[i, 3])),
            (float(spots[i, 0]), float(spots[i, 1])),
        )
        for i in compact.tolist()
    ]


def _sides(pieces: np.ndarray) -> Floats:
    """Return the sides of the smallest rectangle round each piece, short one first, shape (n, 2)."""
    sides = np.zeros((len(pieces), 2))
    for index, frame in enumerate(shapely.oriented_envelope(pieces)):
        corners = shapely.get_coordinates(frame)
        if len(corners) >= 4:
            sides[index] = np.sort(np.hypot(*(corners[1:3] - corners[:2]).T))
    return sides
