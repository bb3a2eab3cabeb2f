"""The overlay picture: the artwork as it was understood, the knife's lines, and numbered markers.

Everything is drawn from our own geometry and our own lettering: no markup, font, link or script of
the uploaded file can reach the picture. One user unit is one pixel of a picture ``width_px`` wide.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.artwork import Artwork, LiveText, Picture
from preflight.colour import plain_colour
from preflight.curves import Floats, Polylines, flatten
from preflight.geometry.appearance import appearance
from preflight.report.canvas import outline_data, png, require_width
from preflight.report.legend import header, legend, text
from preflight.report.lettering import text_width
from preflight.report.markers import INK, Box, Spots, arranged, badge, chosen, dot, grouped, large, leaders
from preflight.report.model import Finding, Place, Report
from preflight.units import format_length

MARGIN = 24.0
NARROWEST = 480
"""Allowed widths of a picture, px: below, the lettering does not fit; above, nobody needs it."""

_TOP, _RIGHT, _BOTTOM, _LEFT = 40.0, 44.0, 86.0, 72.0
"""Room around the drawing inside its panel: for badges, dimensions and the scale bar."""
LARGE = 0.3
"""From this share of the width or height on, a place gets corner brackets, not a ring."""
_ERROR = 0.15
"""Chord error allowed in the picture, px."""
_LINE = "#5d6b78"


@dataclass(frozen=True, slots=True)
class _View:
    """Where the drawing lies in the picture: px = (mm - origin) * scale + offset."""

    box: Box
    """What is shown, mm."""
    area: Box
    """The drawing area, mm."""
    scale: float
    x: float
    y: float

    def point(self, x: float, y: float) -> tuple[float, float]:
        return (self.x + (x - self.box[0]) * self.scale, self.y + (y - self.box[1]) * self.scale)

    def px(self, box: Box) -> Box:
        x0, y0 = self.point(box[0], box[1])
        x1, y1 = self.point(box[2], box[3])
        return x0, y0, x1, y1

    def moved(self, points: Floats) -> Floats:
        found: Floats = (points - (self.box[0], self.box[1])) * self.scale + (self.x, self.y)
        return found

    def data(self, points: Floats) -> str:
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in self.moved(points))

    def region(self, geometry: BaseGeometry) -> str:
        return outline_data(geometry, self.moved)


def picture_svg(artwork: Artwork, report: Report, *, width_px: int = 1200, words: bool = True) -> str:
    """Return the picture of ``artwork`` with the findings of ``report`` marked, as SVG.

    ``artwork`` is at the size in the file, as it was checked; the report's places are at the
    finished size. Without ``words`` the summary above and the legend below are left out, for a page
    that has them already. Raises `PreflightError` for a width outside 480 to 4096 px.
    """
    require_width(width_px, NARROWEST)
    width = float(width_px)
    finished = artwork.scaled(report.measures.scale)
    if not words:
        view, panel = _layout(finished, width, MARGIN)
        bare = [
            _background(width, panel[3] + MARGIN, panel),
            _drawing(finished, view),
            _markers(report.findings, view, panel),
        ]
        return _document(width, panel[3] + MARGIN, report, bare)
    top = header(report, MARGIN, MARGIN, width - 2 * MARGIN)
    view, panel = _layout(finished, width, MARGIN + top.height + 16)
    key = legend(report, MARGIN, panel[3] + 24, width - 2 * MARGIN)
    height = key.bottom + MARGIN
    body = [
        _background(width, height, panel),
        _drawing(finished, view),
        _markers(report.findings, view, panel),
        top.markup,
        key.markup,
    ]
    return _document(width, height, report, body)


def picture_png(artwork: Artwork, report: Report, *, width_px: int = 1200, words: bool = True) -> bytes:
    """Return the picture as PNG; see `picture_svg`."""
    svg = picture_svg(artwork, report, width_px=width_px, words=words)
    return png(svg)


def _document(width: float, height: float, report: Report, body: Sequence[str]) -> str:
    title = f"Artwork check: {report.verdict.value}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}" height="{height:.0f}"'
        f' viewBox="0 0 {width:g} {height:.0f}" role="img">'
        f"<title>{_safe(title)}</title><desc>{_safe(report.summary)}</desc>"
        '<defs><pattern id="ground" width="16" height="16" patternUnits="userSpaceOnUse">'
        '<path d="M0 0H16V16H0Z" fill="#e6ebef"/><path d="M0 0H8V8H0ZM8 8H16V16H8Z" fill="#dde4e9"/></pattern>'
        '<pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse"'
        ' patternTransform="rotate(45)"><path d="M0 0H7V7H0Z" fill="#b9c3cc"/>'
        '<path d="M0 0H3V7H0Z" fill="#8d9aa6"/></pattern></defs>'
        '<g stroke-linecap="round" stroke-linejoin="round">' + "".join(body) + "</g></svg>"
    )


def _safe(words: str) -> str:
    """Return ``words`` escaped, without the characters XML 1.0 does not allow."""
    allowed = (c for c in words if c in "\t\n\r" or (c >= " " and not 0xD800 <= ord(c) <= 0xDFFF))
    return escape("".join(c for c in allowed if c not in "\ufffe\uffff"))


def _layout(artwork: Artwork, width: float, top: float) -> tuple[_View, Box]:
    """Return where the drawing lies, and its panel in px."""
    area = (0.0, 0.0, max(artwork.width, 1e-6), max(artwork.height, 1e-6))
    box = _shown(artwork, area)
    room = width - 2 * MARGIN - _LEFT - _RIGHT
    wide, high = box[2] - box[0], box[3] - box[1]
    scale = min(room / wide, max(width * 0.62, 240.0) / high)
    x = MARGIN + _LEFT + (room - wide * scale) / 2
    y = top + _TOP
    panel = (MARGIN, top, width - MARGIN, y + high * scale + _BOTTOM)
    return _View(box, area, scale, x, y), panel


def _shown(artwork: Artwork, area: Box) -> Box:
    """Return the drawing area, enlarged to what lies beside it, but by no more than a quarter a side."""
    paths = [shape.path.mapped(shape.matrix) for shape in artwork.shapes() if len(shape.path.controls)]
    if not paths:
        return area
    bounds = np.array([path.bounds() for path in paths])
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    wide, tall = area[2] / 4, area[3] / 4
    return (
        min(0.0, max(float(low[0]), -wide)),
        min(0.0, max(float(low[1]), -tall)),
        max(area[2], min(float(high[0]), area[2] + wide)),
        max(area[3], min(float(high[1]), area[3] + tall)),
    )


def _background(width: float, height: float, panel: Box) -> str:
    x0, y0, x1, y1 = panel
    return (
        f'<rect width="{width:g}" height="{height:.0f}" fill="#ffffff"/>'
        f'<rect x="{x0:.2f}" y="{y0:.2f}" width="{x1 - x0:.2f}" height="{y1 - y0:.2f}" rx="12"'
        ' fill="#f5f7f8" stroke="#d5dce2"/>'
    )


def _drawing(artwork: Artwork, view: _View) -> str:
    """Return the drawing area, what is painted, the knife's lines and the dimensions."""
    tolerance = _ERROR / view.scale
    seen = appearance(artwork, tolerance)
    shapes = list(artwork.shapes())
    lines = flatten([shape.path.mapped(shape.matrix) for shape in shapes], tolerance)
    x0, y0, x1, y1 = view.px(view.area)
    frame = f'x="{x0:.2f}" y="{y0:.2f}" width="{x1 - x0:.2f}" height="{y1 - y0:.2f}"'
    a0, b0, a1, b1 = view.px(view.box)
    # A viewport of its own clips what lies too far out, without an id that another picture could have too.
    shown = f'x="{a0 - 1:.2f}" y="{b0 - 1:.2f}" width="{a1 - a0 + 2:.2f}" height="{b1 - b0 + 2:.2f}"'
    out = [
        f'<rect {frame} fill="url(#ground)"/>',
        f'<svg {shown} viewBox="{a0 - 1:.2f} {b0 - 1:.2f} {a1 - a0 + 2:.2f} {b1 - b0 + 2:.2f}">',
        _painted(seen.colours, seen.other, view),
        _placeholders(artwork, view),
        _knife(lines, view),
        "</svg>",
        f'<rect {frame} fill="none" stroke="{_LINE}" stroke-width="1.2"/>',
    ]
    regions = [region for region in (*seen.colours.values(), seen.other) if not region.is_empty]
    bounds = tuple(shapely.total_bounds(regions)) if regions else None
    out.append(_dimensions(bounds, view))
    out.append(_scale_bar(view))
    return "".join(out)


