"""Groups, instances, viewports, clips, conditions and layers (SVG 2, chapters 5 and 8; CSS Masking 1)."""

# ruff: noqa: E501  (a drawing is easier to read on one line)

from __future__ import annotations

import pytest

from preflight.artwork import Hidden, RemarkKind
from tests.readers.drawing import PX, box_px, drawn, fills, only, remarks, shapes

R = '<rect width="10" height="10"/>'


def test_view_box_scales_and_millimetres() -> None:
    """A drawing of 100 mm with a viewBox of 100 units: a unit is a millimetre."""
    artwork = drawn(R, 'width="100mm" height="50mm" viewBox="0 0 100 50"')
    shape = only(artwork)
    assert shape.path.mapped(shape.matrix).bounds() == pytest.approx((0, 0, 10, 10))


def test_root_keeps_its_proportions() -> None:
    """SVG 2, 8.7: the initial preserveAspectRatio is xMidYMid meet."""
    assert box_px(only(drawn(R, 'width="200" height="100" viewBox="0 0 10 10"'))) == (50, 0, 150, 100)
    slicing = 'width="200" height="100" viewBox="0 0 10 10" preserveAspectRatio="xMidYMid slice"'
    assert box_px(only(drawn(R, slicing))) == (0, -50, 200, 150)


def test_transforms_nest() -> None:
    body = (
        f'<g transform="translate(10,20)"><g transform="scale(2)"><g transform="rotate(90)">{R}</g></g></g>'
    )
    assert box_px(only(drawn(body))) == pytest.approx((-10, 20, 10, 40))


@pytest.mark.parametrize(
    ("style", "box"),
    [
        ("transform:scale(2)", (20, 40, 40, 60)),
        ("transform:scale(2);transform-origin:10px 20px", (10, 20, 30, 40)),
        # CSS Transforms 1, section 6: with fill-box, percentages are of the element's own box.
        ("transform:scale(2);transform-origin:50% 50%;transform-box:fill-box", (5, 15, 25, 35)),
        ("transform:scale(2);transform-origin:center", (-80, -10, -60, 10)),
        ("transform:translate(10%, 10%)", (30, 30, 40, 40)),
    ],
)
def test_css_transform_and_origin(style: str, box: tuple[float, ...]) -> None:
    body = f'<rect x="10" y="20" width="10" height="10" style="{style}"/>'
    assert box_px(only(drawn(body))) == pytest.approx(box)


def test_the_property_comes_before_the_attribute() -> None:
    body = '<rect width="10" height="10" transform="scale(9)" style="transform:none"/>'
    assert box_px(only(drawn(body))) == (0, 0, 10, 10)


# SVG 2, 8.2 and 5.5: x, y, width and height place a nested viewport; width and height of use
# come before those of symbol and svg; both default to all of the viewport.
@pytest.mark.parametrize(
    ("body", "box"),
    [
        (f'<svg x="5" y="6" width="20" height="30" viewBox="0 0 10 10">{R}</svg>', (5, 11, 25, 31)),
        (f'<svg x="50%" width="50%" viewBox="0 0 10 10">{R}</svg>', (100, 0, 200, 100)),
        ('<svg viewBox="0 0 20 10"><rect width="50%" height="50%"/></svg>', (0, 0, 100, 50)),
        (f'<symbol id="s" viewBox="0 0 10 10">{R}</symbol><use href="#s" width="20" height="20"/>', (0, 0, 20, 20)),
        (f'<symbol id="s" viewBox="0 0 10 10">{R}</symbol><use href="#s"/>', (50, 0, 150, 100)),
        (f'<symbol id="s" viewBox="0 0 10 10" preserveAspectRatio="none">{R}</symbol><use href="#s"/>', (0, 0, 200, 100)),
        (f'<symbol id="s">{R}</symbol><use href="#s" x="7" y="8"/>', (7, 8, 17, 18)),
        (f'<defs><svg id="s" width="5" height="5" viewBox="0 0 10 10">{R}</svg></defs><use href="#s"/>', (0, 0, 5, 5)),
        (
            f'<defs><svg id="s" width="5" height="5" viewBox="0 0 10 10">{R}</svg></defs>'
            '<use href="#s" width="20" height="20"/>',
            (0, 0, 20, 20),
        ),
        ('<defs><rect id="s" width="9" height="9"/></defs><use xlink:href="#s" x="1"/>', (1, 0, 10, 9)),
        ('<defs><rect id="s" width="9" height="9"/><circle id="t" r="1"/></defs><use href="#t" xlink:href="#s"/>', (-1, -1, 1, 1)),
        ('<defs><rect id="s" width="9" height="9"/></defs><use href="#s" transform="scale(2)" x="1"/>', (2, 0, 20, 18)),
    ],
)  # fmt: skip
def test_viewports_and_instances(body: str, box: tuple[float, ...]) -> None:
    assert box_px(only(drawn(body))) == pytest.approx(box)


