from __future__ import annotations

import numpy as np
import pytest

from preflight.curves import Path
from preflight.errors import WriteError
from preflight.writers import LASER_CAUTION, WRITERS, CutFile, CutFilm, Writer
from tests.writers.cuts import generated, rectangle

SQUARE = rectangle(1, 1, 2, 2)


def test_a_film_has_a_name_and_a_colour() -> None:
    with pytest.raises(WriteError, match="no name"):
        CutFilm(" ", "#ff0000", SQUARE)
    with pytest.raises(WriteError, match=r"“red”.*#rrggbb"):
        CutFilm("Red", "red", SQUARE)
    assert CutFilm("Red", "#C0182b", SQUARE).rgb == (192, 24, 43)


def test_contours_are_closed() -> None:
    with pytest.raises(WriteError, match=r"x 1\.00 mm, y 1\.00 mm is not closed"):
        CutFilm("Red", "#ff0000", Path.polygon([(1, 1), (5, 1), (5, 5)], closed=False))
    gap = Path.polygon([(1, 1), (5, 1), (5, 5)], closed=False)
    with pytest.raises(WriteError, match="not closed"):
        CutFilm("Red", "#ff0000", Path(gap.controls, gap.lines, gap.starts, np.array([True])))


def test_coordinates_are_numbers() -> None:
    with pytest.raises(WriteError, match="no number"):
        CutFilm("Red", "#ff0000", Path.polygon([(1, 1), (5, float("nan")), (5, 5)]))


@pytest.mark.parametrize("size", [(0, 10), (10, -1), (float("inf"), 1), (float("nan"), 1)])
def test_a_drawing_area_has_a_size(size: tuple[float, float]) -> None:
    with pytest.raises(WriteError, match="drawing area"):
        CutFile(*size, ())


def test_films_have_names_of_their_own() -> None:
    film = CutFilm("Red", "#ff0000", SQUARE)
    with pytest.raises(WriteError, match="Two films are called “Red”"):
        CutFile(10, 10, (film, film))


def test_formats_are_told_apart_and_carry_the_laser_caution() -> None:
    assert len({writer.word for writer in WRITERS}) == len(WRITERS)
    for writer in WRITERS:
        assert LASER_CAUTION in writer.caution
        assert "test-cut first" in writer.caution


@pytest.mark.parametrize("writer", WRITERS, ids=lambda writer: writer.word)
def test_every_format_writes_what_it_says(writer: Writer) -> None:
    starts = {"image/svg+xml": b"<?xml", "application/pdf": b"%PDF-1.7", "image/vnd.dxf": b"  0\nSECTION"}
    data = writer.write(generated())
    assert data.startswith(starts.get(writer.media_type, b"IN;"))
    assert writer.ending.startswith(".")
