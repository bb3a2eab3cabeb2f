"""Plans of panels: how many, which way, laps, marks, order, films on each other."""

from __future__ import annotations

import math
import random

import pytest
import shapely

import preflight
from preflight.analysis import Analysis
from preflight.errors import JobError
from preflight.roll.panels import PanelOptions, PanelPlan, panel_out, panels_for
from preflight.roll.panels.model import Panelling
from tests.setting import word_path

ROLL = 'roll = {{ width = "{width} mm", margin = "10 mm", weed_border = "10 mm"{more} }}\n'


def drawing(width: float, height: float, inner: str) -> preflight.Artwork:
    return preflight.read(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
            f'viewBox="0 0 {width} {height}">{inner}</svg>'
        ).encode()
    )


def rectangle(width: float, height: float) -> preflight.Artwork:
    return drawing(width, height, f'<rect width="{width}" height="{height}" fill="#1f5b3a"/>')


def plan(
    artwork: preflight.Artwork, job: str = "", roll: float = 600, more: str = "", **options: object
) -> Panelling:
    stated = preflight.Job.parse(ROLL.format(width=roll, more=more) + job, "toml")
    return preflight.panels(artwork, stated, PanelOptions.parse(options))


def only(artwork: preflight.Artwork, job: str = "", **options: object) -> PanelPlan:
    return plan(artwork, job, **options).films[0]  # type: ignore[arg-type]


@pytest.mark.parametrize("lap", [0, 8, 13, 30])
@pytest.mark.parametrize("width", [560.5, 900, 1107, 1107.5, 1500, 3000, 9000])
def test_number_of_panels_of_a_rectangle(width: float, lap: float) -> None:
    # The roll's usable width is 580, less two weed borders 560; panels that overlap by the lap cover
    # n 560 - (n - 1) lap. The other way it is too high, so seams are vertical.
    found = only(
        rectangle(width, 10_000), f'film = {{ seam_lap = "{lap} mm" }}', seams="vertical", marks=False
    )
    assert len(found.panels) == math.ceil((width - lap) / (560 - lap) - 1e-9)
    assert all(panel.across_mm <= 580 + 1e-6 for panel in found.panels)
    assert found.lap_mm == lap


def test_a_mark_wider_than_the_lap_takes_room_of_its_own() -> None:
    bare = only(rectangle(1120, 5000), 'film = { seam_lap = "0 mm" }', seams="vertical", marks=False)
    marked = only(rectangle(1120, 5000), 'film = { seam_lap = "0 mm" }', seams="vertical")
    assert (len(bare.panels), len(marked.panels)) == (2, 3)


def test_what_fits_is_one_panel_without_seams() -> None:
    assert plan(rectangle(560, 3000)).verdict == "whole"
    turned = only(rectangle(3000, 560))
    assert (turned.verdict, turned.panels[0].turn_deg) == ("whole", 90)
    assert not turned.seams
    assert turned.mark is None


def test_the_way_with_fewer_panels() -> None:
    wide, high = only(rectangle(3000, 900)), only(rectangle(900, 3000))
    assert (wide.seams_run, len(wide.panels), wide.panels[0].turn_deg) == ("horizontal", 2, 90)
    assert (high.seams_run, len(high.panels), high.panels[0].turn_deg) == ("vertical", 2, 0)


def test_film_with_a_direction_is_never_turned() -> None:
    found = only(rectangle(3000, 900), "film = { directional = true }")
    assert found.seams_run == "vertical"
    assert {panel.turn_deg for panel in found.panels} == {0}
    assert any("no panel may be turned" in note for note in found.notes)
    # Turned it would fit whole, which is not allowed either.
    assert only(rectangle(3000, 400), "film = { directional = true }").verdict == "panels"


def test_nothing_is_guessed_without_a_roll() -> None:
    found = preflight.panels(rectangle(3000, 900))
    assert found.verdict == "not-judged"
    assert "No roll is stated" in found.films[0].reason
    assert not found.films[0].panels


