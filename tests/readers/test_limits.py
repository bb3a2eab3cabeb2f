"""One file for each limit that passes it, and hostile files that must end in a clear answer."""

from __future__ import annotations

import gzip

import pytest

from preflight.artwork import RemarkKind
from preflight.errors import LimitError, ReadError
from preflight.readers import Limits, read
from tests.readers.drawing import drawn, remarks, svg

RECT = '<rect width="9" height="9"/>'
MARKED = (
    '<marker id="m"><path d="M0 0L1 1"/></marker><path marker-mid="url(#m)" d="M0 0L1 1L2 0L3 3L4 0L5 5"/>'
)


@pytest.mark.parametrize(
    ("limit", "allowed", "data"),
    [
        ("input_bytes", 60, svg(RECT)),
        ("decompressed_bytes", 100, gzip.compress(svg(RECT * 50), mtime=0)),
        ("nodes", 20, svg(RECT * 21)),
        ("nesting_depth", 5, svg("<g>" * 9 + RECT + "</g>" * 9)),
        ("use_instances", 3, svg(f'<g id="a">{RECT}</g>' + '<use href="#a"/>' * 4)),
        ("selector_checks", 30, svg("<style>.a{fill:red}.b{fill:red}.c{fill:red}</style>" + RECT * 10)),
        ("marker_vertices", 3, svg(MARKED)),
        ("dashes", 100, svg('<path d="M0 0H1000" stroke="#000" stroke-dasharray="1 1"/>')),
        (
            "clip_depth",
            3,
            svg(
                "".join(f'<clipPath id="c{i}" clip-path="url(#c{i + 1})">{RECT}</clipPath>' for i in range(9))
                + f'<clipPath id="c9">{RECT}</clipPath><g clip-path="url(#c0)">{RECT}</g>'
            ),
        ),
        ("path_segments", 10, svg('<path d="M0 0' + "L1 1" * 11 + '"/>')),
    ],
)
def test_each_limit(limit: str, allowed: int, data: bytes) -> None:
    assert read(data).items  # within the stock limits it reads
    with pytest.raises(LimitError) as caught:
        read(data, limits=Limits(**{limit: allowed}))
    assert limit in caught.value.message
    assert caught.value.code == "limit-" + limit.replace("_", "-")
    assert caught.value.advice


def test_costly_selectors_count_the_siblings_they_walk() -> None:
    plain = svg("<style>rect:first-child{fill:red}</style>" + RECT * 100)
    costly = svg("<style>circle ~ rect{fill:red}</style>" + RECT * 100)
    allowed = Limits(selector_checks=1_000)
    assert read(plain, limits=allowed).items
    with pytest.raises(LimitError, match="selector_checks"):
        read(costly, limits=allowed)


def test_ten_thousand_groups_deep() -> None:
    with pytest.raises(LimitError, match="deep"):
        read(svg("<g>" * 10_000 + RECT + "</g>" * 10_000))


def test_deep_by_instances() -> None:
    """Each group uses the next: no element is nested deeply, the drawing is."""
    body = "".join(f'<g id="g{i}"><use href="#g{i + 1}"/></g>' for i in range(400))
    with pytest.raises(LimitError, match="deep"):
        drawn(f"<defs>{body}</defs><g id='g400'>{RECT}</g><use href='#g0'/>")


def test_doubling_instances() -> None:
    body = "".join(f'<g id="g{i}"><use href="#g{i + 1}"/><use href="#g{i + 1}"/></g>' for i in range(40))
    with pytest.raises(LimitError, match="copies"):
        drawn(f"<defs>{body}<g id='g40'>{RECT}</g></defs><use href='#g0'/>")


def test_doubling_markers() -> None:
    body = "".join(
        f'<marker id="m{i}"><path d="M0 0L1 1L2 2L3 3" marker-start="url(#m{i + 1})" '
        f'marker-mid="url(#m{i + 1})" marker-end="url(#m{i + 1})"/></marker>'
        for i in range(40)
    )
    with pytest.raises(LimitError):
        drawn(body + '<path d="M0 0L9 9" marker-end="url(#m0)"/>', limits=Limits(marker_vertices=5_000))


def test_entity_bombs() -> None:
    lines = "".join(f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 12))
    bomb = f'<!DOCTYPE svg [<!ENTITY a0 "lol">{lines}]><svg xmlns="http://www.w3.org/2000/svg">&a11;</svg>'
    with pytest.raises(LimitError, match="entities"):
        read(bomb.encode())
    loop = (
        '<!DOCTYPE svg [<!ENTITY a "&b;"><!ENTITY b "&a;">]><svg xmlns="http://www.w3.org/2000/svg">&a;</svg>'
    )
    with pytest.raises(LimitError, match="entities"):
        read(loop.encode())


def test_external_entities_are_not_read() -> None:
    data = (
        '<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
        '<svg xmlns="http://www.w3.org/2000/svg"><text>&a;</text></svg>'
    )
    with pytest.raises(ReadError, match="entity"):
        read(data.encode())


def test_external_parameter_entities_are_not_read() -> None:
    data = (
        '<!DOCTYPE svg [<!ENTITY % p SYSTEM "http://127.0.0.1:9/x.dtd"> %p;]>'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9">{RECT}</svg>'
    )
    with pytest.raises(ReadError, match="entity"):
        read(data.encode())


