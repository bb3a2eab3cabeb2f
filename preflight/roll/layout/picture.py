"""The layout as a picture: each film's roll with what is cut from it, borders, lead and lengths.

Everything is drawn from our own geometry and lettering: no markup of an uploaded file can reach it. The
roll runs to the right, its left edge at the bottom, so a piece is seen turned a quarter, never mirrored.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.colour import plain_colour
from preflight.report.canvas import document, png, require_width
from preflight.report.legend import text
from preflight.report.lettering import wrap
from preflight.report.markers import INK
from preflight.roll.cards import MARGIN, card, film_head, verdict_head
from preflight.roll.layout.build import Laid
from preflight.roll.layout.drawing import (
    LINE,
    WARN,
    Row,
    badge,
    length_across,
    length_along,
    ruler,
    upright,
)
from preflight.roll.layout.model import FilmLayout, RollShown, Verdict
from preflight.roll.layout.pieces import Cut
from preflight.roll.layout.wording import long_length, panels_words
from preflight.roll.nesting.model import placed, polygons_of
from preflight.units import format_length

NARROWEST = 640
_LEFT, _RIGHT = 92.0, 40.0
"""Room beside the roll inside its panel, for lengths across."""
_ROWS = 8
_TALL, _LOW = 300.0, 130.0
"""Greatest height of a row, and the least that is aimed at by breaking the roll into rows, px."""
_VERDICTS: dict[Verdict, tuple[str, str]] = {
    "fits": ("FITS", "#2c7a43"),
    "does-not-fit": ("DOES NOT FIT", WARN),
    "not-judged": ("NOT JUDGED", "#6b7682"),
}
_EDGE = (
    '<defs><pattern id="edge" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path d="M0 0H7V7H0Z" fill="#dde3e8"/><path d="M0 0H3V7H0Z" fill="#c3ccd4"/></pattern></defs>'
)
"""The film under the rollers, hatched."""
_KEYS = 6
"""Pieces that are listed below a film."""
_ERROR = 0.15
"""Error allowed in outlines, px."""


def layout_svg(laid: Laid, *, width_px: int = 1200) -> str:
    """Return the picture of a layout as SVG. Raises `PreflightError` for a width outside 640 to 4096 px."""
    require_width(width_px, NARROWEST)
    width, layout = float(width_px), laid.layout
    word, colour = _VERDICTS[layout.verdict]
    body, y = verdict_head(word, colour, layout.summary, width)
    y += 20
    told = "The roll runs to the right, its left edge at the bottom: work laid as drawn reads upwards."
    body.append(text(told, MARGIN, y, 8, colour=LINE))
    y += 12
    for film, cuts in zip(layout.films, laid.pieces.values(), strict=True):
        markup, height = _panel(film, cuts, laid, y, width)
        body.append(markup)
        y += height + 18
    return document(width, y + 6, "Layout on the roll", layout.summary, body, definitions=_EDGE)


def layout_png(laid: Laid, *, width_px: int = 1200) -> bytes:
    """Return the picture as PNG; see `layout_svg`."""
    svg = layout_svg(laid, width_px=width_px)
    return png(svg)


def _panel(film: FilmLayout, cuts: Sequence[Cut], laid: Laid, top: float, width: float) -> tuple[str, float]:
    """Return one film's panel from ``top`` down, and its height."""
    x, room = MARGIN + 16, width - 2 * MARGIN - 32
    word, colour = _VERDICTS[film.verdict]
    body = film_head(film.film, _fill(film), word, colour, top=top, width=width)
    y = top + 60
    told = [film.reason, *(panels_words(panels, laid.layout.lines) for panels in film.panels)]
    for line in (line for words in told for line in wrap(words, 9, room, 3)):
        body.append(text(line, x, y, 9))
        y += 17
    if film.roll is not None:
        drawing, y = _rolls(film, cuts, film.roll, y + 6, width)
        body.append(drawing)
        for line in _figures(film, film.roll):
            body.append(text(line, x, y + 10, 8.6))
            y += 17
    for line in _keys(film, laid):
        body.append(text(line, x, y + 10, 8.6, colour=LINE))
        y += 17
    height = y + 14 - top
    return card(top, width, height, body), height


