from __future__ import annotations

import re

import numpy as np
import pytest

from preflight.curves import Path
from preflight.errors import WriteError
from preflight.writers import CutFile, CutFilm, write_hpgl
from preflight.writers.hpgl import Origin
from tests.writers.cuts import MADE, assert_same_cut, circle, generated, length, rectangle

UNIT = 0.025
"""mm (HP PCL/PJL reference, table 17-7)."""
WITHIN = 0.0125 + 0.0125 * 2**0.5 + 0.001
"""mm: flattening, rounding to the nearest unit on both axes, the comparison's own flattening."""


class Plotter:
    """A plotter that knows IN, PA, PU, PD and SP, and refuses everything else."""

    def __init__(self, data: bytes) -> None:
        self.drawn: list[tuple[int, list[tuple[int, int]]]] = []
        self.pen = 0
        self._down = False
        self._at = (0, 0)
        self.words: list[str] = []
        text = data.decode("ascii")
        for command in re.findall(r"([^;]*);", text.replace("\n", "")):
            self._run(command[:2], [int(v) for v in command[2:].split(",") if v])
        assert not re.sub(r"[^;]*;|\n", "", text)

    def _run(self, word: str, values: list[int]) -> None:
        self.words.append(word)
        if word == "SP":
            (self.pen,) = values
        elif word in ("IN", "PA"):
            assert not values
        elif word in ("PU", "PD"):
            assert len(values) % 2 == 0
            self._down = word == "PD"
            for x, y in zip(values[::2], values[1::2], strict=True):
                if self._down:
                    if not self.drawn or self.drawn[-1][1][-1] != self._at:
                        self.drawn.append((self.pen, [self._at]))
                    self.drawn[-1][1].append((x, y))
                self._at = (x, y)
        else:
            raise AssertionError(f"not a plain pen move: {word}")


def lines(data: bytes, height: float) -> list[np.ndarray]:
    """Return what a plotter draws, in mm with y down, origin at the top left."""
    return [np.array(points) * (UNIT, -UNIT) + (0, height) for _, points in Plotter(data).drawn]


@pytest.mark.parametrize("name", MADE)
def test_a_plotter_draws_the_same_cut(name: str) -> None:
    cut = MADE[name]()
    for film in cut.films:
        drawn = lines(write_hpgl(cut, film.name), cut.height)
        assert_same_cut(drawn[: len(film.path)], film.path, WITHIN)
        if film.knife is not None:
            assert_same_cut(drawn[len(film.path) :], film.knife, WITHIN, closed=False)
        assert all((contour[0] == contour[-1]).all() for contour in drawn[: len(film.path)])


def test_it_starts_and_ends_plainly_and_chooses_no_pen_for_one_film() -> None:
    data = write_hpgl(generated(), "Black")
    assert data.startswith(b"IN;PA;PU;")
    assert data.endswith(b"PU;SP0;\n")
    assert data.count(b"SP") == 1


def test_several_films_have_a_pen_each() -> None:
    cut = generated()
    plotter = Plotter(write_hpgl(cut))
    assert [pen for pen, _ in plotter.drawn] == [1] * 6 + [2] * 2
    assert plotter.pen == 0
    assert set(plotter.words) == {"IN", "PA", "PU", "PD", "SP"}


@pytest.mark.parametrize(
    ("origin", "corner"),
    [("lower-left", (800, 1200)), ("cut-lower-left", (0, 0)), ("centre", (-1200, -800))],
)
def test_origins(origin: Origin, corner: tuple[int, int]) -> None:
    """100 by 100 mm; a square from 20 to 40 mm across and 50 to 70 mm down: 40 units to the mm."""
    cut = CutFile(100, 100, (CutFilm("Red", "#ff0000", rectangle(20, 50, 40, 70)),))
    ((_, points),) = Plotter(write_hpgl(cut, origin=origin)).drawn
    assert tuple(np.min(points, axis=0)) == corner
    assert np.ptp(points, axis=0).tolist() == [800, 800]


def test_a_circle_is_as_long_as_a_circle() -> None:
    """The length of a circle of radius 50 mm, less what chords within 0.0125 mm cost."""
    cut = CutFile(120, 120, (CutFilm("Red", "#ff0000", circle(60, 60, 50)),))
    assert length(lines(write_hpgl(cut), 120)) == pytest.approx(2 * np.pi * 50, rel=5e-4)


def test_what_hpgl_cannot_say_is_an_error() -> None:
    dot = CutFile(10, 10, (CutFilm("Red", "#ff0000", rectangle(5.001, 5.001, 5.006, 5.006)),))
    with pytest.raises(WriteError, match="smaller than"):
        write_hpgl(dot)
    far = CutFile(300_000, 10, (CutFilm("Red", "#ff0000", rectangle(1, 1, 299_000, 5)),))
    with pytest.raises(WriteError, match="210 m from the origin"):
        write_hpgl(far)
    with pytest.raises(WriteError, match=r"no film “Blue”.*“Leaf green”, “Black”"):
        write_hpgl(generated(), "Blue")


def test_long_lines_are_split_into_commands_a_small_buffer_holds() -> None:
    data = write_hpgl(CutFile(2000, 2000, (CutFilm("Red", "#ff0000", circle(1000, 1000, 900)),)))
    longest = max(len(command.split(b",")) for command in data.split(b";"))
    assert longest <= 200
    assert len(Plotter(data).drawn) == 1


def test_same_cut_same_bytes() -> None:
    assert write_hpgl(generated()) == write_hpgl(generated())


def test_an_empty_film_moves_nothing() -> None:
    assert write_hpgl(CutFile(10, 10, (CutFilm("Red", "#ff0000", Path.empty()),))) == b"IN;PA;PU;\nPU;SP0;\n"
