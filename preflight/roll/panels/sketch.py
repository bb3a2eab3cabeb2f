"""One film's panels drawn to scale, with seams, laps, marks and lengths. Pixels throughout."""

from __future__ import annotations

from itertools import pairwise

import shapely
from shapely.geometry.base import BaseGeometry

from preflight.colour import plain_colour
from preflight.curves import Floats
from preflight.report.canvas import outline_data, ring_data
from preflight.report.legend import text
from preflight.report.lettering import text_width
from preflight.report.markers import INK
from preflight.roll.layout.drawing import LINE, PAPER, length_across, length_along
from preflight.roll.panels.build import Panelled, Planned
from preflight.roll.panels.marks import cross
from preflight.roll.panels.model import Panel, PanelPlan, Seam
from preflight.roll.panels.parts import TOUCH
from preflight.roll.panels.view import as_put_up, crosswise
from preflight.roll.plain import length
from preflight.units import Unit

SEAM, MARK, LAP = "#c2185b", "#1f5f99", "#c2185b"
_TALL = 560.0
_ERROR = 0.15
"""Error allowed in outlines, px."""
_SIDE, _ROW = 62.0, 30.0
"""Room for lengths beside the sign, and between two rows of brackets, px."""


class Sketch:
    """The drawing of one film's panels."""

    def __init__(
        self, panelled: Panelled, planned: Planned, place: tuple[float, float, float], unit: Unit
    ) -> None:
        """``place`` is left, top and right of the room, px."""
        left, top, right = place
        assert planned.way is not None, "only films in panels are drawn"
        self._planned, self._way, self._unit = planned, planned.way, unit
        self._plan, self._sign = planned.plan, panelled
        shown = panelled.panelling
        frames = [panel.frame for panel in self._plan.panels]
        x0, y0 = min(0.0, *(f[0] for f in frames)), min(0.0, *(f[1] for f in frames))
        x1 = max(shown.width_mm, *(f[2] for f in frames))
        y1 = max(shown.height_mm, *(f[3] for f in frames))
        vertical = self._plan.seams_run == "vertical"
        above, below = (2 * _ROW + 24, 70.0) if vertical else (18.0, 50.0)
        before, after = (_SIDE, 24.0) if vertical else (_SIDE + 20, 2 * _ROW + 150)
        self.scale = min((right - left - before - after) / (x1 - x0), _TALL / (y1 - y0))
        slack = (right - left - before - after) - (x1 - x0) * self.scale
        self._x, self._y = left + before + slack / 2 - x0 * self.scale, top + above - y0 * self.scale
        self._box = (self.px(x0), self.py(y0), self.px(x1), self.py(y1))
        self.bottom = self._box[3] + below

    def px(self, x: float) -> float:
        """Return the pixel, from the left, of x mm on the sign."""
        return self._x + x * self.scale

    def py(self, y: float) -> float:
        """Return the pixel, from the top, of y mm on the sign."""
        return self._y + y * self.scale

    def markup(self) -> str:
        """Return the drawing as SVG elements."""
        vertical = self._plan.seams_run == "vertical"
        parts = [self._ground(), self._films(), self._laps()]
        parts += [self._seam(seam, vertical=vertical) for seam in self._plan.seams]
        parts += [self._mark(seam) for seam in self._plan.seams]
        parts += [self._bracket(panel, vertical=vertical) for panel in self._plan.panels]
        parts.append(self._lengths(vertical=vertical))
        return "".join(parts)

    def _rectangle(self, box: tuple[float, float, float, float], look: str) -> str:
        x0, y0, x1, y1 = box
        return (
            f'<rect x="{self.px(x0):.2f}" y="{self.py(y0):.2f}" width="{(x1 - x0) * self.scale:.2f}"'
            f' height="{(y1 - y0) * self.scale:.2f}" {look}/>'
        )

    def _ground(self) -> str:
        shown = self._sign.panelling
        return self._rectangle((0, 0, shown.width_mm, shown.height_mm), f'fill="#ffffff" stroke="{LINE}"')

    def _films(self) -> str:
        """Return the other films faintly, and this one in its colour."""
        faint = [
            as_put_up(self._sign.analysis, other.film.region)
            for other in self._sign.films
            if other is not self._planned
        ]
        fill = plain_colour(self._plan.colour) or "#b8c2ca"
        out = [f'<path d="{self._data(region)}" fill="#e4e9ed" fill-rule="evenodd"/>' for region in faint]
        out.append(
            f'<path d="{self._data(self._planned.region)}" fill="{fill}" fill-rule="evenodd" stroke="{INK}"'
            ' stroke-width=".5"/>'
        )
        return "".join(out)

    def _data(self, region: BaseGeometry) -> str:
        return outline_data(region.simplify(_ERROR / self.scale), self._moved)

    def _moved(self, points: Floats) -> Floats:
        found: Floats = points * self.scale + (self._x, self._y)
        return found

    def _laps(self) -> str:
        """Return the laps, hatched: what the panels' overlap covers of the film."""
        if not self._plan.lap_mm:
            return ""
        out = []
        across, run = self._way.across, self._way.run
        for seam, u in zip(self._plan.seams, self._way.parting.seams.tolist(), strict=True):
            if not seam.through_film:
                continue
            half, (_, v0, _, v1) = self._plan.lap_mm / 2, across.region.bounds
            strip = shapely.box(u - half, v0, u + half, v1)
            laps = [
                piece
                for part in shapely.get_parts(shapely.intersection(across.parts[across.crossed(u)], strip))
                for piece in shapely.get_parts(part)
                if piece.bounds[0] < u - TOUCH and piece.bounds[2] > u + TOUCH
            ]
            region = crosswise(shapely.MultiPolygon(laps), run)
            out.append(
                f'<path d="{self._data(region)}" fill="#ffffff" fill-opacity=".45" stroke="{LAP}" stroke-width="1"/>'
            )
        return "".join(out)

    def _seam(self, seam: Seam, *, vertical: bool) -> str:
        x0, y0, x1, y1 = self._box
        dash = "" if seam.through_film else ' stroke-dasharray="9 6"'
        if vertical:
            x = self.px(seam.position_mm)
            line = f"M{x:.2f} {y0 - 4:.2f}V{y1 + 12:.2f}"
            tag = _tag(f"seam {seam.number}", x, y1 + 20)
            arrow = self._over(seam, x, y0 - 12, vertical=True)
        else:
            y = self.py(seam.position_mm)
            line = f"M{x0 - 4:.2f} {y:.2f}H{x1 + 12:.2f}"
            wide = text_width(f"seam {seam.number}", 8.2) + 14
            tag = _tag(f"seam {seam.number}", x1 + 14 + wide / 2, y)
            arrow = self._over(seam, x0 - 10, y, vertical=False)
        return f'<path d="{line}" fill="none" stroke="{SEAM}" stroke-width="1.6"{dash}/>{tag}{arrow}'

    def _over(self, seam: Seam, x: float, y: float, *, vertical: bool) -> str:
        """Return an arrow across a seam, from the panel on top over the one underneath."""
        if seam.on_top is None:
            return ""
        way = 1 if seam.on_top == seam.panels[0] else -1
        if vertical:
            tip, tail = x + 15 * way, x - 15 * way
            head = f"M{tip:.2f} {y:.2f}L{tip - 8 * way:.2f} {y - 4:.2f}V{y + 4:.2f}Z"
            shaft = f"M{tail:.2f} {y:.2f}H{tip - 8 * way:.2f}"
        else:
            tip, tail = y + 15 * way, y - 15 * way
            head = f"M{x:.2f} {tip:.2f}L{x - 4:.2f} {tip - 8 * way:.2f}H{x + 4:.2f}Z"
            shaft = f"M{x:.2f} {tail:.2f}V{tip - 8 * way:.2f}"
        return f'<path d="{shaft}" fill="none" stroke="{SEAM}" stroke-width="3"/><path d="{head}" fill="{SEAM}"/>'

    def _mark(self, seam: Seam) -> str:
        if self._plan.mark is None:
            return ""
        out = []
        for mark in seam.marks:
            points = cross(mark.x_mm, mark.y_mm, self._plan.mark).controls[:, 0]
            x, y = self.px(mark.x_mm), self.py(mark.y_mm)
            # Where the cross itself would be too small to be seen, thin lines through it show where it is.
            out.append(f'<path d="{ring_data(self._moved(points))}" fill="{MARK}"/>')
            out.append(
                f'<path d="M{x - 12:.2f} {y:.2f}h24M{x:.2f} {y - 12:.2f}v24" stroke="{MARK}" stroke-width="1.4"/>'
                f'<circle cx="{x:.2f}" cy="{y:.2f}" r="8" fill="none" stroke="{MARK}" stroke-width="1.4"/>'
            )
        return "".join(out)

    def _bracket(self, panel: Panel, *, vertical: bool) -> str:
        """Return a panel's extent across the seams beside the sign, with its number."""
        row = (panel.place - 1) % 2
        f = panel.frame
        border = self._plan.roll.weed_border_mm if self._plan.roll else 0.0
        if vertical:
            low, high = self.px(f[0] + border), self.px(f[2] - border)
            y = self._box[1] - 34 - row * _ROW
            line = f"M{low:.2f} {y + 6:.2f}V{y:.2f}H{high:.2f}V{y + 6:.2f}"
            spot = ((low + high) / 2, y)
        else:
            low, high = self.py(f[1] + border), self.py(f[3] - border)
            x = self._box[2] + 90 + row * _ROW
            line = f"M{x - 6:.2f} {low:.2f}H{x:.2f}V{high:.2f}H{x - 6:.2f}"
            spot = (x, (low + high) / 2)
        return (
            f'<path d="{line}" fill="none" stroke="{INK}" stroke-width="1.4"/>{_number(panel.number, *spot)}'
        )

    def _lengths(self, *, vertical: bool) -> str:
        """Return the chain of seams from edge to edge, and the sign's other length."""
        shown = self._sign.panelling
        ends = [0.0, *(seam.position_mm for seam in self._plan.seams)]
        ends.append(shown.width_mm if vertical else shown.height_mm)
        x0, _, _, y1 = self._box
        out = []
        for a, b in pairwise(ends):
            words = length(b - a, self._unit)
            if vertical:
                out.append(length_along(words, self.px(a), self.px(b), y1 + 50))
            else:
                out.append(length_across(words, x0 - 36, self.py(a), self.py(b)))
        other = shown.height_mm if vertical else shown.width_mm
        words = length(other, self._unit)
        if vertical:
            out.append(length_across(words, x0 - 26, self.py(0), self.py(other)))
        else:
            out.append(length_along(words, self.px(0), self.px(other), y1 + 26))
        return "".join(out)


