"""The picture on a job sheet: the artwork at a round scale, with dimensions, hinge, marks and scale bars.

Drawn from our own geometry alone, as a list of areas, lines and words in mm on the sheet that both
HTML and PDF are made from: nothing of the upload's markup reaches either.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.analysis import Analysis
from preflight.artwork import LiveText, Picture
from preflight.colour import plain_colour
from preflight.geometry.appearance import appearance
from preflight.jobsheet.model import Area, Drawing, JobSheet, Unknown
from preflight.units import format_length

WIDEST, HIGHEST = 112.0, 96.0
"""Room for the drawing area on the sheet, mm."""
SMALLEST = (150.0, 90.0)
"""Room of the largest of the small drawings, mm: what is fine enough for it is so for all."""
_FINE = 0.02
"""Chord error on the sheet, mm."""
_LEFT, _TOP, _RIGHT, _BOTTOM = 9.0, 3.0, 9.0, 24.0
"""Room around the drawing area for dimensions and scale bars, mm."""
_ROUND = (1.0, 2.0, 2.5, 5.0)
INK, LINE, MARK = "#16202a", "#5d6b78", "#c2185b"
BARE = "#eceff1"
"""Ground where the sign's own colour is not known: neither white nor any film's colour."""


@dataclass(frozen=True, slots=True)
class Fill:
    """Rings (mm on the sheet) filled by the even-odd rule and, where ``edge`` is set, outlined."""

    rings: tuple[tuple[tuple[float, float], ...], ...]
    colour: str | None
    edge: str | None = None
    edge_width: float = 0.1


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points, mm on the sheet."""

    points: tuple[tuple[float, float], ...]
    colour: str = LINE
    width: float = 0.15
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """Words about (x, y) on their baseline; ``turn`` -90 reads upwards."""

    text: str
    x: float
    y: float
    size: float = 2.6
    turn: int = 0
    anchor: str = "middle"
    colour: str = INK


@dataclass(frozen=True, slots=True)
class Figure:
    """The whole picture: its size and its items in painting order, mm on the sheet, y down."""

    width: float
    height: float
    items: tuple[Fill | Stroke | Words, ...]
    left: float
    top: float
    """Where the drawing area's top left corner lies."""


def drawing_of(analysis: Analysis) -> Drawing:
    """Return what is seen of the artwork; with the surround kept, what stays of each film."""
    artwork = analysis.artwork
    ratio = round_ratio(artwork.width, artwork.height)
    tolerance = max(_FINE * ratio, analysis.tolerance)
    if analysis.job.polarity == "surround":
        coloured = [(film.colour, film.region) for film in analysis.films]
    else:
        coloured = list(appearance(artwork, tolerance).colours.items())
    shown = ((colour, region) for colour, region in coloured if plain_colour(colour))
    return Drawing(
        ratio=ratio,
        ground=analysis.job.ground_colour,
        areas=tuple(Area(colour=colour, rings=_rings(region, ratio)) for colour, region in shown),
        unknown=tuple(
            Unknown(what="text" if isinstance(item, LiveText) else "picture", box=item.box)
            for item in artwork.items
            if isinstance(item, LiveText | Picture) and item.hidden is None and item.box is not None
        ),
    )


def round_ratio(width: float, height: float, room: tuple[float, float] = (WIDEST, HIGHEST)) -> float:
    """Return the least round ratio (1, 2, 2.5 or 5 times a power of ten) that fits the room on the sheet."""
    needed = max(width / room[0], height / room[1], 1e-6)
    power = 10.0 ** math.floor(math.log10(needed))
    return next(step * power for step in (*_ROUND, 10.0) if step * power >= needed * (1 - 1e-9))


def ratio_text(ratio: float) -> str:
    """Return a scale as it is written on drawings: 1:10, 2:1."""
    return f"1:{ratio:g}" if ratio >= 1 else f"{1 / ratio:g}:1"


def outline_of(region: BaseGeometry) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Return a region's rings (mm) as finely as the small drawings need them."""
    x0, y0, x1, y1 = region.bounds
    ratio = round_ratio(x1 - x0, y1 - y0, SMALLEST)
    return _rings(shapely.simplify(region, _FINE * ratio), ratio)


def _rings(region: BaseGeometry, ratio: float) -> tuple[tuple[tuple[float, float], ...], ...]:
    digits = max(0, 3 - math.floor(math.log10(ratio)))
    rings = shapely.get_rings(shapely.get_parts(region))
    return tuple(
        tuple((x, y) for x, y in np.round(shapely.get_coordinates(ring)[:-1], digits).tolist())
        for ring in rings
    )


def figure(sheet: JobSheet) -> Figure:
    """Return the picture of a sheet at its scale."""
    scale = 1 / sheet.drawing.ratio
    wide, high = sheet.width * scale, sheet.height * scale
    left = _LEFT
    items = (*_ground(sheet, wide, high), *_painted(sheet, scale), *_marks(sheet, scale))
    dims = (*_dimensions(sheet, scale, high, wide), *_bars(sheet, high))
    total = max(left + wide + _RIGHT, 84.0)
    return Figure(total, _TOP + high + _BOTTOM, (*items, *dims), left, _TOP)


def _at(x: float, y: float) -> tuple[float, float]:
    return x + _LEFT, y + _TOP


