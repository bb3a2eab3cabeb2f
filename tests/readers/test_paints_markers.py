"""Paint servers (SVG 2, chapter 14) and markers (13.7)."""

# ruff: noqa: E501  (a drawing is easier to read on one line)

from __future__ import annotations

import math

import numpy as np
import pytest

from preflight.artwork import PaintKind, RemarkKind
from preflight.curves import apply
from preflight.readers.svg.markers import bisector, vertices
from preflight.readers.svg.outlines import Outline
from preflight.readers.svg.pathdata import parse_path
from tests.readers.drawing import PX, box_px, drawn, fills, only, remarks, shapes

RED, BLUE = '<stop stop-color="red"/>', '<stop offset="1" stop-color="blue"/>'


# SVG 2, 14.2: no stops paint nothing, one stop or no extent paints one colour; 14.3: a pattern
# without a size paints nothing; 13.2: the fallback stands in for a missing server.
@pytest.mark.parametrize(
    ("server", "fill", "kind", "colour"),
    [
        (f'<linearGradient id="a">{RED}{BLUE}</linearGradient>', "url(#a)", PaintKind.GRADIENT, None),
        (f'<radialGradient id="a">{RED}{BLUE}</radialGradient>', "url(#a) lime", PaintKind.GRADIENT, None),
        (f'<linearGradient id="a">{RED}</linearGradient>', "url(#a)", PaintKind.SOLID, "#ff0000"),
        (f'<linearGradient id="a">{RED}{RED}</linearGradient>', "url(#a)", PaintKind.SOLID, "#ff0000"),
        ('<linearGradient id="a"/>', "url(#a)", None, None),
        (
            f'<linearGradient id="a" x2="0">{RED}{BLUE}</linearGradient>',
            "url(#a)",
            PaintKind.SOLID,
            "#0000ff",
        ),
        (f'<radialGradient id="a" r="0">{RED}{BLUE}</radialGradient>', "url(#a)", PaintKind.SOLID, "#0000ff"),
        (
            f'<linearGradient id="b">{RED}{BLUE}</linearGradient><radialGradient id="a" href="#b"/>',
            "url(#a)",
            PaintKind.GRADIENT,
            None,
        ),
        (
            f'<linearGradient id="b" x2="0">{RED}</linearGradient><linearGradient id="a" href="#b">{RED}{BLUE}</linearGradient>',
            "url(#a)",
            PaintKind.SOLID,
            "#0000ff",
        ),
        ('<pattern id="a" width="5" height="5"><path/></pattern>', "url(#a)", PaintKind.PATTERN, None),
        ('<pattern id="a" width="0" height="5"><path/></pattern>', "url(#a)", None, None),
        ('<pattern id="a"><path/></pattern>', "url(#a)", None, None),
        ("", "url(#a) lime", PaintKind.SOLID, "#00ff00"),
        ("", "url(#a) none", None, None),
        ("", "url(#a)", None, None),
        ('<rect id="a"/>', "url(#a) lime", PaintKind.SOLID, "#00ff00"),
        ("", "#fff icc-color(x, 1)", PaintKind.SOLID, "#ffffff"),
    ],
)
def test_servers(server: str, fill: str, kind: PaintKind | None, colour: str | None) -> None:
    paint = only(drawn(f'<defs>{server}</defs><path d="M0 0H9V9z" fill="{fill}"/>')).fill
    assert (paint.kind if paint else None) is kind
    assert (paint.color if paint else None) == colour


def test_missing_servers_are_told() -> None:
    artwork = drawn(
        '<rect width="5" height="5" fill="url(#a) red"/><rect width="5" height="5" fill="url(x.svg#a)"/>'
    )
    assert "red" in remarks(artwork, RemarkKind.MISSING_REFERENCE)[0].subject
    assert remarks(artwork, RemarkKind.EXTERNAL_REFERENCE)


@pytest.mark.parametrize(
    ("units", "kind"), [("", None), ('gradientUnits="userSpaceOnUse"', PaintKind.GRADIENT)]
)
def test_bounding_box_units_need_a_box(units: str, kind: PaintKind | None) -> None:
    """SVG 2, 8.11: a gradient in bounding-box units on a flat outline is not rendered."""
    body = (
        f'<linearGradient id="a" {units}>{RED}{BLUE}</linearGradient>'
        '<path d="M0 5H50" stroke="url(#a)" stroke-width="4"/>'
    )
    stroke = only(drawn(body)).stroke
    assert (stroke.paint.kind if stroke else None) is kind


