"""The cascade: CSS Cascading 4, Selectors 4, and SVG 2's presentation attributes."""

from __future__ import annotations

import pytest

from preflight.artwork import Cap, Join, RemarkKind
from tests.readers.drawing import drawn, fills, only, remarks, shapes

R = 'width="9" height="9"'


# SVG 2, 6.6: presentation attributes have specificity 0 and come before the style sheets; CSS
# Cascading 4, 6: importance, then the style attribute, then specificity, then order.
@pytest.mark.parametrize(
    ("sheet", "attributes", "colour"),
    [
        ("", 'fill="#010101"', "#010101"),
        ("rect{fill:#020202}", 'fill="#010101"', "#020202"),
        ("*{fill:#020202}", 'fill="#010101"', "#020202"),
        ("rect{fill:#020202}", 'style="fill:#030303"', "#030303"),
        ("rect{fill:#020202!important}", 'style="fill:#030303"', "#020202"),
        ("rect{fill:#020202!important}", 'style="fill:#030303!important"', "#030303"),
        (".a{fill:#020202} rect{fill:#030303}", 'class="a"', "#020202"),
        ("#i{fill:#020202} .a.b{fill:#030303}", 'class="a b" id="i"', "#020202"),
        (".a{fill:#020202} .b{fill:#030303}", 'class="b a"', "#030303"),
        ("rect{fill:#020202} rect{fill:#030303}", "", "#030303"),
        ("g rect{fill:#020202} rect{fill:#030303}", "", "#020202"),
        ("svg > g > rect{fill:#020202}", "", "#020202"),
        ("g > g > rect{fill:#020202}", "", "#000000"),
        ("circle + rect{fill:#020202}", "", "#020202"),
        ("circle ~ rect{fill:#020202}", "", "#020202"),
        ("rect:first-child{fill:#020202}", "", "#000000"),
        ("rect:last-child{fill:#020202}", "", "#020202"),
        ("rect:nth-child(2){fill:#020202}", "", "#020202"),
        ("rect:not(.a){fill:#020202}", "", "#020202"),
        (":is(circle, rect){fill:#020202}", "", "#020202"),
        ("rect[data-film]{fill:#020202}", 'data-film="gold leaf"', "#020202"),
        ("rect[data-film=gold]{fill:#020202}", 'data-film="gold leaf"', "#000000"),
        ("rect[data-film~=leaf]{fill:#020202}", 'data-film="gold leaf"', "#020202"),
        ("rect[data-film^=go]{fill:#020202}", 'data-film="gold leaf"', "#020202"),
        ("rect[data-film$=af]{fill:#020202}", 'data-film="gold leaf"', "#020202"),
        ("rect[data-film*='d l']{fill:#020202}", 'data-film="gold leaf"', "#020202"),
        ("rect, circle{fill:#020202}", "", "#020202"),
        ("@media print{rect{fill:#020202}}", "", "#000000"),
        ("@media screen{rect{fill:#020202}}", "", "#020202"),
        ("@media screen and (min-width:1px){rect{fill:#020202}}", "", "#000000"),
        ("rect{fill:#020202;fill:nonsense}", "", "#020202"),
        ("rect{fill:#020202;;broken}", "", "#020202"),
        ("@namespace s url(http://www.w3.org/2000/svg); s|rect{fill:#020202}", "", "#020202"),
        ('@namespace "urn:other"; rect{fill:#020202}', "", "#000000"),
        ("rect{/* c */fill:/* c */#020202}", "", "#020202"),
        ("<![CDATA[ g > rect{fill:#020202} ]]>", "", "#020202"),
        ("rect{fill:inherit}", 'fill="#010101"', "#000000"),
        ("g{fill:#040404} rect{fill:unset}", 'fill="#010101"', "#040404"),
        ("g{fill:#040404} rect{fill:initial}", "", "#000000"),
        ("g{--film:#050505} rect{fill:var(--film)}", "", "#050505"),
        ("rect{fill:var(--none, #060606)}", "", "#060606"),
        ("g{fill:#040404} rect{fill:var(--none)}", "", "#040404"),
        ("g{color:#070707} rect{fill:currentColor}", "", "#070707"),
        ("rect{fill:currentColor;color:#080808}", "", "#080808"),
        ("g{fill:currentColor;color:#070707} rect{color:#080808}", "", "#080808"),
    ],
)
def test_cascade(sheet: str, attributes: str, colour: str) -> None:
    if "<![CDATA[" not in sheet:
        sheet = sheet.replace(">", "&gt;")
    artwork = drawn(f"<style>{sheet}</style><g><circle/><rect {R} {attributes}/></g>")
    assert fills(artwork) == [colour]


def test_sheets_after_their_use_and_of_other_types() -> None:
    artwork = drawn(
        f'<rect {R} class="a"/><style type="text/css">.a{{fill:#020202}}</style>'
        '<style type="text/less">.a{fill:#030303}</style>'
    )
    assert fills(artwork) == ["#020202"]


def test_imports_are_named_and_not_fetched() -> None:
    artwork = drawn(f'<style>@import url("other.css"); rect{{fill:#020202}}</style><rect {R}/>')
    assert fills(artwork) == ["#020202"]
    assert "other.css" in remarks(artwork, RemarkKind.EXTERNAL_REFERENCE)[0].subject


def test_conditions_of_media_are_told() -> None:
    artwork = drawn(f"<style>@media print{{rect{{fill:red}}}}</style><rect {R}/>")
    assert "print" in remarks(artwork, RemarkKind.CONDITION)[0].subject