def _rectangle(x0: float, y0: float, x1: float, y1: float) -> tuple[tuple[float, float], ...]:
    return (_at(x0, y0), _at(x1, y0), _at(x1, y1), _at(x0, y1))


def _ground(sheet: JobSheet, wide: float, high: float) -> Iterator[Fill]:
    yield Fill((_rectangle(0, 0, wide, high),), sheet.drawing.ground or BARE, edge=LINE)


def _painted(sheet: JobSheet, scale: float) -> Iterator[Fill | Stroke | Words]:
    for area in sheet.drawing.areas:
        rings = tuple(tuple(_at(x * scale, y * scale) for x, y in ring) for ring in area.rings)
        yield Fill(rings, area.colour)
    for item in sheet.drawing.unknown:
        x0, y0, x1, y1 = (value * scale for value in item.box)
        ring = _rectangle(x0, y0, x1, y1)
        yield Stroke((*ring, ring[0]), INK, 0.2, dashed=True)
        x, y = _at((x0 + x1) / 2, (y0 + y1) / 2)
        yield Words(f"{item.what}: not cut", x, y, 2.2)


def _marks(sheet: JobSheet, scale: float) -> Iterator[Stroke | Words]:
    """Yield the hinge as a dashed line and the marks as crosses, as the drawing shows them."""
    hinge, wide, high = sheet.hinge, sheet.width * scale, sheet.height * scale

    def across(x: float) -> float:
        return (sheet.width - x if hinge.flipped else x) * scale

    if hinge.edge == "top":
        y = hinge.position * scale
        yield Stroke((_at(0, y), _at(wide, y)), MARK, 0.25, dashed=True)
    else:
        x = across(hinge.position)
        yield Stroke((_at(x, 0), _at(x, high)), MARK, 0.25, dashed=True)
    for number, (x, y) in enumerate(hinge.marks, start=1):
        mx, my = _at(across(x), y * scale)
        yield Stroke(((mx - 1.6, my), (mx + 1.6, my)), MARK, 0.3)
        yield Stroke(((mx, my - 1.6), (mx, my + 1.6)), MARK, 0.3)
        yield Words(str(number), mx + 1.5, my - 0.6, 2.2, colour=MARK)


def _dimensions(sheet: JobSheet, scale: float, high: float, wide: float) -> Iterator[Stroke | Words | Fill]:
    x0, y0, x1, y1 = (value * scale for value in sheet.art_box)
    y = high + 4.5
    yield Stroke((_at(x0, max(y1, 0) + 0.5), _at(x0, y + 1)))
    yield Stroke((_at(x1, max(y1, 0) + 0.5), _at(x1, y + 1)))
    yield from _dimension(_at(x0, y), _at(x1, y))
    words = _both(sheet.art_box[2] - sheet.art_box[0])
    middle = _at((x0 + x1) / 2, y + 3.2)
    yield Words(words, *middle)
    x = wide + 4.5
    yield Stroke((_at(x1 + 0.5, y0), _at(x + 1, y0)))
    yield Stroke((_at(x1 + 0.5, y1), _at(x + 1, y1)))
    yield from _dimension(_at(x, y0), _at(x, y1))
    side = _at(x + 3.2, (y0 + y1) / 2)
    yield Words(_both(sheet.art_box[3] - sheet.art_box[1]), *side, turn=-90)


def _dimension(start: tuple[float, float], end: tuple[float, float]) -> Iterator[Stroke | Fill]:
    yield Stroke((start, end))
    size = math.dist(start, end)
    if size < 4:
        return
    ux, uy = (end[0] - start[0]) / size, (end[1] - start[1]) / size
    for (x, y), way in ((start, 1), (end, -1)):
        bx, by = x + 1.6 * ux * way, y + 1.6 * uy * way
        head = ((x, y), (bx - 0.45 * uy, by + 0.45 * ux), (bx + 0.45 * uy, by - 0.45 * ux))
        yield Fill((head,), LINE)


def _bars(sheet: JobSheet, high: float) -> Iterator[Fill | Words]:
    """Yield two scale bars, metric over inch, each of a round length near 35 mm on the sheet."""
    ratio = sheet.drawing.ratio
    for row, (unit, inch) in enumerate((("mm", 1.0), ("in", 25.4))):
        length = _round_length(35 * ratio / inch)
        on_sheet = length * inch / ratio
        y = high + 12.5 + row * 5
        for part in range(4):
            step = on_sheet / 4
            colour = INK if part % 2 == 0 else "#ffffff"
            yield Fill((_rectangle(part * step, y, (part + 1) * step, y + 1.6),), colour, edge=INK)
        x, base = _at(on_sheet + 1.5, y + 1.7)
        yield Words(f"{length:g} {unit}", x, base, anchor="start")
    # The bars are at most 35 mm long; the scale stands beside them.
    x, base = _at(58, high + 17.0)
    yield Words(f"Scale {ratio_text(ratio)}", x, base, 3.4, anchor="start")


def _round_length(about: float) -> float:
    power = 10.0 ** math.floor(math.log10(about))
    return float(max(m * power for m in (1, 2, 5) if m * power <= about * (1 + 1e-9)))


def _both(mm: float) -> str:
    return f"{format_length(mm)} / {format_length(mm, 'in')}"
