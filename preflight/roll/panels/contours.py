"""A film's mended contours, panel by panel, in (u, v)."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Floats, Path, flatten
from preflight.geometry.fills import fill_regions
from preflight.repair import FLATTENING
from preflight.repair.fewer_nodes import fitted
from preflight.repair.resolve import polygon_path
from preflight.repair.uniting import is_sound
from preflight.roll.panels.clipping import ClipError, clipped
from preflight.roll.panels.parts import TOUCH, Across, Widths
from preflight.roll.panels.view import panel_region


class Contours:
    """Closed contours of one film and the seams that part it; mm."""

    def __init__(self, path: Path, widths: Widths, seams: Floats) -> None:
        """``path`` is not empty, and its contours are edges of the film only, each once."""
        self.path, self.seams = path, seams
        self.region = filled(path)
        self.across = Across(self.region, widths)

    @cached_property
    def _by_part(self) -> list[Path]:
        """The contours of each of the region's parts."""
        return contours_by_part(self.path, self.across.parts)

    def panel(self, place: int) -> tuple[Path, BaseGeometry]:
        """Return the contours of a panel, counted from 0, and the region that they must enclose.

        The region is found without them. Contours that meet no seam are kept node for node; where splitting
        at a seam does not give the region, the flattened region with fitted curves takes the contours' place.
        """
        wanted = panel_region(self.across, self.seams, place)
        low = float(self.seams[place - 1]) if place > 0 else -np.inf
        high = float(self.seams[place]) if place < len(self.seams) else np.inf
        kept = []
        for index, (a, b) in enumerate(zip(self.across.low, self.across.high, strict=True)):
            if b > low + TOUCH and a < high - TOUCH:
                kept.append(self._part(index, low, high))
        return Path.joined(kept), wanted

    def _part(self, index: int, low: float, high: float) -> Path:
        path, half = self._by_part[index], self.across.widths.lap / 2
        cut_low = self.across.low[index] < low - TOUCH
        cut_high = self.across.high[index] > high + TOUCH
        if not (cut_low or cut_high):
            return path
        alone = Across(self.across.parts[index], self.across.widths)
        place = int(np.isfinite(low))
        ends = np.array([u for u in (low, high) if np.isfinite(u)])
        wanted = panel_region(alone, ends, place)
        try:
            made = path
            if cut_low:
                made = clipped(made, 0, low - half, "above")
            if cut_high:
                made = clipped(made, 0, high + half, "below")
            made = _within(made, low, high)
            if is_sound(made, wanted, FLATTENING):
                return made
        except ClipError:
            pass  # the flattened region stands in, as it does where the check above fails
        return fitted(polygon_path(shapely.orient_polygons(wanted)))[0]


def filled(path: Path) -> BaseGeometry:
    """Return what closed contours enclose, by curves flattened as the proof of a mend does."""
    return fill_regions(flatten([path], FLATTENING), [False])[0]


def contours_by_part(path: Path, parts: np.ndarray) -> list[Path]:
    """Return the contours of each of ``parts`` (polygons), which are the region that ``path`` encloses."""
    starts = shapely.points(path.controls[path.starts, 0])
    rings, owner = shapely.get_rings(parts, return_index=True)
    nearest = owner[shapely.STRtree(rings).nearest(starts)]
    order = np.argsort(nearest, kind="stable")
    bounds = np.searchsorted(nearest[order], np.arange(len(parts) + 1))
    return [
        Path.joined([path.subpath(int(k)) for k in order[bounds[part] : bounds[part + 1]]])
        for part in range(len(parts))
    ]


def _within(path: Path, low: float, high: float) -> Path:
    """Leave out the pieces that lie past a seam: they are the neighbour's, and no lap holds them here."""
    parts = np.array([p for p in shapely.get_parts(filled(path)) if p.geom_type == "Polygon"], object)
    if not len(parts):
        return Path.empty()
    boxes = shapely.bounds(parts)
    own = (boxes[:, 2] > low + TOUCH) & (boxes[:, 0] < high - TOUCH)
    if own.all():
        return path
    return Path.joined([part for part, here in zip(contours_by_part(path, parts), own, strict=True) if here])
