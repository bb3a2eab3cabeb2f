"""The single-stroke lettering: every character drawn, lines never wider than asked for."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from svgelements import Path as ReferencePath

from preflight.report.lettering import text_path, text_width, wrap

VISIBLE = [chr(code) for code in range(33, 127)]


@pytest.mark.parametrize("char", [*VISIBLE, *"°²µ·×–—‘’“”…•äÖéñçřåőßøØ£"])
def test_every_character_has_a_drawing_inside_its_line(char: str) -> None:
    # svgelements is an independent reader of path data.
    data = text_path(char, 0, 0, 10)
    x0, y0, x1, y1 = ReferencePath(data).bbox()
    assert x0 >= -0.5
    assert x1 <= text_width(char, 10) + 0.2
    assert y0 >= -13.5
    assert y1 <= 3.5


def test_no_two_characters_look_the_same() -> None:
    drawings = {text_path(char, 0, 0, 10) for char in VISIBLE}
    assert len(drawings) == len(VISIBLE)


def test_accents_stand_on_their_letters() -> None:
    assert text_path("é", 0, 0, 10).startswith(text_path("e", 0, 0, 10))
    assert text_path("é", 0, 0, 10) != text_path("è", 0, 0, 10)
    assert text_path("e\u0301", 0, 0, 10) == text_path("é", 0, 0, 10)


def test_a_character_without_a_drawing_is_a_box() -> None:
    assert text_path("種", 0, 0, 10) == text_path("ж", 0, 0, 10)
    assert text_path("種", 0, 0, 10).count("L") == 4


def test_capitals_are_as_high_as_asked_for() -> None:
    _, top, _, bottom = ReferencePath(text_path("H", 5, 50, 12)).bbox()
    assert (top, bottom) == (pytest.approx(38), pytest.approx(50))


def test_only_path_commands_come_out_whatever_goes_in() -> None:
    data = text_path('<script>alert("x")</script>&\x00\u202e', 0, 0, 10)
    assert re.fullmatch(r"[MLQC0-9. -]*", data)


words = st.text(st.characters(codec="utf-8"), max_size=200)


@settings(max_examples=60, deadline=None)
@given(words, st.floats(30, 400), st.integers(1, 5))
def test_wrapped_lines_fit(text: str, width: float, lines: int) -> None:
    wrapped = wrap(text, 9, width, lines)
    assert len(wrapped) <= lines
    assert all(text_width(line, 9) <= width for line in wrapped)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from(["gate", "of", "marrows", "a", "42.5"]), max_size=40))
def test_wrapping_loses_no_word_where_there_is_room(parts: list[str]) -> None:
    assert " ".join(wrap(" ".join(parts), 9, 120, 100)).split() == parts


def test_what_does_not_fit_ends_in_an_ellipsis() -> None:
    wrapped = wrap("the knife would cut through film that should stay whole", 9, 120, 2)
    assert len(wrapped) == 2
    assert wrapped[-1].endswith("…")
