"""One font: what it calls itself, which styles it stands for, its measures."""

from __future__ import annotations

import hashlib
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path as FilePath

import uharfbuzz as hb

from preflight.errors import PreflightError
from preflight.writing import Slope

LARGEST_FONT = 64 * 1024 * 1024
"""Bytes of one font, unpacked; the largest fonts in use have about 40 million."""
MOST_FACES = 64
_FAMILY_NAMES = (16, 1, 21)
"""Name ids of family names: typographic, legacy, weight-width-slope (OpenType, name table)."""
_FULL_NAMES = (4, 6)
_WIDTHS = (50.0, 62.5, 75.0, 87.5, 100.0, 112.5, 125.0, 150.0, 200.0)
"""Percent for usWidthClass 1 to 9 (OpenType, OS/2 table)."""


class FontError(PreflightError):
    """A font that cannot be used; the message names it."""


@dataclass(frozen=True, eq=False)
class FontFile:
    """A font and the styles it stands for; ranges are lowest and highest."""

    name: str
    """The file's name, or the family of an embedded font."""
    origin: str
    """``artwork``, ``job`` or ``folder``."""
    face: hb.Face
    family: str
    families: frozenset[str]
    """All its family names, case-folded."""
    full_names: frozenset[str]
    version: str
    """Name id 5."""
    weight: tuple[float, float]
    stretch: tuple[float, float]
    slopes: frozenset[Slope]
    angles: tuple[float, float]
    """Degrees an oblique can lean, clockwise."""
    axes: dict[str, tuple[float, float, float]]
    """Lowest, default and highest value of each variation axis."""

    @cached_property
    def sha256(self) -> str:
        """Hash of the font's bytes as they were given, unpacked from WOFF."""
        return hashlib.sha256(self.face.blob.data).hexdigest()

    @cached_property
    def characters(self) -> frozenset[int]:
        """The code points the font has glyphs for."""
        return frozenset(self.face.unicodes)

    @cached_property
    def tables(self) -> frozenset[str]:
        """Tags of the font's tables."""
        return frozenset(self.face.table_tags)


def load(data: bytes, name: str, origin: str) -> list[FontFile]:
    """Return the fonts in ``data`` (one, or those of a collection); `FontError` where there is none."""
    return [_described(face, name, origin) for face in _faces(hb.Blob(unpacked(data, name)), name)]


def load_path(path: FilePath, origin: str) -> list[FontFile]:
    """Return the fonts in a file; `FontError` where there is none."""
    if path.suffix.lower() in (".woff", ".woff2"):
        return load(path.read_bytes(), path.name, origin)
    return [
        _described(face, path.name, origin) for face in _faces(hb.Blob.from_file_path(str(path)), path.name)
    ]


def _faces(blob: hb.Blob, name: str) -> Iterator[hb.Face]:
    first = hb.Face(blob)
    count = min(int(first.count), MOST_FACES)
    for index in range(max(count, 1)):
        face = hb.Face(blob, index) if index else first
        if face.glyph_count == 0:
            raise FontError(
                "font-unreadable",
                f"“{name}” is not a font that can be read.",
                "Give the font as TrueType, OpenType or WOFF.",
            )
        yield face


def unpacked(data: bytes, name: str) -> bytes:
    """Return the OpenType bytes of a font that may be packed as WOFF or WOFF2."""
    if data[:4] == b"wOFF":
        return _from_woff(data, name)
    if data[:4] == b"wOF2":
        return _from_woff2(data, name)
    if len(data) > LARGEST_FONT:
        raise _too_large(name)
    return data


def _too_large(name: str) -> FontError:
    return FontError(
        "font-too-large",
        f"The font “{name}” is larger than {LARGEST_FONT // 2**20} MiB unpacked.",
        "Give a font with fewer characters.",
    )


def _damaged(name: str, why: str) -> FontError:
    return FontError("font-unreadable", f"The font “{name}” is damaged: {why}.", "Give the font again.")


def _from_woff(data: bytes, name: str) -> bytes:
    """Unpack WOFF 1.0 (W3C Recommendation, sections 3 to 5), never past the lengths it states."""
    try:
        flavor, _, count, _, total = struct.unpack(">4sLHHL", data[4:20])
        entries = [struct.unpack(">4sLLLL", data[44 + 20 * i : 64 + 20 * i]) for i in range(count)]
    except struct.error as error:
        raise _damaged(name, "its table list is cut short") from error
    if total > LARGEST_FONT or sum(entry[3] for entry in entries) > LARGEST_FONT:
        raise _too_large(name)
    tables = []
    for tag, offset, packed, length, checksum in entries:
        body = data[offset : offset + packed]
        if packed < length:
            try:
                body = zlib.decompressobj().decompress(body, length + 1)
            except zlib.error as error:
                raise _damaged(name, f"its table {tag!r} cannot be unpacked") from error
        if len(body) != length:
            raise _damaged(name, f"its table {tag!r} has not the length stated")
        tables.append((tag, checksum, body))
    return _assembled(flavor, tables)


