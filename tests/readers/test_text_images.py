"""Live text and pictures: what the reader tells of them."""

# ruff: noqa: E501  (a drawing is easier to read on one line)

from __future__ import annotations

import base64

import pytest

from preflight.artwork import Artwork, Hidden, LiveText, Picture, RemarkKind
from tests.readers.drawing import PX, drawn, remarks

PNG = base64.b64encode(
    b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + (30).to_bytes(4, "big") + (20).to_bytes(4, "big") + b"\x08\x02\0\0\0"
).decode()
"""The head of a PNG of 30 by 20 pixels (PNG specification, 11.2.2)."""


def texts(artwork: Artwork) -> list[LiveText]:
    return [item for item in artwork.items if isinstance(item, LiveText)]


def picture(body: str) -> Picture:
    (item,) = drawn(body).items
    assert isinstance(item, Picture)
    return item


def test_runs() -> None:
    (first, second, third) = texts(
        drawn(
            '<g font-family="\'Oak Sans\', serif" font-size="20" transform="scale(2)"><text id="t" x="10" y="30">One'
            '<tspan font-weight="bold" fill="#ff0000"> two</tspan><tspan x="5" y="60" font-style="italic">three</tspan></text></g>'
        )
    )
    assert (first.text, second.text, third.text) == ("One", "two", "three")
    assert first.families == ("Oak Sans", "serif")
    assert first.size == pytest.approx(40 * PX)
    assert first.position == pytest.approx((20 * PX, 60 * PX))
    assert third.position == pytest.approx((10 * PX, 120 * PX))
    assert (first.weight, second.weight, third.italic) == (400, 700, True)
    assert second.fill is not None
    assert second.fill.color == "#ff0000"
    assert first.origin.id == "t"
    assert first.box is not None
    assert first.box[0] == pytest.approx(20 * PX)


# SVG 1.1, 10.15: by default line breaks go, tabs are blanks, and runs of blanks are one.
@pytest.mark.parametrize(
    ("attributes", "raw", "text"),
    [
        ("", "  a \t b\n c  ", "a b c"),
        ('xml:space="preserve"', "a  b\nc", "a  b c"),
        ("", "   ", None),
    ],
)
def test_white_space(attributes: str, raw: str, text: str | None) -> None:
    assert [t.text for t in texts(drawn(f"<text {attributes}>{raw}</text>"))] == ([text] if text else [])


def test_text_paths_references_and_entities() -> None:
    artwork = drawn(
        '<path id="p" d="M0 0H99"/><text><textPath href="#p">along</textPath></text>'
        '<text id="r">shown</text><text><tref xlink:href="#r"/></text>'
    )
    assert [t.text for t in texts(artwork)] == ["along", "shown", "shown"]


def test_hidden_text() -> None:
    (first, second) = texts(drawn('<text display="none">a</text><text visibility="hidden">b</text>'))
    assert (first.hidden, second.hidden) == (Hidden.NOT_DISPLAYED, Hidden.NOT_VISIBLE)


@pytest.mark.parametrize("anchor", ["start", "middle", "end"])
def test_anchor_moves_the_box(anchor: str) -> None:
    (text,) = texts(drawn(f'<text x="100" text-anchor="{anchor}">abc</text>'))
    assert text.box is not None
    share = {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor]
    width = text.box[2] - text.box[0]
    assert text.box[0] == pytest.approx(100 * PX - share * width)


@pytest.mark.parametrize(
    ("attributes", "box"),
    [
        ('x="1" y="2" width="3" height="4"', (1, 2, 4, 6)),
        ("", (0, 0, 30, 20)),
        ('width="60"', (0, 0, 60, 40)),
        ('height="10"', (0, 0, 15, 10)),
        ('width="10" height="10" transform="rotate(90)"', (-10, 0, 0, 10)),
    ],
)
def test_embedded_pictures(attributes: str, box: tuple[float, ...]) -> None:
    found = picture(f'<image {attributes} href="data:image/jpeg;base64,{PNG}"/>')
    assert found.box == pytest.approx([v * PX for v in box])
    assert found.embedded
    assert found.media_type == "image/png"  # told by the bytes, not by the label
    assert found.size_bytes == 29
    assert len(found.reference) <= 60


def test_other_data() -> None:
    plain = picture('<image width="9" height="9" href="data:image/svg+xml,%3Csvg/%3E"/>')
    assert plain.media_type == "image/svg+xml"
    assert picture('<image width="9" height="9" href="data:;base64,!"/>').media_type is None


def test_linked_pictures_are_told() -> None:
    artwork = drawn('<image width="9" height="9" href="photo.jpg"/>')
    (item,) = artwork.items
    assert isinstance(item, Picture)
    assert not item.embedded
    assert "photo.jpg" in remarks(artwork, RemarkKind.EXTERNAL_REFERENCE)[0].subject


def test_no_pictures() -> None:
    assert not drawn(f'<image width="0" height="9" href="data:image/png;base64,{PNG}"/>').items
    artwork = drawn('<image width="9" height="9"/>')
    assert not artwork.items
    assert remarks(artwork, RemarkKind.MISSING_REFERENCE)
