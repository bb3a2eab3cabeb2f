"""Lettering measured from outlines, against what the font itself publishes.

Font: Source Sans Pro (SIL Open Font License). Heights: the glyph's own control points and OS/2
sCapHeight; strokes: StdVW of the CFF Private dictionary and the stem hints' edges (Adobe Technical
Notes 5176 and 5177); spaces: advance widths and side bearings of the hmtx table.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from preflight.lettering import lines_of
from tests.setting import control_points, font, word_region

FACES = ["SourceSansPro", "SourceSansProBold", "SourceSansProLight", "SourceSansProBlack"]
EM = 100.0
UNIT = EM / 1000
WORDS = ["MARROWBY LANE", "TOOL HIRE 2024", "PLOTS TO LET", "HOLLYHOCK"]


def height_of(name: str, face: str) -> float:
    return max(y for _, y in control_points(name, face)) * UNIT


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize("word", WORDS)
def test_height_of_capitals(word: str, face: str) -> None:
    (line,) = lines_of(word_region(word, EM, face=face))
    assert len(line.pieces) == len(word.replace(" ", ""))
    # Figures of this font are up to 10 units lower than its capitals.
    assert line.height == pytest.approx(height_of("H", face), abs=12 * UNIT)
    assert line.height == pytest.approx(font(face)["OS/2"].sCapHeight * UNIT, rel=0.04)
    assert line.baseline == pytest.approx(100.0, abs=0.01)
    assert line.one_height


@pytest.mark.parametrize("face", FACES)
def test_height_of_capitals_among_small_letters(face: str) -> None:
    lines = lines_of(word_region("Marrowby Lane Allotments", EM, face=face))
    assert lines
    for line in lines:
        assert line.height == pytest.approx(height_of("H", face), abs=12 * UNIT)
        assert line.baseline == pytest.approx(100.0, abs=0.01)
        assert not line.one_height


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize("word", [*WORDS, "open sundays", "plot holders only"])
def test_usual_stroke_is_the_fonts_standard_stem(word: str, face: str) -> None:
    standard = font(face)["CFF "].cff.topDictIndex[0].Private.StdVW * UNIT
    for line in lines_of(word_region(word, EM, face=face)):
        assert line.stroke == pytest.approx(standard, rel=0.08)


@pytest.mark.parametrize("face", FACES)
def test_an_upright_bar_is_the_capital_i(face: str) -> None:
    (line,) = lines_of(word_region("TOOL HIRE", EM, face=face))
    xs = [x for x, _ in control_points("I", face)]
    assert line.bars == pytest.approx([(max(xs) - min(xs)) * UNIT], abs=0.02)


@pytest.mark.parametrize("face", FACES)
def test_rings_are_the_round_letters(face: str) -> None:
    (line,) = lines_of(word_region("TOLD BY QC", EM, face=face))
    xs = [x for x, _ in control_points("O", face)]
    assert line.rings == pytest.approx([(max(xs) - min(xs)) * UNIT], abs=0.02)


@pytest.mark.parametrize("face", FACES)
def test_gaps_are_the_side_bearings(face: str) -> None:
    (line,) = lines_of(word_region("HIHEN", EM, face=face))
    expected = []
    for left, right in zip("HIHE", "IHEN", strict=True):
        xs = [x for x, _ in control_points(left, face)]
        expected.append((font(face)["hmtx"][left][0] - max(xs) + font(face)["hmtx"][right][1]) * UNIT)
    assert line.gaps == pytest.approx(expected, abs=0.02)


def test_letters_with_descenders_stand_in_their_line() -> None:
    (line,) = lines_of(word_region("Spring", EM))
    assert len(line.pieces) == 6  # S p r i n g; the dot over the i is none.
    assert np.all(line.gaps < 0.3 * line.height)


def test_letters_cut_out_of_a_plate_are_found() -> None:
    word = word_region("TOOL HIRE", EM)
    plate = shapely.difference(shapely.box(0, 0, 1000, 200), word)
    (cut,), (drawn,) = lines_of(plate), lines_of(word)
    assert cut.height == pytest.approx(drawn.height, abs=1e-9)
    assert len(cut.pieces) == len(drawn.pieces)
    assert cut.stroke == pytest.approx(drawn.stroke, rel=1e-9)


def test_two_lines_one_above_the_other() -> None:
    both = shapely.union_all([word_region("PLOTS", 50, y=80), word_region("TO LET", 50, y=150)])
    assert [round(line.baseline, 1) for line in lines_of(both)] == [80.0, 150.0]


@pytest.mark.parametrize(
    "shapes",
    [
        [shapely.box(10 * i, 0, 10 * i + 3, 20) for i in range(8)],  # a fence
        [shapely.Point(15 * i, 0).buffer(5 + i / 10) for i in range(8)],  # dots
        [shapely.box(40 * i, 0, 40 * i + 3 + i, 20) for i in range(8)],  # posts far apart
        [shapely.box(0, 30 * i, 5 + i, 30 * i + 20) for i in range(8)],  # a stack
        [shapely.box(0, 0, 3, 20), shapely.box(5, 0, 9, 20)],  # two only
    ],
)
def test_things_in_a_row_are_no_lettering(shapes: list[shapely.Polygon]) -> None:
    assert lines_of(shapely.union_all(shapes)) == []


def test_nothing_holds_no_lettering() -> None:
    assert lines_of(shapely.MultiPolygon()) == []


def test_what_is_found_does_not_hang_on_size_and_place() -> None:
    word = word_region("MARROWBY LANE", EM)
    (line,) = lines_of(word)
    grown = shapely.transform(word, lambda points: points * 3 + [17.0, -40.0])
    (larger,) = lines_of(grown)
    assert larger.height == pytest.approx(3 * line.height)
    assert larger.gaps == pytest.approx(3 * line.gaps)
    assert line.stroke is not None
    assert larger.stroke == pytest.approx(3 * line.stroke)