def test_invalid_values_are_told_once() -> None:
    wrong = f'<rect {R} fill="reddish"/>'
    artwork = drawn(f'<g fill="#010101">{wrong * 3}</g>')
    assert fills(artwork) == ["#010101"] * 3
    (told,) = remarks(artwork, RemarkKind.BAD_VALUE)
    assert told.subject == "fill: reddish"
    assert told.origin is not None
    assert told.origin.path == "/svg/g[1]/rect[1]"


def test_a_rule_not_understood_is_told() -> None:
    artwork = drawn(f"<style>rect:::x{{fill:red}} rect{{fill:#020202}}</style><rect {R}/>")
    assert fills(artwork) == ["#020202"]
    assert remarks(artwork, RemarkKind.BAD_VALUE)


def test_initial_values() -> None:
    """SVG 2's property index: fill black, nonzero; stroke none; width 1, butt, miter, limit 4."""
    shape = only(drawn(f'<rect {R} stroke="red"/>'))
    assert shape.fill is not None
    assert shape.fill.color == "#000000"
    assert not shape.evenodd
    assert shape.stroke is not None
    stroke = shape.stroke
    assert (stroke.width, stroke.cap, stroke.join, stroke.miter_limit) == (1, Cap.BUTT, Join.MITER, 4)
    assert stroke.dashes == ()
    assert only(drawn(f"<rect {R}/>")).stroke is None


# SVG 2, 13.5: percentages refer to the viewport's diagonal over root two; here 200 x 100 px gives
# 158.11 px. An em is taken where the property is set, not where it is inherited.
@pytest.mark.parametrize(
    ("attributes", "width"),
    [
        ('stroke-width="2mm"', 7.559055118),
        ('stroke-width="10%"', 15.811388301),
        ('stroke-width="2em"', 32),
        ('font-size="10" stroke-width="2em"', 20),
    ],
)
def test_stroke_width(attributes: str, width: float) -> None:
    inner = f'<g {attributes}><rect {R} stroke="red" font-size="50"/></g>'
    stroke = only(drawn(inner)).stroke
    assert stroke is not None
    assert stroke.width == pytest.approx(width)


# SVG 2, 13.5.6: odd counts are repeated, a negative value or a sum of zero gives a solid line.
@pytest.mark.parametrize(
    ("dashes", "expected"),
    [
        ("none", ()),
        ("5", (5, 5)),
        ("5,3", (5, 3)),
        ("5 3 2", (5, 3, 2, 5, 3, 2)),
        ("5, -3", ()),
        ("0 0", ()),
        ("0 5", (0, 5)),
        ("1mm 1em", (3.779527559, 16)),
        ("10% 5px", (15.811388301, 5)),
        ("5 nonsense", ()),
    ],
)
def test_dashes(dashes: str, expected: tuple[float, ...]) -> None:
    stroke = only(
        drawn(f'<rect {R} stroke="red" stroke-dasharray="{dashes}" stroke-dashoffset="1mm"/>')
    ).stroke
    assert stroke is not None
    assert stroke.dashes == pytest.approx(expected)
    assert stroke.dash_offset == pytest.approx(3.779527559)


def test_stroke_words() -> None:
    stroke = only(
        drawn(
            f'<rect {R} style="stroke:red;stroke-linecap:round;stroke-linejoin:bevel;stroke-miterlimit:7"/>'
        )
    ).stroke
    assert stroke is not None
    assert (stroke.cap, stroke.join, stroke.miter_limit) == (Cap.ROUND, Join.BEVEL, 7)


@pytest.mark.parametrize("width", ["0", "-1"])
def test_no_stroke(width: str) -> None:
    shape = only(drawn(f'<g stroke-width="0"><rect {R} stroke="red" stroke-width="{width}"/></g>'))
    assert shape.stroke is None


def test_opacities() -> None:
    """CSS Color 4, 4.2: values clamp to 0..1; opacity of groups multiplies."""
    paints = 'fill="rgba(1,2,3,.5)" fill-opacity="0.4" stroke="red" stroke-opacity="7"'
    body = f'<g opacity="0.5"><rect {R} opacity="50%" {paints}/></g>'
    shape = only(drawn(body))
    assert shape.opacity == pytest.approx(0.25)
    assert shape.fill is not None
    assert shape.fill.opacity == pytest.approx(0.2)
    assert shape.stroke is not None
    assert shape.stroke.paint.opacity == 1
    assert only(drawn(f'<rect {R} fill-opacity="0"/>')).fill is None


def test_font_size_computes() -> None:
    """CSS Fonts 4, 2.5: em and % of the parent's size; rem of the root's."""
    body = '<g font-size="10"><g font-size="2em"><g font-size="150%"><rect width="1em" height="1rem"/></g></g></g>'
    shape = only(drawn(body, 'width="200" height="100" font-size="7"'))
    assert shape.path.controls.max(axis=(0, 1)).tolist() == [30, 7]


@pytest.mark.parametrize(
    ("order", "first"),
    [
        ("normal", False),
        ("stroke", True),
        ("fill stroke", False),
        ("stroke nonsense", False),
        ("markers stroke", True),
    ],
)
def test_paint_order(order: str, first: bool) -> None:
    """SVG 2, 13.8: what is not named follows in the usual order."""
    assert only(drawn(f'<rect {R} stroke="red" paint-order="{order}"/>')).stroke_first is first


def test_rules_see_the_original_tree_and_inheritance_the_place_of_use() -> None:
    """SVG 2, 5.6.3 and CSS Scoping: selectors match as in the referenced tree, values inherit from use."""
    artwork = drawn(
        "<style>g.blue rect{stroke:#0000ff} .red{fill:#ff0000}</style>"
        f'<defs><g id="a"><rect {R}/></g></defs><g class="blue"><use href="#a" class="red"/></g>'
    )
    shape = shapes(artwork)[0]
    assert shape.fill is not None
    assert shape.fill.color == "#ff0000"
    assert shape.stroke is None