def test_upper_over_lower() -> None:
    found = only(rectangle(3000, 1500))
    assert [(s.first, s.on_top, s.panels) for s in found.seams] == [(2, 3, (3, 2)), (1, 2, (2, 1))]
    assert [panel.number for panel in found.panels] == [1, 2, 3]
    tops = [panel.box[1] for panel in found.panels]
    assert tops == sorted(tops, reverse=True), "the lowest goes on first"
    assert all("lower edge" in seam.order for seam in found.seams)


@pytest.mark.parametrize(("front", "first"), [("left", "right"), ("right", "left")])
def test_away_from_the_airflow_on_vehicles(front: str, first: str) -> None:
    job = f'use = "vehicle"\n[mounting]\nplace = "vehicle"\nfront = "{front}"'
    found = only(rectangle(1000, 3000), job)
    (seam,) = found.seams
    (lower,) = [panel for panel in found.panels if panel.number == seam.first]
    assert lower.place == (1 if first == "left" else 2)
    edge = "left" if front == "right" else "right"
    assert f"the {edge} edge of panel 2 lies on top" in seam.order
    assert found.order_known


def test_an_unknown_front_is_said_to_be_unknown() -> None:
    found = only(rectangle(1000, 3000), 'use = "vehicle"')
    assert not found.order_known
    assert (found.seams[0].first, found.seams[0].on_top) == (None, None)
    assert "mounting.front" in found.seams[0].order
    butting = only(rectangle(1000, 3000), 'use = "vehicle"\nfilm = { kind = "reflective" }')
    assert butting.order_known, "edges that meet face no airflow"


@pytest.mark.parametrize(
    ("film", "lap"),
    [
        ('kind = "cast"', 13),
        ('kind = "calendered"', 13),
        ('kind = "mask"', 10),
        ('kind = "metallic"', 0),
        ('kind = "translucent"', 0),
        ('kind = "reflective"', 0),
        ('kind = "frosted"', 0),
        ('kind = "translucent", seam_lap = "6 mm"', 6),
        ('kind = "cast", seam_lap = "1/2 in"', 12.7),
    ],
)
def test_laps_by_kind_of_film_or_as_stated(film: str, lap: float) -> None:
    # A sign maker's guide: half an inch or more; film makers' bulletins: 6 to 13 mm (from memory).
    found = only(rectangle(1000, 3000), f"film = {{ {film} }}")
    assert (found.lap_mm, found.seams[0].lap_mm) == (lap, lap)
    if lap:
        # Panels overlap by the lap exactly: both bounds on the sign tell it.
        one, other = found.panels
        assert one.box[2] - other.box[0] == pytest.approx(lap, abs=2e-3)
    else:
        assert any("edges meet" in note for note in found.notes)


def test_a_stated_lap_of_another_kind_of_film_is_not_taken_over() -> None:
    job = preflight.Job.parse(
        'film = { kind = "cast", seam_lap = "20 mm" }\nfilms.gold = { kind = "metallic" }\nfilms.red = {}',
        "toml",
    )
    assert job.seam_lap_for(job.named_film("gold")) == 0
    assert job.seam_lap_for(job.named_film("red")) == 20


def test_where_no_film_is_crossed_nothing_laps() -> None:
    boxes = "".join(f'<rect x="{x}" y="10" width="300" height="900" fill="#111"/>' for x in (10, 400, 800))
    found = only(drawing(1200, 920, boxes), seams="vertical")
    assert {seam.through_film for seam in found.seams} == {False}
    assert [seam.gap_mm for seam in found.seams] == [90, 100]
    assert all(seam.lap_mm == 0 and seam.first is None and not seam.parts for seam in found.seams)


