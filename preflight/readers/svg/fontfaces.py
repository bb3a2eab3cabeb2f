"""@font-face rules: fonts that a file brings along (CSS Fonts 4, section 4)."""

from __future__ import annotations

import base64
import binascii
import re
import urllib.parse
from collections.abc import Iterable
from typing import Any

import tinycss2

from preflight.readers.svg.fontvalues import STRETCHES, families, slope, stretch, weight
from preflight.readers.svg.values import angle, number, split_length
from preflight.writing import FaceSource, FontFace, Slope

MAX_FACES = 256
_ALL = ((0, 0x10FFFF),)
_RANGE = re.compile(r"u\+([0-9a-f]{1,6}|[0-9a-f]{0,5}\?{1,6})(?:-([0-9a-f]{1,6}))?\Z", re.IGNORECASE)


def font_face(declarations: Iterable[tuple[str, str, bool]]) -> FontFace | None:
    """Return the face of a rule's declarations; None where it names no family or no source."""
    found = {name: value for name, value, _ in declarations}
    names = families(found.get("font-family", ""))
    sources = _sources(found.get("src", ""))
    if not names or not sources:
        return None
    lean, angles = _slope(found.get("font-style", "normal"))
    return FontFace(
        family=names[0],
        sources=sources,
        weight=_pair(found.get("font-weight", "normal").split(), _weight),
        stretch=_pair(found.get("font-stretch", found.get("font-width", "normal")).split(), _stretch),
        slope=lean,
        angles=angles,
        ranges=_ranges(found.get("unicode-range", "")),
        stated=frozenset(name for name in ("font-weight", "font-stretch", "font-style") if name in found),
    )


def _weight(word: str) -> float | None:
    return float(weight(word)) if number(word) is not None or word in ("normal", "bold") else None


def _stretch(word: str) -> float | None:
    parts = split_length(word)
    return stretch(word) if word in STRETCHES or (parts is not None and parts[1] == "%") else None


def _pair(words: list[str], read: Any) -> tuple[float, float]:
    values = [value for value in map(read, (word.lower() for word in words)) if value is not None]
    usual = float(read("normal"))
    if len(values) != len(words) or not 1 <= len(values) <= 2:
        return (usual, usual)
    return (min(values), max(values))


def _slope(text: str) -> tuple[Slope, tuple[float, float]]:
    words = text.lower().split()
    lean, one = slope(text)
    if lean is Slope.OBLIQUE and len(words) == 3:
        ends = [angle(word) for word in words[1:]]
        if ends[0] is not None and ends[1] is not None:
            return lean, (min(ends[0], ends[1]), max(ends[0], ends[1]))
    return lean, (one, one)


def _ranges(text: str) -> tuple[tuple[int, int], ...]:
    found = []
    for part in re.sub(r"\s+", "", text).split(","):
        match = _RANGE.match(part)
        if match is None:
            continue
        first = match.group(1)
        low = int(first.replace("?", "0"), 16)
        high = int(match.group(2) or first.replace("?", "f"), 16)
        if low <= high <= 0x10FFFF:
            found.append((low, high))
    return tuple(found) or _ALL


def _sources(text: str) -> tuple[FaceSource, ...]:
    found: list[FaceSource] = []
    for token in tinycss2.parse_component_value_list(text):
        if token.type == "url":
            found.append(_source(str(token.value)))
        elif token.type == "function" and token.lower_name == "url":
            found += [_source(str(t.value)) for t in token.arguments if t.type == "string"][:1]
        elif token.type == "function" and token.lower_name == "local":
            name = tinycss2.serialize(token.arguments).strip().strip("\"'")
            found.append(FaceSource("local", " ".join(name.split())))
    return tuple(found)


def _source(link: str) -> FaceSource:
    """Return the bytes of a data URI (RFC 2397), or the link itself, which is not fetched."""
    head, comma, body = link.partition(",")
    if not comma or head[:5].lower() != "data:":
        return FaceSource("link", link[:200])
    plain = urllib.parse.unquote_to_bytes(body)
    if not head.lower().endswith(";base64"):
        return FaceSource("data", data=plain)
    try:
        return FaceSource("data", data=base64.b64decode(re.sub(rb"\s+", b"", plain) + b"=="))
    except binascii.Error:
        return FaceSource("link", link[:60])
