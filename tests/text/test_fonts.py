"""Where fonts come from, which one is chosen, and what is told where there is none."""

from __future__ import annotations

import base64
import hashlib
import io
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTCollection, TTFont

from preflight.errors import PreflightError
from preflight.text import FontError, FontSource, Trouble, outline
from preflight.text.fontfile import LARGEST_FONT, load
from preflight.text.matching import Candidate, best
from preflight.writing import FontWish, Slope
from tests.text.support import block, bounds_px, boxes_px, outlined, sans, script, source, texts

FONT = 'font-family="Source Sans Pro" font-size="24"'


def packed(path: Path, flavor: str | None) -> bytes:
    """Return a font packed as WOFF or WOFF2 by fontTools."""
    if flavor == "woff2":
        pytest.importorskip("brotli", reason="the dev dependency brotli is missing")
    made = TTFont(path)
    made.flavor = flavor
    target = io.BytesIO()
    made.save(target)
    return target.getvalue()


def embedded(data: bytes, family: str, extra: str = "") -> str:
    """Return a style element with an @font-face rule for ``data``."""
    link = base64.b64encode(data).decode()
    return f"<style>@font-face {{ font-family: '{family}'; src: url(data:font/ttf;base64,{link}); {extra} }}</style>"


def square(family: str, *, wide: int, weight: int = 400, chars: str = "A", **extra: Any) -> bytes:
    """Return a font of 1000 units an em whose letters are rectangles ``wide`` units wide."""
    builder = FontBuilder(1000, isTTF=True)
    names = [".notdef", *(f"u{ord(c):04X}" for c in chars)]
    builder.setupGlyphOrder(names)
    builder.setupCharacterMap({ord(c): f"u{ord(c):04X}" for c in chars})
    glyphs = {}
    for name in names:
        pen = TTGlyphPen(None)
        if name != "u0020":
            pen.moveTo((0, 0))
            pen.lineTo((0, 500))
            pen.lineTo((wide, 500))
            pen.lineTo((wide, 0))
            pen.closePath()
        glyphs[name] = pen.glyph()
    builder.setupGlyf(glyphs)
    builder.setupHorizontalMetrics(dict.fromkeys(names, (wide + 100, 0)))
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": family, "styleName": "Regular", "version": "Version 1.5"})
    builder.setupOS2(usWeightClass=weight, sxHeight=500, sCapHeight=700, **extra)
    builder.setupPost()
    target = io.BytesIO()
    builder.save(target)
    return target.getvalue()


def test_the_font_used_is_told() -> None:
    path = sans("Semibold")
    made = outlined(f'<text {FONT} font-weight="600">Plot 12</text>', source(sans(), path))
    (used,) = made.fonts_used
    assert (used.family, used.file, used.origin) == ("Source Sans Pro", path.name, "job")
    assert used.version == TTFont(path)["name"].getDebugName(5)
    assert used.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_no_font_is_told_with_the_letters() -> None:
    made = outlined('<text font-family="Oakwood, Elm">Ab b</text>', source(sans()))
    assert not made.outlined
    assert not made.shapes
    (problem,) = made.problems
    assert problem.kind is Trouble.NO_FONT
    assert "“Oakwood” or “Elm”" in problem.message
    assert "“A” (U+0041), “b” (U+0062)" in problem.message


def test_text_that_names_no_font() -> None:
    made = outlined("<text>A</text>", source(sans()))
    assert made.problems[0].message.startswith("No font is named")
    stand_in = FontSource(source(sans()).fonts, {"": "Source Sans Pro"})
    assert outlined("<text>A</text>", stand_in).outlined


def test_generic_families_are_the_operators_choice() -> None:
    body = '<text font-family="Sans-Serif">A</text>'
    assert outlined(body, source(sans())).problems[0].kind is Trouble.NO_FONT
    chosen = FontSource.of({"a.ttf": sans().read_bytes()}, substitutes={"sans-serif": "Source Sans Pro"})
    assert outlined(body, chosen).outlined


def test_missing_letters_are_told_and_nothing_is_drawn() -> None:
    made = outlined(f"<text {FONT}>A漢b漢字</text>", source(sans()))
    assert not made.shapes
    (lack,) = made.missing
    assert lack.characters == "漢字"
    assert lack.families == ("Source Sans Pro",)
    assert "“漢” (U+6F22), “字” (U+5B57)" in made.problems[0].message


