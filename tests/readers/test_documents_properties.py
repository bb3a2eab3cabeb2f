"""Documents that a machine makes up: what must hold whatever the file says."""

from __future__ import annotations

import math
from xml.sax.saxutils import quoteattr

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from preflight.artwork import Artwork, Clip, LiveText, PaintKind, Shape
from preflight.errors import ReadError
from preflight.readers import Limits, read
from tests.readers.drawing import box_px, drawn, shapes, svg

BOUNDED = settings(
    max_examples=300,
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
SMALL = Limits(nodes=3_000, use_instances=300, marker_vertices=300, dashes=3_000, path_segments=20_000)

numbers = st.one_of(
    st.integers(-20, 200).map(str),
    st.floats(-1e3, 1e3).map(repr),
    st.sampled_from(
        ["0", "-0", "1e308", "-1e308", "1e-320", "1e12", "50%", "1e999", "nan", "2em", "3mm", "", "x"]
    ),
)
ids = st.sampled_from("abcd")
references = ids.map(lambda name: f"url(#{name})")
colours = st.one_of(
    st.sampled_from(["none", "red", "#12345678", "currentColor", "context-fill", "?"]), references
)
transforms = st.one_of(
    st.tuples(
        st.sampled_from(["translate", "scale", "rotate", "skewX", "matrix"]), st.lists(numbers, max_size=6)
    ).map(lambda pair: f"{pair[0]}({' '.join(pair[1])})"),
    st.just("none"),
)
ATTRIBUTES: dict[str, st.SearchStrategy[str]] = {
    **dict.fromkeys(
        ("x", "y", "width", "height", "r", "rx", "cx", "x2", "y2", "stroke-width", "opacity"), numbers
    ),
    **dict.fromkeys(("fill", "stroke"), colours),
    **dict.fromkeys(("clip-path", "mask", "marker-mid", "marker-end", "filter"), references),
    "href": ids.map(lambda name: f"#{name}"),
    "id": ids,
    "transform": transforms,
    "d": st.text("MmLlHhCcAaZz0123456789.-e, ", max_size=40),
    "points": st.text("0123456789.-e, ", max_size=30),
    "viewBox": st.lists(numbers, min_size=4, max_size=4).map(" ".join),
    "preserveAspectRatio": st.sampled_from(["none", "xMinYMax slice", "?"]),
    "stroke-dasharray": st.lists(numbers, max_size=3).map(",".join),
    "display": st.sampled_from(["none", "inline"]),
    "visibility": st.sampled_from(["hidden", "visible"]),
    "clipPathUnits": st.sampled_from(["objectBoundingBox", "userSpaceOnUse"]),
    "orient": st.sampled_from(["auto", "45", "auto-start-reverse"]),
    "overflow": st.sampled_from(["visible", "hidden"]),
    "style": st.sampled_from(
        [
            "transform:rotate(3rad);transform-origin:50% top",
            "transform-box:fill-box;transform:scale(2)",
            "fill:var(--a)",
            "--a:red",
            "all:unset",
            "vector-effect:non-scaling-stroke",
            "paint-order:markers stroke",
        ]
    ),
}
LEAVES = ("rect", "circle", "ellipse", "line", "path", "polygon", "polyline", "use", "image", "stop")
GROUPS = (
    "g",
    "svg",
    "symbol",
    "defs",
    "clipPath",
    "marker",
    "switch",
    "a",
    "linearGradient",
    "pattern",
    "mask",
    "text",
)


@st.composite
def elements(draw: st.DrawFn, depth: int = 0) -> str:
    """Return one element with whatever attributes and content."""
    local = draw(st.sampled_from(LEAVES if depth >= 3 else LEAVES + GROUPS))
    names = draw(st.lists(st.sampled_from(sorted(ATTRIBUTES)), max_size=6, unique=True))
    attributes = "".join(f" {name}={quoteattr(draw(ATTRIBUTES[name]))}" for name in names)
    inner = ""
    if local in GROUPS:
        inner = "".join(draw(st.lists(elements(depth + 1), max_size=4)))
    return f"<{local}{attributes}>{inner}</{local}>"


documents = st.lists(elements(), min_size=1, max_size=5).map("".join)


def outcome(data: bytes) -> Artwork | ReadError:
    """Return the artwork, or the error that reading ended in."""
    try:
        return read(data, limits=SMALL)
    except ReadError as error:
        return error


def _clips(clips: tuple[Clip, ...]) -> list[Clip]:
    found = list(clips)
    for clip in clips:
        found += _clips(clip.clips)
        for part in clip.parts:
            found += _clips(part.clips)
    return found


@BOUNDED
@given(documents)
@pytest.mark.filterwarnings("error")
def test_any_document_gives_a_sound_drawing(body: str) -> None:
    result = outcome(svg(body))
    if isinstance(result, ReadError):
        assert result.message
        assert result.advice
        return
    for item in result.items:
        if isinstance(item, LiveText):
            assert item.box is not None
            assert all(map(math.isfinite, (*item.box, *item.position, item.size)))
        elif isinstance(item, Shape):
            _sound(item)
        else:
            assert all(map(math.isfinite, item.box))


def _sound(shape: Shape) -> None:
    assert len(shape.path.controls)
    assert all(abs(value) < 1e7 for value in shape.path.mapped(shape.matrix).bounds())
    assert 0 <= shape.opacity <= 1
    for paint in (shape.fill, shape.stroke.paint if shape.stroke else None):
        if paint is not None:
            assert 0 < paint.opacity <= 1
            assert (paint.color is None) == (paint.kind is not PaintKind.SOLID)
    if shape.stroke is not None:
        assert 0 < shape.stroke_width < math.inf
        assert len(shape.stroke.dashes) % 2 == 0
        assert not shape.stroke.dashes or sum(shape.stroke.dashes) > 0
        assert all(dash >= 0 for dash in shape.stroke.dashes)
    for clip in _clips(shape.clips):
        for part in clip.parts:
            assert all(map(math.isfinite, part.path.mapped(part.matrix).bounds()))


@BOUNDED
@given(documents)
def test_the_same_bytes_give_the_same_drawing(body: str) -> None:
    first, second = outcome(svg(body)), outcome(svg(body))
    if isinstance(first, ReadError) or isinstance(second, ReadError):
        assert str(first) == str(second)
        return
    assert first.remarks == second.remarks
    assert first.layers == second.layers
    assert [(i.origin, i.hidden) for i in first.items] == [(i.origin, i.hidden) for i in second.items]


places = st.tuples(st.integers(-50, 50), st.integers(-50, 50), st.integers(1, 50), st.integers(1, 50))


@BOUNDED
@given(places, places, st.integers(-3, 3).filter(bool))
def test_an_instance_is_its_original_moved(rect: tuple[int, ...], move: tuple[int, ...], scale: int) -> None:
    """SVG 2, 5.6: use draws what a group with the same transform and a translation would."""
    x, y, width, height = rect
    shape = f'<rect id="r" x="{x}" y="{y}" width="{width}" height="{height}"/>'
    used = drawn(
        f'<defs>{shape}</defs><use href="#r" x="{move[0]}" y="{move[1]}" transform="scale({scale})"/>'
    )
    grouped = drawn(f'<g transform="scale({scale}) translate({move[0]} {move[1]})">{shape}</g>')
    assert box_px(shapes(used)[0]) == box_px(shapes(grouped)[0])


@BOUNDED
@given(places, st.sampled_from(["mm", "cm", "in", "pt", "pc", "Q", "px"]))
def test_units_say_the_same_size(rect: tuple[int, ...], unit: str) -> None:
    """A length in any absolute unit is the same length in px (CSS Values and Units 4, 6.2)."""
    px = {"mm": 96 / 25.4, "cm": 96 / 2.54, "in": 96, "pt": 96 / 72, "pc": 16, "Q": 96 / 101.6, "px": 1}[unit]
    x, y, width, height = rect
    stated = drawn(f'<rect x="{x}{unit}" y="{y}{unit}" width="{width}{unit}" height="{height}{unit}"/>')
    plain = drawn(f'<rect x="{x * px!r}" y="{y * px!r}" width="{width * px!r}" height="{height * px!r}"/>')
    assert box_px(shapes(stated)[0]) == pytest.approx(box_px(shapes(plain)[0]), abs=1e-6)