@pytest.mark.parametrize(
    ("attributes", "clipped"),
    [
        ("", True),
        ('overflow="visible"', False),
        ('overflow="auto"', False),
        ('style="overflow:scroll"', True),
    ],
)
def test_nested_viewports_clip(attributes: str, clipped: bool) -> None:
    """SVG 2, 3.5: overflow is hidden on nested viewports by the standard's own style sheet."""
    shape = only(drawn(f'<svg x="5" width="8" height="6" {attributes}>{R}</svg>'))
    assert len(shape.clips) == int(clipped)
    if clipped:
        assert shape.clips[0].viewport
        part = shape.clips[0].parts[0]
        box = part.path.mapped(part.matrix).bounds()
        assert box == pytest.approx((5 * PX, 0, 13 * PX, 6 * PX))


def test_missing_and_external_instances_are_told() -> None:
    artwork = drawn('<use href="#none"/><use href="other.svg#a"/><use/>')
    assert len(remarks(artwork, RemarkKind.MISSING_REFERENCE)) == 2
    assert "other.svg" in remarks(artwork, RemarkKind.EXTERNAL_REFERENCE)[0].subject


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ('<g display="none">{}</g>', Hidden.NOT_DISPLAYED),
        ('<g visibility="hidden">{}</g>', Hidden.NOT_VISIBLE),
        ('<g visibility="collapse">{}</g>', Hidden.NOT_VISIBLE),
        ('<g opacity="0">{}</g>', Hidden.ZERO_OPACITY),
        ('<g visibility="hidden"><g visibility="visible">{}</g></g>', None),
        ('<g display="none"><g display="inline">{}</g></g>', Hidden.NOT_DISPLAYED),
        ('<svg display="none">{}</svg>', Hidden.NOT_DISPLAYED),
    ],
)
def test_hidden_items_are_kept_and_marked(body: str, why: Hidden | None) -> None:
    artwork = drawn(body.format(R))
    assert only(artwork).hidden is why
    assert len(list(artwork.shapes())) == (why is None)


@pytest.mark.parametrize("container", ["defs", "symbol", "clipPath", "mask", "marker", "pattern", "metadata"])
def test_containers_that_are_not_drawn(container: str) -> None:
    assert not drawn(f"<{container}>{R}</{container}>").items


def test_switch_and_conditions() -> None:
    """SVG 2, 5.8 and 5.9: the first child whose conditions hold; the language here is English."""
    artwork = drawn(
        '<switch><rect systemLanguage="de" width="1" height="1"/><rect requiredExtensions="x" width="2" height="2"/>'
        '<rect systemLanguage="fr, en-GB" width="3" height="3"/><rect width="4" height="4"/></switch>'
    )
    assert box_px(only(artwork)) == (0, 0, 3, 3)
    assert only(artwork).origin.path == "/svg/switch[1]/rect[3]"
    assert remarks(artwork, RemarkKind.CONDITION)
    plain = drawn(
        '<rect systemLanguage="de" width="1" height="1"/><rect systemLanguage="" width="2" height="2"/>'
    )
    assert not plain.items
    features = drawn(
        '<rect requiredFeatures="http://www.w3.org/TR/SVG11/feature#Shape" width="1" height="1"/>'
    )
    assert len(features.items) == 1


