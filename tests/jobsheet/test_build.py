"""The figures of a job sheet against closed forms, and against other programs' figures."""

from __future__ import annotations

import base64
import io
import math
from pathlib import Path

import numpy as np
import pytest
import resvg_py
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from svgelements import SVG
from svgelements import Path as ReferencePath

import preflight
from preflight.cutting.rehearsal import rehearse
from preflight.cutting.timing import Machine
from preflight.errors import PreflightError
from preflight.job import Job
from preflight.jobsheet import JobSheet, job_sheet
from preflight.rules import live_text
from tests.jobsheet.samples import GREEN, YELLOW, artwork, bar, sheet
from tests.text.support import sans

EXAMPLES = Path(__file__).resolve().parents[2] / "examples" / "artwork"
ROLL = {"width": 600, "margin": 15, "weed_border": 10, "lead": 40}


def test_a_films_own_figures() -> None:
    green, yellow = sheet(job={"roll": ROLL}).films
    assert green.area == pytest.approx(100 * 50 + 80 * 80 - 40 * 40)
    assert green.cut_length == pytest.approx(2 * (100 + 50) + 4 * 80 + 4 * 40)
    assert (green.width, green.height, green.contours) == pytest.approx((260, 150, 3))
    assert (yellow.area, yellow.cut_length, yellow.contours) == pytest.approx((300, 80, 1))


def test_a_roll_as_drawn() -> None:
    roll = sheet(job={"roll": ROLL}).films[0].roll
    assert roll is not None
    assert roll.usable_width == 600 - 2 * 15
    assert roll.across == pytest.approx(260 + 2 * 10)
    assert roll.along == pytest.approx(150 + 2 * 10 + 2 * 40)
    assert (roll.fits, roll.turned) == (True, False)


def test_a_roll_that_asks_for_a_turn_and_one_that_is_too_narrow_or_too_short() -> None:
    turned, narrow, short = (
        sheet(job={"roll": {**ROLL, **other}}).films[0].roll
        for other in ({"width": 250}, {"width": 150}, {"width": 250, "length": 300})
    )
    assert turned is not None
    assert narrow is not None
    assert short is not None
    assert (turned.fits, turned.turned) == (True, True)
    assert (turned.across, turned.along) == pytest.approx((150 + 20, 260 + 20 + 80))
    assert not narrow.fits
    assert (short.fits, short.turned) == (False, True)
    assert short.along == pytest.approx(360)


def test_without_a_roll_nothing_is_said_of_one() -> None:
    assert sheet().films[0].roll is None


def test_pieces_that_stay_and_come_off() -> None:
    tiny = bar(GREEN, 300, 20, 1.5, 1.5)  # 2.25 mm2, under the stock limit of 4
    weeding = sheet(tiny + bar(GREEN, 20, 30, 100, 50)).films[0].weeding
    assert (weeding.stays, weeding.removed, weeding.holes) == (2, 1, 0)
    assert (weeding.small_stays, weeding.small_removed, weeding.small_area) == (1, 0, 4)
    assert weeding.smallest == pytest.approx((1.5, 1.5))
    frame = sheet().films[0].weeding
    assert (frame.stays, frame.removed, frame.holes) == (2, 2, 1)


def test_a_narrow_place_is_counted_and_measured() -> None:
    neck = bar(GREEN, 10, 10, 40, 40) + bar(GREEN, 100, 10, 40, 40) + bar(GREEN, 50, 30, 50, 0.6)
    body = f'<path fill="{GREEN}" d="M10 10h40v20h50v-20h40v40h-40v-19.4h-50v19.4h-40z"/>'
    weeding = sheet(body).films[0].weeding
    assert weeding.narrow == 1
    assert weeding.narrowest == pytest.approx(0.6, abs=0.02)
    assert sheet(neck).films[0].weeding.narrow == 1


def test_with_the_surround_kept_the_shapes_come_off() -> None:
    film = sheet(bar(GREEN, 20, 30, 100, 50), {"polarity": "surround"}).films[0]
    assert film.area == pytest.approx(400 * 300 - 100 * 50)
    assert (film.weeding.stays, film.weeding.removed, film.weeding.holes) == (1, 1, 1)


