"""Units: against the published factors, and against svgelements as an independent reader of lengths."""

from __future__ import annotations

import math
import pickle
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from svgelements import Length

from preflight.errors import PreflightError
from preflight.units import MM_PER, UNITS, LengthError, Unit, as_unit, format_length, parse_length

# CSS Values and Units, absolute lengths (factors from memory): 1 in = 2.54 cm = 96 px = 72 pt = 6 pc,
# 1 Q = 1/40 cm. The foot of 12 in is the international foot, 0.3048 m exactly.
PUBLISHED: list[tuple[str, float]] = [
    ("1 in", 25.4),
    ("96px", 25.4),
    ("72 pt", 25.4),
    ("6 pc", 25.4),
    ("1 cm", 10.0),
    ("40Q", 10.0),
    ("40 q", 10.0),
    ("1 m", 1000.0),
    ("1 ft", 304.8),
    ("12 in", 304.8),
]


@pytest.mark.parametrize(("text", "mm"), PUBLISHED)
def test_absolute_lengths_are_the_published_ones(text: str, mm: float) -> None:
    assert parse_length(text) == mm


@pytest.mark.parametrize("unit", ["in", "cm", "mm", "pt", "pc", "px"])
@pytest.mark.parametrize("amount", [0.1, 1.0, 7.25, 610.0])
def test_agrees_with_svgelements(unit: Unit, amount: float) -> None:
    theirs = Length(f"{amount}{unit}").value(ppi=96)
    # svgelements has its inches to the centimetre rounded to six digits.
    assert parse_length(f"{amount} {unit}") == pytest.approx(theirs * 25.4 / 96, rel=1e-6)


@pytest.mark.parametrize(
    ("value", "mm"),
    [
        (610, 610.0),
        (0.5, 0.5),
        ("610", 610.0),
        ("  610 mm ", 610.0),
        ("1.5cm", 15.0),
        (".5in", 12.7),
        ("24.in", 609.6),
        ("2.4e1 in", 609.6),
        ("-3 mm", -3.0),
        ("+3 MM", 3.0),
        ('24"', 609.6),
        ("24″", 609.6),
        ("24''", 609.6),
        ("2'", 609.6),
        ("2 feet", 609.6),
        ("2 Inches", 50.8),
        ("1/2 in", 12.7),
        ("24 1/2 in", 622.3),
        ("-1/2 in", -12.7),
    ],
)
def test_spellings_people_use(value: str | float, mm: float) -> None:
    # Exactly: 24 in and 609.6 mm have to be the same setting.
    assert parse_length(value) == mm


def test_a_bare_number_is_in_the_unit_the_caller_names() -> None:
    assert parse_length(96, bare="px") == 25.4
    assert parse_length("96", bare="px") == 25.4
    assert parse_length("96 mm", bare="px") == 96.0


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("", "not a length"),
        ("wide", "not a length"),
        ("3 parsec", "not a unit of length"),
        ("1,5 cm", "decimals with a point"),
        ("5 ft 6 in", "not a length"),
        ("1/0 in", "divides by zero"),
        ("1e999 mm", "not a finite length"),
        ("nan", "not a length"),
        (math.nan, "not a finite length"),
        (math.inf, "not a finite length"),
        (10**400, "not a finite length"),
        (True, "not a length"),
        (None, "not a length"),
        ("9" * 5000, "not a length"),
    ],
)
def test_what_is_no_length_is_refused_with_advice(value: Any, words: str) -> None:
    with pytest.raises(LengthError) as caught:
        parse_length(value)
    assert words in str(caught.value)
    assert caught.value.advice
    assert len(str(caught.value)) < 300


def test_the_error_is_both_ours_and_a_value_error_and_crosses_processes() -> None:
    with pytest.raises(LengthError) as caught:
        parse_length("x")
    assert isinstance(caught.value, PreflightError)
    assert isinstance(caught.value, ValueError)
    again = pickle.loads(pickle.dumps(caught.value))
    assert (again.code, again.message, again.advice) == (
        "bad-length",
        caught.value.message,
        caught.value.advice,
    )


@pytest.mark.parametrize(
    ("mm", "unit", "text"),
    [
        (0.8, "mm", "0.8 mm"),
        (0.75, "mm", "0.75 mm"),
        (12.34, "mm", "12.3 mm"),
        (610.0, "mm", "610 mm"),
        (609.6, "in", "24 in"),
        (914.4, "ft", "3 ft"),
        (1500.0, "m", "1.5 m"),
        (1.0, "cm", "0.1 cm"),
        (25.4, "px", "96 px"),
        (25.4, "pt", "72 pt"),
        (-3.2, "mm", "-3.2 mm"),
        (0.0, "mm", "0 mm"),
        (0.004, "mm", "under 0.01 mm"),
        (100.0, "mm", "100 mm"),
    ],
)
def test_lengths_read_well(mm: float, unit: Unit, text: str) -> None:
    assert format_length(mm, unit) == text


def test_the_unit_can_be_left_off() -> None:
    assert format_length(609.6, "in", with_unit=False) == "24"


@given(st.floats(min_value=0.1, max_value=1e6), st.sampled_from(UNITS))
def test_what_is_printed_reads_back_within_the_last_digit(mm: float, unit: Unit) -> None:
    worth = 0.1 * MM_PER[unit] if unit in ("px", "pt", "pc", "q") else 0.01 if mm < 10 else 0.1
    text = format_length(mm, unit)
    if text.startswith("under"):
        assert mm < worth
    else:
        assert abs(parse_length(text) - mm) <= worth / 2 * (1 + 1e-6)


def test_units_by_name() -> None:
    assert as_unit(" IN ") == "in"
    with pytest.raises(LengthError, match="mm, cm, m, in, ft, pt, pc, px or Q"):
        as_unit("furlong")
