"""A font at fixed variations: measures, glyphs and their outlines."""

from __future__ import annotations

from typing import Any

import numpy as np
import uharfbuzz as hb

from preflight.curves import Path
from preflight.text.fontfile import FontFile
from preflight.text.matching import Candidate
from preflight.writing import FontWish, Slope

FINENESS = 64
"""Steps of a font unit: HarfBuzz counts in whole numbers, and variations move letters by less."""

_Tag = hb.OTMetricsTag


class Cut:
    """One font, varied. Measures are in em, y up; letters are drawn once and kept."""

    def __init__(self, font: FontFile, values: dict[str, float]) -> None:
        self.font = font
        self.variations = dict(sorted(values.items()))
        self.hb_font = hb.Font(font.face)
        self.units: int = font.face.upem * FINENESS
        self.hb_font.scale = (self.units, self.units)
        if values:
            self.hb_font.set_variations(self.variations)
        self._outlines: dict[int, Path] = {}

    @staticmethod
    def values(candidate: Candidate, wish: FontWish, size: float) -> dict[str, float]:
        """Return the axis values that ``wish`` comes to (CSS Fonts 4, 7.1: settings come last)."""
        axes = candidate.font.axes
        if not axes:
            return {}
        wanted = {
            "wght": min(max(wish.weight, candidate.weight[0]), candidate.weight[1]),
            "wdth": min(max(wish.stretch, candidate.stretch[0]), candidate.stretch[1]),
        }
        if wish.optical:
            wanted["opsz"] = size
        if wish.slope is Slope.OBLIQUE or (wish.slope is Slope.ITALIC and "ital" not in axes):
            wanted["slnt"] = -min(max(wish.angle, candidate.angles[0]), candidate.angles[1])
        if wish.slope is Slope.ITALIC:
            wanted["ital"] = 1.0
        wanted.update(wish.variations)
        found = {}
        for tag, (low, usual, high) in axes.items():
            value = min(max(wanted.get(tag, usual), low), high)
            if value != usual:
                found[tag] = value
        return found

    def metric(self, tag: hb.OTMetricsTag) -> float | None:
        """Return one of the font's measures in em, varied; None where the font does not state it."""
        value = self.hb_font.get_metric_position(tag)
        return None if value is None else float(value) / self.units

    def likely(self, tag: hb.OTMetricsTag) -> float:
        """Return a measure in em, estimated by HarfBuzz where the font does not state it."""
        value: int = self.hb_font.get_metric_position_with_fallback(tag)
        return value / self.units

    @property
    def ascent(self) -> float:
        """Height above the baseline, em."""
        value: int = self.hb_font.get_font_extents("ltr").ascender
        return value / self.units

    @property
    def descent(self) -> float:
        """Depth, em; negative below the baseline."""
        value: int = self.hb_font.get_font_extents("ltr").descender
        return value / self.units

    def outline(self, glyph: int) -> Path:
        """Return a glyph's outline in em, y up, as cubics (quadratics are raised exactly)."""
        known = self._outlines.get(glyph)
        if known is None:
            drawn = _Drawing()
            self.hb_font.draw_glyph(glyph, _FUNCTIONS, drawn)
            known = drawn.path(1 / self.units)
            self._outlines[glyph] = known
        return known

    def colourful(self, glyph: int) -> bool:
        """Tell whether a glyph is a picture in colours or pixels, which no outline stands for."""
        face = self.font.face
        if face.has_color_layers and face.get_glyph_color_layers(glyph):
            return True
        if face.has_color_paint and face.glyph_has_color_paint(glyph):
            return True
        if face.has_color_svg and len(face.get_glyph_color_svg(glyph).data):
            return True
        return bool(face.has_color_png and len(self.hb_font.get_glyph_color_png(glyph).data))


class _Drawing:
    """Collects one outline; a contour that draws nothing is left out."""

    def __init__(self) -> None:
        self.segments: list[tuple[float, ...]] = []
        self.lines: list[bool] = []
        self.starts: list[int] = []
        self.at = self.first = (0.0, 0.0)

    def add(
        self, c1: tuple[float, float], c2: tuple[float, float], end: tuple[float, float], line: bool
    ) -> None:
        if line and end == self.at:
            return
        self.segments.append((*self.at, *c1, *c2, *end))
        self.lines.append(line)
        self.at = end

    def path(self, scale: float) -> Path:
        if not self.segments:
            return Path.empty()
        controls = np.array(self.segments).reshape(-1, 4, 2) * scale
        starts = sorted({start for start in self.starts if start < len(self.segments)})
        return Path(controls, np.array(self.lines), np.array(starts, np.int64), np.ones(len(starts), bool))


def _move(x: float, y: float, drawn: _Drawing) -> None:
    drawn.starts.append(len(drawn.segments))
    drawn.at = drawn.first = (x, y)


def _line(x: float, y: float, drawn: _Drawing) -> None:
    drawn.add(drawn.at, (x, y), (x, y), True)


def _quadratic(x1: float, y1: float, x: float, y: float, drawn: _Drawing) -> None:
    (x0, y0) = drawn.at
    one = (x0 + (x1 - x0) * 2 / 3, y0 + (y1 - y0) * 2 / 3)
    two = (x + (x1 - x) * 2 / 3, y + (y1 - y) * 2 / 3)
    drawn.add(one, two, (x, y), False)


def _cubic(*values: Any) -> None:
    x1, y1, x2, y2, x, y, drawn = values
    drawn.add((x1, y1), (x2, y2), (x, y), False)


def _close(drawn: _Drawing) -> None:
    drawn.add(drawn.at, drawn.first, drawn.first, True)


def _functions() -> hb.DrawFuncs:
    functions = hb.DrawFuncs()
    functions.set_move_to_func(_move)
    functions.set_line_to_func(_line)
    functions.set_quadratic_to_func(_quadratic)
    functions.set_cubic_to_func(_cubic)
    functions.set_close_path_func(_close)
    return functions


_FUNCTIONS = _functions()
