"""Layout against an independent renderer (resvg), against HarfBuzz itself, and against SVG 2's words."""

# ruff: noqa: E501  (a drawing is easier to read on one line)

from __future__ import annotations

import math

import numpy as np
import pytest
import uharfbuzz as hb
from hypothesis import given, settings
from hypothesis import strategies as st

from preflight.curves import Path
from preflight.readers import read
from preflight.text import FontSource, Trouble, outline
from preflight.text.along import Along, backwards
from preflight.text.layout import lay_out
from preflight.text.problems import Problems
from tests.readers.drawing import svg
from tests.text.support import (
    block,
    bounds_px,
    boxes_px,
    outlined,
    pixels,
    refereed,
    sans,
    script,
    source,
    texts,
)

FONT = 'font-family="Source Sans Pro" font-size="24"'
DRAWINGS = {
    "plain": f'<text {FONT} x="10" y="50">Marrowby Lane</text>',
    "kerning": f'<text {FONT} x="10" y="50">AVAToTeW.</text>',
    "ligature": f'<text {FONT} x="10" y="50">office flag fjord</text>',
    "script": '<text font-family="Oleo Script" font-size="40" x="10" y="60">Allotments</text>',
    "bold": f'<text {FONT} x="10" y="50" font-weight="bold">Bold</text>',
    "italic": f'<text {FONT} x="10" y="50" font-style="italic">Italic</text>',
    "middle": f'<text {FONT} x="100" y="50" text-anchor="middle">Middle</text>',
    "end": f'<text {FONT} x="190" y="50" text-anchor="end">The end</text>',
    "lists": f'<text {FONT} x="10 40 60" y="50 60" dx="0 0 0 5" dy="0 0 3">Letters</text>',
    "rotate": f'<text {FONT} x="10" y="50" rotate="10 -20 30">Turning</text>',
    "spans": f'<text {FONT} x="10" y="40">One<tspan dy="12" font-size="30">Hill</tspan> <tspan x="20" y="90">three</tspan></text>',
    "chunks": f'<text {FONT} x="100" y="30" text-anchor="middle">One<tspan x="100" y="60">twofold</tspan></text>',
    "spacing": f'<text {FONT} x="10" y="50" letter-spacing="3" word-spacing="5">Wide open</text>',
    "length": f'<text {FONT} x="10" y="50" textLength="150">Spread</text>',
    "stretch": f'<text {FONT} x="10" y="50" textLength="150" lengthAdjust="spacingAndGlyphs">Stretch</text>',
    "shift": f'<text {FONT} x="10" y="50">H<tspan baseline-shift="-6" font-size="14">2</tspan>O<tspan baseline-shift="25%">up</tspan></text>',
    "hanging": f'<text {FONT} x="10" y="20" dominant-baseline="text-before-edge">Top</text>',
    "central": f'<text {FONT} x="10" y="50" dominant-baseline="central">Centre</text>',
    "xheight": f'<text {FONT} x="10" y="50" dominant-baseline="middle">Middle</text>',
    "skewed": f'<g transform="translate(10 10) skewX(20) scale(1.5 1)"><text {FONT} x="5" y="40">Skewed</text></g>',
    "unkerned": f'<text {FONT} x="10" y="50" style="font-kerning:none">AVA ToTe</text>',
    "preserved": f'<text {FONT} x="10" y="50" xml:space="preserve">a   b</text>',
    "stroked": f'<text {FONT} x="10" y="50" fill="none" stroke="black" stroke-width="2">Lines</text>',
    "marks": f'<text {FONT} x="10" y="50">Cafe\u0301 ñandú ǘ</text>',
}


def test_pictures_agree_with_the_referee() -> None:
    paths = (sans(), sans("Bold"), sans("It"), script())
    fonts = source(*paths)
    theirs = refereed(list(DRAWINGS.values()), paths)
    for (name, body), picture in zip(DRAWINGS.items(), theirs, strict=True):
        ours = pixels(body, fonts)
        off = np.abs(ours - picture)
        # The referee samples edges in quarters, so that an edge pixel can differ by a quarter.
        assert float((off > 0.3).mean()) < 0.002, name
        assert float(off.sum() / picture.sum()) < 0.04, name


def test_a_path_of_straight_lines_is_followed_exactly() -> None:
    """Text on a straight path stands where plain text stands (SVG 2, 11.8.3)."""
    fonts = source(sans())
    plain = boxes_px(outlined(f'<text {FONT} x="20" y="60">Along a line</text>', fonts))
    along = boxes_px(
        outlined(
            f'<path id="p" d="M20 60H190"/><text {FONT}><textPath href="#p">Along a line</textPath></text>',
            fonts,
        )
    )
    assert np.allclose(plain, along, atol=1e-6)
    upwards = boxes_px(
        outlined(
            f'<path id="p" d="M60 95V-99"/><text {FONT}><textPath href="#p">Along a line</textPath></text>',
            fonts,
        )
    )
    # A quarter turn against the clock: (x, y) goes to (y, -x) about the start of the baseline.
    turned = [(60 + y0 - 60, 95 - (x1 - 20), 60 + y1 - 60, 95 - (x0 - 20)) for x0, y0, x1, y1 in plain]
    assert np.allclose(upwards, turned, atol=1e-6)


