"""Weed border and weed lines in files for production: layers of their own, and nothing else is changed."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

import preflight
from preflight.curves import Path
from preflight.job import Job
from preflight.weeding.production import with_weed_lines
from preflight.writers import WRITERS, CutFile, CutFilm, write_hpgl, write_svg
from tests.writers.cuts import MADE, circle, rectangle, region, rings


def cut(film: CutFilm, width: float = 400, height: float = 150) -> CutFile:
    return CutFile(width, height, (film,))


TWO_ROWS = Path.joined([rectangle(20, 20, 380, 50), rectangle(20, 90, 380, 120), circle(200, 70, 12)])
GREEN = CutFilm("Green", "#1f5b3a", TWO_ROWS)


class TestLayer:
    def test_a_layer_after_each_film(self) -> None:
        made = with_weed_lines(cut(GREEN), Job())
        assert [film.name for film in made.films] == ["Green", "Green: weed lines"]
        weed = made.films[1]
        assert not len(weed.path)
        assert weed.knife is not None
        assert (weed.knife.closed.sum(), made.width, made.height) == (1, 400, 150)
        assert weed.knife.bounds() == (10, 10, 390, 130)
        np.testing.assert_array_equal(made.films[0].path.controls, TWO_ROWS.controls)

    def test_the_area_grows_where_the_border_lies_outside(self) -> None:
        made = with_weed_lines(
            cut(GREEN), Job.parse({"films": {"Green": {"roll": {"width": 610, "weed_border": 25.5}}}})
        )
        assert (made.width, made.height) == (411, 161)
        np.testing.assert_allclose(made.films[0].path.controls, TWO_ROWS.controls + 5.5)
        assert made.films[1].knife is not None
        assert made.films[1].knife.bounds()[:2] == (0, 0)

    def test_own_knife_lines_stay(self) -> None:
        slit = Path.polygon([(30.0, 60.0), (60.0, 60.0)], closed=False)
        made = with_weed_lines(cut(CutFilm("Green", "#1f5b3a", TWO_ROWS, slit)), Job())
        assert made.films[0].knife is not None
        np.testing.assert_array_equal(made.films[0].knife.controls, slit.controls)

    def test_no_border_where_the_surround_stays(self) -> None:
        wide = CutFilm("Frost", "#dddddd", rectangle(0, 0, 700, 100))
        made = with_weed_lines(cut(wide, 700, 100), Job(polarity="surround"))
        weed = made.films[1].knife
        assert weed is not None
        assert not weed.closed.any()
        assert weed.bounds()[1::2] == pytest.approx((2, 98), abs=0.01)
        assert made.width == 700

    def test_a_name_that_is_taken(self) -> None:
        other = CutFilm("Green: weed lines", "#000000", rectangle(0, 0, 9, 9))
        made = with_weed_lines(
            CutFile(400, 150, (GREEN, other)),
            Job.parse(
                {"films": {"edge": {"name": "Green: weed lines", "roll": {"width": 610, "weed_border": 0}}}}
            ),
        )
        assert [film.name for film in made.films] == [
            "Green",
            "Green: weed lines (2)",
            "Green: weed lines",
        ]


class TestFiles:
    @pytest.mark.parametrize("name", sorted(MADE))
    def test_no_line_meets_film_that_stays(self, name: str) -> None:
        """Against what the contours enclose by an XOR of their insides, which the lines were not made with."""
        plain = MADE[name]()
        made = with_weed_lines(plain, Job.parse({"weeding": {"strip": 80}}))
        by_name = {film.name: film for film in made.films}
        for film in plain.films:
            weed = by_name.get(f"{film.name}: weed lines")
            if weed is None:
                continue
            assert weed.knife is not None
            stays = region(rings(by_name[film.name].path))
            for line in rings(weed.knife):
                near = 10 if len(line) > 2 else 2
                assert shapely.distance(shapely.LineString(line), stays) >= near - 0.011

    @pytest.mark.parametrize("writer", WRITERS, ids=lambda writer: writer.word)
    def test_every_format_takes_them(self, writer: object) -> None:
        assert isinstance(writer, type(WRITERS[0]))
        plain = cut(GREEN)
        made = with_weed_lines(plain, Job())
        assert len(writer.write(made)) > len(writer.write(plain))

    def test_an_svg_read_back_has_them_as_knife_lines(self) -> None:
        made = with_weed_lines(cut(GREEN), Job())
        back = preflight.read(write_svg(made))
        strokes = [shape for shape in back.shapes() if shape.fill is None and shape.stroke is not None]
        fills = [shape for shape in back.shapes() if shape.fill is not None]
        assert len(strokes) == len(fills) == 1
        assert strokes[0].path.mapped(strokes[0].matrix).bounds() == pytest.approx((10, 10, 390, 130))

    def test_hpgl_gives_them_a_pen_of_their_own(self) -> None:
        made = with_weed_lines(cut(GREEN), Job())
        assert write_hpgl(made).decode().count("SP") == 3
        alone = write_hpgl(made, "Green").decode()
        assert alone == write_hpgl(cut(GREEN)).decode()
