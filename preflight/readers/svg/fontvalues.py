"""Values of font properties and descriptors (CSS Fonts 4)."""

from __future__ import annotations

import re
from typing import Any

import tinycss2

from preflight.readers.svg.values import angle, number, split_length
from preflight.writing import Slope

_TAG = re.compile(r"[ -~]{4}\Z")
"""An OpenType tag: four printable ASCII characters."""

GENERIC = frozenset(
    [
        *("serif", "sans-serif", "cursive", "fantasy", "monospace", "system-ui", "math", "emoji", "fangsong"),
        *("ui-serif", "ui-sans-serif", "ui-monospace", "ui-rounded"),
    ]
)
"""Generic families (CSS Fonts 4, 2.1.3): they name no font."""

STRETCHES = {
    "ultra-condensed": 50.0,
    "extra-condensed": 62.5,
    "condensed": 75.0,
    "semi-condensed": 87.5,
    "normal": 100.0,
    "semi-expanded": 112.5,
    "expanded": 125.0,
    "extra-expanded": 150.0,
    "ultra-expanded": 200.0,
}
"""CSS Fonts 4, 2.3."""


def families(text: str) -> tuple[str, ...]:
    """Return the family names of a font-family list, in order; generic names in lower case."""
    names = []
    for part in _comma_parts(text):
        quoted = part[:1] in "\"'"
        name = " ".join(part.strip("\"'").split())
        if name:
            names.append(name if quoted or name.lower() not in GENERIC else name.lower())
    return tuple(names)


def _comma_parts(text: str) -> list[str]:
    parts = [""]
    quote = ""
    for letter in text:
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter == ",":
            parts.append("")
            continue
        parts[-1] += letter
    return [part.strip() for part in parts]


def weight(text: str) -> int:
    """Return a font-weight as a number from 1 to 1000; 400 where it is none."""
    low = text.strip().lower()
    words = {"normal": 400, "bold": 700}
    if low in words:
        return words[low]
    value = number(low)
    return round(value) if value is not None and 1 <= value <= 1000 else 400


def stretch(text: str) -> float:
    """Return a font-stretch in percent; 100 where it is none."""
    low = text.strip().lower()
    if low in STRETCHES:
        return STRETCHES[low]
    parts = split_length(low)
    return parts[0] if parts is not None and parts[1] == "%" and parts[0] >= 0 else 100.0


def slope(text: str) -> tuple[Slope, float]:
    """Return a font-style and its angle in degrees, 14 where none is given (CSS Fonts 4, 2.4)."""
    words = text.strip().lower().split()
    if not words or words[0] not in ("italic", "oblique"):
        return Slope.NORMAL, 14.0
    found = angle(words[1]) if len(words) > 1 and words[0] == "oblique" else None
    return Slope(words[0]), 14.0 if found is None else found


def settings(text: str) -> tuple[tuple[str, float], ...]:
    """Return the tags and values of font-feature-settings or font-variation-settings."""
    if text.strip().lower() in ("normal", ""):
        return ()
    found = []
    for part in _comma_parts(text):
        tokens = [
            t for t in tinycss2.parse_component_value_list(part) if t.type not in ("whitespace", "comment")
        ]
        if not tokens or len(tokens) > 2 or tokens[0].type != "string" or not _TAG.match(tokens[0].value):
            return ()
        value = _setting(tokens[1]) if len(tokens) == 2 else 1.0
        if value is None:
            return ()
        found.append((str(tokens[0].value), value))
    return tuple(found)


def _setting(token: Any) -> float | None:
    if token.type == "number":
        return float(token.value) if abs(token.value) < 1e6 else None
    return {"on": 1.0, "off": 0.0}.get(token.lower_value) if token.type == "ident" else None


_RELATIVE_WEIGHTS = {
    "bolder": ((350, 400), (550, 700), (900, 900)),
    "lighter": ((550, 100), (750, 400), (1001, 700)),
}


def relative_weight(word: str, inherited: str) -> str:
    """Return ``bolder`` or ``lighter`` against an inherited weight (CSS Fonts 4, 2.2.1) as a number."""
    base = weight(inherited)
    if (word == "bolder" and base >= 900) or (word == "lighter" and base < 100):
        return str(base)
    return str(next((to for below, to in _RELATIVE_WEIGHTS[word] if base < below), base))