def test_side_and_start_of_a_text_path() -> None:
    fonts = source(sans())
    path = '<path id="p" d="M190 60H10" pathLength="18"/>'
    left = boxes_px(
        outlined(f'{path}<text {FONT}><textPath href="#p" side="right">Ab</textPath></text>', fonts)
    )
    assert np.allclose(left, boxes_px(outlined(f'<text {FONT} x="10" y="60">Ab</text>', fonts)), atol=1e-6)
    # SVG 2, 11.8.1: a startOffset is in units of pathLength where there is one: 3 of 18 is 30 px.
    far = outlined(
        f'{path}<text {FONT}><textPath href="#p" side="right" startOffset="3">Ab</textPath></text>', fonts
    )
    assert np.allclose(boxes_px(far), [(x0 + 30, y0, x1 + 30, y1) for x0, y0, x1, y1 in left], atol=1e-6)


def test_letters_past_the_end_of_a_path_are_told() -> None:
    made = outlined(f'<text {FONT}><textPath path="M0 50H60">Much too long</textPath></text>', source(sans()))
    assert made.outlined
    (told,) = made.problems
    assert told.kind is Trouble.APPROXIMATE
    assert "do not show" in told.message
    x0, _, x1, _ = bounds_px(made.shapes)
    assert x0 >= 0
    assert x1 < 75


def test_distances_along_curves() -> None:
    """A parabola's arc has a closed length: y = x^2 from 0 to 1 is (2 sqrt 5 + asinh 2) / 4."""
    parabola = Path(
        np.array([[[0, 0], [1 / 3, 0], [2 / 3, 1 / 3], [1, 1]]], float),
        np.zeros(1, bool),
        np.zeros(1, np.int64),
        np.zeros(1, bool),
    )
    walk = Along(parabola)
    assert walk.length == pytest.approx((2 * math.sqrt(5) + math.asinh(2)) / 4, rel=1e-12)
    for x in (0.1, 0.5, 0.9):
        gone = (2 * x * math.sqrt(1 + 4 * x * x) + math.asinh(2 * x)) / 4
        assert walk.at(gone) == pytest.approx((x, x * x, math.degrees(math.atan(2 * x))), rel=1e-9)
    back = Along(backwards(parabola))
    assert back.at(back.length / 3)[:2] == pytest.approx(walk.at(walk.length * 2 / 3)[:2])


WORDS = ["Allotments", "Wholesale", "ffi", "Marrowby", "pqgy", "Tomatoes", "Quince"]


@pytest.mark.parametrize("word", WORDS)
def test_places_are_harfbuzzs(word: str) -> None:
    """Each letter stands where HarfBuzz, asked on its own, sets it."""
    path = script()
    face = hb.Face(hb.Blob.from_file_path(str(path)))
    buffer = hb.Buffer()
    buffer.add_str(word)
    buffer.guess_segment_properties()
    hb.shape(hb.Font(face), buffer, {})
    made = lay_out(
        block(f'<text font-family="Oleo Script" font-size="100" x="7" y="50">{word}</text>'),
        source(path),
        Problems(),
    )
    pen, expected = 0.0, []
    for info, place in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        expected.append((info.codepoint, 7 + (pen + place.x_offset) * 100 / face.upem))
        pen += place.x_advance
    ours = [(glyph, cluster.x + x) for cluster in made.clusters() for glyph, x, _ in cluster.glyphs]
    assert [glyph for glyph, _ in ours] == [glyph for glyph, _ in expected]
    assert [x for _, x in ours] == pytest.approx([x for _, x in expected])


def test_colour_does_not_part_letters() -> None:
    """A change of colour alone breaks neither kerning nor ligatures (CSS Text 3, 7.3; memory)."""
    fonts = source(sans())
    whole = boxes_px(outlined(f'<text {FONT} x="10" y="50">AVA</text>', fonts))
    parts = texts(f'<text {FONT} x="10" y="50">A<tspan fill="red">V</tspan>A</text>')
    split = [box for text in parts for box in boxes_px(outline(text, fonts))]
    assert np.allclose(sorted(whole), sorted(split))


