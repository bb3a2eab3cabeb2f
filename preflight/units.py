"""Lengths with units: read into millimetres, printed in the unit a person asked for.

Source of the factors: CSS Values and Units, absolute lengths (1 in = 2.54 cm = 96 px = 72 pt = 6 pc,
1 Q = 1/4 mm). The inch is 25.4 mm exactly, and 1 ft = 12 in.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType
from typing import Literal

from preflight.errors import LONGEST_QUOTE, PreflightError, quoted

Unit = Literal["mm", "cm", "m", "in", "ft", "pt", "pc", "px", "q"]
UNITS: tuple[Unit, ...] = ("mm", "cm", "m", "in", "ft", "pt", "pc", "px", "q")

_INCH = Fraction(254, 10)
_EXACT: Mapping[Unit, Fraction] = MappingProxyType(
    {
        "mm": Fraction(1),
        "cm": Fraction(10),
        "m": Fraction(1000),
        "in": _INCH,
        "ft": _INCH * 12,
        "pt": _INCH / 72,
        "pc": _INCH / 6,
        "px": _INCH / 96,
        "q": Fraction(1, 4),
    }
)
MM_PER: Mapping[Unit, float] = MappingProxyType({unit: float(exact) for unit, exact in _EXACT.items()})
"""Millimetres in one of each unit."""

_SPELLINGS: Mapping[str, Unit] = MappingProxyType(
    {
        **{unit: unit for unit in UNITS},
        '"': "in",
        "″": "in",
        "”": "in",
        "''": "in",
        "inch": "in",
        "inches": "in",
        "'": "ft",
        "′": "ft",
        "’": "ft",
        "foot": "ft",
        "feet": "ft",
        "metre": "m",
        "metres": "m",
        "meter": "m",
        "meters": "m",
    }
)
_LENGTH = re.compile(
    r"(?P<sign>[+-]?)"
    r"(?:(?P<whole>\d{1,15})\s+(?=\d+/))?"
    r"(?:(?P<over>\d{1,15})/(?P<under>\d{1,15})|(?P<number>(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?))"
    r"\s*(?P<unit>[^\d\s.,/+-]*)"
)
_ADVICE = "Write a number and a unit, for instance “610 mm”, “24 in”, “1.5 cm” or “2 ft”."


class LengthError(PreflightError, ValueError):
    """A length could not be read; a ``ValueError`` as well, so that validators pass it on."""


def parse_length(value: str | float, *, bare: Unit = "mm") -> float:
    """Return the length ``value`` in mm.

    A string is a number and a unit (mm, cm, m, in, ft, pt, pc, px, Q, the words inch, foot, metre, and
    the marks " and '), with or without a space; fractions of an inch such as ``24 1/2 in`` are read
    too. A number alone is in the unit ``bare``. Raises `LengthError` for anything else, and for
    values that are not finite. The sign is kept: whether a length may be negative is the caller's
    to say.
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise LengthError("bad-length", f"{quoted(value)} is not a length.", _ADVICE)
    try:
        amount, unit = _split(value, bare) if isinstance(value, str) else (Fraction(value), bare)
        # Exact until here, so that 24 in is the same number as 609.6 mm.
        return float(amount * _EXACT[unit])
    except (ValueError, OverflowError) as error:
        if isinstance(error, LengthError):
            raise
        raise LengthError("bad-length", f"{quoted(value)} is not a finite length.", _ADVICE) from None


def format_length(mm: float, unit: Unit = "mm", *, with_unit: bool = True) -> str:
    """Return a length of ``mm`` millimetres as text in ``unit``, for instance ``0.8 mm`` or ``24 in``.

    The last digit shown is worth at most 0.1 mm, and 0.01 mm for what is shorter than 10 mm (pixels
    and points: 0.1); trailing zeros are left off. A length too short for the last digit reads
    ``under 0.01 mm``, never ``0 mm``.
    """
    decimals = _decimals(abs(mm), unit)
    amount = mm / MM_PER[unit]
    text = f"{amount:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    if float(text) == 0.0:
        text = "0" if mm == 0 else f"under {10.0**-decimals:.{decimals}f}"
    return f"{text} {unit}" if with_unit else text


def as_unit(name: str) -> Unit:
    """Return the unit that ``name`` spells; raises `LengthError` with the list of units."""
    unit = _SPELLINGS.get(name.strip().lower())
    if unit is None:
        raise LengthError("bad-unit", f"{quoted(name)} is not a unit of length.", f"Use {_unit_list()}.")
    return unit


def _split(text: str, bare: Unit) -> tuple[Fraction, Unit]:
    stripped = text.strip()
    match = _LENGTH.fullmatch(stripped) if len(stripped) <= LONGEST_QUOTE else None
    if match is None:
        advice = (
            "Write decimals with a point. "
            if re.fullmatch(r"[+-]?\d+,\d+\s*\D*", stripped[:LONGEST_QUOTE])
            else ""
        )
        raise LengthError("bad-length", f"{quoted(text)} is not a length.", advice + _ADVICE)
    unit = as_unit(match["unit"]) if match["unit"] else bare
    if match["number"] is not None:
        amount = Fraction(match["number"])
    elif int(match["under"]) == 0:
        raise LengthError("bad-length", f"{quoted(text)} divides by zero.", _ADVICE)
    else:
        amount = int(match["whole"] or 0) + Fraction(int(match["over"]), int(match["under"]))
    return (-amount if match["sign"] == "-" else amount), unit


def _decimals(mm: float, unit: Unit) -> int:
    """Return how many decimals make the last digit worth what `format_length` promises."""
    if unit in ("px", "pt", "pc", "q"):
        return 1
    worth = 0.01 if mm < 10 else 0.1
    return max(0, math.ceil(math.log10(MM_PER[unit] / worth) - 1e-9))


def _unit_list() -> str:
    return ", ".join(UNITS[:-1]) + " or Q"
