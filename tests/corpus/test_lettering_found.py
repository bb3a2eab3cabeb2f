"""Which of the real symbols hold a word, as a person sees it, and which the search for lettering finds."""

from __future__ import annotations

from pathlib import Path

import pytest

import preflight
from preflight.lettering import lines_of

SYMBOLS = Path(__file__).parents[2].parent / "shared" / "corpus" / "park-symbols"

WORDS = {
    "braille-black-30.svg": "Braille",
    "emergencies-black-30.svg": "911",
    "ice-black-30.svg": "ICE",
    "open-to-the-public-black-30.svg": "OPEN",
    "passes-and-fees-black-30.svg": "Pass",
}
"""Looked through by eye: all symbols with a level word of three letters and more."""

TAKEN_FOR_WORDS = 2
"""So many other symbols may be taken for lettering: two groups of standing figures are."""


@pytest.mark.corpus
@pytest.mark.skipif(not SYMBOLS.is_dir(), reason="the corpus ../shared/corpus/park-symbols is absent")
def test_words_are_found_and_little_else() -> None:
    found = {}
    for path in sorted(SYMBOLS.glob("*.svg")):
        artwork = preflight.read(path.read_bytes())
        scaled = artwork.scaled(300 / max(artwork.width, artwork.height))
        lines = [line for region in scaled.appearance().values() for line in lines_of(region)]
        if lines:
            found[path.name] = lines
    assert set(found) >= set(WORDS)
    assert len(found) <= len(WORDS) + TAKEN_FOR_WORDS
    for name, word in WORDS.items():
        assert [len(line.pieces) for line in found[name]] == [len(word)]