def test_the_next_family_has_the_letter() -> None:
    other = square("Boxes", wide=600, chars="A漢")
    fonts = FontSource.of({"a.ttf": sans().read_bytes(), "b.ttf": other})
    made = outlined('<text font-family="Source Sans Pro, Boxes" font-size="100" y="100">A漢</text>', fonts)
    assert [used.family for used in made.fonts_used] == ["Source Sans Pro", "Boxes"]
    assert len(made.shapes) == 2
    x0, _, x1, _ = bounds_px(made.shapes[1:])
    assert x1 - x0 == pytest.approx(60)


def test_a_letter_made_of_two_characters_needs_one_of_its_forms() -> None:
    """Canonical equivalents look alike (Unicode Standard, 1.1 of UAX 15): u with diaeresis."""
    fonts = source(sans())
    one = boxes_px(outlined(f'<text {FONT} y="50">\u00fc</text>', fonts))
    two = boxes_px(outlined(f'<text {FONT} y="50">u\u0308</text>', fonts))
    assert np.allclose(one, two, atol=0.2)


@pytest.mark.parametrize("flavor", [None, "woff", "woff2"])
def test_embedded_fonts(flavor: str | None) -> None:
    body = (
        embedded(packed(script(), flavor), "Plot Script") + '<text font-family="Plot Script" y="50">Ab</text>'
    )
    made = outlined(body, FontSource())
    assert made.outlined
    (used,) = made.fonts_used
    assert (used.origin, used.family) == ("artwork", "Oleo Script")
    plain = outlined('<text font-family="Oleo Script" y="50">Ab</text>', source(script()))
    assert np.allclose(boxes_px(made), boxes_px(plain))


def test_an_embedded_font_comes_before_the_jobs() -> None:
    mine = embedded(square("x", wide=300, chars="A"), "Source Sans Pro")
    made = outlined(f'{mine}<text {FONT} y="50">A</text>', source(sans()))
    assert made.fonts_used[0].origin == "artwork"
    x0, _, x1, _ = bounds_px(made.shapes)
    assert x1 - x0 == pytest.approx(24 * 0.3)


def test_unicode_ranges_divide_a_family() -> None:
    rules = embedded(square("x", wide=300, chars="AB"), "Two", "unicode-range: U+41") + embedded(
        square("y", wide=600, chars="AB"), "Two", "unicode-range: U+42-5?, U+0042"
    )
    made = outlined(f'{rules}<text font-family="Two" font-size="100" y="90">AB</text>', FontSource())
    widths = [x1 - x0 for x0, _, x1, _ in boxes_px(made)]
    assert widths == pytest.approx([30, 60])


def test_a_font_outside_the_file_is_not_fetched() -> None:
    rule = "<style>@font-face { font-family: Far; src: local('Nowhere'), url(https://example.org/far.woff2) }</style>"
    made = outlined(f'{rule}<text font-family="Far">A</text>', source(sans()))
    (problem,) = made.problems
    assert problem.kind is Trouble.NO_FONT
    assert "https://example.org/far.woff2" in problem.message
    assert "not fetched" in problem.message


def test_local_names_a_given_font() -> None:
    rule = "<style>@font-face { font-family: Near; src: local('Source Sans Pro') }</style>"
    assert not outlined(f'{rule}<text font-family="Near">A</text>', FontSource()).outlined
    rule = rule.replace("Source Sans Pro", "SourceSansPro-Regular")
    assert outlined(f'{rule}<text font-family="Near">A</text>', source(sans())).outlined


def test_a_style_that_is_not_there() -> None:
    """Viewers embolden and slant a font on their own, each in its way (CSS Fonts 4, 2.9): told, not imitated."""
    for attributes, word in (('font-weight="700"', "weight 700"), ('font-style="italic"', "style italic")):
        made = outlined(f"<text {FONT} {attributes}>A</text>", source(sans()))
        assert not made.outlined
        assert made.problems[0].kind is Trouble.NO_STYLE
        assert word in made.problems[0].message
    near = outlined(f'<text {FONT} font-weight="500">A</text>', source(sans()))
    assert near.outlined
    assert "weight 500" in near.problems[0].message


def candidates(*weights: float) -> list[Candidate]:
    font = load(sans().read_bytes(), "a", "job")[0]
    return [Candidate(font, (w, w), (100, 100), frozenset((Slope.NORMAL,)), (14, 14)) for w in weights]


