"""Thickness against the stem hints that type designers wrote into a font.

A CFF glyph's hstem and vstem hints give the edges of its stems in font units (Adobe Technical Note
5177, The Type 2 Charstring Format, section 4.3). Where straight walls stand on both edges of a hint,
face each other and have only material between, the stem's width is published, and nothing here made it.

Font: Source Sans Pro (SIL Open Font License), from the package font-source-sans-pro.
"""

from __future__ import annotations

import pathlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from fontTools.misc.psCharStrings import T2WidthExtractor
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.ttLib import TTFont
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from preflight.curves import Path, flatten
from preflight.geometry.fills import fill_regions
from preflight.geometry.thickness import thin_parts

fonts = pytest.importorskip(
    "font_source_sans_pro", reason="the dev dependency font-source-sans-pro is missing"
)
FLATTENING = 0.05
GLYPHS = 1100
"""As many of each face are looked at, in the font's order."""
GHOSTS = (20.0, 21.0)
"""Widths that mark an edge hint, not a stem (Technical Note 5177, section 4.3, as -20 and -21)."""


class _Stems(T2WidthExtractor):  # type: ignore[misc]
    """Collects the hints of a charstring as (low, high) edges."""

    def reset(self) -> None:
        super().reset()
        self.horizontal: list[tuple[float, float]] = []
        self.vertical: list[tuple[float, float]] = []

    def _collect(self, stems: list[tuple[float, float]]) -> None:
        numbers = self.popallWidth()
        self.hintCount += len(numbers) // 2
        edge = 0.0
        for offset, width in zip(numbers[::2], numbers[1::2], strict=True):
            edge += offset
            stems.append((edge, edge + width))
            edge += width

    def op_hstem(self, _index: int) -> None:
        self._collect(self.horizontal)

    def op_vstem(self, _index: int) -> None:
        self._collect(self.vertical)

    op_hstemhm, op_vstemhm = op_hstem, op_vstem

    def countHints(self) -> None:  # noqa: N802  (the library's name)
        # Hints straight before a hint mask are vertical ones with the operator left out.
        self._collect(self.vertical)


@dataclass(frozen=True)
class Stem:
    """A hinted stem between straight walls: its width and the middle of where they face each other."""

    width: float
    middle: tuple[float, float]
    length: float


def hints(font: TTFont, name: str) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    charstring = font["CFF "].cff.topDictIndex[0].CharStrings[name]
    private = charstring.private
    reader = _Stems(
        getattr(private, "Subrs", []),
        charstring.globalSubrs,
        private.nominalWidthX,
        private.defaultWidthX,
        private,
    )
    charstring.decompile()
    reader.execute(charstring)
    return reader.horizontal, reader.vertical


def outline(glyphs: Any, name: str) -> Path:
    pen = DecomposingRecordingPen(glyphs)
    glyphs[name].draw(pen)
    contours: list[Path] = []
    controls: list[tuple[tuple[float, float], ...]] = []
    lines: list[bool] = []
    start = here = (0.0, 0.0)
    for operator, points in pen.value:
        if operator == "moveTo":
            start = here = points[0]
            controls, lines = [], []
        elif operator in ("lineTo", "curveTo"):
            straight = operator == "lineTo"
            controls.append((here, here, points[0], points[0]) if straight else (here, *points))
            lines.append(straight)
            here = points[-1]
        else:
            if here != start:
                controls.append((here, here, start, start))
                lines.append(True)
            if controls:
                contours.append(
                    Path(np.array(controls, float), np.array(lines), np.zeros(1, np.int64), np.array([True]))
                )
    return Path.joined(contours)


def straight_stem(path: Path, region: BaseGeometry, edges: tuple[float, float], axis: int) -> Stem | None:
    """Return the stem between straight walls on both ``edges``, or None where the hint has no such walls."""
    low, high = edges
    walls = path.controls[path.lines][:, (0, 3)]
    on = [walls[(walls[:, :, axis] == edge).all(axis=1), :, 1 - axis] for edge in edges]
    for a in on[0]:
        for b in on[1]:
            begin, end = max(a.min(), b.min()), min(a.max(), b.max())
            if end - begin < 1 or (a[1] > a[0]) == (b[1] > b[0]):
                continue
            along, across = (begin + end) / 2, np.array([low + 0.01, high - 0.01])
            ends = np.stack((across, np.full(2, along)) if axis == 0 else (np.full(2, along), across), axis=1)
            if region.contains(LineString(ends)):
                middle = ends.mean(axis=0)
                return Stem(high - low, (float(middle[0]), float(middle[1])), float(end - begin))
    return None


def stems(face: str) -> Iterator[tuple[str, BaseGeometry, Stem]]:
    """Yield each glyph with its thinnest hinted straight stem; glyphs drawn alike come once."""
    font = TTFont(pathlib.Path(fonts.__file__).parent / "files" / f"SourceSansPro-{face}.otf")
    glyphs, seen = font.getGlyphSet(), set()
    for name in font.getGlyphOrder()[:GLYPHS]:
        path = outline(glyphs, name)
        key = path.controls.tobytes()
        if not len(path) or key in seen:
            continue
        seen.add(key)
        [region] = fill_regions(flatten([path], FLATTENING), [False])
        found = [
            stem
            for axis, pairs in ((1, hints(font, name)[0]), (0, hints(font, name)[1]))
            for pair in pairs
            if pair[1] > pair[0] and pair[1] - pair[0] not in GHOSTS
            if (stem := straight_stem(path, region, pair, axis)) is not None
        ]
        if found:
            yield name, region, min(found, key=lambda stem: stem.width)


def test_stems_are_as_wide_as_their_hints() -> None:
    """The narrowest straight stem of each glyph, to 0.05 of a font unit (1/1000 of the em).

    A stem is not told apart where it runs on into something thinner (then that is what is reported
    there), and is quiet by design where it is a limb shorter than twice its width.
    """
    exact, hidden, missing = 0, 0, []
    for name, region, stem in stems("Regular"):
        limit = stem.width + 1
        x, y = stem.middle
        here = [
            part
            for part in thin_parts(region, limit, tolerance=FLATTENING)
            if part.box[0] - 1 <= x <= part.box[2] + 1 and part.box[1] - 1 <= y <= part.box[3] + 1
        ]
        if any(abs(part.width - stem.width) <= 0.05 for part in here):
            exact += 1
        elif any(part.width < stem.width for part in here):
            hidden += 1
        elif stem.length > 2.5 * limit:
            missing.append((name, stem))
    assert not missing
    assert exact >= 400, (exact, hidden)
