"""Registration marks: crosses of standing film outside the graphic, the same on both panels beside a seam.

They stay on the transfer tape like the graphic. Once the second panel's marks lie on the first one's, it is
in its place; then all of them are taken off.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Path
from preflight.job import ResolvedLimits
from preflight.roll.panels.model import MarkShape

_LEAST_ARM = 2.0
"""Narrowest arm, mm: what can be seen and pulled off again. Common practice, no source."""
_LEAST_CLEAR = 3.0
"""Least distance of a mark to the graphic, mm: room for a finger nail. Common practice, no source."""


def mark_shape(limits: ResolvedLimits, arm: float | None) -> MarkShape:
    """Return what marks look like on a film with these ``limits``: arms that are no thin part, no narrow gap."""
    least = max(limits.solid_part.warning, math.sqrt(limits.island_area.warning / 5), _LEAST_ARM)
    wide = math.ceil(least * 2) / 2 if arm is None else arm
    clear = max(_LEAST_CLEAR, limits.gap.warning)
    return MarkShape(span_mm=3 * wide, arm_mm=wide, clear_mm=clear)


def cross(u: float, v: float, shape: MarkShape) -> Path:
    """Return a cross about (u, v) as one closed contour, mm."""
    a, b = shape.arm_mm / 2, shape.span_mm / 2
    corners = [(-b, -a), (-a, -a), (-a, -b), (a, -b), (a, -a), (b, -a)]
    corners += [(b, a), (a, a), (a, b), (-a, b), (-a, a), (-b, a)]
    return Path.polygon(np.array(corners) + (u, v))  # noqa: RUF005  (an array's sum, no longer list)


def mark_places(
    seam: float, box: tuple[float, float, float, float], shape: MarkShape, others: BaseGeometry
) -> tuple[tuple[float, float], ...]:
    """Return the centres of the marks before and after the graphic along a seam, and how far each is from it.

    ``box`` bounds the film in (u, v), ``others`` is what all other films show: where a mark would lie on
    that, it moves out past all of it. Returns (v, distance to the film's bounds) for both.
    """
    half, clear = shape.span_mm / 2, shape.clear_mm
    beyond = others.bounds if not others.is_empty else box
    found = []
    for edge, far, way in ((box[1], beyond[1], -1), (box[3], beyond[3], 1)):
        v = edge + way * (clear + half)
        around = shapely.box(seam - half - clear, v - half - clear, seam + half + clear, v + half + clear)
        if shapely.intersects(others, around):
            v = (min if way < 0 else max)(edge, far) + way * (clear + half)
        found.append((v, abs(v - edge) - half))
    return tuple(found)
