"""The lists x, y, dx, dy and rotate of text elements, resolved to one value a character.

Source: SVG 2, 11.5, text layout algorithm, "Resolve character positioning". A character is a
Unicode code point.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from lxml import etree

from preflight.readers.svg.pathdata import HUGE
from preflight.readers.svg.values import Measure, length, number

_NAMES = (("x", "x"), ("y", "y"), ("dx", "x"), ("dy", "y"))


@dataclass(frozen=True, slots=True)
class Lists:
    """The lists of one element, user units and degrees."""

    x: tuple[float, ...] = ()
    y: tuple[float, ...] = ()
    dx: tuple[float, ...] = ()
    dy: tuple[float, ...] = ()
    rotate: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Places:
    """One value a character; None where x or y is not given."""

    x: tuple[float | None, ...]
    y: tuple[float | None, ...]
    dx: tuple[float, ...]
    dy: tuple[float, ...]
    rotate: tuple[float, ...]
    chunks: frozenset[int]


def read_lists(element: etree._Element, measure: Measure) -> Lists:
    """Return the lists of ``element``; one stops before the first value that is no length."""
    found: dict[str, tuple[float, ...]] = {}
    for name, axis in _NAMES:
        text = element.get(name)
        if text:
            values = (length(word, measure, axis) for word in _words(text))
            found[name] = _leading(list(values))
    text = element.get("rotate")
    if text:
        found["rotate"] = _leading([number(word) for word in _words(text)])
    return Lists(**found)


def _words(text: str) -> list[str]:
    return [word for word in re.split(r"[\s,]+", text.strip()) if word]


def _leading(values: list[float | None]) -> tuple[float, ...]:
    good: list[float] = []
    for value in values:
        if value is None or not abs(value) < HUGE:
            break
        good.append(value)
    return tuple(good)


def resolve(
    count: int, lists: Sequence[tuple[int, int, Lists]], paths: Sequence[tuple[int, int]], vertical: bool
) -> Places:
    """Return each character's values; ``lists`` has the elements' character ranges, outer ones first.

    ``paths`` are the ranges of characters that run along paths: there the coordinate across the
    path counts for nothing, and each starts a chunk.
    """
    x: list[float | None] = [None] * count
    y: list[float | None] = [None] * count
    dx, dy, rotate = [0.0] * count, [0.0] * count, [0.0] * count
    for start, end, own in lists:
        for values, target in ((own.x, x), (own.y, y)):
            for index, value in zip(range(start, end), values, strict=False):
                target[index] = value
        for values, moves in ((own.dx, dx), (own.dy, dy)):
            for index, value in zip(range(start, end), values, strict=False):
                moves[index] = value
        if own.rotate:
            for index in range(start, end):
                rotate[index] = own.rotate[min(index - start, len(own.rotate) - 1)]
    across = x if vertical else y
    chunks = {0} if count else set()
    for start, end in paths:
        across[start:end] = [None] * (end - start)
        if start < end:
            chunks.add(start)
    chunks |= {index for index in range(count) if x[index] is not None or y[index] is not None}
    return Places(tuple(x), tuple(y), tuple(dx), tuple(dy), tuple(rotate), frozenset(chunks))


def in_paths(
    lists: Sequence[tuple[int, int, Lists]], paths: Sequence[tuple[int, int]], vertical: bool
) -> bool:
    """Tell whether an element around a text path moves the text along it, which viewers do not agree on."""
    for first, last in paths:
        for start, end, own in lists:
            along = own.y if vertical else own.x
            if (
                start <= first
                and end >= last
                and any(value != 0 for index, value in enumerate(along, start) if first <= index < last)
            ):
                return True
    return False


def set_length(element: etree._Element, measure: Measure) -> tuple[float, bool] | None:
    """Return an element's textLength and whether the letters stretch as well; None without one."""
    text = element.get("textLength")
    value = length(text, measure, "x") if text else None
    if value is None or not 0 <= value < HUGE:
        return None
    return value, element.get("lengthAdjust") == "spacingAndGlyphs"