def test_stop_opacity_and_colour() -> None:
    body = (
        '<g color="#123456"><linearGradient id="a"><stop stop-color="currentColor" stop-opacity="50%"/>'
        '</linearGradient></g><rect width="5" height="5" fill="url(#a)" fill-opacity="0.5"/>'
    )
    paint = only(drawn(body)).fill
    assert paint is not None
    assert (paint.color, paint.opacity) == ("#123456", 0.25)


def _directions(data: str) -> list[float]:
    parsed = parse_path(data)
    outline = Outline(parsed.path, parsed.inner, parsed.zero_closes)
    return [round(bisector(v), 6) % 360 for v in vertices(outline)]


# SVG 2, 13.7.4 and 9.6.1: the first vertex takes the direction out, the last the direction in, all
# others half way between; closed subpaths take both at their start; segments of no length none.
@pytest.mark.parametrize(
    ("data", "angles"),
    [
        ("M0 0H10V10", [0, 45, 90]),
        ("M0 0H10V10H0z", [315, 45, 135, 225, 315]),
        ("M0 0H10V10L0 0z", [292.5, 45, 157.5, 292.5, 292.5]),
        ("M0 0C0 10 10 10 10 0", [90, 270]),
        ("M0 0H10V0V10", [0, 45, 45, 90]),
        ("M0 0A5 5 0 0 1 10 0", [270, 90]),
        ("M0 0L0 0", [0, 0]),
        ("M0 0H9M20 0V9", [0, 0, 90, 90]),
    ],
)
def test_directions(data: str, angles: list[float]) -> None:
    assert _directions(data) == pytest.approx(angles)


MARKER = '<marker id="m" {}><rect width="4" height="2" fill="lime"/></marker>'


def _marked(
    attributes: str, path: str = 'd="M10 10H50V50"', place: str = "marker-start"
) -> list[tuple[float, ...]]:
    body = f'{MARKER.format(attributes)}<path fill="none" stroke="red" stroke-width="2" {path} {place}="url(#m)"/>'
    return [box_px(s) for s in shapes(drawn(body)) if s.fill is not None]


# SVG 2, 13.7.3: markerUnits strokeWidth scales by the stroke width, here 2; refX and refY name the
# point of the content that falls on the vertex.
@pytest.mark.parametrize(
    ("attributes", "box"),
    [
        ("", (10, 10, 18, 14)),
        ('markerUnits="userSpaceOnUse"', (10, 10, 14, 12)),
        ('refX="4" refY="2"', (2, 6, 10, 10)),
        ('markerUnits="userSpaceOnUse" viewBox="0 0 4 2" markerWidth="8" markerHeight="4"', (10, 10, 18, 14)),
        (
            'markerUnits="userSpaceOnUse" viewBox="0 0 4 2" markerWidth="8" markerHeight="4" refX="center" refY="bottom"',
            (6, 6, 14, 10),
        ),
        (
            'markerUnits="userSpaceOnUse" viewBox="0 0 4 2" markerWidth="8" markerHeight="4" refX="50%"',
            (6, 10, 14, 14),
        ),
        ('markerUnits="userSpaceOnUse" orient="90"', (8, 10, 10, 14)),
        ('markerUnits="userSpaceOnUse" orient="0.25turn"', (8, 10, 10, 14)),
        ('markerUnits="userSpaceOnUse" orient="auto"', (10, 10, 14, 12)),
        ('markerUnits="userSpaceOnUse" orient="auto-start-reverse"', (6, 8, 10, 10)),
    ],
)
def test_marker_placement(attributes: str, box: tuple[float, ...]) -> None:
    assert _marked(attributes) == [pytest.approx(box)]


def test_markers_at_each_vertex() -> None:
    path = 'd="M10 10H50V50"'
    units = 'markerUnits="userSpaceOnUse"'
    assert _marked(units, path, "marker-mid") == [pytest.approx((50, 10, 54, 12))]
    assert _marked(units, path, "marker-end") == [pytest.approx((50, 50, 54, 52))]
    assert len(_marked(units, path, "style='marker:none' marker-end")) == 0
    assert len(_marked(units, path, "style='marker:url(#m)' marker-x")) == 3


@pytest.mark.parametrize("attributes", ['markerWidth="0"', 'markerHeight="-1"', 'viewBox="0 0 0 5"'])
def test_markers_without_size_are_not_drawn(attributes: str) -> None:
    assert _marked(attributes) == []


