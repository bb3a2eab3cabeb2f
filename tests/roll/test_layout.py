"""How an order lies on the roll, against closed forms."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
import shapely
from shapely.affinity import rotate, translate

import preflight
from preflight import Job, Layout, LayoutOptions, OrderLine
from preflight.artwork import Artwork
from preflight.errors import JobError, PreflightError
from preflight.roll.layout import FilmLayout, Way, lay_out
from preflight.roll.layout.text import to_text
from preflight.roll.nesting.model import placed

pytest.importorskip("rectpack", reason="the extra nesting is not installed")
pytest.importorskip("spyrrow", reason="the extra nesting is not installed")

ROLL = {"width": 610, "margin": 10, "weed_border": 5, "lead": 20}
INNER = 580.0
"""What cuts may take across on that roll, mm: 610 less two margins and two weed borders."""


def drawing(width: float, height: float, body: str, name: str = "plate.svg") -> Artwork:
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">{body}</svg>'
    )
    return preflight.read(svg.encode(), name)


def plate(width: float, height: float, colour: str = "#b01020", name: str = "plate.svg") -> Artwork:
    return drawing(width, height, f'<rect width="{width}" height="{height}" fill="{colour}"/>', name)


def job(roll: dict[str, Any] | None = None, **more: Any) -> Job:
    return Job.parse({"roll": ROLL | (roll or {}), **more})


def only(layout: Layout) -> FilmLayout:
    assert len(layout.films) == 1
    return layout.films[0]


def ways(film: FilmLayout) -> dict[str, Way]:
    return {way.way: way for way in film.pieces[0].ways}


def test_one_plate_as_drawn_and_turned() -> None:
    film = only(preflight.layout([OrderLine(plate(300, 100))], job({"length": 5000}, film={"price": 8})))
    drawn, quarter = ways(film)["as-drawn"], ways(film)["quarter"]
    assert (drawn.across_mm, drawn.along_mm, drawn.fits) == (310, 150, True)
    assert (quarter.across_mm, quarter.along_mm, quarter.fits) == (110, 350, True)
    assert (film.verdict, film.way) == ("fits", "as-drawn")
    assert film.use is not None
    assert film.use.film_length_mm == 150
    assert film.use.film_area_m2 == pytest.approx(0.61 * 0.15)
    assert film.use.waste_m2 == pytest.approx(0.61 * 0.15 - 0.03)
    assert film.use.share_used == pytest.approx(0.03 / (0.61 * 0.15), abs=1e-6)
    assert film.use.cost == round(8 * 0.61 * 0.15, 2)
    assert film.use.left_mm == 5000 - 150
    assert film.placements[0].box == (15, 25, 315, 125)


def test_the_shorter_way_is_taken() -> None:
    tall = only(preflight.layout([OrderLine(plate(100, 300))], job()))
    assert (tall.way, tall.use and tall.use.film_length_mm) == ("quarter", 150)
    upright = only(preflight.layout([OrderLine(plate(100, 300))], job(), LayoutOptions(turns="as-drawn")))
    assert (upright.way, upright.use and upright.use.film_length_mm) == ("as-drawn", 350)


def test_a_long_plate_turned_freely_takes_the_least_length() -> None:
    # Turned by t, a rectangle a by b is a cos t + b sin t across: equal to the width at
    # t = atan(b / a) + acos(width / hypot(a, b)), and there a sin t + b cos t along.
    a, b = 700.0, 50.0
    turn = math.atan2(b, a) + math.acos(INNER / math.hypot(a, b))
    along = a * math.sin(turn) + b * math.cos(turn)
    film = only(preflight.layout([OrderLine(plate(a, b))], job(), LayoutOptions(turns="any")))
    assert film.way == "any"
    assert film.use is not None
    assert film.use.cut_length_mm == pytest.approx(along, abs=1e-3)
    assert abs(ways(film)["any"].turn_deg) == pytest.approx(math.degrees(turn), abs=1e-6)
    assert film.placements[0].box[0] == pytest.approx(15, abs=1e-3)
    assert film.placements[0].box[2] == pytest.approx(15 + INNER, abs=1e-3)


def test_placements_are_turns_about_the_origin_and_moves() -> None:
    artwork = drawing(300, 200, '<path d="M20 10H280V60H80V190H20Z"/>')
    laid = lay_out([OrderLine(artwork, 3)], job(), LayoutOptions(turns="any", seconds=2))
    film = only(laid.layout)
    region = shapely.Polygon([(20, 10), (280, 10), (280, 60), (80, 60), (80, 190), (20, 190)])
    placed = [translate(rotate(region, p.turn_deg, origin=(0, 0)), p.x_mm, p.y_mm) for p in film.placements]
    assert len(placed) == 3
    for shape, place in zip(placed, film.placements, strict=True):
        assert shape.bounds == pytest.approx(place.box, abs=2e-3)
        assert shape.bounds[0] >= 15 - 2e-3
        assert shape.bounds[2] <= 610 - 15 + 2e-3
        assert shape.bounds[1] >= 25 - 2e-3
    nearest = min(a.distance(b) for i, a in enumerate(placed) for b in placed[:i])
    assert nearest >= 5 - 2e-3
    assert film.use is not None
    assert max(p.bounds[3] for p in placed) + 25 == pytest.approx(film.use.film_length_mm, abs=2e-3)


def test_the_largest_scale_is_exact() -> None:
    large = plate(1200, 900)
    drawn = only(preflight.layout([OrderLine(large)], job(), LayoutOptions(turns="as-drawn")))
    turned = only(preflight.layout([OrderLine(large)], job()))
    for film, factor in ((drawn, INNER / 1200), (turned, INNER / 900)):
        assert film.verdict == "does-not-fit"
        assert film.panels_needed
        assert not film.placements
        largest = film.pieces[0].largest
        assert largest is not None
        assert factor - 1.1e-6 <= largest.factor <= factor + 1e-12
    # With 1050 mm left, 1000 of them between borders and lead: length binds for the long plate.
    short = only(preflight.layout([OrderLine(plate(100, 2000))], job({"length": 1050})))
    assert short.pieces[0].largest is not None
    assert short.pieces[0].largest.factor == pytest.approx(1000 / 2000, abs=1.1e-6)
    assert not short.panels_needed
    assert "alone needs" in short.reason


def test_at_the_largest_scale_it_fits_and_a_little_above_it_does_not() -> None:
    outline = '<path d="M0 300 400 0 900 350 1100 700 300 800Z"/>'
    for turns in ("as-drawn", "quarter", "any"):
        options = LayoutOptions(turns=turns)
        film = only(preflight.layout([OrderLine(drawing(1100, 800, outline))], job({"length": 700}), options))
        largest = film.pieces[0].largest
        assert largest is not None
        for factor, verdict in ((1 - 1e-6, "fits"), (1 + 1e-4, "does-not-fit")):
            scaled = job({"length": 700}, size={"scale": largest.factor * factor})
            again = preflight.layout([OrderLine(drawing(1100, 800, outline))], scaled, options)
            assert again.verdict == verdict


def test_the_whole_sign_scales_by_its_worst_film() -> None:
    artwork = drawing(
        1000,
        800,
        '<rect width="1000" height="800" fill="#112233"/><rect width="900" height="700" fill="#eebb00"/>',
    )
    layout = preflight.layout([OrderLine(artwork)], job())
    assert layout.lines[0].largest == pytest.approx(INNER / 800, abs=1.1e-6)
    assert layout.lines[0].limiting_film == "#112233"
    assert layout.film_area_m2 is None


def test_copies_lie_side_by_side_with_the_gap() -> None:
    # Four plates of 130 mm and three gaps of 5 mm are 535 mm across; two rows of 100 and a gap along.
    film = only(preflight.layout([OrderLine(plate(130, 100), 8)], job(), LayoutOptions(turns="as-drawn")))
    assert film.way == "boxes"
    assert film.use is not None
    assert film.use.cut_length_mm == pytest.approx(205)
    assert film.use.film_length_mm == pytest.approx(255)
    wide = LayoutOptions(turns="as-drawn", gap=40)
    apart = only(preflight.layout([OrderLine(plate(130, 100), 8)], job(), wide))
    assert apart.use is not None  # three of 130 and two gaps of 40 are 470 across; four would be 640
    assert apart.use.cut_length_mm == pytest.approx(3 * 100 + 2 * 40)


def test_the_same_order_gives_the_same_bytes() -> None:
    order = [OrderLine(plate(130, 100), 8), OrderLine(plate(90, 60), 5, "labels")]
    one, two = (preflight.layout(order, job(), LayoutOptions(nest=False)).model_dump_json() for _ in "ab")
    assert one == two
    assert Layout.model_validate_json(one).model_dump_json() == one


def test_directional_film_turns_nothing() -> None:
    stated = job(film={"directional": True})
    film = only(preflight.layout([OrderLine(plate(700, 300))], stated, LayoutOptions(turns="any")))
    assert film.verdict == "does-not-fit"
    assert "direction" in film.reason
    several = only(preflight.layout([OrderLine(plate(100, 300), 4)], stated, LayoutOptions(turns="any")))
    assert {place.turn_deg for place in several.placements} == {0}


def test_one_line_can_be_kept_upright() -> None:
    order = [OrderLine(plate(100, 300), 2, "arrow"), OrderLine(plate(80, 250), 2, "label")]
    film = only(preflight.layout(order, job(), LayoutOptions(keep_upright=("arrow",))))
    turned = {place.piece: place.turn_deg for place in film.placements}
    assert turned["1"] == 0
    assert [piece.upright for piece in film.pieces] == [True, False]
    with pytest.raises(PreflightError, match="Did you mean “arrow”"):
        preflight.layout(order, job(), LayoutOptions(keep_upright=("arow",)))


def test_what_would_fit_if_it_were_turned_is_told() -> None:
    film = only(preflight.layout([OrderLine(plate(700, 300))], job(), LayoutOptions(turns="as-drawn")))
    assert "Turned a quarter it would fit" in film.reason


def test_an_order_longer_than_the_rest_of_the_roll() -> None:
    film = only(preflight.layout([OrderLine(plate(500, 400), 4)], job({"length": 1000})))
    assert film.verdict == "does-not-fit"
    assert not film.panels_needed
    assert film.use is not None
    assert film.use.left_mm == pytest.approx(1000 - (4 * 400 + 3 * 5 + 50))
    assert "1.67 m" in film.reason or "1.66 m" in film.reason


def test_no_roll_is_not_judged() -> None:
    layout = preflight.layout([OrderLine(plate(300, 100), 3)], Job())
    film = only(layout)
    assert (layout.verdict, film.verdict) == ("not-judged", "not-judged")
    assert film.use is None
    assert film.pieces[0].ways == ()
    assert layout.lines[0].largest is None


def test_each_film_lies_on_its_own_roll() -> None:
    artwork = drawing(
        300,
        200,
        '<rect width="300" height="200" fill="#112233"/><rect width="200" height="100" fill="#eebb00"/>',
    )
    stated = Job.parse(
        {
            "roll": ROLL,
            "films": {"blue": {"price": 10}, "gold": {"roll": ROLL | {"width": 300}, "price": 20}},
            "colours": {
                "#112233": {"role": "film", "film": "blue"},
                "#eebb00": {"role": "film", "film": "gold"},
            },
        }
    )
    layout = preflight.layout([OrderLine(artwork)], stated)
    blue, gold = layout.films
    assert (blue.film, gold.film) == ("blue", "gold")
    assert layout.cost == pytest.approx(10 * 0.61 * 0.25 + 20 * 0.3 * 0.15, abs=0.011)


def test_a_film_of_another_kind_has_another_price() -> None:
    stated = Job.parse({"film": {"price": 10}, "films": {"a": {"kind": "calendered"}, "b": {"name": "B"}}})
    assert stated.named_film("a").price is None
    assert stated.named_film("b").price == 10


def test_parts_are_pieces_of_their_own() -> None:
    body = "".join(f'<rect x="{60 * i}" width="50" height="80"/>' for i in range(4))
    film = only(
        preflight.layout([OrderLine(drawing(240, 80, body), 2)], job(), LayoutOptions(spread="parts"))
    )
    assert [piece.key for piece in film.pieces] == ["1.1", "1.2", "1.3", "1.4"]
    assert len(film.placements) == 8
    assert film.use is not None
    assert film.use.pieces_area_m2 == pytest.approx(8 * 0.05 * 0.08)
    # Eight of 50 mm with gaps of 5 are 435 mm across: one row, turned or not.
    assert film.use.cut_length_mm == pytest.approx(80)


def test_holes_are_filled_only_where_asked() -> None:
    frame = drawing(500, 400, '<path d="M0 0H500V400H0ZM50 50V350H450V50Z"/>', "frame.svg")
    order = [OrderLine(frame), OrderLine(plate(200, 150, "#000000"), 2)]
    without = only(preflight.layout(order, job(), LayoutOptions(seconds=2)))
    filled = only(preflight.layout(order, job(), LayoutOptions(seconds=2, fill_holes=True)))
    assert without.use is not None
    assert filled.use is not None
    # The frame turned a quarter leaves 175 mm beside it: enough for both plates.
    assert without.use.cut_length_mm == pytest.approx(500, abs=0.5)
    assert filled.use.cut_length_mm == pytest.approx(400, abs=0.5)


def test_second_surface_is_laid_out_mirrored() -> None:
    artwork = drawing(300, 200, '<path d="M0 0H300V60H60V200H0Z"/>')
    laid = lay_out([OrderLine(artwork)], job(surface="second"), LayoutOptions(turns="as-drawn"))
    assert laid.layout.lines[0].mirrored
    (cuts,) = laid.pieces.values()
    mirrored = shapely.Polygon([(300, 0), (0, 0), (0, 60), (240, 60), (240, 200), (300, 200)])
    assert cuts[0].region.symmetric_difference(mirrored).area == pytest.approx(0, abs=1e-6)


def test_lines_for_the_knife_lie_on_the_film_too() -> None:
    body = '<rect x="50" y="50" width="100" height="100"/><path d="M0 10H300" stroke="#ff0000" fill="none"/>'
    stated = job(colours={"#ff0000": "knife"})
    film = only(preflight.layout([OrderLine(drawing(300, 200, body))], stated))
    assert film.pieces[0].width_mm == pytest.approx(300, abs=0.05)
    assert film.pieces[0].area_m2 == pytest.approx(0.01)


def test_orders_and_options_that_make_no_sense() -> None:
    with pytest.raises(PreflightError, match="0 lines"):
        preflight.layout([], job())
    with pytest.raises(PreflightError, match="0 copies"):
        preflight.layout([OrderLine(plate(10, 10), 0)], job())
    with pytest.raises(PreflightError, match="nothing to cut"):
        preflight.layout([OrderLine(drawing(10, 10, ""))], job())
    with pytest.raises(JobError) as caught:
        LayoutOptions.parse('turns = "round"\nseconds = 1\ncopys = 3\n')
    assert caught.value.code == "options-invalid"
    assert "turns: “round” is not one of as-drawn, quarter, any." in caught.value.message
    assert "seconds: 1 is out of range: 2 to 600." in caught.value.message
    assert "Did you mean “copies”?" in caught.value.message


def test_sizes_and_text_that_are_not_known_are_told() -> None:
    unstated = preflight.read(
        b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 300 100"><rect width="300" height="50"/>'
        b'<text x="10" y="90" font-family="No Such Face">Open</text></svg>'
    )
    notes = " ".join(preflight.layout([OrderLine(unstated)], job()).notes)
    assert "size is not stated" in notes
    assert "text could not be outlined" in notes


def test_a_film_of_which_nothing_stays_is_no_piece() -> None:
    body = '<rect width="100" height="50"/><path d="M0 70H200" fill="#eebb00" stroke="none"/>'
    layout = preflight.layout([OrderLine(drawing(200, 100, body))], job())
    assert [film.film for film in layout.films] == ["#000000"]
    assert "nothing of the film “#eebb00” would stay" in " ".join(layout.notes)


def test_pieces_that_may_touch_are_told() -> None:
    order = [OrderLine(plate(100, 50), 4)]
    assert "cut twice" in " ".join(preflight.layout(order, job(), LayoutOptions(gap=0)).notes)
    assert "thin to pull" in " ".join(preflight.layout(order, job(), LayoutOptions(gap=1)).notes)
    assert not preflight.layout(order, job()).notes


def test_the_text_says_in_which_direction_a_way_is_too_large() -> None:
    told = to_text(preflight.layout([OrderLine(plate(700, 200))], job({"length": 400})))
    assert "as drawn:          710 mm across, 250 mm along: too wide" in told
    assert "turned a quarter:  210 mm across, 750 mm along: too long" in told
    inches = to_text(preflight.layout([OrderLine(plate(254, 127))], job()), unit="in")
    assert "10 in by 5 in" in inches


def test_what_is_too_wide_comes_with_its_panels() -> None:
    # 1200 by 900 mm on 590 mm of usable width: no piece of it is less than 900 across.
    film = only(preflight.layout([OrderLine(plate(1200, 900), 3)], job()))
    (panels,) = film.panels
    assert panels.line == 1
    assert panels.plan is not None
    assert len(panels.plan.panels) >= 2
    assert all(panel.across_mm <= 590 for panel in panels.plan.panels)
    assert not only(preflight.layout([OrderLine(plate(500, 400))], job())).panels
    parts = only(preflight.layout([OrderLine(plate(1200, 900))], job(), LayoutOptions(spread="parts")))
    assert parts.panels_needed
    assert not parts.panels


def test_the_guide_has_every_option() -> None:
    guide = (Path(__file__).resolve().parents[2] / "docs" / "layout.md").read_text("utf-8")
    for name, field in LayoutOptions.model_fields.items():
        assert f"| `{name}` | {field.description} (stock:" in guide


def test_graphics_of_several_parts_keep_their_hulls_apart_unless_they_may_interlock() -> None:
    """Two bars that make a corner, and a square that could lie in it."""
    corner = '<rect x="10" y="10" width="20" height="400"/><rect x="35" y="390" width="400" height="20"/>'
    square = '<rect x="10" y="10" width="150" height="150"/>'
    order = [
        OrderLine(drawing(445, 420, corner), 1, "corner"),
        OrderLine(drawing(170, 170, square), 1, "square"),
    ]

    hull = shapely.union_all([shapely.box(10, 10, 30, 410), shapely.box(35, 390, 435, 410)]).convex_hull

    def meet(**options: Any) -> bool:
        """Whether the square lies within the corner's hull."""
        options = {"seconds": 3, **options}
        found = only(preflight.layout(order, job({"width": 480}), LayoutOptions(**options))).placements
        spots = {place.piece: place for place in found}
        where = spots["1"]
        around = placed(hull, where.turn_deg, where.x_mm, where.y_mm)
        return bool(around.buffer(-0.01).intersects(shapely.box(*spots["2"].box)))

    assert not meet()
    assert meet(interlock=True)
