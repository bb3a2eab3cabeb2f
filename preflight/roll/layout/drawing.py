"""Small parts of a layout's picture: lengths with arrows, rulers, badges. Pixels throughout."""

from __future__ import annotations

import math
from dataclasses import dataclass

from shapely.geometry.base import BaseGeometry

from preflight.curves import Floats
from preflight.report.canvas import outline_data
from preflight.report.legend import text
from preflight.report.lettering import text_width
from preflight.report.markers import INK

LINE = "#5d6b78"
WARN = "#b3201f"
PAPER = "#f5f7f8"
_SIZE = 8.6
"""Height of a capital in figures."""
_APART = 64.0
"""Least distance of the ruler's marks, px."""


@dataclass(frozen=True, slots=True)
class Row:
    """A stretch of the roll in the picture: along runs to the right, across from the bottom up.

    So the picture is the roll turned a quarter, never mirrored. ``start`` and ``end`` are mm along, ``low``
    and ``high`` mm across; ``x`` and ``y`` are the pixel of (start, high).
    """

    start: float
    end: float
    low: float
    high: float
    scale: float
    x: float
    y: float

    @property
    def right(self) -> float:
        """The pixel of ``end``."""
        return self.x + (self.end - self.start) * self.scale

    @property
    def bottom(self) -> float:
        """The pixel of ``low``."""
        return self.y + (self.high - self.low) * self.scale

    def along(self, mm: float) -> float:
        """Return the pixel, from the left, of a place along the roll."""
        return self.x + (mm - self.start) * self.scale

    def across(self, mm: float) -> float:
        """Return the pixel, from the top, of a place across the roll."""
        return self.y + (self.high - mm) * self.scale

    def region(self, geometry: BaseGeometry) -> str:
        """Return path data of a region in mm on the roll."""
        return outline_data(geometry, self._px)

    def _px(self, points: Floats) -> Floats:
        found: Floats = (points[:, ::-1] - (self.start, self.high)) * (self.scale, -self.scale) + (
            self.x,
            self.y,
        )
        return found

    def band(self, start: float, end: float, low: float, high: float, look: str) -> str:
        """Return a rectangle between two places along and two across, cut to the row; nothing if outside."""
        a, b = max(start, self.start), min(end, self.end)
        if b <= a or high <= low:
            return ""
        x, y = self.along(a), self.across(high)
        return (
            f'<rect x="{x:.2f}" y="{y:.2f}" width="{self.along(b) - x:.2f}"'
            f' height="{self.across(low) - y:.2f}" {look}/>'
        )


def length_along(words: str, x0: float, x1: float, y: float, *, colour: str = LINE) -> str:
    """Return a dimension line from x0 to x1 at height y with its figure in the middle."""
    return (
        f'<path d="M{x0:.2f} {y:.2f}H{x1:.2f}M{x0:.2f} {y - 5:.2f}v10M{x1:.2f} {y - 5:.2f}v10" fill="none"'
        f' stroke="{colour}"/>{_tips((x0, y), (x1, y), colour)}{_figure(words, (x0 + x1) / 2, y, 0, colour)}'
    )


def length_across(words: str, x: float, y0: float, y1: float, *, colour: str = LINE) -> str:
    """Return a dimension line from y0 down to y1 at x with its figure, read from the right."""
    return (
        f'<path d="M{x:.2f} {y0:.2f}V{y1:.2f}M{x - 5:.2f} {y0:.2f}h10M{x - 5:.2f} {y1:.2f}h10" fill="none"'
        f' stroke="{colour}"/>{_tips((x, y0), (x, y1), colour)}{_figure(words, x, (y0 + y1) / 2, -90, colour)}'
    )


def _tips(start: tuple[float, float], end: tuple[float, float], colour: str) -> str:
    (x0, y0), (x1, y1) = start, end
    size = math.hypot(x1 - x0, y1 - y0)
    if size < 24:
        return ""
    dx, dy = (x1 - x0) / size, (y1 - y0) / size
    data = "".join(
        f"M{x:.2f} {y:.2f}L{x + 9 * s * dx - 2.6 * dy:.2f} {y + 9 * s * dy + 2.6 * dx:.2f}"
        f"L{x + 9 * s * dx + 2.6 * dy:.2f} {y + 9 * s * dy - 2.6 * dx:.2f}Z"
        for x, y, s in ((x0, y0, 1), (x1, y1, -1))
    )
    return f'<path d="{data}" fill="{colour}"/>'


def _figure(words: str, x: float, y: float, turn: int, colour: str) -> str:
    wide = text_width(words, _SIZE)
    rotate = f' transform="rotate({turn} {x:.2f} {y:.2f})"' if turn else ""
    ink = INK if colour == LINE else colour
    return (
        f'<g{rotate}><rect x="{x - wide / 2 - 5:.2f}" y="{y - 8:.2f}" width="{wide + 10:.2f}" height="16"'
        f' fill="{PAPER}"/>{text(words, x - wide / 2, y + _SIZE / 2, _SIZE, colour=ink)}</g>'
    )


def ruler(row: Row, y: float) -> str:
    """Return a ruler along the row below y: a mark each round distance, with its place on the roll."""
    step = round_step(_APART / row.scale)
    first = math.ceil(row.start / step - 1e-9)
    marks, words = [], []
    number = first
    while number * step <= row.end + 1e-9:
        x = row.along(number * step)
        marks.append(f"M{x:.2f} {y:.2f}v6")
        words.append(_centred(_place(number * step, step), x, y + 18, 7.6))
        number += 1
    return f'<path d="{"".join(marks)}" fill="none" stroke="{LINE}"/>' + "".join(words)


def _place(mm: float, step: float) -> str:
    if mm == 0:
        return "0"
    return f"{mm:g} mm" if step < 100 else f"{mm / 1000:g} m"


def _centred(words: str, x: float, y: float, size: float, colour: str = LINE) -> str:
    return text(words, x - text_width(words, size) / 2, y, size, colour=colour)


def round_step(about: float) -> float:
    """Return the least of 1, 2 or 5 times a power of ten that is not below ``about``."""
    power = 10.0 ** math.floor(math.log10(about))
    return min(m * power for m in (1, 2, 5, 10) if m * power >= about * (1 - 1e-9))


def upright(words: str, x: float, y: float, room: float, size: float = 7.6) -> str:
    """Return words centred on (x, y) that are read from the right, or nothing where ``room`` is too little."""
    if text_width(words, size) > room:
        return ""
    turned = _centred(words, x, y + size / 2, size)
    return f'<g transform="rotate(-90 {x:.2f} {y:.2f})">{turned}</g>'


def badge(words: str, x: float, y: float) -> str:
    """Return a piece's number on a white disc or pill about (x, y)."""
    wide = max(text_width(words, 8.2) + 12, 20.0)
    return (
        f'<rect x="{x - wide / 2:.2f}" y="{y - 10:.2f}" width="{wide:.2f}" height="20" rx="10" fill="#ffffff"'
        f' stroke="{INK}"/>{_centred(words, x, y + 4.1, 8.2, INK)}'
    )
