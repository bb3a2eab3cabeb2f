"""Nesting: the independent check against planted faults, both engines against known best lengths."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path

import pytest
import shapely
from shapely import MultiPolygon, Point, Polygon, box

from benchmarks.nesting import read_instance
from preflight.roll.nesting import NestingError, Piece, Placement, Strip, faults, nest, nest_by_film
from preflight.roll.nesting.irregular import search
from preflight.roll.nesting.model import UPRIGHT, outline_of
from preflight.roll.nesting.settle import settled

pytest.importorskip("rectpack", reason="the extra nesting is not installed")
pytest.importorskip("spyrrow", reason="the extra nesting is not installed")

SHARED = Path(__file__).parents[2].parent / "shared" / "nesting"
TRIANGLE = Polygon([(0, 0), (100, 0), (0, 100)])
ELL = Polygon([(0, 0), (60, 0), (60, 20), (20, 20), (20, 60), (0, 60)])


def wrong(pieces: list[Piece], placements: list[Placement], strip: Strip, length: float) -> str:
    return "; ".join(faults(pieces, placements, strip, length))


def test_the_check_finds_what_is_wrong() -> None:
    pieces, strip = [Piece("a", box(0, 0, 40, 20), 2)], Strip(100, gap=5)
    good = [Placement("a", 0, 0, 0), Placement("a", 90, 65, 0)]
    assert wrong(pieces, good, strip, 40) == ""
    assert "1 times instead of 2" in wrong(pieces, good[:1], strip, 40)
    assert "3 times instead of 2" in wrong(pieces, [*good, Placement("a", 0, 0, 100)], strip, 140)
    assert "must not" in wrong(pieces, [good[0], Placement("a", 45, 80, 0)], strip, 80)
    assert "must not" in wrong(pieces, good, Strip(100, directional=True), 40)
    assert "nearer than the gap" in wrong(pieces, [good[0], Placement("a", 0, 44, 0)], strip, 40)
    assert "overlap" in wrong(pieces, [good[0], Placement("a", 0, 39, 0)], Strip(100), 40)
    assert "over the strip's edge" in wrong(pieces, [good[0], Placement("a", 0, 61, 0)], strip, 40)
    assert "over the strip's edge" in wrong(pieces, good, strip, 39)
    assert "b is there 1 times instead of 0" in wrong(pieces, [*good, Placement("b", 0, 0, 0)], strip, 40)


def test_pieces_that_touch_do_not_overlap() -> None:
    pieces = [Piece("a", TRIANGLE, 2)]
    touching = [Placement("a", 0, 0, 0), Placement("a", 180, 100, 100)]
    assert wrong(pieces, touching, Strip(100), 100) == ""


def test_squares_fill_the_strip() -> None:
    found = nest([Piece("a", box(0, 0, 50, 50), 8)], Strip(100, roll_width=120, lead=10, price=5))
    assert found.engine == "rectangles"
    assert found.length == pytest.approx(200)
    assert found.density == pytest.approx(1)
    assert found.film_length == pytest.approx(220)
    assert found.used == pytest.approx(20_000 / (220 * 120))
    assert found.waste == pytest.approx(220 * 120 - 20_000)
    assert found.cost == pytest.approx(5 * 0.22 * 0.12)


def test_gaps_are_between_pieces_and_not_at_the_edge() -> None:
    found = nest([Piece("a", box(0, 0, 48, 48), 4)], Strip(100, gap=4))
    assert found.length == pytest.approx(100)


def test_a_squared_rectangle_comes_near_its_own_size() -> None:
    # Z. Moron, 1925: 33 by 32 in nine squares (from memory; the areas add up to 1056).
    sides = (1, 4, 7, 8, 9, 10, 14, 15, 18)
    pieces = [Piece(str(s), box(0, 0, s, s)) for s in sides]
    found = nest(pieces, Strip(33))
    assert found.area == 33 * 32
    assert 32 <= found.length <= 38


def test_a_long_side_is_turned_only_where_that_is_allowed() -> None:
    free = nest([Piece("a", box(0, 0, 90, 30), 3)], Strip(95))
    assert free.length == pytest.approx(90)
    for piece, strip in (
        (Piece("a", box(0, 0, 90, 30), 3, UPRIGHT), Strip(95)),
        (Piece("a", box(0, 0, 90, 30), 3), Strip(95, directional=True)),
    ):
        found = nest([piece], strip)
        assert {p.turn for p in found.placements} == {0}
        assert found.length == pytest.approx(90)
    tall = nest([Piece("a", box(0, 0, 30, 90), 1, UPRIGHT)], Strip(95))
    assert tall.length == pytest.approx(90)


def test_two_triangles_make_a_square() -> None:
    told: list[float] = []
    found = nest(
        [Piece("a", TRIANGLE, 4)], Strip(100), seconds=6, workers=1, told=lambda p: told.append(p.length)
    )
    assert found.engine == "irregular"
    assert 200 <= found.length <= 206
    assert told
    assert min(told) <= found.length * 1.001


def test_a_gap_is_kept_between_irregular_pieces() -> None:
    strip = Strip(150, gap=6)
    found = nest([Piece("l", ELL, 5), Piece("o", Point(0, 0).buffer(15), 4)], strip, seconds=4, workers=1)
    regions = [{"l": ELL, "o": Point(0, 0).buffer(15)}[p.key] for p in found.placements]
    placed = [
        shapely.affinity.translate(shapely.affinity.rotate(region, p.turn, origin=(0, 0)), p.x, p.y)
        for region, p in zip(regions, found.placements, strict=True)
    ]
    nearest = min(a.distance(b) for i, a in enumerate(placed) for b in placed[:i])
    assert nearest >= 6 - 1e-3
    assert min(r.bounds[0] for r in placed) >= -1e-6
    assert max(r.bounds[2] for r in placed) <= 150 + 1e-3


def test_a_directional_film_turns_nothing() -> None:
    found = nest([Piece("l", ELL, 4, None)], Strip(130, directional=True), seconds=3, workers=1)
    assert {p.turn for p in found.placements} == {0}


def test_a_search_can_be_ended_from_outside() -> None:
    told: list[float] = []
    found = nest(
        [Piece("l", ELL, 12, None)],
        Strip(150),
        seconds=60,
        workers=1,
        told=lambda p: told.append(p.length),
        asked=lambda: bool(told),
    )
    assert found.ended == "cancelled"
    assert len(found.placements) == 12


def test_an_end_before_the_first_arrangement_is_told() -> None:
    with pytest.raises(NestingError, match="cancelled before any arrangement"):
        nest([Piece("l", ELL, 3)], Strip(150), seconds=60, asked=lambda: True)


def test_an_engine_that_breaks_down_breaks_nothing_else() -> None:
    bow = Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])
    flat = Piece("flat", MultiPolygon([TRIANGLE]), 1)
    with pytest.raises(NestingError, match="ended without a result"):
        search([flat, Piece("bad", bow, -1)], Strip(200), seconds=5, seed=1)
    with pytest.raises(NestingError, match="outline crosses itself"):
        nest([Piece("bad", bow)], Strip(100))


def test_in_this_process_a_panic_is_an_error_too() -> None:
    bow = Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])
    with pytest.raises(NestingError, match="ended without a result"):
        search([Piece("bad", bow, -1)], Strip(200), seconds=5, seed=1, isolated=False)


def test_where_no_process_may_be_started_the_error_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr("preflight.roll.nesting.runs.subprocess.Popen", refused)
    with pytest.raises(NestingError, match="isolated=False"):
        nest([Piece("l", ELL, 3)], Strip(150), seconds=3)


def test_a_search_in_this_process() -> None:
    pieces = [Piece("l", ELL, 5), Piece("t", TRIANGLE, 2)]
    told: list[float] = []
    found = nest(
        pieces,
        Strip(150, gap=2),
        seconds=3,
        workers=1,
        isolated=False,
        told=lambda progress: told.append(progress.length),
    )
    assert found.ended == "complete"
    assert len(found.placements) == 7
    assert told
    told.clear()
    stopped = nest(
        [Piece("l", ELL, 12, None)],
        Strip(150),
        seconds=6,
        workers=1,
        isolated=False,
        told=lambda progress: told.append(progress.length),
        asked=lambda: bool(told),
    )
    assert stopped.ended == "cancelled"


@pytest.mark.parametrize("gap", [0.0, 4.0])
def test_pieces_as_wide_as_the_strip_lie_one_behind_the_other(gap: float) -> None:
    disk = Point(0, 0).buffer(75)
    found = nest([Piece("o", disk, 2)], Strip(150, gap=gap), seconds=3, workers=1)
    assert found.length == pytest.approx(300 + gap, rel=2e-3)


def test_boxes_that_just_fit_side_by_side_are_found() -> None:
    # Two rounded plates of 73 mm and a gap of 4 mm take exactly 150 mm.
    plate = box(8, 8, 65, 92).buffer(8)
    found = nest([Piece("plate", plate, 4)], Strip(150, gap=4), seconds=3, workers=1)
    assert found.length == pytest.approx(204, abs=0.01)


def test_what_lies_too_near_is_moved_along_the_strip() -> None:
    pieces, strip = [Piece("a", box(0, 0, 40, 20), 3)], Strip(100, gap=5)
    near = [Placement("a", 0, 0, 0), Placement("a", 0, 63, 1), Placement("a", 0, 30, 18)]
    right = settled(near, pieces, strip)
    assert wrong(pieces, list(right), strip, 46.1) == ""
    assert right[1].x == pytest.approx(60)
    assert right[2].y == pytest.approx(26, abs=0.02)


def test_wrong_orders_are_refused() -> None:
    with pytest.raises(NestingError, match="no pieces"):
        nest([], Strip(100))
    with pytest.raises(NestingError, match="at least 120 mm wide"):
        nest([Piece("a", box(0, 0, 300, 120))], Strip(100))
    with pytest.raises(NestingError, match="same name"):
        nest([Piece("a", ELL), Piece("a", ELL)], Strip(100))
    with pytest.raises(NestingError, match="0 times"):
        nest([Piece("a", ELL, 0)], Strip(100))
    with pytest.raises(NestingError, match="width must be more than 0"):
        Strip(0)


def test_a_missing_engine_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    with pytest.raises(NestingError, match=r"sign-preflight\[nesting\]"):
        nest([Piece("l", ELL)], Strip(100))


def test_films_are_nested_apart() -> None:
    pieces = [Piece("a", box(0, 0, 50, 50), 2, film="red"), Piece("b", box(0, 0, 20, 20), 1, film="white")]
    found = nest_by_film(pieces, {"red": Strip(100), "white": Strip(60)})
    assert list(found) == ["red", "white"]
    assert found["red"].length == pytest.approx(50)
    assert found["white"].length == pytest.approx(20)
    with pytest.raises(NestingError, match="film white"):
        nest_by_film(pieces, {"red": Strip(100)})


def test_holes_are_filled_only_where_asked() -> None:
    ring = Point(0, 0).buffer(50).difference(Point(0, 0).buffer(40))
    pieces = [Piece("ring", ring, 1), Piece("disk", Point(0, 0).buffer(18), 2)]
    strip = Strip(105, gap=2)
    without = nest(pieces, strip, seconds=3, workers=1)
    assert without.length > 125
    filled = nest(pieces, strip, seconds=3, workers=1, holes=True)
    assert filled.length == pytest.approx(100, abs=0.1)
    assert sorted(p.key for p in filled.placements) == ["disk", "disk", "ring"]


def test_round_guests_keep_the_gap_in_round_holes() -> None:
    ring = Point(0, 0).buffer(50).difference(Point(0, 0).buffer(40))
    pieces = [Piece("ring", ring, 1, UPRIGHT), Piece("disk", Point(0, 0).buffer(7), 9, UPRIGHT)]
    found = nest(pieces, Strip(100, gap=3), seconds=2, workers=1, holes=True)
    disks = [Point(p.x, p.y).buffer(7) for p in found.placements if p.key == "disk"]
    inside = [disk for disk in disks if disk.centroid.distance(Point(50, 50)) < 40]
    assert len(inside) >= 7
    assert min(a.distance(b) for i, a in enumerate(disks) for b in disks[:i]) >= 3 - 1e-3
    around = next(Point(p.x, p.y) for p in found.placements if p.key == "ring").buffer(40).exterior
    assert min(disk.distance(around) for disk in inside) >= 3 - 1e-3


def test_one_outline_for_several_parts() -> None:
    word = shapely.union_all([box(20 * i, 0, 20 * i + 15, 30) for i in range(4)])
    outline = outline_of(word, 2)
    assert outline.covers(word)
    assert len(outline.interiors) == 0
    assert outline.area < 1.1 * shapely.convex_hull(word).area


@pytest.mark.corpus
def test_a_published_instance() -> None:
    """Density of at least 88 % of the best published one (arXiv 2509.13329); far less time than the bar's."""
    if not SHARED.is_dir():
        pytest.skip("the shared corpus is not beside the project: no nesting instances")
    best = json.loads((SHARED / "published_best.json").read_text())["albano"]["record_density"]
    pieces, strip = read_instance(json.loads((SHARED / "albano.json").read_text()))
    found = nest(pieces, strip, seconds=6, workers=1)
    assert 0.88 * best <= 100 * found.density <= best + 0.05
