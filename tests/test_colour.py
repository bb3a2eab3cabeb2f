"""Colours against WCAG 2.x: relative luminance and contrast ratio (definitions from memory)."""

from __future__ import annotations

import math
import random

import pytest

from preflight.colour import contrast, difference, luminance, near_pairs


@pytest.mark.parametrize(
    ("colour", "expected"),
    [
        ("#000000", 0.0),
        ("#ffffff", 1.0),
        # The weights of the definition.
        ("#ff0000", 0.2126),
        ("#00ff00", 0.7152),
        ("#0000ff", 0.0722),
    ],
)
def test_relative_luminance(colour: str, expected: float) -> None:
    assert luminance(colour) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        ("#ffffff", "#000000", 21.0),
        ("#777777", "#ffffff", 4.48),
        # The lightest grey that reaches 4.5 to 1 on white, named as such by many guides to WCAG.
        ("#767676", "#ffffff", 4.54),
        ("#ff0000", "#ff0000", 1.0),
        ("#ff0000", "#ffffff", 1.05 / 0.2626),
    ],
)
def test_contrast_ratio_whichever_comes_first(one: str, other: str, expected: float) -> None:
    assert contrast(one, other) == pytest.approx(expected, abs=0.005)
    assert contrast(one, other) == contrast(other, one)


def test_the_two_published_thresholds_part_no_colour_of_8_bits() -> None:
    # WCAG 2.x: 0.03928; IEC 61966-2-1: 0.04045 (from memory).
    assert not [step for step in range(256) if 0.03928 < step / 255 <= 0.04045]


def test_difference_is_in_steps_of_each_channel() -> None:
    assert difference("#000000", "#060606") == pytest.approx(6.0)
    assert difference("#000000", "#070202") == pytest.approx(math.sqrt((49 + 4 + 4) / 3))


def test_near_pairs_are_those_of_comparing_every_pair() -> None:
    made = random.Random(7)
    colours = ["#" + "".join(f"{made.randrange(0, 60):02x}" for _ in range(3)) for _ in range(150)]
    expected = [
        [i, j]
        for i in range(len(colours))
        for j in range(i + 1, len(colours))
        if difference(colours[i], colours[j]) < 6
    ]
    assert len(expected) > 20
    assert near_pairs(colours, 6).tolist() == expected


def test_nothing_is_near_to_nothing() -> None:
    assert near_pairs([], 6).shape == (0, 2)
    assert near_pairs(["#123456"], 6).shape == (0, 2)


@pytest.mark.parametrize("word", ["", "red", "#fff", "#12345g"])
def test_other_spellings_are_refused(word: str) -> None:
    with pytest.raises(ValueError, match=r"#rrggbb|invalid literal"):
        luminance(word)
