"""Letters' outlines against FreeType, which reads fonts on its own."""

from __future__ import annotations

from pathlib import Path

import freetype
import numpy as np
import numpy.typing as npt
import pytest
import uharfbuzz as hb
from shapely.geometry.base import BaseGeometry

from preflight.curves import Path as Outline
from preflight.curves import flatten
from preflight.geometry.fills import fill_regions
from preflight.text.cuts import Cut
from preflight.text.fontfile import load
from tests.corpus.agreement import coverage
from tests.text.support import ROUND, SANS, SCRIPT, font

FONTS = [
    (SANS, "SourceSansPro-Regular.otf"),
    (SANS, "SourceSansPro-BoldIt.ttf"),
    (SCRIPT, "OleoScript-Bold.ttf"),
    (ROUND, "FredokaOne-Regular.ttf"),
]
"""Cubic (CFF) and quadratic (glyf) outlines."""
LETTERS = "AaBgQ&@8%ß"
SIZE = 96


def cut_of(path: Path) -> Cut:
    return Cut(load(path.read_bytes(), path.name, "job")[0], {})


def freetype_raster(path: Path, letter: str) -> tuple[npt.NDArray[np.float64], int, int]:
    """Return FreeType's own picture of a letter at 96 px an em, and where its top left corner is."""
    face = freetype.Face(str(path))
    face.set_pixel_sizes(0, SIZE)
    face.load_char(letter, freetype.FT_LOAD_RENDER | freetype.FT_LOAD_NO_HINTING)
    bitmap = face.glyph.bitmap
    flat = np.array(bitmap.buffer, float).reshape(bitmap.rows, bitmap.pitch)[:, : bitmap.width] / 255
    return flat, face.glyph.bitmap_left, face.glyph.bitmap_top


@pytest.mark.parametrize(("package", "file"), FONTS)
def test_rasters_agree_with_freetype(package: str, file: str) -> None:
    path = font(package, file)
    cut = cut_of(path)
    for letter in LETTERS:
        theirs, left, top = freetype_raster(path, letter)
        glyph = cut.hb_font.get_nominal_glyph(ord(letter))
        outline = cut.outline(glyph).mapped((SIZE, 0, 0, -SIZE, -left, top))
        ours = coverage(filled(outline), theirs.shape[1], theirs.shape[0], (1.0, 1.0))
        # FreeType rounds each point to 1/64 px both ways and flattens curves coarsely.
        assert np.abs(ours - theirs).max() < 0.2, (file, letter)
        assert np.abs(ours - theirs).mean() < 0.01, (file, letter)
        assert ours.sum() == pytest.approx(theirs.sum(), rel=1e-2)


@pytest.mark.parametrize(("package", "file"), FONTS)
def test_every_segment_is_freetypes(package: str, file: str) -> None:
    path = font(package, file)
    cut = cut_of(path)
    face = freetype.Face(str(path))
    for letter in LETTERS:
        face.load_char(letter, freetype.FT_LOAD_NO_SCALE)
        theirs = decomposed(face.glyph.outline)
        outline = cut.outline(cut.hb_font.get_nominal_glyph(ord(letter)))
        ours = outline.controls * face.units_per_EM
        assert len(ours) == len(theirs), (file, letter)
        # Unscaled, FreeType counts in whole units: points implied between two others are rounded.
        assert np.abs(ours - theirs).max() < 0.51, (file, letter)


def decomposed(outline: freetype.Outline) -> npt.NDArray[np.float64]:
    """Return FreeType's outline as cubics (n, 4, 2), closing lines included."""
    segments: list[list[tuple[float, float]]] = []
    starts: list[tuple[float, float]] = []

    def close() -> None:
        if starts and segments and segments[-1][3] != starts[-1]:
            line(starts[-1])

    def line(end: tuple[float, float]) -> None:
        here = at[0]
        if here != end:
            segments.append([here, here, end, end])
        at[0] = end

    at = [(0.0, 0.0)]

    def move_to(a: freetype.Vector, _: object) -> None:
        close()
        at[0] = (a.x, a.y)
        starts.append(at[0])

    def line_to(a: freetype.Vector, _: object) -> None:
        line((a.x, a.y))

    def conic_to(a: freetype.Vector, b: freetype.Vector, _: object) -> None:
        (x0, y0), end = at[0], (b.x, b.y)
        one = (x0 + (a.x - x0) * 2 / 3, y0 + (a.y - y0) * 2 / 3)
        two = (b.x + (a.x - b.x) * 2 / 3, b.y + (a.y - b.y) * 2 / 3)
        segments.append([at[0], one, two, end])
        at[0] = end

    def cubic_to(a: freetype.Vector, b: freetype.Vector, c: freetype.Vector, _: object) -> None:
        segments.append([at[0], (a.x, a.y), (b.x, b.y), (c.x, c.y)])
        at[0] = (c.x, c.y)

    outline.decompose(None, move_to=move_to, line_to=line_to, conic_to=conic_to, cubic_to=cubic_to)
    close()
    return np.array(segments, float)


def filled(outline: Outline) -> BaseGeometry:
    return fill_regions(flatten([outline], 0.002), [False])[0]


@pytest.mark.parametrize(("package", "file"), FONTS)
def test_advances_agree_with_freetype(package: str, file: str) -> None:
    path = font(package, file)
    cut = cut_of(path)
    face = freetype.Face(str(path))
    for letter in LETTERS:
        face.load_char(letter, freetype.FT_LOAD_NO_SCALE)
        glyph = cut.hb_font.get_nominal_glyph(ord(letter))
        assert cut.hb_font.get_glyph_h_advance(glyph) / cut.units == pytest.approx(
            face.glyph.advance.x / face.units_per_EM
        )


def test_measures_agree_with_freetype() -> None:
    path = font(SANS, "SourceSansPro-Regular.ttf")
    cut = cut_of(path)
    face = freetype.Face(str(path))
    em = face.units_per_EM
    assert cut.ascent == pytest.approx(face.ascender / em)
    assert cut.descent == pytest.approx(face.descender / em)
    # FreeType moves the underline from its top, as OpenType's post table has it, to its middle.
    middle = (face.underline_position + face.underline_thickness / 2) / em
    assert cut.likely(hb.OTMetricsTag.UNDERLINE_OFFSET) == pytest.approx(middle, abs=1.01 / em)
    assert cut.likely(hb.OTMetricsTag.UNDERLINE_SIZE) == pytest.approx(face.underline_thickness / em)


def test_contours_are_closed_and_quadratics_raised_exactly() -> None:
    """A quadratic raised to a cubic is the same curve: its midpoint is (p0 + 2 p1 + p2) / 4."""
    cut = cut_of(font(SCRIPT, "OleoScript-Regular.ttf"))
    outline = cut.outline(cut.hb_font.get_nominal_glyph(ord("o")))
    assert len(outline) == 2
    assert outline.closed.all()
    for index in range(len(outline)):
        part = outline.subpath(index).controls
        assert np.allclose(part[1:, 0], part[:-1, 3])
        assert np.allclose(part[0, 0], part[-1, 3])
    curves = outline.controls[~outline.lines]
    one = (3 * curves[:, 1] - curves[:, 0]) / 2
    two = (3 * curves[:, 2] - curves[:, 3]) / 2
    assert np.allclose(one, two)


def test_a_blank_has_no_outline() -> None:
    cut = cut_of(font(SANS, "SourceSansPro-Regular.ttf"))
    assert not len(cut.outline(cut.hb_font.get_nominal_glyph(ord(" "))))
