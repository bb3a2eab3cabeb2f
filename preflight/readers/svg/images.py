"""Pixel pictures: where they lie and what they are; their data is not kept."""

from __future__ import annotations

import base64
import binascii
import urllib.parse
import zlib

from lxml import etree

from preflight.artwork import Hidden, Picture, RemarkKind
from preflight.readers.svg.document import href
from preflight.readers.svg.outlines import geometry
from preflight.readers.svg.state import Context, Scene, mapped_box, sane
from preflight.readers.svg.values import shortened


def draw_image(scene: Scene, element: etree._Element, context: Context) -> None:
    """Add the picture of an ``image`` element, with a remark where it lies outside the file."""
    measure = scene.measure(context.style, context)
    origin = scene.origin(element, "image", context)
    x = geometry(element, context.style, measure, "x", "x")[0] or 0.0
    y = geometry(element, context.style, measure, "y", "y")[0] or 0.0
    width = geometry(element, context.style, measure, "width", "x")[0]
    height = geometry(element, context.style, measure, "height", "y")[0]
    if (width is not None and width <= 0) or (height is not None and height <= 0):
        return
    link = href(element)
    if not link:
        scene.say(RemarkKind.MISSING_REFERENCE, "image without a target, left out", origin)
        return
    embedded = link[:5].lower() == "data:"
    media, data = unpacked(link) if embedded else (None, b"")
    size = pixel_size(data) or (100.0, 100.0)
    if width is None and height is None:
        width, height = size
    elif width is None and height is not None:
        width = height * size[0] / size[1]
    elif height is None and width is not None:
        height = width * size[1] / size[0]
    assert width is not None
    assert height is not None
    if not sane(context.matrix):
        return
    if not embedded:
        scene.say(RemarkKind.EXTERNAL_REFERENCE, f"picture {shortened(link)}, not fetched", origin)
    hidden = context.hidden
    if hidden is None and context.style.get("visibility").lower() != "visible":
        hidden = Hidden.NOT_VISIBLE
    scene.emit(
        Picture(
            box=mapped_box((x, y, x + width, y + height), context.matrix),
            origin=origin,
            embedded=embedded,
            media_type=media,
            reference=shortened(link),
            size_bytes=len(data),
            hidden=hidden,
        ),
        context,
    )


def unpacked(link: str) -> tuple[str | None, bytes]:
    """Return media type and bytes of a data URI (RFC 2397); the type is told by the bytes first."""
    head, _, body = link[5:].partition(",")
    try:
        if head.rstrip().lower().endswith(";base64"):
            data = base64.b64decode("".join(urllib.parse.unquote(body).split()) + "==")
        else:
            data = urllib.parse.unquote_to_bytes(body)
    except (binascii.Error, ValueError):
        data = b""
    return sniffed(data) or head.split(";")[0].strip().lower() or None, data


def sniffed(data: bytes) -> str | None:
    """Return the media type that the first bytes tell; None where they tell none."""
    for signature, media in (
        (b"\x89PNG\r\n\x1a\n", "image/png"),
        (b"\xff\xd8\xff", "image/jpeg"),
        (b"GIF8", "image/gif"),
        (b"BM", "image/bmp"),
    ):
        if data.startswith(signature):
            return media
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    if data[:2] == b"\x1f\x8b":
        engine = zlib.decompressobj(wbits=31)
        try:
            data = engine.decompress(data, 4096)
        except zlib.error:
            return None
    return "image/svg+xml" if b"<svg" in data[:4096] else None


def pixel_size(data: bytes) -> tuple[float, float] | None:
    """Return width and height in pixels of a PNG, GIF or JPEG; None for anything else."""
    if data.startswith(b"\x89PNG") and len(data) >= 24:
        size = int.from_bytes(data[16:20], "big"), int.from_bytes(data[20:24], "big")
    elif data.startswith(b"GIF8") and len(data) >= 10:
        size = int.from_bytes(data[6:8], "little"), int.from_bytes(data[8:10], "little")
    elif data.startswith(b"\xff\xd8"):
        found = _jpeg_size(data)
        if found is None:
            return None
        size = found
    else:
        return None
    return (float(size[0]), float(size[1])) if size[0] > 0 and size[1] > 0 else None


def _jpeg_size(data: bytes) -> tuple[int, int] | None:
    at = 2
    while at + 9 < len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            return int.from_bytes(data[at + 7 : at + 9], "big"), int.from_bytes(data[at + 5 : at + 7], "big")
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return None