def _figures(film: FilmLayout, roll: RollShown) -> Iterator[str]:
    yield (
        f"Weed border {format_length(roll.weed_border_mm)} · gap {format_length(roll.gap_mm)} · margins "
        f"{format_length(roll.margin_mm)} · lead {format_length(roll.lead_mm)} at both ends"
    )
    if film.use is None:
        return
    use = film.use
    words = [
        f"Film {long_length(use.film_length_mm)}, {use.film_area_m2:.3f} m²",
        f"waste {use.waste_m2:.3f} m² ({1 - use.share_used:.0%})",
    ]
    if use.cost is not None:
        words.append(f"cost {use.cost:.2f}")
    if use.left_mm is not None and use.left_mm >= 0:
        words.append(f"left on the roll {long_length(use.left_mm)}")
    yield " · ".join(words)


def _keys(film: FilmLayout, laid: Laid) -> Iterator[str]:
    names = {line.number: line.name for line in laid.layout.lines}
    for piece in film.pieces[:_KEYS]:
        size = f"{format_length(round(piece.width_mm, 1))} by {format_length(round(piece.height_mm, 1))}"
        upright_ = ", stays upright" if piece.upright else ""
        yield f"{piece.key}: {piece.copies} × {size}, {names[piece.line]}{upright_}"
    if len(film.pieces) > _KEYS:
        yield f"... and {len(film.pieces) - _KEYS} more pieces"


def _rolls(
    film: FilmLayout, cuts: Sequence[Cut], roll: RollShown, top: float, width: float
) -> tuple[str, float]:
    """Return the roll in rows from ``top`` down, and where it ends."""
    known = {cut.key: cut for cut in cuts}
    spots = [(p.piece, known[p.piece].region, p.turn_deg, p.x_mm, p.y_mm) for p in film.placements]
    spots = spots or [_too_large(film, known, roll)]
    room = width - 2 * MARGIN - _LEFT - _RIGHT
    boxes = np.array([placed(region, turn, x, y).bounds for _, region, turn, x, y in spots])
    length = boxes[:, 3].max() + roll.weed_border_mm + roll.lead_mm
    low, high = min(boxes[:, 0].min(), 0.0), max(boxes[:, 2].max(), roll.width_mm)
    count = next(n for n in range(1, _ROWS + 1) if n == _ROWS or (high - low) * room * n / length >= _LOW)
    scale = min(room * count / length, _TALL / (high - low))
    regions = [
        (key, placed(region.simplify(_ERROR / scale / 2), turn, x, y)) for key, region, turn, x, y in spots
    ]
    out, y = [], top + 12
    for number in range(count):
        step = room / scale
        start, end = number * step, min((number + 1) * step, length)
        if end <= start:
            break
        row = Row(start, end, low, high, scale, MARGIN + _LEFT, y)
        out.append(_row(film, roll, regions, row, length))
        y = row.bottom + (54 if number == count - 1 or end >= length else 34)
    return "".join(out), y


def _too_large(
    film: FilmLayout, known: dict[str, Cut], roll: RollShown
) -> tuple[str, BaseGeometry, float, float, float]:
    """Return the piece that does not fit, at the narrowest turn allowed, in the middle of the roll."""
    piece = min(film.pieces, key=lambda p: p.largest.factor if p.largest else 0.0)
    way = min((w for w in piece.ways if w.allowed), key=lambda w: (not w.fits, w.across_mm))
    region = known[piece.key].region
    x0, y0, x1, _ = placed(region, way.turn_deg, 0, 0).bounds
    middle = roll.width_mm / 2 - (x0 + x1) / 2
    return piece.key, region, way.turn_deg, middle, roll.lead_mm + roll.weed_border_mm - y0


def _row(
    film: FilmLayout,
    roll: RollShown,
    regions: Sequence[tuple[str, BaseGeometry]],
    row: Row,
    length: float,
) -> str:
    laid = bool(film.placements)
    margin, far = roll.margin_mm, roll.margin_mm + roll.usable_width_mm
    out = [
        row.band(0, length, 0, roll.width_mm, 'fill="#ffffff"'),
        row.band(0, length, 0, margin, 'fill="url(#edge)"'),
        row.band(0, length, far, roll.width_mm, 'fill="url(#edge)"'),
        row.band(0, roll.lead_mm, margin, far, 'fill="#e9eef2"'),
        row.band(length - roll.lead_mm, length, margin, far, 'fill="#e9eef2"'),
        row.band(
            0, length, margin, far, f'fill="none" stroke="{LINE}" stroke-width=".8" stroke-dasharray="2 4"'
        ),
        row.band(0, length, 0, roll.width_mm, f'fill="none" stroke="{INK}" stroke-width="1.2"'),
        _pieces(film, regions, roll, row),
        _lead(roll, row, length, (row.across(margin) - row.across(far))),
        _lengths_across(film, roll, row, regions),
        ruler(row, row.bottom + 2),
    ]
    if row.start == 0 and row.end >= length:
        words = f"film {long_length(length)}" if laid else f"it would take {long_length(length)}"
        out.append(length_along(words, row.x, row.right, row.bottom + 36))
    elif row.end >= length:
        out.append(text(f"Film in all: {long_length(length)}", row.x, row.bottom + 40, 8.6))
    return "".join(out)