def test_markers_clip_unless_told_otherwise() -> None:
    for overflow, clips in (("", 1), ('overflow="visible"', 0)):
        body = f'{MARKER.format(overflow)}<path d="M0 0H9" stroke="red" marker-end="url(#m)"/>'
        assert len(shapes(drawn(body))[-1].clips) == clips


def test_marker_content_inherits_where_the_marker_stands() -> None:
    body = (
        '<g fill="#010101"><marker id="m"><rect width="1" height="1"/></marker></g>'
        '<g fill="#020202"><path d="M0 0H9V9" marker-end="url(#m)"/></g>'
    )
    assert fills(drawn(body)) == ["#020202", "#010101"]


def test_context_paints() -> None:
    """SVG 2, 13.3: context-fill and context-stroke are the paints of the marked shape or the use."""
    body = (
        '<marker id="m"><rect width="1" height="1" fill="context-stroke" stroke="context-fill"/></marker>'
        '<path d="M0 0H9V9" fill="#010101" stroke="#020202" marker-end="url(#m)"/>'
    )
    last = shapes(drawn(body))[-1]
    assert last.fill is not None
    assert last.stroke is not None
    assert (last.fill.color, last.stroke.paint.color) == ("#020202", "#010101")
    used = (
        '<defs><rect id="r" width="1" height="1" fill="context-fill"/></defs><use href="#r" fill="#030303"/>'
    )
    assert fills(drawn(used)) == ["#030303"]


def test_markers_in_paint_order() -> None:
    body = (
        '<marker id="m"><rect width="1" height="1" fill="#0000ff"/></marker>'
        '<path d="M0 0H9V9" fill="#ff0000" stroke="#00ff00" marker-end="url(#m)" paint-order="{}"/>'
    )

    def order(value: str) -> list[str]:
        found = []
        for shape in shapes(drawn(body.format(value))):
            if shape.fill and shape.fill.color == "#0000ff":
                found.append("markers")
                continue
            parts = [name for name, has in (("fill", shape.fill), ("stroke", shape.stroke)) if has]
            found += parts[::-1] if shape.stroke_first else parts
        return found

    assert order("normal") == ["fill", "stroke", "markers"]
    assert order("markers") == ["markers", "fill", "stroke"]
    assert order("stroke markers") == ["stroke", "markers", "fill"]
    assert order("markers stroke") == ["markers", "stroke", "fill"]
    assert order("fill markers") == ["fill", "markers", "stroke"]


@pytest.mark.parametrize(
    ("element", "count"),
    [
        ('<rect width="9" height="9"', 5),
        ('<rect width="9" height="9" rx="2"', 10),
        ('<circle r="9"', 6),
        ('<line x2="9"', 2),
        ('<polygon points="0,0 9,0 9,9"', 4),
    ],
)
def test_vertices_of_basic_shapes(element: str, count: int) -> None:
    """SVG 2, 10.2 to 10.7: the equivalent paths; the closing command ends on a vertex of its own."""
    body = f'<marker id="m"><path d="M0 0H1V1z" fill="lime"/></marker>{element} fill="none" style="marker:url(#m)"/>'
    assert len([s for s in shapes(drawn(body)) if s.fill]) == count


def test_marker_faults_are_told() -> None:
    blurred = '<marker id="m" style="filter:blur(1px)"><path d="M0 0H1V1z"/></marker><path d="M0 0H9" marker-end="url(#m)"/>'
    assert remarks(drawn(blurred), RemarkKind.FILTER)
    assert remarks(drawn('<path d="M0 0H9" marker-end="url(#m)"/>'), RemarkKind.MISSING_REFERENCE)


def test_bisector_is_half_the_turn_and_not_half_the_sum() -> None:
    """Turning back from 170 to -170 degrees points to 180, not to 0."""
    a, b = math.radians(170), math.radians(-170)
    data = f"M0 0L{math.cos(a)} {math.sin(a)}l{math.cos(b)} {math.sin(b)}"
    assert _directions(data)[1] == pytest.approx(180)


def test_marker_scale_follows_the_path() -> None:
    body = '<marker id="m"><rect width="1" height="1" fill="lime"/></marker>'
    body += '<g transform="scale(3)"><path d="M1 1H9" stroke-width="2" marker-start="url(#m)"/></g>'
    shape = shapes(drawn(body))[-1]
    np.testing.assert_allclose(apply(shape.matrix, np.array([1.0, 1.0])), (9 * PX, 9 * PX))
