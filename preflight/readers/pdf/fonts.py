"""Fonts, as far as telling what a text says and how far it runs: no glyph is drawn here."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from fontTools import agl

from preflight.errors import printable, shortened
from preflight.readers.limits import Budget
from preflight.readers.pdf.streams import stream_bytes
from preflight.readers.pdf.values import entry, items, name, number, numbers

UNKNOWN = "\ufffd"
_SUBSET = re.compile(r"^[A-Z]{6}\+")
_BLOCK = re.compile(rb"begin(bfchar|bfrange|codespacerange)(.*?)end\1", re.DOTALL)
_ITEM = re.compile(rb"<([0-9A-Fa-f\s]*)>|(\[)|(\])")
_MOST_CODES = 70_000
_FORCE_BOLD, _ITALIC = 1 << 18, 1 << 6
_ENCODINGS = {"WinAnsiEncoding": "cp1252", "MacRomanEncoding": "mac_roman"}


@dataclass(frozen=True)
class Font:
    """A font as the page uses it."""

    families: tuple[str, ...]
    weight: int
    italic: bool
    wide: bool
    """Whether codes are of two bytes (composite fonts)."""
    texts: dict[int, str] = field(default_factory=dict)
    """What each code says; a code that is missing is not known."""
    widths: dict[int, float] = field(default_factory=dict)
    """Advance of each code, in thousandths of the em."""
    default_width: float = 500.0
    scale: float = 0.001
    """Text-space units in one unit of the widths."""

    def letters(self, data: bytes) -> Iterator[tuple[str, float, bool]]:
        """Yield for each code what it says, its advance in em, and whether it is the one-byte space."""
        step = 2 if self.wide else 1
        for start in range(0, len(data) - step + 1, step):
            code = int.from_bytes(data[start : start + step], "big")
            advance = self.widths.get(code, self.default_width) * self.scale
            yield self.texts.get(code, UNKNOWN), advance, not self.wide and code == 32


def font(value: object, budget: Budget) -> Font:
    """Return what can be told of a font dictionary; nothing in it is required."""
    kind = name(entry(value, "Subtype"))
    inner = value
    if kind == "Type0":
        descendants = items(entry(value, "DescendantFonts"))
        inner = descendants[0] if descendants else value
    descriptor = entry(inner, "FontDescriptor")
    plain = _SUBSET.sub("", name(entry(value, "BaseFont")) or "")
    family = entry(descriptor, "FontFamily")
    families = [str(family)] if family is not None else []
    families = [shortened(printable(word)) for word in (*families, plain) if word]
    flags = int(number(entry(descriptor, "Flags")) or 0)
    bold = bool(flags & _FORCE_BOLD) or "bold" in plain.lower()
    weight = int(number(entry(descriptor, "FontWeight")) or (700 if bold else 400))
    leaning = bool(flags & _ITALIC) or bool(number(entry(descriptor, "ItalicAngle")))
    wide = kind == "Type0"
    texts = {} if wide else _encoded(value, kind)
    texts.update(_to_unicode(entry(value, "ToUnicode"), budget))
    widths, default = _wide_widths(inner) if wide else _widths(value, descriptor)
    scale = numbers(entry(value, "FontMatrix"), 6) if kind == "Type3" else None
    return Font(
        tuple(dict.fromkeys(families)),
        min(max(weight, 1), 1000),
        leaning,
        wide,
        texts,
        widths,
        default,
        abs(scale[0]) if scale is not None else 0.001,
    )


def _encoded(value: object, kind: str | None) -> dict[int, str]:
    """Return the texts of a simple font's codes, from its encoding (ISO 32000-1, 9.6.6)."""
    encoding = entry(value, "Encoding")
    base = name(encoding) or name(entry(encoding, "BaseEncoding"))
    if base is None and (kind == "Type3" or _symbolic(value)):
        # The font program's own encoding, which is not read: only what is listed below is known.
        texts = {}
    else:
        codec = _ENCODINGS.get(base or "", "ascii")
        texts = {code: bytes((code,)).decode(codec, "ignore") for code in range(32, 256)}
        texts = {code: text for code, text in texts.items() if text}
    code = 0
    for item in items(entry(encoding, "Differences")):
        glyph = name(item)
        if glyph is None:
            code = int(number(item) or 0)
            continue
        text = agl.toUnicode(glyph)
        if text:
            texts[code] = text
        else:
            texts.pop(code, None)
        code += 1
    return texts


