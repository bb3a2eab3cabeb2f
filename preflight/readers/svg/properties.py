"""The properties this reader knows: initial values, inheritance, and what counts as a valid value."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache

from preflight.readers.svg.values import alpha, color, number, split_length, url_and_rest

INHERITED: dict[str, str] = {
    "clip-rule": "nonzero",
    "color": "black",
    "direction": "ltr",
    "dominant-baseline": "auto",
    "fill": "black",
    "fill-opacity": "1",
    "fill-rule": "nonzero",
    "font-family": "",
    "font-feature-settings": "normal",
    "font-kerning": "auto",
    "font-optical-sizing": "auto",
    "font-size": "16px",
    "font-size-adjust": "none",
    "font-stretch": "normal",
    "font-style": "normal",
    "font-variant": "normal",
    "font-variant-caps": "normal",
    "font-variant-east-asian": "normal",
    "font-variant-ligatures": "normal",
    "font-variant-numeric": "normal",
    "font-variant-position": "normal",
    "font-variation-settings": "normal",
    "font-weight": "400",
    "glyph-orientation-vertical": "auto",
    "letter-spacing": "normal",
    "marker-end": "none",
    "marker-mid": "none",
    "marker-start": "none",
    "paint-order": "normal",
    "stroke": "none",
    "stroke-dasharray": "none",
    "stroke-dashoffset": "0",
    "stroke-linecap": "butt",
    "stroke-linejoin": "miter",
    "stroke-miterlimit": "4",
    "stroke-opacity": "1",
    "stroke-width": "1",
    "text-anchor": "start",
    "text-orientation": "mixed",
    "text-transform": "none",
    "visibility": "visible",
    "white-space": "normal",
    "word-spacing": "normal",
    "writing-mode": "horizontal-tb",
}
"""Inherited properties and their initial values (SVG 2 property index)."""

OWN: dict[str, str] = {
    "alignment-baseline": "baseline",
    "baseline-shift": "baseline",
    "clip-path": "none",
    "display": "inline",
    "filter": "none",
    "inline-size": "auto",
    "isolation": "auto",
    "mask": "none",
    "mask-type": "luminance",
    "mix-blend-mode": "normal",
    "opacity": "1",
    "overflow": "",
    "shape-inside": "none",
    "stop-color": "black",
    "stop-opacity": "1",
    "text-decoration": "none",
    "text-decoration-line": "none",
    "text-decoration-style": "solid",
    "text-decoration-thickness": "auto",
    "transform": "none",
    "transform-box": "view-box",
    "transform-origin": "",
    "unicode-bidi": "normal",
    "vector-effect": "none",
    "backdrop-filter": "none",
    "mask-image": "none",
}
"""Properties that are not inherited; an empty text stands for a value that depends on the element."""

GEOMETRY = frozenset(("x", "y", "cx", "cy", "r", "rx", "ry", "width", "height", "d"))
"""Properties whose attributes are read where the shape is built (SVG 2, 7.4)."""

PRESENTATION = (
    frozenset(INHERITED) | frozenset(OWN) - {"transform", "backdrop-filter", "mask-image"} | {"font"}
)
"""Attributes that set a property. ``transform`` has a grammar of its own and is read apart."""

UNREAD: dict[str, tuple[str, ...]] = {
    "rotate": ("none",),
    "scale": ("none",),
    "translate": ("none",),
    "offset-path": ("none",),
    "clip": ("auto",),
    "zoom": ("1", "100%", "normal"),
    "-webkit-mask": ("none",),
    "-webkit-mask-image": ("none",),
}
"""Properties that move or hide things and are told of but not read, with their harmless values."""

FONT_RELATIVE_LENGTHS = frozenset(
    ("stroke-width", "stroke-dasharray", "stroke-dashoffset", "letter-spacing", "word-spacing")
)
"""Inherited lengths: em and the like turn into px where they stand, not where they are inherited."""

LONGEST = 20_000
"""Characters of a property's value; a longer one is no honest value and would only cost time."""

