"""The fuzzer's seeds read, and so do their truncations and bit flips end well."""

from __future__ import annotations

import random

import pytest

from preflight.artwork import Artwork
from preflight.errors import ReadError
from preflight.readers import read
from tests.fuzz.seeds import seeds


@pytest.mark.parametrize("number", range(len(seeds())))
@pytest.mark.filterwarnings("error")
def test_seed_reads(number: int) -> None:
    assert read(seeds()[number]).source.format == "svg"


@pytest.mark.parametrize("number", range(len(seeds())))
@pytest.mark.filterwarnings("error")
def test_damaged_seed_ends_well(number: int) -> None:
    seed = seeds()[number]
    chance = random.Random(number)
    for _ in range(60):
        data = bytearray(seed)
        for _ in range(chance.randint(1, 4)):
            data[chance.randrange(len(data))] = chance.choice(b"09.-eE%#:;(){}<>\"' azZ")
        ending = outcome(bytes(data[: chance.randint(len(data) // 2, len(data))]))
        assert ending.advice if isinstance(ending, ReadError) else ending.width > 0


def outcome(data: bytes) -> Artwork | ReadError:
    """Return the artwork, or the error that reading ended in."""
    try:
        return read(data)
    except ReadError as error:
        return error


def test_letters_beyond_all_size_leave_the_drawing_area_alone() -> None:
    """Found by fuzzing: a drawing without a size took it from letters of 10^29 em."""
    drawing = f'<svg xmlns="http://www.w3.org/2000/svg"><text font-size="{"6" * 30}em">a</text></svg>'
    assert 0 < read(drawing.encode()).width < 1e6
