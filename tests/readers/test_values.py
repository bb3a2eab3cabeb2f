"""Lengths, colours, transforms, viewBox fitting: values that the standards print."""

from __future__ import annotations

import math

import numpy as np
import pytest
import tinycss2.color4

from preflight.curves import apply
from preflight.readers.svg.css_transform import css_transform, transform_origin
from preflight.readers.svg.values import (
    Measure,
    alpha,
    angle,
    color,
    length,
    transform_attribute,
    url_and_rest,
)
from preflight.readers.svg.viewport import ViewBox, fit, view_box

MEASURE = Measure(font_size=20, root_font_size=10, width=400, height=300, window=(1000, 500))


# CSS Values and Units 4, 6.1 and 6.2; SVG 2, 8.9 for percentages: the diagonal over root two.
@pytest.mark.parametrize(
    ("text", "axis", "px"),
    [
        ("1in", "x", 96),
        ("2.54cm", "x", 96),
        ("25.4mm", "x", 96),
        ("101.6Q", "x", 96),
        ("72pt", "x", 96),
        ("6pc", "x", 96),
        ("96px", "x", 96),
        ("96", "x", 96),
        (" 1e1PX ", "x", 10),
        ("+.5in", "x", 48),
        ("-3", "x", -3),
        ("2em", "x", 40),
        ("2rem", "x", 20),
        ("2ex", "x", 20),
        ("2ch", "x", 20),
        ("10vw", "x", 100),
        ("10vh", "x", 50),
        ("10vmin", "x", 50),
        ("10vmax", "x", 100),
        ("50%", "x", 200),
        ("50%", "y", 150),
        ("100%", "o", math.sqrt((400**2 + 300**2) / 2)),
        ("calc(1in + 4px)", "x", 100),
        ("calc(50% - 2 * 10px)", "x", 180),
        ("calc((1in - 6px) / 3)", "x", 30),
    ],
)
def test_lengths(text: str, axis: str, px: float) -> None:
    assert length(text, MEASURE, axis) == pytest.approx(px)


@pytest.mark.parametrize(
    "text", ["", "px", "1 2", "1furlong", "nan", "inf", "1e999", "--1", "calc(1px + 2)", "calc(1/0 * 1px)"]
)
def test_no_lengths(text: str) -> None:
    assert length(text, MEASURE, "x") is None


# CSS Color 4, sections 5 to 7 and the table of named colours in 6.1.
@pytest.mark.parametrize(
    ("text", "rgb", "opacity"),
    [
        ("red", "#ff0000", 1),
        ("GReen", "#008000", 1),
        ("rebeccapurple", "#663399", 1),
        ("#abc", "#aabbcc", 1),
        ("#ABCDEF", "#abcdef", 1),
        ("#0f08", "#00ff00", 136 / 255),
        ("#11223344", "#112233", 68 / 255),
        ("rgb(0,127,0)", "#007f00", 1),
        ("rgb( 10 , 20 , 30 )", "#0a141e", 1),
        ("rgb(10 20 30 / 50%)", "#0a141e", 0.5),
        ("rgba(0, 127, 0, 0.25)", "#007f00", 0.25),
        ("rgba(0, 127, 0, -1)", "#007f00", 0),
        ("rgb(100%, 50%, 0%)", "#ff8000", 1),
        ("rgb(300, -5, 0)", "#ff0000", 1),
        ("hsl(120, 100%, 25%)", "#008000", 1),
        ("hsl(120deg 100% 50%)", "#00ff00", 1),
        ("hsla(240, 100%, 50%, .5)", "#0000ff", 0.5),
        ("transparent", "#000000", 0),
        ("hwb(90 10% 10%)", "#80e61a", 1),
    ],
)
def test_colours(text: str, rgb: str, opacity: float) -> None:
    found = color(text)
    assert found is not None
    assert found.rgb == rgb
    assert found.alpha == pytest.approx(opacity)


def test_every_named_colour() -> None:
    """CSS Color 4 names 148 colours; an independent table gives their values."""
    from PIL import ImageColor

    named = [name for name in ImageColor.colormap if name != "transparent"]
    assert len(named) == 148
    for name in named:
        found = color(name)
        assert found is not None
        assert found.rgb == str(ImageColor.colormap[name]).lower()
    assert tinycss2.color4.parse_color("notacolour") is None


@pytest.mark.parametrize(
    "text", ["", "none", "currentColor", "#12", "#12345g", "rgb(1,2)", "url(#a)", "notacolour"]
)
def test_no_colours(text: str) -> None:
    assert color(text) is None


def test_alpha_and_angle() -> None:
    assert [alpha(t) for t in ("0.5", "50%", "7", "-1", "x")] == [0.5, 0.5, 1, 0, None]
    # CSS Values and Units 4, 7.1: 400 grad, 1 turn and 2 pi rad are 360 degrees.
    assert [angle(t) for t in ("90", "100grad", ".25turn", "x")] == [90, 90, 90, None]
    assert angle(f"{math.pi / 2}rad") == pytest.approx(90)