# CSS Fonts 4, 5.2, step 4 (from memory): 400 to 500 first looks up to 500, then down, then up;
# below 400 down and then up; above 500 up and then down.
@pytest.mark.parametrize(
    ("wanted", "there", "taken"),
    [
        (400, (300, 500), 500),
        (450, (400, 500), 500),
        (400, (300, 600), 300),
        (500, (400, 600), 400),
        (450, (600, 700), 600),
        (350, (100, 300, 400), 300),
        (200, (300, 400), 300),
        (600, (400, 500, 700, 900), 700),
        (900, (400, 700), 700),
        (700, (700, 800), 700),
    ],
)
def test_weights(wanted: float, there: tuple[float, ...], taken: float) -> None:
    (found,) = best(candidates(*there), FontWish(("x",), 10, weight=wanted))
    assert found.weight == (taken, taken)


# CSS Fonts 4, 5.2, step 1: at or below normal the narrower first, above it the wider.
@pytest.mark.parametrize(
    ("wanted", "there", "taken"), [(75, (50, 87.5), 50), (112.5, (100, 150), 150), (100, (75, 112.5), 75)]
)
def test_widths(wanted: float, there: tuple[float, ...], taken: float) -> None:
    font = load(sans().read_bytes(), "a", "job")[0]
    made = [Candidate(font, (400, 400), (s, s), frozenset((Slope.NORMAL,)), (14, 14)) for s in there]
    (found,) = best(made, FontWish(("x",), 10, stretch=wanted))
    assert found.stretch == (taken, taken)


def test_legacy_and_typographic_family_names_match() -> None:
    """OpenType, name table: ids 1 and 16 both name the family."""
    fonts = source(sans("Black"))
    for family in ("Source Sans Pro", "source sans  PRO", "Source Sans Pro Black"):
        made = outlined(f'<text font-family="{family}" font-weight="900">A</text>', fonts)
        assert made.outlined, made.problems


def test_a_folder_is_read_in_order_and_its_faults_are_named(tmp_path: Path) -> None:
    shutil.copy(sans(), tmp_path / "b.ttf")
    (tmp_path / "inner").mkdir()
    (tmp_path / "inner" / "c.woff").write_bytes(packed(script(), "woff"))
    (tmp_path / "a.ttf").write_bytes(b"no font at all")
    (tmp_path / "notes.txt").write_text("not looked at")
    fonts = FontSource.of(folder=tmp_path)
    assert [font.name for font in fonts.fonts] == ["b.ttf", "c.woff"]
    assert [(r.name, "not a font" in r.why) for r in fonts.rejected] == [("a.ttf", True)]
    assert outlined('<text font-family="Oleo Script">A</text>', fonts).fonts_used[0].origin == "folder"
    with pytest.raises(PreflightError, match="no folder of fonts"):
        FontSource.of(folder=tmp_path / "nowhere")


def test_collections() -> None:
    made = TTCollection()
    made.fonts = [TTFont(sans()), TTFont(script())]
    target = io.BytesIO()
    made.save(target)
    assert [font.family for font in load(target.getvalue(), "x", "job")] == ["Source Sans Pro", "Oleo Script"]


def test_damaged_and_huge_fonts_are_refused() -> None:
    good = packed(sans(), "woff")
    for data in (b"", b"wOFF", good[:60], good[:2000], b"wOF2" + b"\0" * 60, b"wOF2"):
        with pytest.raises(FontError):
            load(data, "broken", "job")
    # A table of WOFF that unpacks to more than it states is not unpacked further.
    at = good.index(b"glyf")
    lying = good[: at + 12] + (LARGEST_FONT + 1).to_bytes(4, "big") + good[at + 16 :]
    with pytest.raises(FontError, match="larger than"):
        load(lying, "lying", "job")
    short = good[: at + 12] + (5).to_bytes(4, "big") + good[at + 16 :]
    with pytest.raises(FontError, match="length stated"):
        load(short, "short", "job")


@pytest.mark.parametrize("seed", range(40))
def test_fonts_with_flipped_bytes_never_crash(seed: int) -> None:
    data = bytearray(sans().read_bytes())
    random = np.random.default_rng(seed)
    for at in random.integers(0, len(data), 60):
        data[at] = random.integers(0, 256)
    fonts = FontSource.of({"x.ttf": bytes(data)})
    for text in texts(f"<text {FONT}>Available office</text>"):
        made = outline(text, fonts)
        assert made.outlined or made.problems


