"""The rehearsal: order, start, overcut, timeline, time and feed, against closed forms and slow checks."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from preflight import Job, PreflightError, Rehearsal, RehearsalOptions, read, rehearse
from preflight.cutting.rehearsal import rehearsal_text
from preflight.cutting.rehearsal.model import FilmRehearsal

ARTWORK = Path(__file__).parents[2] / "examples" / "artwork"
GREEN = "#1f4d2b"


def svg(*shapes: str, width: float = 200, height: float = 100) -> bytes:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">{"".join(shapes)}</svg>'
    ).encode()


def box(x: float, y: float, w: float, h: float, fill: str = GREEN) -> str:
    return f'<path fill="{fill}" d="M{x} {y}h{w}v{h}h{-w}z"/>'


def cut(data: bytes, job: str = "", **options: object) -> Rehearsal:
    return rehearse(read(data), Job.parse(job), RehearsalOptions.model_validate(options))


def only(rehearsal: Rehearsal) -> FilmRehearsal:
    assert len(rehearsal.films) == 1
    return rehearsal.films[0]


def side(length: float, enter: float, leave: float, acceleration: float = 5000) -> float:
    peak = math.sqrt((enter**2 + leave**2) / 2 + acceleration * length)
    assert peak < 500
    return (2 * peak - enter - leave) / acceleration


def test_a_rectangle_s_time_is_the_closed_form_s() -> None:
    """Trapezoid profile; corners at v^2 = a d sin 45 / (1 - sin 45) (mechanics, derived)."""
    film = only(cut(svg(box(40, 30, 30, 10)), "blade.overcut = 0"))
    corner = math.sqrt(5000 * 0.02 * math.sin(math.pi / 4) / (1 - math.sin(math.pi / 4)))
    expected = side(30, 0, corner) + side(10, corner, corner) + side(30, corner, corner) + side(10, corner, 0)
    assert film.seconds.cutting == pytest.approx(expected, abs=1e-6)
    assert film.seconds.knife == pytest.approx(0.07)
    assert film.contours[0].cutting_s == pytest.approx(expected, abs=1e-6)


def test_overcut_goes_round_the_start_and_takes_its_time() -> None:
    film = only(cut(svg(box(40, 30, 30, 10)), 'blade.overcut = "2 mm"'))
    one, way = film.contours[0], film.ways[0]
    assert (one.length_mm, one.overcut_mm) == (80, 2)
    assert film.overcut_mm == 2
    start, end = np.array([way.x_mm[0], way.y_mm[0]]), np.array([way.x_mm[-1], way.y_mm[-1]])
    assert math.dist(start, end) == pytest.approx(2)
    toward = np.array([math.cos(math.radians(one.heading_deg)), math.sin(math.radians(one.heading_deg))])
    assert end - start == pytest.approx(2 * toward, abs=1e-6)
    corner = math.sqrt(5000 * 0.02 * math.sin(math.pi / 4) / (1 - math.sin(math.pi / 4)))
    sides = [30, 10, 30, 10] if abs(toward[0]) > 0.5 else [10, 30, 10, 30]
    expected = side(sides[0], 0, corner) + sum(side(s, corner, corner) for s in sides[1:])
    assert film.seconds.cutting == pytest.approx(expected + side(2, corner, 0), abs=1e-6)


def test_overcut_is_the_blade_offset_where_none_is_stated_and_never_more_than_one_lap() -> None:
    stock = cut(svg(box(40, 30, 30, 10)), "blade.offset = 0.4")
    assert only(stock).contours[0].overcut_mm == 0.4
    figure = next(f for f in stock.figures if f.name == "overcut")
    assert (figure.value, figure.stated) == (0.4, False)
    assert "no source" in figure.source
    tiny = only(cut(svg(box(40, 30, 1, 1)), "blade.overcut = 20"))
    assert tiny.contours[0].overcut_mm == pytest.approx(4)


def test_an_open_line_has_no_overcut() -> None:
    line = f'<path d="M10 10L60 10" fill="none" stroke="{GREEN}" stroke-width="2"/>'
    one = only(cut(svg(line))).contours[0]
    assert (one.closed, one.overcut_mm, one.length_mm) == (False, 0, 50)


def test_inner_before_outer_and_small_pieces_first() -> None:
    shapes = [box(20, 20, 60, 60), '<path fill="#ffffff" d="M30 30h20v20h-20z"/>', box(150, 80, 1.5, 1.5)]
    job = 'colours = {"#ffffff" = "substrate"}'
    film = only(cut(svg(*shapes), job))
    by_length = {round(c.length_mm): c for c in film.contours}
    assert by_length[80].number < by_length[240].number
    assert by_length[80].inside == by_length[240].number
    assert by_length[6].small
    assert by_length[6].number == 1
    assert not by_length[80].small
    in_turn = only(cut(svg(*shapes), job, small_parts_first=False))
    assert next(c for c in in_turn.contours if c.small).number == 3


def _checked(rehearsal: Rehearsal) -> None:
    """Events follow each other without a gap, and the knife is where they say, at every moment."""
    machine = rehearsal.machine
    for film in rehearsal.films:
        now = 0.0
        for event in film.events:
            assert event.start_s == pytest.approx(now, abs=2e-6)
            assert event.end_s >= event.start_s
            now = event.end_s
        assert now == pytest.approx(film.seconds.total, abs=1e-5)
        assert sum(c.travelling_s + c.cutting_s + c.knife_s for c in film.contours) == pytest.approx(
            film.seconds.total, abs=1e-4
        )
        for event in film.events[:: max(len(film.events) // 40, 1)]:
            if event.end_s == event.start_s:
                continue
            way = film.ways[event.contour - 1]
            steps = np.linspace(event.start_s, event.end_s, 41)[1:-1]
            found = [film.at(float(s), machine) for s in steps]
            assert {p.doing for p in found} == {event.kind}
            assert {p.down for p in found} == {event.kind == "cut"}
            spots = np.array([(p.x_mm, p.y_mm) for p in found])
            speed = machine["speed" if event.kind == "cut" else "travel_speed"]
            moved = np.hypot(*np.diff(spots, axis=0).T)
            assert (moved <= speed * np.diff(steps) * (1 + 1e-6) + 1e-3).all()
            if event.kind == "cut":
                close = film.at(event.end_s - 1e-9, machine)
                assert math.dist((close.x_mm, close.y_mm), (way.x_mm[-1], way.y_mm[-1])) < 0.01


@pytest.mark.parametrize("name", ["gate-board", "stall-banner", "shop-window"])
def test_the_timeline_of_real_signs(name: str) -> None:
    settings_ = ARTWORK / f"{name}.toml"
    job = Job.parse(settings_.read_bytes()) if settings_.exists() else Job()
    found = rehearse(read((ARTWORK / f"{name}.svg").read_bytes(), name), job)
    _checked(found)
    for film in found.films:
        assert film.travel_mm <= film.file_order_travel_mm
        assert all(c.inside is None or c.number < c.inside for c in film.contours)
        assert film.uncompensated.largest_mm > film.compensated.largest_mm


@settings(max_examples=15, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0, 150), st.floats(0, 80), st.floats(0.5, 40), st.floats(0.5, 15)),
        min_size=1,
        max_size=8,
    ),
    st.floats(0, 3),
)
def test_the_timeline_of_any_boxes(boxes: list[tuple[float, float, float, float]], overcut: float) -> None:
    _checked(cut(svg(*(box(*one) for one in boxes)), f"blade.overcut = {overcut}"))


def test_a_cut_s_position_is_that_of_the_equations_of_motion() -> None:
    """Half the way of an acceleration from rest is behind at 1 / sqrt 2 of its time (mechanics)."""
    line = f'<path d="M0 10L40 10" fill="none" stroke="{GREEN}" stroke-width="2"/>'
    rehearsal = cut(svg(line))
    film = only(rehearsal)
    event = next(e for e in film.events if e.kind == "cut")
    half = math.sqrt(2 * 20 / 5000)
    assert event.end_s - event.start_s == pytest.approx(2 * half, abs=1e-6)
    forward = 1 if film.ways[0].x_mm[0] < 1 else -1
    for share in (0.1, 0.25, 1 / math.sqrt(2), 1.0):
        at = film.at(event.start_s + share * half, rehearsal.machine)
        way = abs(at.x_mm - film.ways[0].x_mm[0])
        assert way == pytest.approx(5000 * (share * half) ** 2 / 2, abs=1e-3)
        assert math.copysign(1, at.x_mm - film.ways[0].x_mm[0]) == forward


def test_before_the_start_and_after_the_end() -> None:
    rehearsal = cut(svg(box(40, 30, 30, 10)))
    assert rehearsal.at(0, -1.0).doing == "waiting"
    after = rehearsal.at(0, 1e6)
    assert (after.doing, after.down, after.contour) == ("done", False, None)


def test_the_film_is_mirrored_and_turned_as_on_the_machine() -> None:
    """An arrow's point: right on the drawing; behind glass left; a quarter turn clockwise then brings it up."""
    arrow = f'<path fill="{GREEN}" d="M10 10L170 50L10 90Z"/>'
    job = 'surface = "second"\nroll = {width = 110, weed_border = 5, margin = 5}'
    film = only(cut(svg(arrow), job))
    assert film.laid.mirrored
    assert film.laid.turned
    assert (film.laid.width_mm, film.laid.length_mm) == (80, 160)
    a, b, c, d, e, f = film.laid.matrix
    point = (a * 170 + c * 50 + e, b * 170 + d * 50 + f)
    assert point == pytest.approx((40, 0))
    # One mirroring and one turn: the sense of a contour is turned round.
    assert a * d - b * c == pytest.approx(-1)
    plain = only(cut(svg(arrow), "roll = {width = 110, weed_border = 5, margin = 5}"))
    a, b, c, d, e, f = plain.laid.matrix
    assert (a * 170 + c * 50 + e, b * 170 + d * 50 + f) == pytest.approx((40, 160))
    assert a * d - b * c == pytest.approx(1)