def _tag(words: str, x: float, y: float) -> str:
    wide = text_width(words, 8.2) + 14
    return (
        f'<rect x="{x - wide / 2:.2f}" y="{y - 9:.2f}" width="{wide:.2f}" height="18" rx="4" fill="{SEAM}"/>'
        + text(words, x - wide / 2 + 7, y + 4, 8.2, colour="#ffffff", bold=True)
    )


def _number(number: int, x: float, y: float) -> str:
    words = str(number)
    return (
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="13" fill="{PAPER}" stroke="{INK}" stroke-width="1.6"/>'
        + text(words, x - text_width(words, 11) / 2, y + 5.5, 11, bold=True)
    )


def lap_profile(plan: PanelPlan, seam: Seam, x: float, y: float) -> str:
    """Return the seam seen from its end, 86 by 26 px from (x, y): which panel lies on top; nothing without a lap."""
    if seam.on_top is None or not seam.lap_mm:
        return ""
    before_on_top = seam.on_top == seam.panels[0]
    fill = plain_colour(plan.colour) or "#b8c2ca"
    upper, lower = y + 8, y + 15
    left_y, right_y = (upper, lower) if before_on_top else (lower, upper)
    look = f'width="50" height="5" fill="{fill}" stroke="{INK}" stroke-width=".8"'
    bars = (
        f'<rect x="{x:.2f}" y="{left_y:.2f}" {look}/><rect x="{x + 36:.2f}" y="{right_y:.2f}" {look}/>'
        f'<path d="M{x:.2f} {y + 22:.2f}h86" stroke="{LINE}" stroke-width="2"/>'
    )
    words = "".join(
        text(str(number), at, y + 5, 6.5, bold=True)
        for number, at in ((seam.panels[0], x + 10), (seam.panels[1], x + 72))
    )
    return bars + words
