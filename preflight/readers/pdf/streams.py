"""Streams' bytes, never more than the limits allow."""

from __future__ import annotations

import pikepdf

from preflight.errors import ReadError
from preflight.readers.limits import Budget, Limits
from preflight.readers.pdf.values import entry, items, name

_LARGEST = Limits().decompressed_bytes
# qpdf unpacks object streams while it opens a file, before anything here could stop it, and has
# limits for the whole process only; they are to be set before threads use it, so where it is loaded.
pikepdf.settings.set_qpdf_limits(
    flate_max_memory=_LARGEST,
    png_max_memory=_LARGEST,
    tiff_max_memory=_LARGEST,
    run_length_max_memory=_LARGEST,
)
_LZW_GROWTH = 2_731
"""How many times larger LZW data can get: 4,096 bytes from a code of 12 bits."""
_PICTURES = frozenset(("DCTDecode", "JPXDecode", "JBIG2Decode", "CCITTFaxDecode", "DCT", "CCF"))


def filters(stream: object) -> list[str]:
    """Return the names of a stream's filters, first to be undone first."""
    value = entry(stream, "Filter")
    found = [value] if name(value) else items(value)
    return [name(one) or "" for one in found]


def stream_bytes(stream: object, budget: Budget) -> bytes | None:
    """Return a stream's unpacked bytes; None where they cannot be unpacked.

    Raises `LimitError` where all streams read so far unpack to more than ``decompressed_bytes``.
    """
    if not isinstance(stream, pikepdf.Stream):
        return None
    used = filters(stream)
    if _PICTURES & set(used):
        return None
    try:
        if {"LZWDecode", "LZW"} & set(used):
            _require_small(len(stream.read_raw_bytes()), budget)
        data = stream.read_bytes()
    except (pikepdf.PdfError, RuntimeError, ValueError) as error:
        if "memory limit" in str(error):
            budget.check("decompressed_bytes", budget.limits.decompressed_bytes + 1)
        return None
    budget.spend("decompressed_bytes", len(data))
    return data


def _require_small(size: int, budget: Budget) -> None:
    """Refuse LZW data whose worst case passes the limit: qpdf has no limit for this filter."""
    if size * _LZW_GROWTH > budget.limits.decompressed_bytes:
        raise ReadError(
            "pdf-lzw",
            f"A part of the PDF, {size:,} bytes long, is packed in an old way (LZW) that cannot be unpacked safely "
            "at that size.",
            "Save the file again as a current PDF.",
        )