def _symbolic(value: object) -> bool:
    flags = number(entry(entry(value, "FontDescriptor"), "Flags"))
    return flags is not None and bool(int(flags) & 4)


def _widths(value: object, descriptor: object) -> tuple[dict[int, float], float]:
    first = int(number(entry(value, "FirstChar")) or 0)
    listed = [number(width) or 0.0 for width in items(entry(value, "Widths"))[:256]]
    missing = number(entry(descriptor, "MissingWidth"))
    default = missing if missing is not None else (0.0 if listed else 500.0)
    return {first + index: width for index, width in enumerate(listed)}, default


def _wide_widths(inner: object) -> tuple[dict[int, float], float]:
    """Return the widths of a composite font by CID, taken for the code (ISO 32000-1, 9.7.4.3)."""
    default = number(entry(inner, "DW"))
    widths: dict[int, float] = {}
    listed = items(entry(inner, "W"))
    index = 0
    while index + 1 < len(listed) and len(widths) < _MOST_CODES:
        first = int(number(listed[index]) or 0)
        several = items(listed[index + 1])
        if several:
            widths.update({first + i: number(width) or 0.0 for i, width in enumerate(several)})
            index += 2
            continue
        last = int(number(listed[index + 1]) or 0)
        width = number(listed[index + 2]) if index + 2 < len(listed) else None
        if width is not None:
            widths.update(dict.fromkeys(range(first, min(last, first + _MOST_CODES) + 1), width))
        index += 3
    return widths, 1000.0 if default is None else default


def _to_unicode(value: object, budget: Budget) -> dict[int, str]:
    """Return the texts that a ToUnicode map gives (ISO 32000-1, 9.10.3)."""
    data = stream_bytes(value, budget)
    texts: dict[int, str] = {}
    if data is None:
        return texts
    for kind, body in _BLOCK.findall(data):
        parts = [_part(found) for found in _ITEM.finditer(body)]
        if kind == b"bfchar":
            for code, text in zip(parts[::2], parts[1::2], strict=False):
                if isinstance(code, bytes) and isinstance(text, bytes):
                    texts[int.from_bytes(code, "big")] = _utf16(text)
        elif kind == b"bfrange":
            _ranges(parts, texts)
        if len(texts) > _MOST_CODES:
            break
    return texts


def _part(found: re.Match[bytes]) -> bytes | str:
    if found.group(1) is None:
        return "[" if found.group(2) else "]"
    digits = b"".join(found.group(1).split())
    return bytes.fromhex((digits + b"0" * (len(digits) % 2)).decode())


def _ranges(parts: list[bytes | str], texts: dict[int, str]) -> None:
    index = 0
    while index + 2 < len(parts):
        low, high, target = parts[index : index + 3]
        if not isinstance(low, bytes) or not isinstance(high, bytes):
            return
        first, last = int.from_bytes(low, "big"), int.from_bytes(high, "big")
        last = min(last, first + 65_535)
        if target == "[":
            end = parts.index("]", index) if "]" in parts[index:] else len(parts)
            for code, text in zip(range(first, last + 1), parts[index + 3 : end], strict=False):
                if isinstance(text, bytes):
                    texts[code] = _utf16(text)
            index = end + 1
            continue
        if isinstance(target, bytes) and target:
            start = int.from_bytes(target, "big")
            for code in range(first, last + 1):
                texts[code] = _utf16((start + code - first).to_bytes(len(target) + 1, "big")[-len(target) :])
        index += 3


def _utf16(data: bytes) -> str:
    if len(data) == 1:
        return chr(data[0])
    return data.decode("utf-16-be", "replace")
