"""Outlines for the examples: letters from open fonts, and a few garden ornaments.

Everything is a `Drawing`: absolute path commands in mm, y down, that can be moved, turned and
scaled and are written with a fixed number of decimals, so that the same script gives the same bytes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import shapely
import uharfbuzz as hb
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.ttLib import TTFont
from shapely.geometry.base import BaseGeometry

Point = tuple[float, float]
Command = tuple[str, tuple[Point, ...]]

_FILES = {
    "sans": ("font_source_sans_pro", "SourceSansPro-Bold.otf"),
    "black": ("font_source_sans_pro", "SourceSansPro-Black.otf"),
    "script": ("fontpkg_oleo_script", "OleoScript-Bold.ttf"),
    "round": ("font_fredoka_one", "FredokaOne-Regular.ttf"),
}


@dataclass(frozen=True)
class Drawing:
    """Path commands M, L, Q, C and Z with absolute points in mm."""

    commands: tuple[Command, ...]

    def __add__(self, other: Drawing) -> Drawing:
        return Drawing(self.commands + other.commands)

    def moved(self, dx: float, dy: float) -> Drawing:
        """Return the drawing moved by (dx, dy) mm."""
        return self._mapped(lambda p: (p[0] + dx, p[1] + dy))

    def scaled(self, sx: float, sy: float | None = None) -> Drawing:
        """Return the drawing scaled about the origin."""
        return self._mapped(lambda p: (p[0] * sx, p[1] * (sx if sy is None else sy)))

    def turned(self, degrees: float, x: float = 0.0, y: float = 0.0) -> Drawing:
        """Return the drawing turned clockwise about (x, y)."""
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        return self._mapped(
            lambda p: (x + (p[0] - x) * c - (p[1] - y) * s, y + (p[0] - x) * s + (p[1] - y) * c)
        )

    def left_open(self) -> Drawing:
        """Return the drawing without its closing commands."""
        return Drawing(tuple(command for command in self.commands if command[0] != "Z"))

    @property
    def data(self) -> str:
        """SVG path data with two decimals (10 micrometres)."""
        return "".join(
            letter + " ".join(f"{_number(x)} {_number(y)}" for x, y in points)
            for letter, points in self.commands
        )

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Bounds of the flattened drawing, mm."""
        x0, y0, x1, y1 = self.region().bounds
        return x0, y0, x1, y1

    def region(self) -> BaseGeometry:
        """Return the filled region, flattened, for measuring distances."""
        rings = [shapely.Polygon(ring).buffer(0) for ring in self._rings() if len(ring) > 2]
        region: BaseGeometry = shapely.Polygon()
        for ring in rings:
            region = region.symmetric_difference(ring)
        return region

    def _rings(self) -> list[list[Point]]:
        rings: list[list[Point]] = []
        for letter, points in self.commands:
            if letter == "M":
                rings.append([points[0]])
            elif letter == "L":
                rings[-1].append(points[0])
            elif letter in "QC":
                rings[-1] += _curve((rings[-1][-1], *points))
        return rings

    def _mapped(self, function: Any) -> Drawing:
        return Drawing(
            tuple((letter, tuple(function(p) for p in points)) for letter, points in self.commands)
        )


def _number(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _curve(points: Sequence[Point]) -> list[Point]:
    """Return 16 points along a Bezier curve of any degree (de Casteljau)."""
    t = np.linspace(0, 1, 17)[1:, None]
    layer = [np.broadcast_to(np.asarray(p, float), (16, 2)) for p in points]
    while len(layer) > 1:
        layer = [a * (1 - t) + b * t for a, b in pairwise(layer)]
    return [(float(x), float(y)) for x, y in layer[0]]


@cache
def _face(name: str) -> tuple[TTFont, hb.Font]:
    package, file = _FILES[name]
    spec = find_spec(package)
    if spec is None or spec.origin is None:
        raise SystemExit(f"The font package {package} is not installed: pip install -e .[dev]")
    path = FilePath(spec.origin).parent / "files" / file
    return TTFont(path), hb.Font(hb.Face(hb.Blob.from_file_path(str(path))))


def letters(text: str, face: str, em: float, *, track: float = 0.0) -> list[Drawing]:
    """Shape one line of ``text`` with its baseline from the origin; one drawing a glyph.

    ``em`` is the font size in mm, ``track`` extra space between letters in mm.
    """
    font, shaper = _face(face)
    glyphs, scale = font.getGlyphSet(), em / font["head"].unitsPerEm
    buffer = hb.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    hb.shape(shaper, buffer)
    x = 0.0
    out = []
    for info, place in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        pen = DecomposingRecordingPen(glyphs)
        glyphs[font.getGlyphName(info.codepoint)].draw(pen)
        drawing = Drawing(tuple(_recorded(pen.value))).scaled(scale, -scale)
        if drawing.commands:
            out.append(drawing.moved(x + place.x_offset * scale, -place.y_offset * scale))
        x += place.x_advance * scale + track
    return out


def _recorded(value: list[tuple[str, tuple[Any, ...]]]) -> list[Command]:
    out: list[Command] = []
    for name, points in value:
        if name == "moveTo":
            out.append(("M", points))
        elif name == "lineTo":
            out.append(("L", points))
        elif name == "curveTo":
            out.append(("C", points))
        elif name == "qCurveTo":
            *controls, end = points
            if end is None:  # a contour without any on-curve point
                end = _middle(controls[-1], controls[0])
                out.append(("M", (end,)))
            # TrueType leaves out the on-curve points half-way between two controls.
            for control, after in pairwise(controls):
                out.append(("Q", (control, _middle(control, after))))
            out.append(("Q", (controls[-1], end)))
        elif name == "closePath":
            out.append(("Z", ()))
    return out


def _middle(a: Point, b: Point) -> Point:
    return ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)