# SVG 1.1, 7.6, and CSS Transforms 1, section 8: the matrices of the functions.
@pytest.mark.parametrize(
    ("text", "matrix"),
    [
        ("", (1, 0, 0, 1, 0, 0)),
        ("matrix(1 2 3 4 5 6)", (1, 2, 3, 4, 5, 6)),
        ("matrix(1,2,3,4,5,6)", (1, 2, 3, 4, 5, 6)),
        ("translate(3)", (1, 0, 0, 1, 3, 0)),
        ("translate(3-4)", (1, 0, 0, 1, 3, -4)),
        ("scale(2)", (2, 0, 0, 2, 0, 0)),
        ("scale(2 3)", (2, 0, 0, 3, 0, 0)),
        ("rotate(90)", (0, 1, -1, 0, 0, 0)),
        ("rotate(90 10 20)", (0, 1, -1, 0, 30, 10)),
        ("skewX(45)", (1, 0, 1, 1, 0, 0)),
        ("skewY(45)", (1, 1, 0, 1, 0, 0)),
        ("translate(10,20)scale(2)", (2, 0, 0, 2, 10, 20)),
        ("translate(10,20) , scale(2)", (2, 0, 0, 2, 10, 20)),
        ("scale(2) translate(10,20)", (2, 0, 0, 2, 20, 40)),
    ],
)
def test_transform_attribute(text: str, matrix: tuple[float, ...]) -> None:
    found = transform_attribute(text)
    assert found is not None
    np.testing.assert_allclose(found, matrix, atol=1e-12)


@pytest.mark.parametrize(
    "text", ["scale()", "scale(1,2,3)", "rotate(1 2)", "foo(1)", "scale(2", "matrix(1 2 3)", "rotate(1e999)"]
)
def test_no_transform(text: str) -> None:
    assert transform_attribute(text) is None


@pytest.mark.parametrize(
    ("text", "matrix"),
    [
        ("none", (1, 0, 0, 1, 0, 0)),
        ("translate(10px, 50%)", (1, 0, 0, 1, 10, 25)),
        ("translateX(1in)", (1, 0, 0, 1, 96, 0)),
        ("translateY(10%)", (1, 0, 0, 1, 0, 5)),
        ("rotate(0.25turn)", (0, 1, -1, 0, 0, 0)),
        ("rotate(100grad) scale(2, 50%)", (0, 2, -0.5, 0, 0, 0)),
        ("scaleX(3)", (3, 0, 0, 1, 0, 0)),
        ("skew(45deg)", (1, 0, 1, 1, 0, 0)),
        ("skew(0, 45deg)", (1, 1, 0, 1, 0, 0)),
    ],
)
def test_css_transform(text: str, matrix: tuple[float, ...]) -> None:
    found = css_transform(text, MEASURE, (100, 50))
    assert found is not None
    np.testing.assert_allclose(found, matrix, atol=1e-12)


def test_css_transform_out_of_the_plane_is_refused() -> None:
    assert css_transform("rotate3d(1,1,1,45deg)", MEASURE, (100, 50)) is None
    assert css_transform("translate(1px", MEASURE, (100, 50)) == (1, 0, 0, 1, 1, 0)  # CSS closes at the end


# CSS Transforms 1, section 5: keywords are percentages of the reference box, in either order.
@pytest.mark.parametrize(
    ("text", "point"),
    [
        ("left top", (10, 20)),
        ("top left", (10, 20)),
        ("center", (60, 45)),
        ("right", (110, 45)),
        ("bottom", (60, 70)),
        ("25% 10px", (35, 30)),
        ("5 6", (15, 26)),
    ],
)
def test_transform_origin(text: str, point: tuple[float, float]) -> None:
    assert transform_origin(text, MEASURE, (10, 20, 100, 50)) == point


# SVG 2, 8.7: a 100 x 50 viewBox at (10, 20) in a viewport of 100 x 200. Slice and meet scale by the
# larger and the smaller of 1 and 4; the alignment shares out what is left.
@pytest.mark.parametrize(
    ("aspect", "corner", "scale"),
    [
        ("none", (0, 0), (1, 4)),
        ("xMinYMin", (0, 0), (1, 1)),
        ("xMinYMid meet", (0, 75), (1, 1)),
        ("xMaxYMax meet", (0, 150), (1, 1)),
        ("xMidYMid slice", (-150, 0), (4, 4)),
        ("xMaxYMin slice", (-300, 0), (4, 4)),
        ("xMinYMax slice", (0, 0), (4, 4)),
        ("defer xMidYMin", (0, 0), (1, 1)),
        ("nonsense", (0, 75), (1, 1)),
        (None, (0, 75), (1, 1)),
    ],
)
def test_preserve_aspect_ratio(
    aspect: str | None, corner: tuple[float, float], scale: tuple[float, float]
) -> None:
    matrix = fit(ViewBox(10, 20, 100, 50), aspect, 100, 200)
    np.testing.assert_allclose(apply(matrix, np.array([10.0, 20.0])), corner)
    assert (matrix[0], matrix[3]) == scale


@pytest.mark.parametrize("text", [None, "", "0 0 10", "0 0 -1 5", "a b c d", "0 0 10 10 10", "0,,0,1,1"])
def test_no_view_box(text: str | None) -> None:
    assert view_box(text) is None


def test_view_box_separators() -> None:
    assert view_box("0,0 , 10\n20") == ViewBox(0, 0, 10, 20)
    assert view_box("-1-2 3 4") == ViewBox(-1, -2, 3, 4)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("url(#a)", ("#a", "")),
        ("url( '#a' ) red", ("#a", "red")),
        ('url("#a") none', ("#a", "none")),
        ("URL(#a)", ("#a", "")),
        ("red", None),
    ],
)
def test_urls(text: str, parts: tuple[str, str] | None) -> None:
    assert url_and_rest(text) == parts