def _painted(colours: dict[str, BaseGeometry], other: BaseGeometry, view: _View) -> str:
    """Return the regions of all colours; neighbours get a thin base coat, so that no ground shows between."""
    plain = {colour: view.region(region) for colour, region in colours.items() if plain_colour(colour)}
    out = []
    if not other.is_empty:
        out.append(f'<path d="{view.region(other)}" fill="url(#hatch)" fill-rule="evenodd"/>')
    if len(plain) > 1:
        out += [
            f'<path d="{data}" fill="none" stroke="{colour}" stroke-width=".5"/>'
            for colour, data in plain.items()
        ]
    out += [f'<path d="{data}" fill="{colour}" fill-rule="evenodd"/>' for colour, data in plain.items()]
    return "".join(out)


def _placeholders(artwork: Artwork, view: _View) -> str:
    """Return hatched boxes where live text and pictures stand: they are no film's colour."""
    out = []
    for item in artwork.items:
        if not isinstance(item, LiveText | Picture) or item.hidden is not None or item.box is None:
            continue
        x0, y0, x1, y1 = view.px(item.box)
        out.append(
            f'<rect x="{x0:.2f}" y="{y0:.2f}" width="{max(x1 - x0, 0):.2f}" height="{max(y1 - y0, 0):.2f}"'
            f' fill="url(#hatch)" fill-opacity=".7" stroke="{INK}" stroke-dasharray="5 4"/>'
        )
        label = "text" if isinstance(item, LiveText) else "picture"
        size = min(14.0, (y1 - y0) * 0.4)
        wide = text_width(label, size)
        if size >= 5 and wide + 24 < x1 - x0:
            x, y = x0 + 12, min(y0 + size + 12, (y0 + y1 + size) / 2)
            out.append(
                f'<rect x="{x - 6:.2f}" y="{y - size - 5:.2f}" width="{wide + 12:.2f}"'
                f' height="{size + 10:.2f}" rx="4" fill="#ffffff"/>'
            )
            out.append(text(label, x, y, size))
    return "".join(out)