def test_shapes_carry_what_the_text_had() -> None:
    (text,) = texts(
        '<clipPath id="c"><rect width="50" height="50"/></clipPath>'
        f'<g clip-path="url(#c)" opacity="0.5"><text {FONT} x="10" y="50" fill="#ff0000" stroke="#0000ff" '
        'paint-order="stroke">Ab</text></g>'
    )
    (shape,) = outline(text, source(sans())).shapes
    assert shape.fill is not None
    assert shape.stroke is not None
    assert (shape.fill.color, shape.stroke.paint.color) == ("#ff0000", "#0000ff")
    assert (shape.opacity, shape.stroke_first, shape.evenodd) == (0.5, True, False)
    assert shape.clips == text.clips
    assert shape.origin is text.origin
    assert len(shape.path) == 4  # A and b have two contours each


def test_a_larger_drawing_gives_larger_letters() -> None:
    body = f'<text {FONT} x="10" y="50">Ab</text>'
    fonts = source(sans())
    artwork = read(svg(body))
    (one,) = (outline(t, fonts).shapes[0] for t in artwork.items)  # type: ignore[arg-type]
    (two,) = (outline(t, fonts).shapes[0] for t in artwork.scaled(2.5).items)  # type: ignore[arg-type]
    assert np.allclose(two.path.mapped(two.matrix).controls, one.path.mapped(one.matrix).controls * 2.5)


def test_lines_are_drawn_by_the_fonts_measures() -> None:
    """OpenType, post: the underline's top is underlinePosition below the baseline, so thick as stated."""
    path = sans()
    made = outlined(
        f'<text {FONT} x="10" y="50" text-decoration="underline line-through">Ab</text>', source(path)
    )
    assert [p.kind for p in made.problems] == [Trouble.APPROXIMATE]
    under, letters, over = made.shapes
    from fontTools.ttLib import TTFont

    tables = TTFont(path)
    em = tables["head"].unitsPerEm / 24
    x0, y0, x1, y1 = bounds_px([under])
    assert (y0, y1 - y0) == pytest.approx(
        (50 - tables["post"].underlinePosition / em, tables["post"].underlineThickness / em), abs=1e-3
    )
    advance = sum(tables["hmtx"][name][0] for name in ("A", "b")) / em
    assert (x0, x1) == pytest.approx((10, 10 + advance), abs=0.01 * 24)
    _, y0, _, y1 = bounds_px([over])
    assert (y0, y1 - y0) == pytest.approx(
        (50 - tables["OS/2"].yStrikeoutPosition / em, tables["OS/2"].yStrikeoutSize / em), abs=1e-3
    )
    assert bounds_px([letters])[1] > 30


@pytest.mark.parametrize(
    ("attributes", "word"),
    [
        ('letter-spacing="5%"', "letter-spacing"),
        ('alignment-baseline="middle"', "alignment-baseline"),
        ('style="inline-size:50px"', "inline-size"),
        ('style="text-transform:capitalize"', "text-transform"),
        ('writing-mode="tb" text-decoration="underline"', "vertical"),
        ('style="font-variant:small-caps"', "font-variant"),
        ('style="unicode-bidi:bidi-override"', "unicode-bidi"),
    ],
)
def test_what_is_not_laid_out_is_named(attributes: str, word: str) -> None:
    made = outlined(
        f'<text font-family="Oleo Script" font-size="20" x="9" y="9" {attributes}>Ab</text>', source(script())
    )
    assert not made.outlined
    assert not made.shapes
    assert any(word in problem.message and problem.advice for problem in made.problems)


LENGTHS = st.lists(st.floats(-300, 300), max_size=4).map(lambda v: " ".join(map(str, v)))
LETTERS = st.text(alphabet="Afi -\u0301\u05d0\u0627日\U0001f600", max_size=12)


@settings(max_examples=150, deadline=None)
@given(
    LETTERS,
    LETTERS,
    st.fixed_dictionaries(dict.fromkeys(("x", "y", "dx", "dy", "rotate", "textLength"), LENGTHS)),
    st.sampled_from(("lr", "tb")),
)
def test_any_text_is_outlined_or_told(one: str, two: str, lists: dict[str, str], mode: str) -> None:
    attributes = " ".join(f'{name}="{value}"' for name, value in lists.items())
    body = f'<text {FONT} writing-mode="{mode}" {attributes}>{one}<tspan letter-spacing="2" {attributes}>{two}</tspan></text>'
    fonts = source(sans())
    for text in texts(body):
        made = outline(text, fonts)
        again = outline(text, FontSource(fonts.fonts))
        assert made.problems == again.problems
        for shape, other in zip(made.shapes, again.shapes, strict=True):
            assert np.isfinite(shape.path.controls).all()
            assert np.array_equal(shape.path.controls, other.path.controls)
        assert made.outlined or any(problem.message for problem in made.problems)
        if made.missing:
            assert not made.outlined
