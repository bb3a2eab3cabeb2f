"""PDF objects as plain numbers, matrices and names; what cannot be read is None."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from decimal import Decimal

import pikepdf

from preflight.artwork import Box
from preflight.curves import Matrix

LARGEST = 1e9
"""Numbers beyond this (either sign) are taken for damage: no drawing is that large."""


def number(value: object) -> float | None:
    """Return a finite number of sane size, else None."""
    if type(value) is float and -LARGEST <= value <= LARGEST:
        return value
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        return None
    try:
        found = float(value)
    except (OverflowError, ValueError):
        return None
    return found if math.isfinite(found) and abs(found) <= LARGEST else None


def numbers(value: object, count: int | None = None) -> tuple[float, ...] | None:
    """Return all numbers of an array, or of the first ``count`` operands; None where one is none."""
    items: Sequence[object]
    if isinstance(value, pikepdf.Array):
        items = list(value)
    elif isinstance(value, list | tuple):
        items = value
    else:
        return None
    if count is not None and len(items) != count:
        return None
    if all(type(item) is float for item in items):
        # Operands: the tokenizer has looked at their size already.
        return tuple(items)
    found = [number(item) for item in items]
    return None if any(item is None for item in found) else tuple(item for item in found if item is not None)


def matrix(value: object) -> Matrix | None:
    """Return an array of six numbers as a matrix."""
    found = numbers(value, 6)
    return None if found is None else (found[0], found[1], found[2], found[3], found[4], found[5])


def box(value: object) -> Box | None:
    """Return a rectangle with its corners put in order; None where it is none or has no area."""
    found = numbers(value, 4)
    if found is None:
        return None
    x0, x1 = sorted((found[0], found[2]))
    y0, y1 = sorted((found[1], found[3]))
    return (x0, y0, x1, y1) if x1 > x0 and y1 > y0 else None


def name(value: object) -> str | None:
    """Return a name without its slash."""
    if isinstance(value, pikepdf.Name):
        return unescaped(value.unparse()[1:])
    return value.text if isinstance(value, Word) else None


_ESCAPED = re.compile(rb"#([0-9A-Fa-f]{2})")


def unescaped(raw: bytes) -> str:
    """Return a name as text, from its bytes in the file without the slash.

    Names are UTF-8 by the standard (ISO 32000-1, 7.3.5); older programs wrote Latin letters as single bytes.
    """
    plain = _ESCAPED.sub(lambda found: bytes((int(found.group(1), 16),)), raw)
    try:
        return plain.decode("utf-8")
    except UnicodeDecodeError:
        return plain.decode("latin-1")


class Word:
    """A name among operands."""

    __slots__ = ("text",)

    def __init__(self, text: str) -> None:
        self.text = text


def entry(table: object, key: str) -> object:
    """Return an entry of a dictionary (or stream); None where there is none or no dictionary."""
    if isinstance(table, pikepdf.Dictionary | pikepdf.Stream):
        return table.get("/" + key)
    return None


def items(value: object) -> list[pikepdf.Object]:
    """Return an array's items; none where it is no array."""
    return list(value) if isinstance(value, pikepdf.Array) else []


def identity(value: object) -> tuple[int, int] | None:
    """Return what tells an indirect object from all others; None for a direct one."""
    found = getattr(value, "objgen", None)
    return found if isinstance(found, tuple) and found != (0, 0) else None