def _fill(film: FilmLayout) -> str:
    return plain_colour(film.colour) or "#8d9aa6"


def _border(region: BaseGeometry, roll: RollShown, row: Row) -> BaseGeometry:
    """Return a piece with its weed border; what lies between its letters counts as border too."""
    wide = max(roll.weed_border_mm, 1.0)
    around = region.buffer(3 * wide, quad_segs=4).buffer(roll.weed_border_mm - 3 * wide, quad_segs=4)
    # Only its outer edge: the waste inside a frame has no border of its own.
    outer = shapely.union_all([shapely.Polygon(part.exterior) for part in polygons_of(around)])
    return outer.simplify(_ERROR / row.scale)


def _pieces(film: FilmLayout, regions: Sequence[tuple[str, BaseGeometry]], roll: RollShown, row: Row) -> str:
    reach = roll.weed_border_mm
    here = [
        (key, region)
        for key, region in regions
        if region.bounds[3] + reach >= row.start and region.bounds[1] - reach <= row.end
    ]
    if not here:
        return ""
    border = shapely.union_all([_border(region, roll, row) for _, region in here])
    fill, laid = _fill(film), bool(film.placements)
    look = f'fill="{fill}" stroke="{INK}"' if laid else f'fill="{fill}" fill-opacity=".75" stroke="{WARN}"'
    shown = f'x="{row.x - 1:.2f}" y="{row.y - 1:.2f}" width="{row.right - row.x + 2:.2f}"'
    high = f"{row.bottom - row.y + 2:.2f}"
    # A viewport of its own clips what the next row shows, without an id that another picture could have too.
    out = [
        f'<svg {shown} height="{high}" viewBox="{row.x - 1:.2f} {row.y - 1:.2f} {row.right - row.x + 2:.2f} {high}">',
        f'<path d="{row.region(border)}" fill="none" stroke="{LINE}" stroke-dasharray="5 4"/>',
    ]
    out += [
        f'<path d="{row.region(region)}" {look} stroke-width=".7" fill-rule="evenodd"/>' for _, region in here
    ]
    for key, region in here:
        x0, y0, x1, y1 = region.bounds
        if min(x1 - x0, y1 - y0) * row.scale >= 30:
            # At the edge nearest to a corner of its box, so that it hides little of the piece.
            near = shapely.get_coordinates(shapely.shortest_line(region, shapely.Point(x1, y0)))[0]
            out.append(badge(key, row.along(float(near[1])), row.across(float(near[0]))))
    return "".join(out) + "</svg>"


def _lead(roll: RollShown, row: Row, length: float, room: float) -> str:
    middle = row.across(roll.margin_mm + roll.usable_width_mm / 2)
    out = []
    for words, start in (("lead", 0.0), ("trail", length - roll.lead_mm)):
        inside = row.start <= start and start + roll.lead_mm <= row.end + 1e-6
        if inside and roll.lead_mm * row.scale >= 12:
            x = row.along(start + roll.lead_mm / 2)
            out.append(upright(f"{words} {format_length(roll.lead_mm)}", x, middle, room))
    return "".join(out)


def _lengths_across(
    film: FilmLayout, roll: RollShown, row: Row, regions: Sequence[tuple[str, BaseGeometry]]
) -> str:
    if row.start > 0:
        return ""
    margin, far = roll.margin_mm, roll.margin_mm + roll.usable_width_mm
    out = [
        length_across(
            f"roll {format_length(roll.width_mm)}", row.x - 66, row.across(roll.width_mm), row.across(0)
        ),
        length_across(
            f"usable {format_length(roll.usable_width_mm)}", row.x - 28, row.across(far), row.across(margin)
        ),
    ]
    if film.panels_needed:
        x0, _, x1, _ = regions[0][1].bounds
        words = f"cut {format_length(math.ceil((x1 - x0) * 10) / 10)}"
        out.append(length_across(words, row.right + 22, row.across(x1), row.across(x0), colour=WARN))
    return "".join(out)