def test_a_roll_that_is_too_short_takes_the_shorter_way_all_the_same() -> None:
    roll = "roll = {width = 400, length = 40, weed_border = 5, margin = 5, lead = 5}"
    film = only(cut(svg(box(10, 10, 30, 150), height=200), roll))
    assert film.laid.turned
    assert (film.laid.width_mm, film.laid.length_mm) == (150, 30)
    assert "left on the roll" in film.laid.fit


def test_loading_the_library_loads_no_writer_of_documents() -> None:
    """A rehearsal is part of the library's face; what makes a job sheet's PDF is not needed for that."""
    found = subprocess.run(
        [sys.executable, "-c", "import preflight, sys; print('reportlab' in sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert found.stdout.strip() == "False"


def test_starts_on_the_artwork_are_corners_of_the_artwork() -> None:
    film = only(cut(svg(box(40, 30, 30, 10)), 'surface = "second"'))
    assert film.contours[0].start in {(40, 30), (70, 30), (70, 40), (40, 40)}


def test_feed_of_two_boxes_above_each_other() -> None:
    film = only(cut(svg(box(0, 0, 10, 10), box(0, 50, 10, 10)), "blade.overcut = 0"))
    # Each box is gone round once: 10 mm forth and 10 mm back; the last end is its start.
    assert film.feed.cutting_back_mm == pytest.approx(20)
    y = np.concatenate([way.y_mm for way in film.ways])
    assert film.feed.farthest_back_mm == pytest.approx((np.maximum.accumulate(y) - y).max())
    ends = [0.0] + [way.y_mm[-1] for way in film.ways[:-1]]
    back = [end - way.y_mm[0] for end, way in zip(ends, film.ways, strict=True)]
    assert film.feed.back_moves == sum(step > 0.025 for step in back)
    assert film.feed.back_mm == pytest.approx(sum(max(step, 0) for step in back))


def test_the_feed_window_of_the_job_is_kept() -> None:
    columns = [box(x, y, 5, 5) for x in (0, 100) for y in range(0, 95, 10)]
    free = only(cut(svg(*columns), "machine.feed_window = 1000"))
    narrow = only(cut(svg(*columns), "machine.feed_window = 20"))
    assert narrow.feed.farthest_back_mm < 30 < free.feed.farthest_back_mm


def test_turn_and_lead_of_the_second_contour() -> None:
    """Two open lines at right angles: the blade has to turn 90 degrees; tan(a/2) = tan(a0/2) exp(-s/r)."""
    lines = [
        f'<path d="M10 10L60 10" fill="none" stroke="{GREEN}"/>',
        f'<path d="M60 12L60 62" fill="none" stroke="{GREEN}"/>',
    ]
    film = only(cut(svg(*lines)))
    first, second = film.contours
    assert (first.turn_deg, first.lead_mm) == (None, None)
    assert second.turn_deg == 90
    lead = 0.25 * math.log(1 / math.tan(math.asin(0.1 / 0.25) / 2))
    assert second.lead_mm == pytest.approx(lead, abs=1e-4)
    assert film.leads_covered == 0


def test_as_left_errs_where_turned_does_not() -> None:
    shapes = [box(10, 10, 30, 30), f'<path fill="{GREEN}" d="M60 30L90 50L65 70Z"/>']
    turned, left = (only(cut(svg(*shapes), entry=entry)) for entry in ("turned", "as-left"))
    assert turned.compensated.entry_mm == 0
    assert left.compensated.entry_mm > 0.1
    assert turned.seconds == left.seconds


def test_knife_lines_belong_to_the_one_film_and_are_told_of_with_several() -> None:
    slit = '<path d="M100 10L100 60" fill="none" stroke="#ff00ff"/>'
    job = 'colours = {"#ff00ff" = "knife"}'
    one = only(cut(svg(box(10, 10, 30, 30), slit), job))
    assert [c.closed for c in sorted(one.contours, key=lambda c: c.contour)] == [True, False]
    two = cut(svg(box(10, 10, 30, 30), box(50, 10, 30, 30, "#8c1d40"), slit), job)
    assert [len(film.contours) for film in two.films] == [1, 1]
    assert any("50 mm of knife lines" in note for note in two.notes)


def test_spots_are_left_out_and_told_of() -> None:
    found = cut(svg(box(10, 10, 30, 30), f'<path fill="{GREEN}" d="M80 80L80 80Z"/>'))
    assert len(only(found).contours) == 1
    assert any("no more than a spot" in note for note in found.notes)


def test_nothing_to_cut_is_said() -> None:
    with pytest.raises(PreflightError) as caught:
        rehearse(read(svg('<path d="M10 10h10v10z" fill="none"/>')))
    assert caught.value.code == "nothing-to-cut"


def test_stated_figures_are_told_from_stock_and_used() -> None:
    slow = cut(svg(box(40, 30, 30, 10)), "machine.speed = 10\nmachine.drop = 1")
    figures = {f.name: f for f in slow.figures}
    assert (figures["speed"].value, figures["speed"].stated, figures["speed"].source) == (10, True, "the job")
    assert not figures["lift"].stated
    assert only(slow).seconds.cutting > 8
    assert only(slow).seconds.knife == pytest.approx(1.03)


def test_the_same_input_gives_the_same_json_and_it_reads_back() -> None:
    data = (ARTWORK / "van-door.svg").read_bytes()
    one, two = rehearse(read(data)).model_dump_json(), rehearse(read(data)).model_dump_json()
    assert one == two
    back = Rehearsal.model_validate(json.loads(one))
    assert back.model_dump_json() == one
    assert back.at(0, 3.3) == rehearse(read(data)).at(0, 3.3)


def test_words() -> None:
    rehearsal = cut(svg(box(10, 10, 30, 30), width=200), 'machine.speed = 100\nblade.overcut = "1 mm"')
    words = rehearsal_text(rehearsal)
    assert "1 contour" in words
    assert "cutting speed: 100 mm/s (stated)" in words
    assert "overcut: 1 mm (stated)" in words
    assert "test-cut first" in words
    assert "no error by the model" in words


def test_an_unknown_film_is_no_film() -> None:
    with pytest.raises(KeyError):
        cut(svg(box(10, 10, 30, 30))).film("gold")