def _knife(lines: Polylines, view: _View) -> str:
    """Return the contours as thin lines that show on light and on dark colours."""
    data = "".join(
        view.data(lines[i][:-1] if closed else lines[i]) + ("Z" if closed else "")
        for i, closed in enumerate(lines.closed)
        if len(lines[i]) > 1
    )
    if not data:
        return ""
    return (
        f'<path d="{data}" fill="none" stroke="#ffffff" stroke-width="2.2" stroke-opacity=".85"/>'
        f'<path d="{data}" fill="none" stroke="{INK}" stroke-width=".8"/>'
    )


def _dimensions(bounds: tuple[float, ...] | None, view: _View) -> str:
    """Return the overall width and height of what is painted, with extension lines."""
    if bounds is None:
        return ""
    x0, y0, x1, y1 = view.px((bounds[0], bounds[1], bounds[2], bounds[3]))
    _, _, _, low = view.px(view.box)
    left = view.px(view.box)[0]
    y, x = low + 26, left - 26
    wide = format_length(round(bounds[2] - bounds[0], 1))
    high = format_length(round(bounds[3] - bounds[1], 1))
    thin = f'fill="none" stroke="{_LINE}" stroke-width="1"'
    out = [
        f'<path d="M{x0:.2f} {y1 + 4:.2f}V{y + 6:.2f}M{x1:.2f} {y1 + 4:.2f}V{y + 6:.2f}" {thin}'
        ' stroke-opacity=".45"/>',
        f'<path d="M{x0 - 4:.2f} {y0:.2f}H{x - 6:.2f}M{x0 - 4:.2f} {y1:.2f}H{x - 6:.2f}" {thin}'
        ' stroke-opacity=".45"/>',
        f'<path d="M{x0:.2f} {y:.2f}H{x1:.2f}M{x:.2f} {y0:.2f}V{y1:.2f}" {thin}/>',
        f'<path d="{_arrow(x0, y, 1, 0)}{_arrow(x1, y, -1, 0)}{_arrow(x, y0, 0, 1)}{_arrow(x, y1, 0, -1)}"'
        f' fill="{_LINE}"/>',
        _on_line(wide, (x0 + x1) / 2, y, 0),
        _on_line(high, x, (y0 + y1) / 2, -90),
    ]
    return "".join(out)


def _arrow(x: float, y: float, dx: int, dy: int) -> str:
    """Return a slim arrowhead with its tip at (x, y), opening towards (dx, dy)."""
    bx, by = x + 9 * dx, y + 9 * dy
    return (
        f"M{x:.2f} {y:.2f}L{bx - 2.6 * dy:.2f} {by + 2.6 * dx:.2f}L{bx + 2.6 * dy:.2f} {by - 2.6 * dx:.2f}Z"
    )