def test_marks_coincide_and_keep_clear() -> None:
    found = only(rectangle(1500, 2000))
    assert found.mark is not None
    assert found.box == (0, 0, 1500, 2000)
    for seam in found.seams:
        assert len(seam.marks) == 2
        for mark in seam.marks:
            assert mark.x_mm == pytest.approx(seam.position_mm)
            assert mark.from_graphic_mm == pytest.approx(found.mark.clear_mm)
    for panel in found.panels:
        for place in panel.marks:
            x, y = panel.frame[0] + place.x_mm, panel.frame[1] + place.y_mm
            marks = found.seams[place.seam - 1].marks
            assert any((x, y) == pytest.approx((m.x_mm, m.y_mm), abs=2e-3) for m in marks)
            # Within the strip that the roll leaves inside its weed borders.
            half = found.mark.span_mm / 2
            assert 10 + half - 1e-3 <= place.x_mm <= panel.across_mm - 10 - half + 1e-3
            assert 10 + half - 1e-3 <= place.y_mm <= panel.along_mm - 10 - half + 1e-3


def test_marks_in_a_wide_gap_make_no_panel_longer() -> None:
    boxes = '<rect x="0" y="0" width="3000" height="300"/><rect x="1000" y="700" width="800" height="300"/>'
    found = only(drawing(3000, 1000, boxes))
    assert found.seams_run == "horizontal"
    assert [panel.along_mm for panel in found.panels] == [820, 3020]
    assert all(1000 < mark.x_mm < 1800 for mark in found.seams[0].marks)


def test_marks_move_out_past_other_films() -> None:
    inner = (
        '<rect width="2000" height="1400" fill="#1f5b3a"/>'
        '<rect x="200" y="200" width="1600" height="1000" fill="#f0a71f"/>'
    )
    lower, upper = plan(drawing(2000, 1400, inner)).films
    assert lower.mark is not None
    assert lower.seams[0].marks[0].from_graphic_mm == pytest.approx(lower.mark.clear_mm)
    # On the upper film's own edge they would lie on the lower film and pull at it.
    for mark in upper.seams[0].marks:
        assert not (0 <= mark.x_mm <= 2000 and 0 <= mark.y_mm <= 1400)


def test_seams_of_stacked_films_keep_apart() -> None:
    inner = (
        '<rect width="1000" height="3000" fill="#1f5b3a"/><rect width="1000" height="3000" fill="#f0a71f"/>'
    )
    free = plan(drawing(1000, 3000, inner))
    one, other = (film.seams[0].position_mm for film in free.films)
    assert abs(one - other) >= 30
    assert not free.stacked
    close = plan(drawing(1100, 3000, inner.replace('width="1000"', 'width="1100"')))
    assert [pair.seams for pair in close.stacked] == [(1, 1)]
    assert close.stacked[0].apart_mm < 30
    assert any("laps on laps" in note for note in close.notes)


def test_small_pieces_that_a_seam_leaves_are_told_of() -> None:
    # A comb of fine teeth that end just past every seam there could be: each tip is a piece of its own.
    teeth = "".join(f'<rect x="0" y="{y}" width="700" height="0.3"/>' for y in range(0, 900, 3))
    found = only(drawing(700, 900, teeth), 'film = { kind = "metallic", directional = true }', marks=False)
    assert not any("smaller than" in note for note in found.notes), "half of a long tooth is not small"
    short = only(
        drawing(561, 900, teeth.replace('"700"', '"561"')),
        'film = { kind = "metallic", directional = true }\nlimits.island_area = { warning = 200, error = 1 }',
        marks=False,
    )
    assert any("pieces smaller than 200 mm²" in note for note in short.notes)


def test_parts_that_are_cut_are_named() -> None:
    inner = '<rect id="board" width="2000" height="900" fill="#111"/>'
    (seam,) = only(drawing(2000, 900, inner)).seams
    assert seam.parts[0].shapes == ("rect “board”",)
    assert seam.parts[0].box == (0, 0, 2000, 900)
    assert seam.cut_mm == pytest.approx(2000)
    assert not seam.parts[0].could_be_whole


def test_behind_glass_places_are_mirrored() -> None:
    inner = (
        '<rect width="300" height="1000" fill="#fff"/><rect x="330" width="470" height="1000" fill="#fff"/>'
    )
    artwork, job = drawing(800, 1000, inner), 'colours."#ffffff" = "film"\n'
    front = only(artwork, job, seams="vertical")
    assert [seam.position_mm for seam in front.seams] == [315]
    behind = plan(artwork, job + 'surface = "second"', seams="vertical")
    assert behind.mirrored
    assert [seam.position_mm for seam in behind.films[0].seams] == [485]
    assert any("behind glass" in note for note in behind.notes)
    already = plan(artwork, job + 'surface = "second"\ndrawn_as = "mirrored"', seams="vertical")
    assert not already.mirrored
    assert [seam.position_mm for seam in already.films[0].seams] == [315]