@pytest.mark.parametrize(
    "body",
    [
        '<rect width="1e308" height="9"/>',
        '<circle r="1e308"/>',
        '<g transform="scale(1e200)"><g transform="scale(1e200)"><rect width="1" height="1"/></g></g>',
        '<g transform="matrix(1e300 1e300 1e300 1e300 1e308 1e308)"><rect width="1" height="1"/></g>',
        '<path d="M0 0L1e300 1e300"/>',
        '<path d="M0 0L1e11 1e11"/>',
        '<polygon points="0,0 1e308,0 1,1"/>',
        '<path d="M0 0L5 5" stroke="red" stroke-width="1e11"/>',
        '<svg width="1e-300" height="1e300" viewBox="0 0 1e300 1e-300"><rect width="1" height="1"/></svg>',
        '<rect transform="translate(1e14)" width="5" height="5"/>',
    ],
)
@pytest.mark.filterwarnings("error")
def test_numbers_out_of_range_are_told(body: str) -> None:
    artwork = drawn(body + RECT)
    assert artwork.remarks
    assert {r.kind for r in artwork.remarks} <= {RemarkKind.BAD_VALUE, RemarkKind.PATH_ERROR}
    shapes = [item for item in artwork.items if item.hidden is None]
    assert shapes  # the good rectangle is still there
    for shape in artwork.shapes():
        assert max(map(abs, shape.path.mapped(shape.matrix).bounds())) < 1e7


@pytest.mark.parametrize(
    "body",
    [
        '<g id="a"><use href="#a"/></g>',
        '<use id="a" href="#a"/>',
        '<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>',
        '<symbol id="a"><use href="#a"/></symbol><use href="#a"/>',
        '<clipPath id="a"><rect width="5" height="5" clip-path="url(#a)"/></clipPath>'
        '<rect width="5" height="5" clip-path="url(#a)"/>',
        '<clipPath id="a" clip-path="url(#a)"><rect width="5" height="5"/></clipPath>'
        '<rect width="5" height="5" clip-path="url(#a)"/>',
        '<marker id="a"><path d="M0 0L5 5" marker-end="url(#a)"/></marker>'
        '<path d="M0 0L5 5" marker-end="url(#a)"/>',
    ],
)
def test_cycles_end_and_are_told(body: str) -> None:
    assert remarks(drawn(body), RemarkKind.CYCLE)


def test_gradient_link_cycles_end() -> None:
    artwork = drawn(
        '<linearGradient id="a" href="#b"/><linearGradient id="b" href="#a"/>'
        '<rect width="5" height="5" fill="url(#a)"/>'
    )
    assert artwork.remarks


def test_nested_boxes_end() -> None:
    group = '<g style="transform-box:fill-box;transform:scale(1)">'
    with pytest.raises(LimitError):
        drawn(group * 60 + RECT + "</g>" * 60)
    assert len(drawn(group * 6 + RECT + "</g>" * 6).items) == 1


def test_a_value_too_long_is_told() -> None:
    with pytest.raises(LimitError, match="picture"):
        read(svg(f'<image href="data:image/png;base64,{"A" * 10_100_000}"/>'))


def test_many_remarks_are_capped() -> None:
    artwork = drawn("".join(f'<use href="#n{i}"/>' for i in range(3_000)))
    assert len(artwork.remarks) == 2_001
    assert "more than" in artwork.remarks[-1].subject


BLANKS = " " * 300_000


@pytest.mark.parametrize(
    "attributes",
    [
        f'transform="{BLANKS}x"',
        f'transform="scale(1){BLANKS}!"',
        f'width="1{BLANKS}!"',
        f'stroke-width="1{BLANKS}!"',
        f'fill="url({BLANKS}"',
        f'fill="red{BLANKS}x"',
        f'stroke-dasharray="{"9" * 300_000}"',
        f'stroke-dasharray="{"1 " * 150_000}"',
        f'style="font:{"a " * 150_000}"',
        f'style="fill:var(--a{BLANKS}"',
        f'style="fill:{"var(--a," * 40_000}"',
        f'style="fill:{"(" * 100_000}"',
        f'style="{"a:b;" * 70_000}"',
        f'opacity="{BLANKS}"',
        f'd="M0 0{BLANKS}!"',
        f'points="0 0{BLANKS}!"',
        f'class="{"a " * 150_000}"',
    ],
    ids=range(17),
)
def test_long_values_end(attributes: str) -> None:
    """Values built to make a careless pattern take the square of their length, hours here."""
    sheet = "<style>.a{fill:red}</style>"
    for element in ("rect", "path", "polygon"):
        assert drawn(f"{sheet}<{element} {attributes}/>{RECT}").items
    assert read(svg(RECT, f'width="9" height="9" viewBox="0 0{BLANKS}!"')).items


def test_deeply_nested_selectors_end() -> None:
    artwork = drawn(f"<style>{':is(' * 5_000}rect{')' * 5_000}{{fill:red}}</style>{RECT}")
    assert len(artwork.items) == 1


def test_selectors_of_very_many_ancestors_are_not_understood_and_said_to_be() -> None:
    """Each becomes a nested Python expression, and Python's parser gives up at about 200."""
    artwork = drawn(f"<style>{'* ' * 400}rect{{fill:red}}</style>{RECT}")
    assert len(artwork.items) == 1
    assert any("style rule not understood" in remark.subject for remark in artwork.remarks)


def test_selectors_count_the_ways_up_to_their_ancestors() -> None:
    """Twelve ancestors among forty: 5.6e9 ways, and none of them matches."""
    nested = "<g>" * 40 + RECT + "</g>" * 40
    with pytest.raises(LimitError, match="selector_checks"):
        drawn(f"<style>b {'g ' * 11}rect{{fill:red}}</style>{nested}")
    artwork = drawn(f"<style>svg g g rect{{fill:red}}</style>{nested}")
    assert len(artwork.items) == 1