_FORGIVING = frozenset(("inherit", "initial", "unset", "revert", "revert-layer"))
_KEYWORDS: dict[str, frozenset[str]] = {
    name: frozenset(words.split())
    for name, words in {
        "clip-rule": "nonzero evenodd",
        "fill-rule": "nonzero evenodd",
        "stroke-linecap": "butt round square",
        "stroke-linejoin": "miter miter-clip round bevel arcs",
        "visibility": "visible hidden collapse",
        "overflow": "visible hidden scroll auto clip",
        "text-anchor": "start middle end",
        "vector-effect": "none non-scaling-stroke non-scaling-size non-rotation fixed-position",
        "transform-box": "content-box border-box fill-box stroke-box view-box",
        "isolation": "auto isolate",
        "mix-blend-mode": (
            "normal multiply screen overlay darken lighten color-dodge color-burn hard-light soft-light "
            "difference exclusion hue saturation color luminosity plus-lighter plus-darker"
        ),
    }.items()
}
_PAINT_KEYWORDS = frozenset(("none", "currentcolor", "context-fill", "context-stroke"))


@lru_cache(maxsize=8192)
def valid(name: str, value: str) -> bool:
    """Tell whether ``value`` is one that property ``name`` takes; an invalid one is passed over."""
    if len(value) > LONGEST and name not in ("d", "font-family"):
        return False
    low = value.strip().lower()
    if low in _FORGIVING or "var(" in low:
        return True
    if name in _KEYWORDS:
        return low in _KEYWORDS[name]
    check = _CHECKS.get(name)
    return check is None or check(value)


def _is_paint(value: str) -> bool:
    found = url_and_rest(value)
    if found:
        return True
    low = value.strip().lower()
    if low in _PAINT_KEYWORDS:
        return True
    return color(without_icc(value)) is not None


_ICC = re.compile(r"(?<!\s)\s++(?:icc-color|device-[a-z]++)\(.*\Z", re.IGNORECASE | re.DOTALL)


def without_icc(value: str) -> str:
    """Return a paint without the profile colour that SVG 1.1 allows after an sRGB colour."""
    return _ICC.sub("", value)


def _is_color(value: str) -> bool:
    return value.strip().lower() == "currentcolor" or color(without_icc(value)) is not None


def _is_alpha(value: str) -> bool:
    return alpha(value) is not None


def _is_length(value: str) -> bool:
    if value.lstrip()[:5].lower() == "calc(":
        return True
    parts = split_length(value)
    return parts is not None


def _is_positive_length(value: str) -> bool:
    if value.lstrip()[:5].lower() == "calc(":
        return True
    parts = split_length(value)
    return parts is not None and parts[0] >= 0


def _is_dashes(value: str) -> bool:
    if value.strip().lower() == "none":
        return True
    return all(_is_length(part) for part in value.replace(",", " ").split())


def _is_miter_limit(value: str) -> bool:
    parsed = number(value)
    return parsed is not None and parsed >= 1


def _is_reference(value: str) -> bool:
    return value.strip().lower() == "none" or url_and_rest(value) is not None


def _is_weight(value: str) -> bool:
    low = value.strip().lower()
    parsed = number(low)
    return low in ("normal", "bold", "bolder", "lighter") or (parsed is not None and 1 <= parsed <= 1000)


_CHECKS: dict[str, Callable[[str], bool]] = {
    "fill": _is_paint,
    "stroke": _is_paint,
    "color": _is_color,
    "stop-color": _is_color,
    "opacity": _is_alpha,
    "fill-opacity": _is_alpha,
    "stroke-opacity": _is_alpha,
    "stop-opacity": _is_alpha,
    "stroke-width": _is_positive_length,
    "stroke-dashoffset": _is_length,
    "stroke-dasharray": _is_dashes,
    "stroke-miterlimit": _is_miter_limit,
    "font-weight": _is_weight,
    "marker-start": _is_reference,
    "marker-mid": _is_reference,
    "marker-end": _is_reference,
}