def apart(drawings: list[Drawing], least: float) -> list[Drawing]:
    """Push letters to the right until neighbours are ``least`` mm apart: how script is set to be cut."""
    out: list[Drawing] = []
    shift = 0.0
    for drawing in drawings:
        here = drawing.moved(shift, 0)
        while out and here.region().distance(out[-1].region()) < least:
            shift += 0.05
            here = drawing.moved(shift, 0)
        out.append(here)
    return out


def together(drawings: Sequence[Drawing]) -> Drawing:
    """Return all drawings as one."""
    return Drawing(tuple(command for drawing in drawings for command in drawing.commands))


def placed(drawings: list[Drawing], x: float, y: float, anchor: str = "middle") -> list[Drawing]:
    """Put a line of letters with its baseline at ``y`` and its start, middle or end at ``x``."""
    x0, _, x1, _ = together(drawings).box
    left = {"start": x - x0, "middle": x - (x0 + x1) / 2, "end": x - x1}[anchor]
    return [drawing.moved(round(left, 2), y) for drawing in drawings]


def line(
    text: str,
    face: str,
    em: float,
    x: float,
    y: float,
    *,
    anchor: str = "middle",
    track: float = 0.0,
    least: float | None = None,
) -> Drawing:
    """Return one placed line of text; ``least`` sets script letters that far apart."""
    shaped = letters(text, face, em, track=track)
    return together(placed(shaped if least is None else apart(shaped, least), x, y, anchor))


def polygon(points: Sequence[Point]) -> Drawing:
    """Return a closed polygon."""
    first, *rest = points
    return Drawing((("M", (first,)), *(("L", (p,)) for p in rest), ("Z", ())))


def ellipse(cx: float, cy: float, rx: float, ry: float | None = None, *, hole: bool = False) -> Drawing:
    """Return an ellipse as four cubics; ``hole`` turns its direction."""
    ry = rx if ry is None else ry
    k = 4 / 3 * math.tan(math.pi / 8)
    s = -1.0 if hole else 1.0
    quarter = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)]
    commands: list[Command] = [("M", ((cx + rx, cy),))]
    for (ax, ay), (bx, by) in zip(quarter, [*quarter[1:], quarter[0]], strict=True):
        points = ((ax + k * bx, ay + k * by), (bx + k * ax, by + k * ay), (bx, by))
        commands.append(("C", tuple((cx + rx * px, cy + s * ry * py) for px, py in points)))
    return Drawing((*commands, ("Z", ())))


def panel(x: float, y: float, width: float, height: float, radius: float, *, hole: bool = False) -> Drawing:
    """Return a rectangle with rounded corners; ``hole`` turns its direction."""
    r, k = radius, radius * (1 - 4 / 3 * math.tan(math.pi / 8))
    x1, y1 = x + width, y + height
    commands: list[Command] = [
        ("M", ((x + r, y),)),
        ("L", ((x1 - r, y),)),
        ("C", ((x1 - k, y), (x1, y + k), (x1, y + r))),
        ("L", ((x1, y1 - r),)),
        ("C", ((x1, y1 - k), (x1 - k, y1), (x1 - r, y1))),
        ("L", ((x + r, y1),)),
        ("C", ((x + k, y1), (x, y1 - k), (x, y1 - r))),
        ("L", ((x, y + r),)),
        ("C", ((x, y + k), (x + k, y), (x + r, y))),
        ("Z", ()),
    ]
    # A side that the corners take up whole would be a line of no length.
    gone = {((x1 - r, y),), ((x + r, y1),)} if 2 * r >= width else set()
    gone |= {((x1, y1 - r),), ((x, y + r),)} if 2 * r >= height else set()
    drawing = Drawing(tuple(c for c in commands if c[0] != "L" or c[1] not in gone))
    return drawing.scaled(-1, 1).moved(2 * x + width, 0) if hole else drawing


def frame(x: float, y: float, width: float, height: float, radius: float, *, band: float) -> Drawing:
    """Return a rounded frame ``band`` mm wide."""
    inner = panel(x + band, y + band, width - 2 * band, height - 2 * band, radius - band, hole=True)
    return panel(x, y, width, height, radius) + inner
