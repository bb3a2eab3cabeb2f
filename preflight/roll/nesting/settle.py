"""What an engine laid too near is moved along the strip until it is right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from preflight.roll.nesting.model import Piece, Placement, Strip

_LEAST = 0.005
"""A step along the strip, mm."""


def settled(placements: Sequence[Placement], pieces: Sequence[Piece], strip: Strip) -> tuple[Placement, ...]:
    """Return the placements with all pieces inside the width and at least the gap apart.

    What reaches over an edge is moved back across the strip. Then, in the order of the pieces'
    centroids, each that is nearer than the gap to an earlier one is moved on along the strip, and all
    later ones with it. Raises nothing: at worst the pieces lie one behind the other.
    """
    known = {piece.key: piece for piece in pieces}
    regions = np.array([known[p.key].at(p.turn, p.x, p.y) for p in placements], object)
    boxes = shapely.bounds(regions)
    across = np.maximum(-boxes[:, 0], 0.0) - np.maximum(boxes[:, 2] - strip.width, 0.0)
    regions = np.array([_moved(r, float(dx), 0.0) for r, dx in zip(regions, across, strict=True)], object)
    middles = shapely.get_y(shapely.centroid(regions))
    along, moved = np.zeros(len(regions)), 0.0
    laid: list[shapely.Geometry] = []
    for index in np.argsort(middles, kind="stable").tolist():
        region = _moved(regions[index], 0.0, moved)
        earlier = np.array(laid, object)
        while len(earlier) and (near := float(shapely.distance(earlier, region).min())) < _apart(strip):
            if near == 0.0 and strip.gap == 0.0 and not _overlaps(earlier, region, strip):
                break
            step = max(strip.gap - near, _LEAST)
            moved += step
            region = _moved(region, 0.0, step)
        along[index] = moved
        laid.append(region)
    return tuple(
        replace(place, x=place.x + float(dx), y=place.y + float(dy))
        for place, dx, dy in zip(placements, across, along, strict=True)
    )


def _apart(strip: Strip) -> float:
    return strip.gap if strip.gap > 0 else 1e-9


def _overlaps(earlier: np.typing.NDArray[np.object_], region: shapely.Geometry, strip: Strip) -> bool:
    overlap = shapely.intersection(earlier, region)
    return bool((shapely.area(shapely.buffer(overlap, -strip.width * 2e-7)) > 0).any())


def _moved(region: shapely.Geometry, across: float, along: float) -> shapely.Geometry:
    moved: shapely.Geometry = shapely.transform(region, lambda c: np.add(c, (across, along)))
    return moved
