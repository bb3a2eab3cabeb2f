"""From the artwork as drawn to the sign as it is put up, and to (u, v) across and along the seams."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.analysis import Analysis
from preflight.artwork import Box
from preflight.curves import Floats
from preflight.roll.panels.options import Seams
from preflight.roll.panels.parts import TOUCH, Across


def as_put_up(analysis: Analysis, region: BaseGeometry) -> BaseGeometry:
    """Return a region (mm, as drawn) as whoever puts the sign up sees it."""
    if not analysis.job.cut_mirrored:
        return region
    move = np.array([analysis.artwork.width, 0.0])
    turned: BaseGeometry = shapely.transform(region, lambda points: points * (-1.0, 1.0) + move)
    return turned


def crosswise(region: BaseGeometry, run: Seams) -> BaseGeometry:
    """Return a region with u for x and v for y: swapped for horizontal seams. Its own inverse."""
    if run == "vertical":
        return region
    swapped: BaseGeometry = shapely.transform(region, lambda points: points[:, ::-1])
    return swapped


def box_of(region: BaseGeometry, run: Seams = "vertical", digits: int = 3) -> Box:
    """Return the bounds of a region, rounded; those of one in (u, v) as they are on the sign."""
    x0, y0, x1, y1 = (round(float(value), digits) for value in region.bounds)
    return (x0, y0, x1, y1) if run == "vertical" else (y0, x0, y1, x1)


def panel_region(across: Across, seams: Floats, place: int) -> BaseGeometry:
    """Return the film of one panel in (u, v), counted from 0: what lies between its seams, and laps past them.

    A part that a seam does not cut belongs whole to the side that it lies on; a lap is what is connected
    with the panel's own film.
    """
    low = float(seams[place - 1]) if place > 0 else -np.inf
    high = float(seams[place]) if place < len(seams) else np.inf
    half, (_, v0, _, v1) = across.widths.lap / 2, across.region.bounds
    kept: list[BaseGeometry] = []
    for a, b, part in zip(across.low, across.high, across.parts, strict=True):
        if b <= low + TOUCH or a >= high - TOUCH:
            continue
        cut_low, cut_high = a < low - TOUCH, b > high + TOUCH
        if not (cut_low or cut_high):
            kept.append(part)
            continue
        frame = shapely.box(low - half if cut_low else a, v0, high + half if cut_high else b, v1)
        for piece in shapely.get_parts(shapely.intersection(part, frame)):
            p0, _, p1, _ = piece.bounds
            if piece.geom_type == "Polygon" and p1 > low + TOUCH and p0 < high - TOUCH:
                kept.append(piece)
    region: BaseGeometry = shapely.MultiPolygon(
        [piece for piece in kept if isinstance(piece, shapely.Polygon)]
    )
    return region