def variable() -> bytes:
    """Return a font whose box is 200 units wide at weight 100 and 800 at 900, and leans with slnt."""
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder([".notdef", "A"])
    builder.setupCharacterMap({65: "A"})
    pen = TTGlyphPen(None)
    for index, (x, y) in enumerate(((0, 0), (0, 500), (200, 500), (200, 0))):
        (pen.lineTo if index else pen.moveTo)((x, y))
    pen.closePath()
    builder.setupGlyf({".notdef": TTGlyphPen(None).glyph(), "A": pen.glyph()})
    builder.setupHorizontalMetrics({".notdef": (500, 0), "A": (300, 0)})
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Vary", "styleName": "Regular"})
    builder.setupFvar([("wght", 100, 100, 900, "Weight"), ("XBOX", 0, 0, 100, "Height")], [])
    from fontTools.ttLib.tables.TupleVariation import TupleVariation

    wider = [(0, 0), (0, 0), (600, 0), (600, 0), (0, 0), (600, 0), (0, 0), (0, 0)]
    taller = [(0, 0), (0, 400), (0, 400), (0, 0), (0, 0), (0, 0), (0, 0), (0, 0)]
    builder.setupGvar(
        {"A": [TupleVariation({"wght": (0, 1, 1)}, wider), TupleVariation({"XBOX": (0, 1, 1)}, taller)]}
    )
    builder.setupOS2(usWeightClass=100)
    builder.setupPost()
    target = io.BytesIO()
    builder.save(target)
    return target.getvalue()


@pytest.mark.parametrize(
    ("style", "width", "height"),
    [
        ("font-weight:100", 20, 50),
        ("font-weight:500", 50, 50),
        ("font-weight:900", 80, 50),
        ("font-weight:500;font-variation-settings:'XBOX' 50", 50, 70),
        ("font-weight:500;font-variation-settings:'wght' 900", 80, 50),
    ],
)
def test_variable_fonts(style: str, width: float, height: float) -> None:
    """Values between masters are linear (OpenType, font variations); settings come last (CSS Fonts 4, 7.1)."""
    fonts = FontSource.of({"v.ttf": variable()})
    made = outlined(f'<text font-family="Vary" font-size="100" y="90" style="{style}">AA</text>', fonts)
    boxes = boxes_px(made)
    assert [b[2] - b[0] for b in boxes] == pytest.approx([width] * 2, abs=0.01)
    assert [b[3] - b[1] for b in boxes] == pytest.approx([height] * 2, abs=0.01)
    # The advance grows with the letter: 300 units at 100, 900 at 900.
    assert boxes[1][0] - boxes[0][0] == pytest.approx(width + 10, abs=0.01)


def test_size_adjust_makes_x_heights_equal() -> None:
    """CSS Fonts 4, 2.6: font-size-adjust 0.25 over an x-height of half an em halves the size."""
    fonts = FontSource.of({"b.ttf": square("Boxes", wide=600)})
    made = outlined(
        '<text font-family="Boxes" font-size="100" font-size-adjust="0.25" y="90">A</text>', fonts
    )
    x0, _, x1, _ = bounds_px(made.shapes)
    assert x1 - x0 == pytest.approx(30)


def test_colour_glyphs_are_told_not_cut() -> None:
    made = TTFont(sans())
    from fontTools.colorLib.builder import buildCOLR, buildCPAL

    made["COLR"] = buildCOLR({"A": [("B", 0), ("C", 1)]}, version=0)
    made["CPAL"] = buildCPAL([[(1, 0, 0, 1), (0, 0, 1, 1)]])
    target = io.BytesIO()
    made.save(target)
    fonts = FontSource.of({"c.ttf": target.getvalue()})
    got = outlined(f"<text {FONT}>AB</text>", fonts)
    assert [p.kind for p in got.problems] == [Trouble.NO_OUTLINE]
    assert "“A” (U+0041)" in got.problems[0].message
    assert "U+0042" not in got.problems[0].message
    assert outlined(f"<text {FONT}>B</text>", fonts).outlined


def test_wishes_read_from_style() -> None:
    style = (
        "font: italic bold condensed 20px/1.2 'A, B', serif; font-variant-numeric: oldstyle-nums;"
        "font-variation-settings: 'GRAD' 12, 'opsz' 3.5; font-feature-settings: 'ss01', 'liga' off"
    )
    (span,) = block(f'<text xml:lang="de" style="{style}">A</text>').spans
    wish = span.font
    assert wish.families == ("A, B", "serif")
    assert (wish.size, wish.weight, wish.slope, wish.stretch) == (20, 700, Slope.ITALIC, 75)
    assert dict(wish.features) == {"onum": 1, "ss01": 1, "liga": 0}
    assert wish.variations == (("GRAD", 12), ("opsz", 3.5))
    assert wish.language == "de"
