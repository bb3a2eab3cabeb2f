"""Set words in a font: outlines as SVG path data and as areas, straight from the font's own tables."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest
import shapely
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.pens.svgPathPen import SVGPathPen
from fontTools.pens.transformPen import TransformPen
from fontTools.ttLib import TTFont
from shapely.geometry.base import BaseGeometry

import preflight


@cache
def font(face: str) -> Any:
    """Return a face of Source Sans Pro (SIL Open Font License), from the package font-source-sans-pro."""
    package = pytest.importorskip(
        "font_source_sans_pro", reason="the dev dependency font-source-sans-pro is missing"
    )
    return TTFont(package.font_files_otf[face])


def word_path(text: str, size: float, x: float, y: float, face: str = "SourceSansPro") -> str:
    """Return path data of ``text``, em ``size``, first baseline at (x, y), y down; advances, no kerning."""
    source = font(face)
    glyphs, names, scale = source.getGlyphSet(), source.getBestCmap(), size / source["head"].unitsPerEm
    pen = SVGPathPen(glyphs)
    for letter in text:
        name = names[ord(letter)]
        glyphs[name].draw(TransformPen(pen, (scale, 0, 0, -scale, x, y)))
        x += glyphs[name].width * scale
    return str(pen.getCommands())


def word_region(
    text: str, size: float, x: float = 10, y: float = 100, face: str = "SourceSansPro"
) -> BaseGeometry:
    """Return the area that the word covers, mm."""
    data = word_path(text, size, x, y, face)
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="1000mm" height="200mm" viewBox="0 0 1000 200">'
        f'<path d="{data}"/></svg>'
    )
    return shapely.union_all(list(preflight.read(svg.encode()).appearance().values()))


def control_points(name: str, face: str = "SourceSansPro") -> list[tuple[float, float]]:
    """Return all points of a glyph's outline in font units."""
    pen = DecomposingRecordingPen(font(face).getGlyphSet())
    font(face).getGlyphSet()[name].draw(pen)
    return [point for _, points in pen.value for point in points]