def _assembled(flavor: bytes, tables: list[tuple[bytes, int, bytes]]) -> bytes:
    """Return an OpenType file of ``tables`` (OpenType, Organization of an OpenType Font)."""
    count = len(tables)
    power = 1 << max(count.bit_length() - 1, 0)
    head = struct.pack(
        ">4sHHHH", flavor, count, 16 * power, max(power.bit_length() - 1, 0), 16 * (count - power)
    )
    offset = 12 + 16 * count
    directory, body = [], []
    for tag, checksum, table in sorted(tables):
        directory.append(struct.pack(">4sLLL", tag, checksum, offset, len(table)))
        padded = table + b"\0" * (-len(table) % 4)
        body.append(padded)
        offset += len(padded)
    return head + b"".join(directory) + b"".join(body)


def _from_woff2(data: bytes, name: str) -> bytes:
    import io  # noqa: PLC0415  (only fonts packed this way need these)

    try:
        import brotli  # noqa: PLC0415
        from fontTools.ttLib import TTFont, TTLibError  # noqa: PLC0415
    except ImportError as error:
        raise FontError(
            "font-format",
            f"The font “{name}” is packed as WOFF2, which needs the optional part “woff2” of this tool.",
            "Give the font as TrueType, OpenType or WOFF.",
        ) from error
    if len(data) < 20 or struct.unpack(">L", data[16:20])[0] > LARGEST_FONT:
        raise _too_large(name)
    target = io.BytesIO()
    try:
        font = TTFont(io.BytesIO(data))
        font.flavor = None
        font.save(target)
    except (
        TTLibError,
        brotli.error,
        struct.error,
        AssertionError,
        KeyError,
        IndexError,
        ValueError,
    ) as error:
        raise _damaged(name, "it cannot be unpacked") from error
    return target.getvalue()


def _described(face: hb.Face, name: str, origin: str) -> FontFile:
    found: dict[int, list[str]] = {}
    for entry in face.list_names():
        text = face.get_name(entry.name_id, entry.language)
        if text:
            found.setdefault(int(entry.name_id), []).append(text)
    families = [text for key in _FAMILY_NAMES for text in found.get(key, [])]
    axes = {
        info.tag: (float(info.min_value), float(info.default_value), float(info.max_value))
        for info in face.axis_infos
    }
    weight, stretch, slopes, angles = _style(face, axes)
    return FontFile(
        name=name,
        origin=origin,
        face=face,
        family=families[0] if families else name,
        families=frozenset(folded(text) for text in families),
        full_names=frozenset(folded(text) for key in _FULL_NAMES for text in found.get(key, [])),
        version=(face.get_name(5) or "").strip(),
        weight=weight,
        stretch=stretch,
        slopes=slopes,
        angles=angles,
        axes=axes,
    )


def folded(name: str) -> str:
    """Return a font's name as names are compared: blanks collapsed, letter case folded."""
    return " ".join(name.split()).casefold()


def _style(
    face: hb.Face, axes: dict[str, tuple[float, float, float]]
) -> tuple[tuple[float, float], tuple[float, float], frozenset[Slope], tuple[float, float]]:
    os2 = face.reference_table("OS/2").data
    weight, width, selection = 400.0, 100.0, 0
    if len(os2) >= 64:
        weight_class, width_class = struct.unpack(">HH", os2[4:8])
        selection = struct.unpack(">H", os2[62:64])[0]
        weight = float(weight_class) if 1 <= weight_class <= 1000 else 400.0
        width = _WIDTHS[width_class - 1] if 1 <= width_class <= 9 else 100.0
    head = face.reference_table("head").data
    style = struct.unpack(">H", head[44:46])[0] if len(head) >= 46 else 0
    if selection & 1 or (len(os2) < 64 and style & 2):
        slopes = {Slope.ITALIC}
    elif selection & 1 << 9:
        slopes = {Slope.OBLIQUE}
    else:
        slopes = {Slope.NORMAL}
    angles = (14.0, 14.0)
    if "slnt" in axes:
        # The axis turns counterclockwise, CSS clockwise (CSS Fonts 4, 5.2).
        angles = (-axes["slnt"][2], -axes["slnt"][0])
        slopes |= {Slope.OBLIQUE}
    if "ital" in axes and axes["ital"][2] >= 1:
        slopes |= {Slope.ITALIC}
    weights = (axes["wght"][0], axes["wght"][2]) if "wght" in axes else (weight, weight)
    widths = (axes["wdth"][0], axes["wdth"][2]) if "wdth" in axes else (width, width)
    return weights, widths, frozenset(slopes), angles
