"""Lengths and lines of text as layouts and panels print them."""

from __future__ import annotations

import textwrap

from preflight.units import Unit, format_length


def length(mm: float, unit: Unit = "mm") -> str:
    """Return a length in ``unit``, millimetres to the tenth."""
    return format_length(round(mm, 1) if unit == "mm" else mm, unit)


def wrapped(line: str, width: int) -> list[str]:
    """Return a line as lines of at most ``width`` characters, the rest indented under it."""
    indent = " " * (len(line) - len(line.lstrip()) + 2)
    return textwrap.wrap(line, max(width, 40), subsequent_indent=indent, break_on_hyphens=False) or [""]
