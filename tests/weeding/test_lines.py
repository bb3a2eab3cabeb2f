"""Weed lines lie in the waste, keep their distance from film that stays, and part the waste."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from preflight.job import WeedingSpec
from preflight.weeding import WeedLine, weed_lines, weeding_of
from tests.weeding.samples import ARTWORK, box, example, film_of, ring

NONE = shapely.MultiPolygon()
SIGNS = sorted(path.stem for path in ARTWORK.glob("*.svg"))
Rectangle = tuple[int, int, int, int]


def as_lines(found: tuple[WeedLine, ...]) -> shapely.MultiLineString:
    return shapely.MultiLineString([[line.start, line.end] for line in found])


def squared(line: WeedLine, rectangle: Rectangle) -> Fraction:
    """Return the square of the exact distance of an upright or level line from a rectangle."""
    low = [min(Fraction(a), Fraction(b)) for a, b in zip(line.start, line.end, strict=True)]
    high = [max(Fraction(a), Fraction(b)) for a, b in zip(line.start, line.end, strict=True)]
    apart = [max(rectangle[i] - high[i], low[i] - rectangle[i + 2], Fraction(0)) for i in (0, 1)]
    return apart[0] ** 2 + apart[1] ** 2


@st.composite
def rectangles(draw: st.DrawFn) -> list[Rectangle]:
    """Return up to a dozen rectangles with whole corners, which may touch and lie over each other."""
    made = []
    for _ in range(draw(st.integers(1, 12))):
        x, y = draw(st.integers(0, 900)), draw(st.integers(0, 500))
        made.append((x, y, x + draw(st.integers(1, 300)), y + draw(st.integers(1, 200))))
    return made


class TestNeverNearFilm:
    @settings(max_examples=150, deadline=None)
    @given(rectangles(), st.integers(1, 6), st.integers(40, 400), st.integers(0, 20))
    def test_exact_distance_from_rectangles(
        self, boxes: list[Rectangle], clearance: int, strip: int, border: int
    ) -> None:
        """Rational arithmetic throughout: the corners are whole, and floats are exact rationals."""
        stays = shapely.union_all([shapely.box(*one) for one in boxes])
        x0, y0, x1, y1 = stays.bounds
        frame = (x0 - border, y0 - border, x1 + border, y1 + border)
        waste = shapely.difference(shapely.box(*frame), stays)
        spec = WeedingSpec(clearance=clearance, strip=strip)
        for line in weed_lines(stays, frame, _areas(waste), spec):
            assert line.start[0] == line.end[0] or line.start[1] == line.end[1]
            assert all(squared(line, one) >= (Fraction(clearance) - Fraction(1, 10**5)) ** 2 for one in boxes)

    @settings(max_examples=100, deadline=None)
    @given(rectangles(), st.integers(1, 6), st.integers(40, 400))
    def test_what_surrounds_the_shapes_stays(
        self, boxes: list[Rectangle], clearance: int, strip: int
    ) -> None:
        shapes = shapely.union_all([shapely.box(*one) for one in boxes])
        sheet = shapely.difference(shapely.box(-500, -500, 2000, 1500), shapes)
        for line in weed_lines(sheet, None, _areas(shapes), WeedingSpec(clearance=clearance, strip=strip)):
            cut = shapely.LineString([line.start, line.end])
            assert shapely.distance(cut, sheet) >= clearance - 1e-5
            assert shapely.within(cut, shapes)

    @settings(max_examples=60, deadline=None)
    @given(
        st.lists(
            st.tuples(st.floats(0, 900), st.floats(0, 400), st.floats(2, 150), st.floats(0, 0.95)),
            min_size=1,
            max_size=10,
        )
    )
    def test_discs_and_rings(self, discs: list[tuple[float, float, float, float]]) -> None:
        stays = shapely.union_all(
            [
                shapely.difference(
                    shapely.Point(x, y).buffer(radius), shapely.Point(x, y).buffer(radius * share)
                )
                for x, y, radius, share in discs
            ]
        )
        x0, y0, x1, y1 = stays.bounds
        frame = (x0 - 10, y0 - 10, x1 + 10, y1 + 10)
        waste = _areas(shapely.difference(shapely.box(*frame), stays))
        lines = as_lines(weed_lines(stays, frame, waste, WeedingSpec(strip=100)))
        assert lines.is_empty or shapely.distance(lines, stays) >= 2 - 1e-5

    @pytest.mark.parametrize("polarity", ["shapes", "surround"])
    @pytest.mark.parametrize("name", SIGNS)
    def test_the_demo_signs(self, name: str, polarity: str) -> None:
        analysis = example(name, {"polarity": polarity, "weeding": {"strip": 60}})
        for film in analysis.films:
            if film.region.is_empty:
                continue
            found = weeding_of(film)
            lines = as_lines(found.lines)
            assert lines.is_empty or shapely.distance(lines, film.region) >= 2 - 1e-5
            room = shapely.box(*found.frame) if found.frame else film.shapes_region
            assert shapely.difference(lines, room.buffer(1e-9)).is_empty


class TestWhereTheyGo:
    def test_between_rows_and_words(self) -> None:
        """Two rows of two blocks: one cut from edge to edge between the rows, one in each between blocks."""
        drawing = box(10, 10, 180, 40) + box(230, 10, 160, 40) + box(10, 90, 150, 40) + box(200, 90, 180, 40)
        found = weeding_of(film_of(drawing))
        assert found.frame == (0, 0, 400, 140)
        assert [(line.kind, line.start, line.end) for line in found.lines] == [
            ("row", (0, 70), (400, 70)),
            ("gap", (210, 0), (210, 70)),
            ("gap", (180, 70), (180, 140)),
        ]
        assert found.line_length == 400 + 70 + 70

    @pytest.mark.parametrize("room", [3.9, 4.1])
    def test_a_row_needs_twice_the_clearance(self, room: float) -> None:
        drawing = box(10, 10, 380, 40) + box(10, 50 + room, 380, 40)
        kinds = [line.kind for line in weeding_of(film_of(drawing)).lines]
        assert ("row" in kinds) == (room > 4)

    def test_a_ring_of_waste_is_opened_on_both_long_sides(self) -> None:
        found = weeding_of(film_of(box(30, 30, 340, 40), {"roll": {"width": 610, "weed_border": 20}}))
        assert [line.kind for line in found.lines] == ["relief", "relief"]
        assert [line.length for line in found.lines] == pytest.approx([18, 18], abs=0.01)
        assert {line.start[1] for line in found.lines} == {10, 90}

    @pytest.mark.parametrize("turn", [0, 7, 30])
    def test_waste_around_what_is_round_is_opened_too(self, turn: float) -> None:
        """Where a cut ends at an arc it is as long as one that ends at a straight edge, and is proposed."""
        disc = f'<circle cx="200" cy="200" r="180" fill="#1f5b3a" transform="rotate({turn} 200 200)"/>'
        found = weeding_of(film_of(disc, width=400, height=400))
        assert [line.kind for line in found.lines] == ["relief", "relief"]
        # From the border, 10 mm outside, to 2 mm short of the disc.
        assert [line.length for line in found.lines] == pytest.approx([8, 8], abs=0.02)

    def test_outlines_of_very_many_nodes(self) -> None:
        """A rough trace: its outline is made simpler first, and still nothing comes near the real one."""
        rough = shapely.Polygon(
            [
                (
                    600 + (500 + 0.2 * math.sin(977 * a)) * math.cos(a),
                    300 + (250 + 0.2 * math.cos(313 * a)) * math.sin(a),
                )
                for a in (i * math.tau / 30_000 for i in range(30_000))
            ]
        )
        frame = (50, 0, 1150, 600)
        waste = _areas(shapely.difference(shapely.box(*frame), rough))
        lines = weed_lines(rough, frame, waste, WeedingSpec())
        assert len(lines) == 6
        assert shapely.distance(as_lines(lines), rough) >= 2 - 1e-5

    def test_small_work_needs_none(self) -> None:
        assert weeding_of(film_of(box(10, 10, 200, 40))).lines == ()

    def test_enclosed_waste_is_cut_across(self) -> None:
        found = weeding_of(film_of(ring(0, 0, 400, 100, 10), {"weeding": {"strip": 200}}))
        (line,) = [line for line in found.lines if line.kind == "inside"]
        assert [*line.start, *line.end] == pytest.approx([200, 12, 200, 88], abs=0.01)

    def test_an_enclosed_ring_is_cut_across(self) -> None:
        """A panel that stands in an enclosed waste 20 mm wide all around."""
        drawing = ring(0, 0, 400, 200, 10) + box(30, 30, 340, 140)
        inside = [line for line in weeding_of(film_of(drawing)).lines if line.kind == "inside"]
        assert len(inside) == 2
        assert all(line.length == pytest.approx(16, abs=0.02) for line in inside)

    def test_every_strip_of_a_grid_is_short_enough(self) -> None:
        """The plane is parted by GEOS's polygonizer, which knows nothing of how the lines were found."""
        drawing = "".join(box(20 + 60 * i, 20 + 60 * j, 40, 40) for i in range(20) for j in range(6))
        found = weeding_of(film_of(drawing, {"weeding": {"strip": 150}}, 1240, 400))
        assert found.frame is not None
        net = shapely.union_all([shapely.box(*found.frame).exterior, as_lines(found.lines)])
        strips = shapely.get_parts(shapely.polygonize([net]))
        assert len(strips) > 20
        for x0, y0, x1, y1 in shapely.bounds(strips):
            assert max(x1 - x0, y1 - y0) <= 150
            assert min(x1 - x0, y1 - y0) >= 15

    @pytest.mark.parametrize(
        "spec",
        [
            {"strip": 0},
            {"clearance": 0},
            {"clearance": "3 kg"},
        ],
    )
    def test_settings_that_make_no_sense_are_refused(self, spec: dict[str, Any]) -> None:
        with pytest.raises(ValueError, match="weeding"):
            film_of(box(10, 10, 10, 10), {"weeding": spec})


def _areas(region: shapely.Geometry) -> shapely.MultiPolygon:
    parts = [part for part in shapely.get_parts(region) if part.geom_type == "Polygon"]
    return shapely.MultiPolygon(parts) if parts else NONE