def test_tape_spans_the_graphic_and_its_largest_piece_is_named() -> None:
    for at_hand, answer in ((None, None), (150, True), (149, False)):
        job = {"mounting": {"tape_width": at_hand}} if at_hand else {}
        tape = sheet(job=job).films[0].tape
        assert (tape.width, tape.length) == pytest.approx((150, 260))
        assert tape.widest_piece == pytest.approx((80, 80))
        assert tape.one_sheet is answer


def test_placement_from_the_drawing_areas_edges() -> None:
    made = sheet()
    assert made.films[0].placement.model_dump() == pytest.approx(
        {"left": 20, "right": 120, "top": 30, "bottom": 120}
    )
    assert made.hinge.edge == "top"
    assert made.hinge.position == pytest.approx(30)
    assert np.array(made.hinge.marks) == pytest.approx(np.array([(20, 30), (280, 30), (150, 30)]))


@pytest.mark.parametrize(
    ("surface", "drawn_as", "mirror", "left"),
    [
        ("first", "as-read", "no", 20),
        ("second", "as-read", "mirror", 120),
        ("first", "mirrored", "mirror", 120),
        ("second", "mirrored", "mirrored-already", 20),
    ],
)
def test_left_is_left_for_whoever_applies_it(surface: str, drawn_as: str, mirror: str, left: float) -> None:
    made = sheet(job={"surface": surface, "drawn_as": drawn_as})
    assert made.laying.mirror == mirror
    assert made.films[0].placement.left == pytest.approx(left)
    assert made.films[0].placement.right == pytest.approx(140 - left)
    assert made.hinge.marks[0][0] == pytest.approx(left)


def test_a_long_graphic_gets_a_centre_hinge() -> None:
    hinge = sheet(bar(GREEN, 100, 50, 1000, 80), width=1300).hinge
    assert hinge.edge == "centre"
    assert hinge.position == pytest.approx(600)
    assert hinge.marks[-1] == pytest.approx((600, 130))


class TestOrder:
    """Common practice, no source: bottom to top; behind glass what the reader sees on top goes on first."""

    def test_lower_films_first(self) -> None:
        assert sheet().laying.order == (GREEN, YELLOW)

    def test_reversed_behind_glass(self) -> None:
        assert sheet(job={"surface": "second"}).laying.order == (YELLOW, GREEN)

    def test_what_is_drawn_first_and_covers_nothing_still_follows_what_it_lies_on(self) -> None:
        body = bar(YELLOW, 300, 200, 20, 20) + bar(GREEN, 20, 20, 50, 50) + bar(YELLOW, 30, 30, 10, 10)
        assert sheet(body).laying.order == (GREEN, YELLOW)

    def test_films_that_only_touch_keep_the_order_of_the_drawing(self) -> None:
        body = bar(YELLOW, 20, 20, 50, 50) + bar(GREEN, 70, 20, 50, 50)
        assert sheet(body).laying.order == (YELLOW, GREEN)

    def test_films_over_and_under_each_other_are_named(self) -> None:
        body = (
            bar(GREEN, 20, 20, 50, 50)
            + bar(YELLOW, 30, 30, 10, 10)
            + bar(YELLOW, 200, 20, 50, 50)
            + bar(GREEN, 210, 30, 10, 10)
            + bar("#8c1d40", 20, 150, 10, 10)
        )
        laying = sheet(body).laying
        assert set(laying.entangled) == {GREEN, YELLOW}
        assert set(laying.order) == {GREEN, YELLOW, "#8c1d40"}


