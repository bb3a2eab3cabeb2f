"""What a file is, told by its content; and what a reader of the message can do about it."""

from __future__ import annotations

import gzip

import pytest

from preflight.artwork import RemarkKind, SizeBasis
from preflight.errors import ReadError
from preflight.readers import read
from tests.readers.drawing import remarks, svg

RECT = '<rect width="10" height="10"/>'


# The first bytes are those the formats' own specifications give.
@pytest.mark.parametrize(
    ("data", "code", "words"),
    [
        (b"", "empty-file", "empty"),
        (b" \n\t", "empty-file", "empty"),
        (b"%PDF-1.7\n...", "pdf-damaged", "PDF"),
        (b"%!PS-Adobe-3.0 EPSF-3.0\n", "format-not-read", "EPS"),
        (b"\xc5\xd0\xd3\xc6....", "format-not-read", "EPS"),
        (b"\x89PNG\r\n\x1a\n....", "format-not-read", "PNG"),
        (b"\xff\xd8\xff\xe0....", "format-not-read", "JPEG"),
        (b"GIF89a....", "format-not-read", "GIF"),
        (b"RIFF\0\0\0\0WEBPVP8 ", "format-not-read", "WebP"),
        (b"II*\0....", "format-not-read", "TIFF"),
        (b"PK\x03\x04....", "format-not-read", "ZIP"),
        (b"  0\r\nSECTION\r\n  2\r\nHEADER\r\n", "format-not-read", "DXF"),
        (b"999\nmade up\n0\nSECTION\n", "format-not-read", "DXF"),
        (b"AutoCAD Binary DXF\r\n\x1a\0", "format-not-read", "DXF"),
        (b"<!DOCTYPE html><html></html>", "format-not-read", "web page"),
        (b"hello", "not-xml", "not an SVG"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><g>", "xml-truncated", "line 1"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'>\n<g></svg>", "xml-malformed", "line 2"),
        (b"<html xmlns='http://www.w3.org/1999/xhtml'/>", "format-not-read", "web page"),
        (b"<drawing/>", "no-svg-root", "<drawing>"),
        (b"<svg xmlns='urn:other'/>", "no-svg-root", "urn:other"),
        (b"<svg xmlns='http://www.w3.org/2000/svg' width='0' height='5'/>", "zero-size", "width"),
        (
            b"<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9' viewBox='0 0 0 9'/>",
            "zero-size",
            "",
        ),
        (b"<svg xmlns='http://www.w3.org/2000/svg' width='9e9mm' height='9'/>", "size-out-of-range", "mm"),
    ],
)
def test_refusals_say_what_and_what_to_do(data: bytes, code: str, words: str) -> None:
    with pytest.raises(ReadError) as caught:
        read(data, "whatever.svg")
    assert caught.value.code == code
    assert words in caught.value.message
    assert caught.value.advice


def test_the_name_tells_nothing() -> None:
    assert read(svg(RECT), "sign.pdf").source.name == "sign.pdf"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "iso-8859-1"])
def test_encodings(encoding: str) -> None:
    """XML 1.0, appendix F: the byte order mark or the declaration tells the encoding."""
    text = svg('<text y="9">é</text>' + RECT).decode()
    declared = encoding.removesuffix("-sig").removesuffix("-le").removesuffix("-be")
    if encoding == "iso-8859-1" or encoding.startswith("utf-16-"):
        text = f'<?xml version="1.0" encoding="{declared}"?>' + text
    artwork = read(text.encode(encoding))
    assert [getattr(item, "text", None) for item in artwork.items] == ["é", None]


def test_gzip() -> None:
    packed = gzip.compress(svg(RECT), mtime=0)
    artwork = read(packed)
    assert len(artwork.items) == 1
    assert artwork.source.size_bytes == len(packed)
    with pytest.raises(ReadError, match="ends too early"):
        read(packed[:-9])
    with pytest.raises(ReadError, match="twice"):
        read(gzip.compress(packed, mtime=0))
    with pytest.raises(ReadError, match="cannot be unpacked"):
        read(b"\x1f\x8b\x08\x00" + b"\xff" * 40)


def test_a_missing_namespace_is_accepted_and_told() -> None:
    artwork = read(b'<svg width="9" height="9"><rect width="5" height="5"/></svg>')
    assert len(artwork.items) == 1
    assert len(remarks(artwork, RemarkKind.NOTE)) == 1


def test_a_missing_link_namespace_is_accepted_and_told() -> None:
    artwork = read(
        b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><defs>'
        b'<rect id="r" width="5" height="5"/></defs><use xlink:href="#r"/></svg>'
    )
    assert len(artwork.items) == 1
    assert "not declared" in remarks(artwork, RemarkKind.NOTE)[0].subject


def test_entities_of_the_file_itself() -> None:
    """As design programs export: namespaces and values as entities of the internal subset."""
    artwork = read(
        b'<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd" [\n'
        b'<!ENTITY ns_svg "http://www.w3.org/2000/svg">\n<!ENTITY w "20">\n'
        b"<!ENTITY part \"<rect width='5' height='5'/>\">\n]>\n"
        b'<svg xmlns="&ns_svg;" width="&w;mm" height="10mm"><g>&part;</g></svg>'
    )
    assert artwork.width == pytest.approx(20)
    assert len(artwork.items) == 1


# CSS Values and Units 4, 6.2, and SVG 2, 8.2: 96 px an inch; a viewBox alone gives the size.
@pytest.mark.parametrize(
    ("attributes", "width", "height", "basis"),
    [
        ('width="100mm" height="50mm"', 100, 50, SizeBasis.PHYSICAL),
        ('width="2in" height="72pt"', 50.8, 25.4, SizeBasis.PHYSICAL),
        ('width="10cm" height="6pc" viewBox="0 0 9 9"', 100, 25.4, SizeBasis.PHYSICAL),
        ('width="40Q" height="1cm"', 10, 10, SizeBasis.PHYSICAL),
        ('width="96" height="192px"', 25.4, 50.8, SizeBasis.PIXELS),
        ('viewBox="0 0 96 48"', 25.4, 12.7, SizeBasis.VIEWBOX),
        ('width="100%" height="100%" viewBox="0 0 96 48"', 25.4, 12.7, SizeBasis.VIEWBOX),
        ('width="100mm" viewBox="0 0 200 100"', 100, 50, SizeBasis.PHYSICAL),
        ('height="96" viewBox="0 0 200 100"', 50.8, 25.4, SizeBasis.PIXELS),
        ("", 300 * 25.4 / 96, 150 * 25.4 / 96, SizeBasis.NONE),
    ],
)
def test_size(attributes: str, width: float, height: float, basis: SizeBasis) -> None:
    artwork = read(svg("", attributes))
    assert artwork.width == pytest.approx(width)
    assert artwork.height == pytest.approx(height)
    assert artwork.size_basis is basis


def test_without_a_size_the_content_gives_it() -> None:
    artwork = read(svg('<rect x="10" y="20" width="86" height="28"/>', ""))
    assert artwork.width == pytest.approx(25.4)
    assert artwork.height == pytest.approx(12.7)
    assert artwork.size_basis is SizeBasis.NONE


def test_reading_twice_gives_the_same() -> None:
    first, second = read(svg(RECT * 3)), read(svg(RECT * 3))
    assert first.source == second.source
    assert first.remarks == second.remarks
    assert [i.origin for i in first.items] == [i.origin for i in second.items]
