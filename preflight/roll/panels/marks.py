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
_APART, _TRIED = 8, 40
"""Marks in a gap are at least so many spans apart; so many places are tried for each."""
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
    seam: float,
    film: BaseGeometry,
    others: BaseGeometry,
    shape: MarkShape,
    shared: tuple[float, float] | None,
) -> tuple[tuple[float, float], ...]:
    """Return where along a seam its two marks lie, and how far each is from the nearest film, mm.

    All in (u, v). ``shared`` is the stretch of v that the film on both sides of a seam without film has in
    common: where the gap is wide enough, marks lie in it near the ends of that stretch, so that no panel gets
    longer for them. Else they lie before and after the ``film``, past ``others`` (what all other films show)
    where they would lie on those.
    """
    everything = shapely.union(film, others)
    inner = _in_gap(seam, everything, shape, shared) if shared is not None else None
    spots = inner or _outside(seam, film, others, shape)
    return tuple((v, float(shapely.distance(_box(seam, v, shape.span_mm / 2), everything))) for v in spots)


def _box(u: float, v: float, reach: float) -> BaseGeometry:
    return shapely.box(u - reach, v - reach, u + reach, v + reach)


def _in_gap(
    seam: float, film: BaseGeometry, shape: MarkShape, shared: tuple[float, float]
) -> tuple[float, float] | None:
    """Return places in the gap of a seam, each in its end quarter of the shared stretch; None: there are none."""
    low, high = shared[0] + shape.span_mm / 2, shared[1] - shape.span_mm / 2
    if high - low < _APART * shape.span_mm:
        return None
    steps = np.linspace(0, 1 / 4, _TRIED)
    found = []
    for start, way in ((low, high - low), (high, low - high)):
        spots = start + steps * way
        boxes = [_box(seam, float(v), shape.span_mm / 2 + shape.clear_mm) for v in spots]
        free = np.flatnonzero(~shapely.intersects(film, np.array(boxes, object)))
        if not len(free):
            return None
        found.append(float(spots[free[0]]))
    return found[0], found[1]


def _outside(seam: float, film: BaseGeometry, others: BaseGeometry, shape: MarkShape) -> tuple[float, float]:
    half, clear = shape.span_mm / 2, shape.clear_mm
    beyond = others.bounds if not others.is_empty else film.bounds
    found = []
    for edge, far, way in ((film.bounds[1], beyond[1], -1), (film.bounds[3], beyond[3], 1)):
        v = edge + way * (clear + half)
        if shapely.intersects(others, _box(seam, v, half + clear)):
            v = (min if way < 0 else max)(edge, far) + way * (clear + half)
        found.append(v)
    return found[0], found[1]
