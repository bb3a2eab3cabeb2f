"""What a file is, told by its content and never by its name."""

from __future__ import annotations

import codecs
import re
import zlib

from preflight.errors import ReadError
from preflight.readers.limits import Budget

_UTF16 = ((codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))
_BARE_UTF16 = ((b"<\x00", "utf-16-le"), (b"\x00<", "utf-16-be"))

_SAVE_AS_SVG = "Open it in the program it was made with and save or export it as SVG."

_SIGNATURES: tuple[tuple[bytes, str, str], ...] = (
    (b"%!PS-Adobe", "a PostScript or EPS file", "EPS is not read. Save it as PDF or SVG instead."),
    (b"%!", "a PostScript file", "PostScript is not read. Save it as PDF or SVG instead."),
    (b"\xc5\xd0\xd3\xc6", "an EPS file with a preview", "EPS is not read. Save it as PDF or SVG instead."),
    (b"\x89PNG\r\n\x1a\n", "a PNG picture", "A knife needs outlines, not pixels. " + _SAVE_AS_SVG),
    (b"\xff\xd8\xff", "a JPEG picture", "A knife needs outlines, not pixels. " + _SAVE_AS_SVG),
    (b"GIF8", "a GIF picture", "A knife needs outlines, not pixels. " + _SAVE_AS_SVG),
    (b"BM", "a BMP picture", "A knife needs outlines, not pixels. " + _SAVE_AS_SVG),
    (b"II*\x00", "a TIFF picture", "A knife needs outlines, not pixels. " + _SAVE_AS_SVG),
    (b"MM\x00*", "a TIFF picture", "A knife needs outlines, not pixels. " + _SAVE_AS_SVG),
    (b"8BPS", "a layered pixel picture", "A knife needs outlines, not pixels. " + _SAVE_AS_SVG),
    (b"PK\x03\x04", "a ZIP archive or an office document", "Unpack it, and send the artwork as SVG."),
    (b"Rar!", "a RAR archive", "Unpack it, and send the artwork as SVG."),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", "Unpack it, and send the artwork as SVG."),
    (b"\xd0\xcf\x11\xe0", "an old office document", _SAVE_AS_SVG),
    (b"AutoCAD Binary DXF", "a binary DXF drawing", "DXF cannot be read here yet. " + _SAVE_AS_SVG),
    (b"AC10", "a DWG drawing", _SAVE_AS_SVG),
    (b"OTTO", "a font", "Send the artwork, with its text turned into outlines, as SVG."),
    (b"\x00\x01\x00\x00\x00", "a font", "Send the artwork, with its text turned into outlines, as SVG."),
    (b"{\\rtf", "a text document", _SAVE_AS_SVG),
)
_DXF = re.compile(rb"^(\s*999\r?\n[^\n]*\n)*\s*0\s*\r?\n\s*SECTION\s*\r?\n", re.IGNORECASE)
_HTML = re.compile(r"^\s*(<!doctype\s+html|<html[\s>])", re.IGNORECASE)


def unpacked(data: bytes, budget: Budget) -> bytes:
    """Return ``data``, unpacked where it is gzip'd; never more than ``decompressed_bytes``.

    Raises `ReadError` for a damaged archive and `LimitError` for one that unpacks too far.
    """
    allowed = budget.limits.decompressed_bytes
    if not data.startswith(b"\x1f\x8b"):
        return data
    engine = zlib.decompressobj(wbits=31)
    try:
        plain = engine.decompress(data, allowed + 1)
    except zlib.error as error:
        raise ReadError(
            "gzip-damaged",
            f"The compressed file cannot be unpacked ({error}).",
            "Save it again, or save it as an uncompressed SVG.",
        ) from error
    budget.check("decompressed_bytes", len(plain))
    if not engine.eof:
        raise ReadError(
            "gzip-truncated",
            "The compressed file ends too early; its transfer was probably cut short.",
            "Send the file again.",
        )
    return plain


def sniff(data: bytes) -> str:
    """Return ``pdf`` or, where ``data`` (already unpacked) is XML of some kind, ``svg``.

    Raises `ReadError` that says what the file is and what to do, for everything else.
    """
    if not data.strip(b" \t\r\n\x00"):
        raise ReadError("empty-file", "The file is empty.", "Save the artwork again and send that file.")
    if data.startswith(b"\x1f\x8b"):
        raise ReadError("gzip-nested", "The file is compressed twice.", "Unpack it, and send the SVG inside.")
    if data.startswith(b"%PDF-"):
        return "pdf"
    for signature, what, advice in _SIGNATURES:
        if data.startswith(signature):
            raise ReadError("format-not-read", f"This is {what}, not an SVG drawing.", advice)
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        raise ReadError(
            "format-not-read",
            "This is a WebP picture, not an SVG drawing.",
            "A knife needs outlines, not pixels. " + _SAVE_AS_SVG,
        )
    if _DXF.match(data[:4096]):
        raise ReadError(
            "format-not-read",
            "This is a DXF drawing, not an SVG drawing.",
            "DXF cannot be read here yet. " + _SAVE_AS_SVG,
        )
    head = _head(data)
    if _HTML.match(head):
        raise ReadError(
            "format-not-read",
            "This is a web page, not an SVG drawing.",
            "Save the drawing on the page by itself, as SVG.",
        )
    if head.lstrip().startswith("<"):
        return "svg"
    if b"%PDF-" in data[:1024]:
        # Readers accept a header among the first 1,024 bytes (ISO 32000-1, annex H, note 13; memory).
        return "pdf"
    raise ReadError(
        "not-xml",
        "The file is not an SVG drawing: it does not start like one (an SVG file starts with “<”).",
        _SAVE_AS_SVG,
    )


def _head(data: bytes) -> str:
    for mark, encoding in _UTF16:
        if data.startswith(mark):
            return data[len(mark) : 4096].decode(encoding, "replace")
    for mark, encoding in _BARE_UTF16:
        if data.startswith(mark):
            return data[:4096].decode(encoding, "replace")
    return data.removeprefix(codecs.BOM_UTF8)[:4096].decode("latin-1")