def _on_line(words: str, x: float, y: float, turn: int) -> str:
    """Return a dimension's figure in a gap of its line, about (x, y)."""
    size = 9.5
    wide = text_width(words, size)
    rotate = f' transform="rotate({turn} {x:.2f} {y:.2f})"' if turn else ""
    return (
        f'<g{rotate}><rect x="{x - wide / 2 - 5:.2f}" y="{y - 8:.2f}" width="{wide + 10:.2f}" height="16"'
        f' fill="#f5f7f8"/>{text(words, x - wide / 2, y + size / 2, size)}</g>'
    )


def _scale_bar(view: _View) -> str:
    """Return a bar of a round length near a sixth of the drawing's width, and the drawing area's size."""
    x0, _, x1, y1 = view.px(view.box)
    length = _round_length((view.box[2] - view.box[0]) / 6)
    step = length * view.scale / 4
    y = y1 + 58
    words = format_length(length)
    area = (
        f"Drawing area {format_length(round(view.area[2], 1), with_unit=False)} \u00d7 "
        f"{format_length(round(view.area[3], 1))}"
    )
    right = max(x1, x0 + text_width(area, 9) + 4 * step + 90)
    left = right - 4 * step - text_width(words, 9) - 10
    bars = "".join(f"M{left + i * step:.2f} {y - 8:.2f}h{step:.2f}v8h{-step:.2f}Z" for i in (0, 2))
    return (
        f'<rect x="{left:.2f}" y="{y - 8:.2f}" width="{4 * step:.2f}" height="8" fill="#ffffff"/>'
        f'<path d="{bars}" fill="{INK}"/>'
        f'<rect x="{left:.2f}" y="{y - 8:.2f}" width="{4 * step:.2f}" height="8.00" fill="none"'
        f' stroke="{INK}" stroke-width="1"/>'
        + text(words, left + 4 * step + 10, y, 9)
        + text(area, x0, y, 9, colour=_LINE)
    )


def _round_length(about: float) -> float:
    """Return the largest of 1, 2 or 5 times a power of ten that is not above ``about``."""
    power = 10.0 ** math.floor(math.log10(about))
    return max(m * power for m in (1, 2, 5) if m * power <= about * (1 + 1e-9))


def _markers(findings: Sequence[Finding], view: _View, panel: Box) -> str:
    """Return brackets round large places, rings on the spots, leaders and badges."""
    shown = view.px(view.box)
    groups: list[list[Spots]] = []
    brackets: list[str] = []
    for number, finding in enumerate(findings, 1):
        anchors = []
        for place in finding.places:
            extent = _extent(place, view)
            if extent is not None and finding.places_total == 1:
                brackets.append(large(finding.severity, extent))
                anchors.append((extent[2], extent[1]))
            else:
                anchors.append(view.point(*place.point))
        found = grouped(number, finding.severity, anchors)
        groups.append([spots for spots in found if _inside(spots.anchors[0], shown)])
    area = (shown[0] - 8, panel[1] + 4, panel[2] - 4, shown[3] + 12)
    badges = arranged(chosen(groups), area)
    rings = "".join(
        dot(spots.severity, anchor)
        for found in reversed(groups)
        for spots in found
        for anchor in spots.anchors
    )
    return f'<g fill="none">{"".join(brackets)}{leaders(badges)}{rings}</g>' + "".join(
        badge(b.spots.number, b.spots.severity, b.at) for b in reversed(badges)
    )


def _extent(place: Place, view: _View) -> Box | None:
    """Return a place's box in px where the place is large and its point only the box's middle, else None."""
    x0, y0, x1, y1 = place.box
    wide, high = view.box[2] - view.box[0], view.box[3] - view.box[1]
    off = max(abs(place.point[0] - (x0 + x1) / 2), abs(place.point[1] - (y0 + y1) / 2))
    if off > 0.01 or max((x1 - x0) / wide, (y1 - y0) / high) < LARGE:
        return None
    px0, py0, px1, py1 = view.px(place.box)
    return px0 - 4, py0 - 4, px1 + 4, py1 + 4


def _inside(point: tuple[float, float], box: Box) -> bool:
    """Return whether ``point`` is at most a few pixels outside ``box``."""
    return box[0] - 6 <= point[0] <= box[2] + 6 and box[1] - 6 <= point[1] <= box[3] + 6