def test_time_of_a_rectangle() -> None:
    """From rest round four sides to rest; corners at v^2 = a d sin 45 / (1 - sin 45) (mechanics)."""
    machine = Machine(speed=500, acceleration=5000, cornering=0.02, drop=0.04, lift=0.03)
    made = job_sheet(artwork(bar(GREEN, 40, 40, 30, 10)), Job.parse("blade.overcut = 0"), machine=machine)
    a = machine.acceleration
    corner = math.sqrt(a * 0.02 * math.sin(math.pi / 4) / (1 - math.sin(math.pi / 4)))
    assert corner == pytest.approx(15.54, abs=0.005)

    def side(length: float, enter: float, leave: float) -> float:
        peak = math.sqrt((enter**2 + leave**2) / 2 + a * length)
        assert peak < machine.speed
        return (2 * peak - enter - leave) / a

    expected = side(30, 0, corner) + side(10, corner, corner) + side(30, corner, corner) + side(10, corner, 0)
    assert made.films[0].cut_seconds == pytest.approx(expected + 0.07, rel=1e-6)
    assert "as stated" in made.time_basis
    assert "no source" in sheet().time_basis


@given(
    x=st.floats(0, 150),
    y=st.floats(0, 100),
    w=st.floats(5, 200),
    h=st.floats(5, 150),
    scale=st.floats(0.5, 20),
)
@settings(max_examples=25, deadline=None)
def test_any_rectangle_at_any_scale(x: float, y: float, w: float, h: float, scale: float) -> None:
    made = sheet(bar(GREEN, x, y, w, h), {"size": {"scale": scale}, "roll": {**ROLL, "width": 9000}})
    film = made.films[0]
    assert film.roll is not None
    given_ = (x * scale, y * scale, w * scale, h * scale)
    place = film.placement
    assert (place.left, place.top, film.width, film.height) == pytest.approx(given_, abs=1e-4)
    assert place.left + film.width + place.right == pytest.approx(made.width)
    assert film.cut_length == pytest.approx(2 * (w + h) * scale, abs=1e-4)
    assert film.area == pytest.approx(w * h * scale**2, rel=1e-5)
    assert film.roll.along == pytest.approx(h * scale + 100, abs=1e-4)
    assert max(made.width / 112, made.height / 96) <= made.drawing.ratio * (1 + 1e-9)


def test_an_examples_figures_against_other_programs() -> None:
    """Lengths by svgelements; areas and extents by counting a renderer's pixels (resvg)."""
    source = (EXAMPLES / "van-door.svg").read_bytes()
    job = Job.parse((EXAMPLES / "van-door.toml").read_bytes())
    made = job_sheet(preflight.read(source, "van-door.svg"), job)
    drawn = SVG.parse(io.BytesIO(source))
    per_mm = drawn.width / made.width
    lengths: dict[str, float] = {}
    for element in drawn.elements():
        if hasattr(element, "segments") and element.fill is not None and element.fill.value is not None:
            colour = element.fill.hex[:7]
            lengths[colour] = lengths.get(colour, 0) + ReferencePath(element).length(error=1e-6) / per_mm
    for film in made.films:
        assert film.colour is not None
        assert film.cut_length == pytest.approx(lengths[film.colour], rel=1e-3)
        fine = 2  # pixels a mm
        png = resvg_py.svg_to_bytes(svg_string=source.decode(), dpi=25.4 * fine)
        pixels = np.asarray(Image.open(io.BytesIO(bytes(png))).convert("RGBA")).astype(int)
        wanted = np.array([int(film.colour[i : i + 2], 16) for i in (1, 3, 5)])
        held = (np.abs(pixels[..., :3] - wanted).sum(axis=-1) < 60) & (pixels[..., 3] > 127)
        assert film.area == pytest.approx(held.sum() / fine**2, rel=0.01)
        rows, columns = np.flatnonzero(held.any(axis=1)), np.flatnonzero(held.any(axis=0))
        assert film.placement.left == pytest.approx(columns[0] / fine, abs=1)
        assert film.placement.top == pytest.approx(rows[0] / fine, abs=1)
        assert film.width == pytest.approx((columns[-1] + 1 - columns[0]) / fine, abs=1.5)
        assert film.height == pytest.approx((rows[-1] + 1 - rows[0]) / fine, abs=1.5)


def test_nothing_to_cut_is_an_error_that_says_so() -> None:
    with pytest.raises(PreflightError, match="nothing to cut") as caught:
        sheet("")
    assert caught.value.code == "nothing-to-cut"
    assert caught.value.advice