def test_links_are_groups_and_unknown_elements_are_not() -> None:
    assert len(drawn(f"<a href='x'>{R}</a>").items) == 1
    assert not drawn(f"<blob>{R}</blob>").items
    assert not drawn(f'<x:g xmlns:x="urn:x">{R}</x:g>').items


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (f'<mask id="m"/><g mask="url(#m)">{R}</g>', RemarkKind.MASK),
        (f'<filter id="m"/><g filter="url(#m)">{R}</g>', RemarkKind.FILTER),
        (f'<g style="filter:blur(2px)">{R}</g>', RemarkKind.FILTER),
        (f'<g style="mix-blend-mode:multiply">{R}</g>', RemarkKind.BLEND),
        (f'<g mask="url(#none)">{R}</g>', RemarkKind.MISSING_REFERENCE),
        (f'<g filter="url(#none)">{R}</g>', RemarkKind.MISSING_REFERENCE),
        (f"<g>{R}<foreignObject/></g>", RemarkKind.UNSUPPORTED),
        (f"{R}<script>alert(1)</script>", RemarkKind.CONDITION),
        ('<rect width="10" height="10"><animate attributeName="x" to="9"/></rect>', RemarkKind.CONDITION),
        (f"<g>{R}<animateTransform/></g>", RemarkKind.CONDITION),
    ],
)
def test_what_cannot_be_cut_is_told_and_the_rest_read(body: str, kind: RemarkKind) -> None:
    artwork = drawn(body)
    assert len(artwork.items) == 1
    found = remarks(artwork, kind)
    assert len(found) == 1
    assert found[0].origin is not None
    if kind in (RemarkKind.MASK, RemarkKind.FILTER, RemarkKind.BLEND):
        assert found[0].box == pytest.approx((0, 0, 10 * PX, 10 * PX))


@pytest.mark.parametrize("value", ["filter:none", "mask:none", "mix-blend-mode:normal", "isolation:isolate"])
def test_effects_without_effect_are_not_told(value: str) -> None:
    assert drawn(f'<g style="{value}">{R}</g>').remarks == ()


def test_clip_path() -> None:
    artwork = drawn(
        '<clipPath id="c" transform="translate(5)"><rect width="5" height="5"/>'
        '<path d="M0 0H9V9" clip-rule="evenodd"/><rect width="3" height="3" display="none"/>'
        '<rect width="3" height="3" visibility="hidden"/><g><rect width="3" height="3"/></g>'
        f'<use href="#u" x="1"/></clipPath><defs><circle id="u" r="2"/></defs><g transform="scale(2)" clip-path="url(#c)">{R}</g>'
    )
    (clip,) = only(artwork).clips
    assert not clip.viewport
    boxes = [tuple(v / PX for v in part.path.mapped(part.matrix).bounds()) for part in clip.parts]
    assert boxes == [pytest.approx(b) for b in ((10, 0, 20, 10), (10, 0, 28, 18), (8, -4, 16, 4))]
    assert [part.evenodd for part in clip.parts] == [False, True, False]
    assert clip.origin is not None
    assert (clip.origin.id, clip.origin.path) == ("c", "/svg/clipPath[1]")


def test_clip_path_in_bounding_box_units() -> None:
    """CSS Masking 1, 8.2: fractions of the box of the clipped element, strokes left out."""
    body = (
        '<clipPath id="c" clipPathUnits="objectBoundingBox"><rect width=".5" height=".5"/></clipPath>'
        '<g clip-path="url(#c)" stroke="red" stroke-width="9">'
        '<rect x="10" y="20" width="10" height="10"/><rect x="20" y="20" width="30" height="20"/></g>'
    )
    part = shapes(drawn(body))[0].clips[0].parts[0]
    assert part.path.mapped(part.matrix).bounds() == pytest.approx((10 * PX, 20 * PX, 30 * PX, 30 * PX))


