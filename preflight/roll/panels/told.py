"""What a plan tells of its seams: what they cut, what goes first, where the marks are."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from preflight.analysis import Analysis
from preflight.artwork import Box
from preflight.curves import Floats
from preflight.errors import printable, shortened
from preflight.films import Film
from preflight.geometry.fills import ring_segments
from preflight.roll.panels.harm import crossings
from preflight.roll.panels.model import Mark, PartCut, Seam
from preflight.roll.panels.options import Seams
from preflight.roll.panels.parts import Across
from preflight.roll.panels.view import as_put_up
from preflight.roll.panels.ways import Asked, Way
from preflight.roll.panels.wording import seam_order

_PARTS, _NAMES = 20, 4


def seams_of(
    asked: Asked, way: Way, numbers: Sequence[int], marks: Sequence[Sequence[tuple[float, float]]]
) -> tuple[Seam, ...]:
    """Return the seams of ``way`` as they are shown. ``numbers`` are the panels' by place."""
    names = _Names(asked.analysis, asked.film)
    across, run, order = way.across, way.run, way.order
    found = []
    for k, u in enumerate(way.parting.seams.tolist()):
        parts = _parts_cut(across, u, run, names)
        through = bool(parts)
        gap = None if through else across.gap(u)
        first = last = None
        pair = (numbers[k], numbers[k + 1])
        if through and (order.known or across.widths.lap == 0):
            first, last = min(pair), max(pair)
        on_top = last if across.widths.lap > 0 else None
        edge = _edge(run, on_top == pair[0])
        found.append(
            Seam(
                number=k + 1,
                position_mm=round(u, 3),
                through_film=through,
                lap_mm=across.widths.lap if through else 0.0,
                gap_mm=None if gap is None else round(gap[1] - gap[0], 3),
                cut_mm=round(sum(part.cut_mm for part in parts), 3),
                parts=tuple(parts[:_PARTS]),
                parts_total=len(parts),
                holes_total=int(across.holes(np.array([u]))[0]),
                panels=pair,
                first=first,
                on_top=on_top,
                order=seam_order(
                    order.why,
                    through=through,
                    first=first,
                    on_top=on_top,
                    gap=None if gap is None else gap[1] - gap[0],
                    edge=edge,
                    bare=across.widths.mark > 0 and not way.parting.marked[k],
                ),
                marks=tuple(_mark(u, v, apart, run) for v, apart in marks[k]),
            )
        )
    return tuple(found)


def _edge(run: Seams, before_on_top: bool) -> str:
    """Return which edge of the panel on top lies at the seam."""
    if run == "vertical":
        return "right" if before_on_top else "left"
    return "lower" if before_on_top else "upper"


def _mark(u: float, v: float, apart: float, run: Seams) -> Mark:
    x, y = (u, v) if run == "vertical" else (v, u)
    return Mark(x_mm=round(x, 3), y_mm=round(y, 3), from_graphic_mm=round(apart, 3))


def _parts_cut(across: Across, u: float, run: Seams, names: _Names) -> list[PartCut]:
    found = []
    for index in across.crossed(u).tolist():
        part = across.parts[index]
        spots = crossings(ring_segments(shapely.get_rings([part])), u)[:, 0]
        x0, y0, x1, y1 = part.bounds
        box = (x0, y0, x1, y1) if run == "vertical" else (y0, x0, y1, x1)
        runs = np.stack((spots[0::2], spots[1::2]), axis=1)
        found.append(
            PartCut(
                box=_box(box),
                area_mm2=round(float(part.area), 3),
                cut_mm=round(float((runs[:, 1] - runs[:, 0]).sum()), 3),
                could_be_whole=bool(x1 - x0 <= across.widths.room),
                shapes=names.at(u, runs.mean(axis=1), run),
            )
        )
    return sorted(found, key=lambda part: (-part.cut_mm, part.box))


def _box(box: Box) -> Box:
    x0, y0, x1, y1 = (round(value, 3) for value in box)
    return (x0, y0, x1, y1)


class _Names:
    """Which shapes of the file paint a place."""

    def __init__(self, analysis: Analysis, film: Film) -> None:
        self._analysis, self._film = analysis, film

    def at(self, u: float, spots: Floats, run: Seams) -> tuple[str, ...]:
        """Return names of the shapes that paint the places ``spots`` along a seam at ``u``."""
        layers = self._analysis.painting.layers
        points = [(u, v) if run == "vertical" else (v, u) for v in spots.tolist()]
        places = as_put_up(self._analysis, shapely.multipoints(points))
        found: list[str] = []
        for index in self._film.layers:
            if shapely.intersects(layers[index].region, places):
                label = self._analysis.shapes[layers[index].shape].origin.label
                found.append(printable(shortened(label)))
        return tuple(dict.fromkeys(found))[:_NAMES]