def test_a_roll_that_is_too_short_is_said() -> None:
    found = plan(rectangle(1000, 3000), more=', length = "4 m"').films[0]
    assert found.fits_length is False
    assert any("another roll" in note for note in found.notes)
    assert plan(rectangle(1000, 3000), more=', length = "7 m"').films[0].fits_length


def test_wrong_options_say_what_is_allowed() -> None:
    with pytest.raises(JobError, match="seams: “diagonal” is not one of auto, vertical, horizontal"):
        PanelOptions.parse({"seams": "diagonal"})


def test_the_same_artwork_gives_the_same_plan() -> None:
    artwork = rectangle(3000, 1500)
    assert plan(artwork).model_dump_json() == plan(artwork).model_dump_json()


def test_one_film_alone() -> None:
    analysis = Analysis(rectangle(1500, 2000), preflight.Job.parse(ROLL.format(width=600, more=""), "toml"))
    whole = panel_out(rectangle(1500, 2000), analysis.job).panelling
    assert panels_for(analysis, analysis.films[0]) == whole.films[0]


@pytest.mark.parametrize("seed", range(12))
def test_no_letter_is_cut_where_a_seam_beside_it_can_be_had(seed: int) -> None:
    """Words in a row or in lines: seams are held against the letters' own extents."""
    rng = random.Random(seed)
    letters = "abcdefghijklmnopqrstuvwxyzMARTBELO"
    lines = [
        "".join(rng.choice(letters) for _ in range(rng.randint(6, 12))) for _ in range(rng.randint(1, 3))
    ]
    size = rng.uniform(150, 320)
    data = "".join(
        f'<path d="{word_path(word, size, 40 + rng.uniform(0, 60), size * (k + 1))}" fill="#8c1d40"/>'
        for k, word in enumerate(lines)
    )
    artwork = drawing(4000, 1400, data)
    found = only(artwork, seams="vertical")
    region = shapely.union_all(list(artwork.appearance().values()))
    spans = [(part.bounds[0], part.bounds[2]) for part in shapely.get_parts(region)]
    room, mark = 560.0, found.mark.span_mm if found.mark else 0.0
    cut = [
        [s for s in spans if s[0] < seam.position_mm - 0.05 and s[1] > seam.position_mm + 0.05]
        for seam in found.seams
    ]
    assert [bool(c) for c in cut] == [seam.through_film for seam in found.seams]
    ends = [min(a for a, _ in spans), *(s.position_mm for s in found.seams), max(b for _, b in spans)]
    for k, seam in enumerate(found.seams):
        if not cut[k]:
            continue
        # A free place between the neighbours, within the width on both sides, would have been taken.
        low, high = ends[k + 2] - room + mark, ends[k] + room - mark
        step = (high - low) / 400
        free = [
            u
            for u in (low + step * n for n in range(401))
            if not any(a < u < b for a, b in spans) and ends[k] < u < ends[k + 2]
        ]
        assert not free, (seam.position_mm, free[:3])


def test_seams_run_the_way_that_leaves_parts_whole_even_where_that_takes_more_panels() -> None:
    """Three bars of 400 by 600 mm on 590 mm: two panels one above the other would cut each of them."""
    bars = "".join(f'<path d="M{50 + 450 * k} 50h400v600h-400z"/>' for k in range(3))
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" width="1400mm" height="700mm" viewBox="0 0 1400 700">{bars}</svg>'
    found = preflight.panels(
        preflight.read(svg.encode()), preflight.Job.parse({"roll": {"width": "610 mm"}})
    ).films[0]
    assert (found.seams_run, len(found.panels)) == ("vertical", 3)
    assert not any(seam.through_film for seam in found.seams)
