"""Colour spaces to ``#rrggbb``, by the plain conversions of ISO 32000-1; no colour profile is applied.

What a film looks like is told by its colour in the job; here colours only tell films apart.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pikepdf

from preflight.readers.limits import Budget
from preflight.readers.pdf.functions import function
from preflight.readers.pdf.streams import stream_bytes
from preflight.readers.pdf.values import entry, items, name, number, numbers

Rgb = tuple[float, float, float]
_DEEPEST = 8
MOST_COMPONENTS = 32


@dataclass(frozen=True)
class Space:
    """A colour space: how many components it has and how they show, each channel 0 to 1."""

    components: int
    convert: Callable[[Sequence[float]], Rgb | None]
    """None: the components show nothing or cannot be converted."""
    initial: tuple[float, ...]
    spots: tuple[str, ...] = ()
    """Names of the spot colours, for Separation and DeviceN."""
    pattern: bool = False
    invisible: bool = False
    """True for the colorant None, which never marks anything."""
    approximate: str = ""
    """How the conversion falls short, for a remark."""


def _grey(c: Sequence[float]) -> Rgb:
    return (c[0], c[0], c[0])


def _rgb(c: Sequence[float]) -> Rgb:
    return (c[0], c[1], c[2])


def _cmyk(c: Sequence[float]) -> Rgb:
    """ISO 32000-1, 10.3.5: red = 1 - min(1, cyan + black), and so on."""
    return (1 - min(1.0, c[0] + c[3]), 1 - min(1.0, c[1] + c[3]), 1 - min(1.0, c[2] + c[3]))


_PROFILE = "colours with a profile are shown without it"
_INKS = "CMYK colours are shown by the standard’s plain conversion (red = 1 − cyan − black and so on)"
GREY = Space(1, _grey, (0.0,))
RGB = Space(3, _rgb, (0.0, 0.0, 0.0))
CMYK = Space(4, _cmyk, (0.0, 0.0, 0.0, 1.0), approximate=_INKS)
PATTERN = Space(0, lambda _: None, (), pattern=True)
_DEVICE = {
    "DeviceGray": GREY,
    "G": GREY,
    "CalGray": GREY,
    "DeviceRGB": RGB,
    "RGB": RGB,
    "CalRGB": RGB,
    "DeviceCMYK": CMYK,
    "CMYK": CMYK,
    "CalCMYK": CMYK,
    "Pattern": PATTERN,
}


def space(value: object, resources: object, budget: Budget, depth: int = 0) -> Space | None:
    """Return the colour space that a name or array stands for; None: it cannot be read."""
    if depth > _DEEPEST:
        return None
    word = name(value)
    if word is not None:
        named = entry(entry(resources, "ColorSpace"), word) if word not in _DEVICE else None
        return space(named, resources, budget, depth + 1) if named is not None else _DEVICE.get(word)
    parts = items(value)
    family = (name(parts[0]) if parts else None) or ""
    if family in _FAMILIES and len(parts) > 1:
        return _FAMILIES[family](parts, resources, budget, depth)
    # An uncoloured pattern's underlying space does not matter: a pattern is no film.
    return _DEVICE.get(family)


def _icc(parts: list[pikepdf.Object], resources: object, budget: Budget, depth: int) -> Space | None:
    alternate = entry(parts[1], "Alternate")
    named = space(alternate, resources, budget, depth + 1) if alternate is not None else None
    by_count = {1.0: GREY, 3.0: RGB, 4.0: CMYK}.get(number(entry(parts[1], "N")) or 0.0)
    found = named if named is not None and by_count and named.components == by_count.components else by_count
    if found is None:
        return None
    return Space(found.components, found.convert, found.initial, approximate=found.approximate or _PROFILE)


def _lab(parts: list[pikepdf.Object], *_unused: object) -> Space:
    low_a, _, low_b, _ = numbers(entry(parts[1], "Range"), 4) or (-100.0, 100.0, -100.0, 100.0)
    return Space(3, lab_to_rgb, (0.0, max(0.0, low_a), max(0.0, low_b)), approximate=_PROFILE)


def lab_to_rgb(lab: Sequence[float]) -> Rgb:
    """Return sRGB channels of a CIE L*a*b* colour (ISO 32000-1, 8.6.5.4).

    Relative to the space's white, which is shown as sRGB's (D65); matrix and curve are
    IEC 61966-2-1's (from memory).
    """
    middle = (lab[0] + 16) / 116
    parts = (middle + lab[1] / 500, middle, middle - lab[2] / 200)
    relative = [x**3 if x >= 6 / 29 else 108 / 841 * (x - 4 / 29) for x in parts]
    x, y, z = (r * d65 for r, d65 in zip(relative, (0.9505, 1.0, 1.089), strict=True))
    linear = (
        3.2406 * x - 1.5372 * y - 0.4986 * z,
        -0.9689 * x + 1.8758 * y + 0.0415 * z,
        0.0557 * x - 0.2040 * y + 1.0570 * z,
    )
    red, green, blue = (
        12.92 * v if v <= 0.0031308 else 1.055 * v ** (1 / 2.4) - 0.055 for v in (max(c, 0.0) for c in linear)
    )
    return (red, green, blue)


def _indexed(parts: list[pikepdf.Object], resources: object, budget: Budget, depth: int) -> Space | None:
    base = space(parts[1], resources, budget, depth + 1) if len(parts) > 3 else None
    highest = number(parts[2]) if base is not None else None
    if base is None or highest is None or base.pattern:
        return None
    table = parts[3]
    data = bytes(table) if isinstance(table, pikepdf.String) else stream_bytes(table, budget)
    if data is None:
        return None
    count = base.components

    def convert(c: Sequence[float]) -> Rgb | None:
        index = min(max(round(c[0]), 0), round(highest))
        raw = data[index * count : (index + 1) * count]
        return base.convert([v / 255 for v in raw]) if len(raw) == count else None

    return Space(1, convert, (0.0,), approximate=base.approximate)


def _spot(parts: list[pikepdf.Object], resources: object, budget: Budget, depth: int) -> Space | None:
    if len(parts) < 4:
        return None
    single = name(parts[1])
    names = [single] if single is not None else [name(part) or "?" for part in items(parts[1])]
    base = space(parts[2], resources, budget, depth + 1)
    tint = function(parts[3], budget)
    if not names or len(names) > MOST_COMPONENTS or base is None or base.pattern or tint is None:
        return None
    transform = tint

    def convert(c: Sequence[float]) -> Rgb | None:
        found = transform(c)
        return base.convert(found) if len(found) == base.components else None

    return Space(
        len(names),
        convert,
        (1.0,) * len(names),
        spots=tuple(n for n in names if n != "None"),
        invisible=all(n == "None" for n in names),
        approximate=base.approximate,
    )


_FAMILIES: dict[str, Callable[[list[pikepdf.Object], object, Budget, int], Space | None]] = {
    "ICCBased": _icc,
    "Lab": _lab,
    "Indexed": _indexed,
    "I": _indexed,
    "Separation": _spot,
    "DeviceN": _spot,
}


def hexadecimal(rgb: Rgb) -> str:
    """Return ``#rrggbb``, each channel clamped and rounded."""
    return "#" + "".join(f"{round(min(max(channel, 0.0), 1.0) * 255):02x}" for channel in rgb)