def test_what_fails_the_check_says_so_on_the_sheet() -> None:
    made = sheet('<text x="20" y="80" font-size="40">Sale</text>' + bar(GREEN, 20, 100, 100, 50))
    assert made.verdict == "fail"
    assert made.faults == (live_text.RULE.title,)
    assert made.drawing.unknown[0].what == "text"


def test_it_is_plain_data_and_the_same_every_time() -> None:
    made = sheet(job={"roll": ROLL})
    assert JobSheet.model_validate_json(made.model_dump_json()) == made
    assert sheet(job={"roll": ROLL}) == made


def test_a_turned_cut_takes_as_long_as_the_same_drawn_turned() -> None:
    # Scattered by a fixed rule, so that windows along the feed (600 mm) change the way the knife takes.
    spots = [(37 * i * i % 1900 + 20, 53 * i * i % 900 + 20) for i in range(1, 31)]
    wide = "".join(bar(GREEN, x, y, 30, 10) for x, y in spots)
    # A quarter turn clockwise: what was at the left is at the top.
    tall = "".join(bar(GREEN, 990 - y, x, 10, 30) for x, y in spots)
    turned = sheet(wide, {"roll": {"width": 1100}}, width=2000, height=1000).films[0]
    drawn = sheet(tall, {"roll": {"width": 1100}}, width=1000, height=2000).films[0]
    assert turned.roll is not None
    assert drawn.roll is not None
    assert (turned.roll.turned, drawn.roll.turned) == (True, False)
    assert turned.cut_seconds == pytest.approx(drawn.cut_seconds, rel=1e-9)


def test_the_job_s_machine_is_taken_and_what_is_stated_is_told_from_stock() -> None:
    drawn = artwork(bar(GREEN, 40, 40, 30, 10))
    slow = job_sheet(drawn, Job.parse("machine.speed = 20"))
    assert (slow.films[0].cut_seconds or 0.0) > 80 / 20
    assert "20 mm/s (as stated) and 5000 mm/s² (common practice, no source)" in slow.time_basis


def test_the_time_is_that_of_the_rehearsal() -> None:
    drawn = artwork(bar(GREEN, 40, 40, 30, 10) + bar(GREEN, 100, 20, 7, 30))
    job = Job.parse('surface = "second"\nroll.width = "500 mm"')
    film = job_sheet(drawn, job).films[0]
    assert film.roll is not None
    assert film.cut_seconds == pytest.approx(rehearse(drawn, job).seconds, abs=1e-5)


def test_what_is_too_wide_comes_with_its_panels_and_only_that() -> None:
    """A bar of 900 mm on 580 mm of usable width: two panels with one lap, turned neither."""
    made = job_sheet(
        artwork(bar(GREEN, 0, 0, 900, 700), 900, 700),
        Job.parse({"roll": {"width": 600, "margin": 10, "weed_border": 10}}),
    )
    plan = made.films[0].panels
    assert plan is not None
    assert len(plan.panels) == 2
    assert plan.film_length_mm is not None
    assert all(panel.across_mm <= 580 for panel in plan.panels)
    assert sheet(job={"roll": ROLL}).films[0].panels is None


def test_weeding_is_that_of_the_weeding_table() -> None:
    weeding = sheet(job={"roll": ROLL}).films[0].weeding
    terms = {term.key: term for term in weeding.difficulty.terms}
    assert terms["removed"].value == weeding.removed
    assert terms["enclosed"].value == weeding.holes
    assert weeding.hands.least < weeding.hands.most


def test_panels_are_those_of_the_films_on_the_sheet_though_live_text_could_add_one() -> None:
    """Text in the file's own font is a film of its own once it is outlined; the sheet tells of the file as it is."""
    font = base64.b64encode(sans().read_bytes()).decode()
    body = (
        f"<style>@font-face {{ font-family: T; src: url(data:font/ttf;base64,{font}) }}</style>"
        f'{bar(GREEN, 0, 0, 900, 500)}<text x="20" y="650" font-family="T" font-size="80" fill="{YELLOW}">Beans</text>'
    )
    films = job_sheet(artwork(body, 900, 700), Job.parse({"roll": {"width": 400}})).films
    assert [film.panels is not None for film in films] == [True]