def test_clips_on_clips() -> None:
    body = (
        f'<clipPath id="a" clip-path="url(#b)"><rect width="5" height="5" clip-path="url(#b)"/></clipPath>'
        f'<clipPath id="b">{R}</clipPath><g clip-path="url(#a)">{R}</g>'
    )
    (clip,) = only(drawn(body)).clips
    assert len(clip.clips) == 1
    assert len(clip.parts[0].clips) == 1


def test_an_empty_clip_hides_all_and_a_missing_one_nothing() -> None:
    """CSS Masking 1, 5.1 and 8.2."""
    (clip,) = only(drawn(f'<clipPath id="a"/><g clip-path="url(#a)">{R}</g>')).clips
    assert clip.parts == ()
    artwork = drawn(f'<g clip-path="url(#a)">{R}</g>')
    assert only(artwork).clips == ()
    assert remarks(artwork, RemarkKind.MISSING_REFERENCE)


def test_text_in_a_clip_is_told() -> None:
    artwork = drawn(f'<clipPath id="a"><text>x</text></clipPath><g clip-path="url(#a)">{R}</g>')
    assert "text" in remarks(artwork, RemarkKind.UNSUPPORTED)[0].subject


def test_clip_styles_inherit_where_the_clip_stands() -> None:
    body = (
        f'<g clip-rule="evenodd"><clipPath id="a">{R}</clipPath></g>'
        f'<g clip-rule="nonzero" clip-path="url(#a)">{R}</g>'
    )
    assert only(drawn(body)).clips[0].parts[0].evenodd


def test_layers() -> None:
    artwork = drawn(
        f'<g xmlns:i="urn:editor" i:groupmode="layer" i:label="Cut  line">{R}<g i:label="inner">{R}</g></g>'
        f'<g id="Layer_x0020_2" >{R}</g><g data-name="Board" id="g9">{R}</g><g><title>Titled</title>{R}</g>'
        f'<g id="empty"><g id="nested"/></g>{R}'
    )
    assert artwork.layers == ("Cut line", "inner", "Layer 2", "Board", "Titled", "empty")
    assert artwork.empty_layers == ("empty",)
    assert [s.origin.layer for s in shapes(artwork)] == [
        "Cut line",
        "inner",
        "Layer 2",
        "Board",
        "Titled",
        None,
    ]


def test_non_scaling_stroke_keeps_its_width_on_the_page() -> None:
    """SVG 2, 8.13: the stroke is drawn in the host's coordinates, here px of the outermost svg."""
    body = '<g transform="scale(3,7)"><path d="M0 0H10V10" stroke="red" stroke-width="2" vector-effect="non-scaling-stroke"/></g>'
    artwork = drawn(body, 'width="200" height="100" viewBox="0 0 20 10"')
    shape = only(artwork)
    assert shape.stroke_width == pytest.approx(2 * PX)
    assert box_px(shape) == pytest.approx((0, 0, 300, 700))


def test_a_transform_that_cannot_be_undone_hides() -> None:
    """SVG 2, 8.5: a matrix that is not invertible disables rendering."""
    assert only(drawn(f'<g transform="scale(0 1)">{R}</g>')).hidden is Hidden.NOT_DISPLAYED


def test_painting_order_is_document_order() -> None:
    body = '<rect width="1" height="1" fill="red"/><g><rect width="1" height="1" fill="lime"/></g><rect width="1" height="1" fill="blue"/>'
    assert fills(drawn(body)) == ["#ff0000", "#00ff00", "#0000ff"]


def test_instances_tell_where_they_come_from() -> None:
    artwork = drawn('<defs><g id="a"><rect id="r" width="5" height="5"/></g></defs>\n<use href="#a"/>')
    origin = only(artwork).origin
    assert origin.id == "r"
    assert origin.path == "/svg/use[1]/g[1]/rect[1]"
    assert origin.line == 1
