"""The job: stock values against their published sources, resolution of settings, and errors in words."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import Any, get_args

import pytest

from preflight.errors import JobError
from preflight.job import FilmKind, FilmSpec, Job, Limit, Role, Roll, Use, stock
from preflight.report.model import Severity
from tests.job.refused import problems


class TestStock:
    """Published values, each with its source; the rest of the stock is common practice, no source."""

    def test_blade_offset(self) -> None:
        # Graphics Pro, August 2021, p. 43: about 0.25 mm for 45 degree blades.
        assert (Job().blade.offset, Job().blade.angle) == (0.25, 45.0)

    def test_thickness_of_cast_and_calendered_film(self) -> None:
        # 3M product bulletin 7725, rel. R, 2016: 2 mil. 3M Europe product bulletin 5525, 2013: 80 um.
        assert FilmSpec(kind="cast").thickness == pytest.approx(2 * 0.0254, abs=0.001)
        assert FilmSpec(kind="calendered").thickness == 0.08

    def test_smallest_letter_of_cast_film_is_a_height_not_a_stroke(self) -> None:
        # 3M product bulletin 7725, rel. R, 2016: can be cut to 0.25 in (6.4 mm) letters.
        limits = Job().limits_for(FilmSpec(kind="cast"))
        assert limits.letter_height.error == pytest.approx(0.25 * 25.4, abs=0.06)
        assert limits.solid_part.error < 6.4 / 4

    def test_outdoor_warnings_of_cast_film(self) -> None:
        # Two sign shops' artwork guides: letters 10 mm and more, strokes 2 mm and more for outdoor
        # work, no piece under 2 mm square.
        limits = Job().limits_for(FilmSpec(kind="cast"))
        assert limits.letter_height.warning == 10.0
        assert limits.solid_part.warning == 2.0
        assert limits.island_area.warning == 2.0 * 2.0

    def test_flattening_stays_below_half_a_plotter_unit(self) -> None:
        # HP PCL/PJL reference, table 17-7: the plotter unit is 0.025 mm.
        assert Job().tolerances.flattening < 0.025 / 2
        assert Job().tolerances.coincidence == 2 * 0.025

    def test_hairline_catches_a_quarter_point(self) -> None:
        # A hairline of 0.25 pt: common practice, no source.
        assert Job().limits_for(FilmSpec()).hairline > 0.25 * 25.4 / 72

    def test_every_value_names_its_source(self) -> None:
        table = tomllib.loads(files("preflight").joinpath("data/stock.toml").read_text("utf-8"))

        def unsourced(node: dict[str, Any], path: str) -> list[str]:
            own = {key for key, value in node.items() if not isinstance(value, dict) and "source" not in key}
            own |= {key for key, value in node.items() if isinstance(value, dict) and "exterior" in value}
            bare = [f"{path}.{key}" for key in own if not (node.get("source") or node.get(f"{key}_source"))]
            for key, value in node.items():
                if isinstance(value, dict) and key not in own:
                    bare += unsourced(value, f"{path}.{key}")
            return bare

        assert unsourced(table, "stock") == []
        assert len(table["film"]) == len(get_args(FilmKind))

    @pytest.mark.parametrize("kind", get_args(FilmKind))
    @pytest.mark.parametrize("use", get_args(Use))
    def test_limits_are_filled_for_every_film_and_use(self, kind: FilmKind, use: Use) -> None:
        limits = Job(use=use).limits_for(FilmSpec(kind=kind))
        for limit in (limits.solid_part, limits.gap, limits.letter_height, limits.island_area):
            assert 0 < limit.error <= limit.warning
        # A gap is only weeded out, a solid part has to hold: it is never asked to be wider.
        assert limits.gap.error <= limits.solid_part.error
        assert limits.gap.warning <= limits.solid_part.warning

    @pytest.mark.parametrize("kind", get_args(FilmKind))
    def test_harder_use_never_allows_less(self, kind: FilmKind) -> None:
        table = stock().film[kind]
        for by_use in (table.solid_part, table.letter_height):
            for level in (0, 1):
                assert by_use.interior[level] <= by_use.exterior[level] <= by_use.vehicle[level]

    def test_it_is_read_once(self) -> None:
        assert stock() is stock()


class TestLimits:
    def test_a_blade_with_a_larger_offset_asks_for_wider_parts(self) -> None:
        # Graphics Pro, August 2021, p. 43: 0.5 mm for 60 degree blades.
        job = Job.parse('blade = { offset = "0.5 mm", angle = "60 deg" }')
        limits = job.limits_for(job.film)
        assert limits.solid_part == Limit(warning=2.0, error=1.0)
        assert limits.gap == Limit(warning=0.5, error=0.5)

    def test_the_job_overrules_stock_and_the_film_overrules_the_job(self) -> None:
        job = Job.parse("""
            limits.gap = { warning = "1 mm", error = 0.6 }
            limits.island_area = { warning = "9 mm2", error = 2 }
            [films.fine.limits]
            gap = { warning = 0.4, error = 0.2 }
        """)
        assert job.limits_for(job.film).gap == Limit(warning=1.0, error=0.6)
        fine = job.limits_for(job.named_film("fine"))
        assert fine.gap == Limit(warning=0.4, error=0.2)
        assert (fine.island_area.warning, fine.island_area.error) == (9.0, 2.0)
        assert fine.solid_part == Limit(warning=2.0, error=0.8)


class TestLettering:
    def test_nothing_is_asked_unless_the_job_says_so(self) -> None:
        assert Job().lettering.standards == ()
        assert Job().ground_colour is None

    def test_lengths_take_units(self) -> None:
        text = 'lettering = { standards = ["legibility"], viewing_distance = "10 ft", baseline_height = "60 in" }'
        settings = Job.parse(text).lettering
        assert settings.standards == ("legibility",)
        assert (settings.viewing_distance, settings.baseline_height) == pytest.approx((3048, 1524))

    @pytest.mark.parametrize(
        ("text", "colour"),
        [
            ('substrate_colour = "White"', "#ffffff"),
            ('colours.white = "substrate"', "#ffffff"),
            ('substrate_colour = "black"\ncolours.white = "substrate"', "#000000"),
            # Two colours stand for the substrate: which of them it is painted in is not known.
            ('[colours]\nwhite = "substrate"\nsilver = "substrate"', None),
            ('colours.white = "guide"', None),
        ],
    )
    def test_the_substrates_colour(self, text: str, colour: str | None) -> None:
        assert Job.parse(text).ground_colour == colour

    @pytest.mark.parametrize(
        ("text", "line"),
        [
            (
                'lettering.standards = ["accessible"]',
                "lettering.standards.0: “accessible” is not one of accessible-signs, legibility. "
                "Did you mean “accessible-signs”?",
            ),
            (
                'lettering.standards = "legibility"',
                "lettering.standards: this is a list: write one or more words in brackets, with a comma between them.",
            ),
            (
                "lettering.viewing_distance = 0",
                "lettering.viewing_distance: 0 mm is out of range: more than 0 mm, up to 1000000 mm.",
            ),
        ],
    )
    def test_wrong_settings_are_named(self, text: str, line: str) -> None:
        assert problems(text) == [line]


class TestSize:
    @pytest.mark.parametrize(
        ("size", "scale"),
        [
            ({}, 1.0),
            ({"width": "400 mm"}, 2.0),
            ({"height": 50}, 0.5),
            ({"scale": 3}, 3.0),
            ({"scale": "1:10"}, 10.0),
            ({"scale": "2:1"}, 0.5),
            ({"width": 400, "height": 200}, 2.0),
            # Within 1 %: the lesser scale, so that neither stated measure is exceeded.
            ({"width": 400, "height": 201.9}, 2.0),
            ({"width": 400, "height": 199}, 1.99),
        ],
    )
    def test_scale_for_a_drawing_of_200_by_100_mm(self, size: dict[str, Any], scale: float) -> None:
        assert Job.parse({"size": size}).scale_for(200, 100) == pytest.approx(scale, rel=1e-12)

    def test_proportions_that_disagree(self) -> None:
        job = Job.parse('size = { width = "400 mm", height = "203 mm" }')
        with pytest.raises(JobError) as caught:
            job.scale_for(200, 100)
        assert caught.value.code == "size-mismatch"
        assert "400 mm wide by 203 mm high" in caught.value.message
        assert "200 mm by 100 mm" in caught.value.message
        assert "the height is 200 mm" in caught.value.advice

    def test_a_drawing_area_without_size(self) -> None:
        with pytest.raises(JobError, match="no width or no height"):
            Job.parse("size.width = 100").scale_for(0, 0)
        assert Job().scale_for(0, 0) == 1.0

    def test_scale_and_width_together_are_refused(self) -> None:
        assert problems("size = { scale = 2, width = 100 }") == [
            "size: state either the scale or the width and height, not both."
        ]

    def test_whether_a_size_is_stated(self) -> None:
        assert not Job().size.stated
        assert Job.parse("size.scale = 1").size.stated


class TestRoll:
    def test_usable_width(self) -> None:
        # A roll 24 in wide; the rollers need an edge: common practice, no source.
        roll = Roll(width=609.6)
        assert roll.usable_width == pytest.approx(609.6 - 2 * 10)
        assert Roll(width=609.6, machine_width=500).usable_width == 500
        assert Roll(width=609.6, machine_width=700).usable_width == roll.usable_width

    def test_no_room(self) -> None:
        (line,) = problems('roll = { width = "30 mm" }')
        assert line.startswith(
            "roll: nothing is left to cut on: usable width 10 mm less two weed borders of 10 mm"
        )

    def test_the_films_own_roll_goes_first(self) -> None:
        job = Job.parse("roll.width = 600\nfilms.gold.roll.width = 380\nfilms.plain = {}")
        widths = [job.roll_for(film) for film in (job.named_film("gold"), job.named_film("plain"), job.film)]
        assert [roll.width for roll in widths if roll] == [380, 600, 600]
        assert Job().roll_for(Job().film) is None


class TestRoles:
    job = Job.parse("""
        colours.white = "substrate"
        colours."#F00" = { role = "film", film = "red" }
        colours."rgb(0, 0, 255)" = "knife"
        layers.Notes = "guide"
        films.red = { kind = "reflective", directional = true }
    """)

    def test_colours_are_normalised(self) -> None:
        # CSS Color 3: white is #ffffff, #F00 is #ff0000 (from memory).
        assert list(self.job.colours) == ["#ffffff", "#ff0000", "#0000ff"]
        assert self.job.role_of("#FFFFFF", None) == Role(role="substrate")

    def test_the_layer_goes_before_the_colour(self) -> None:
        assert self.job.role_of("#ff0000", "Notes") == Role(role="guide")
        assert self.job.role_of("#ff0000", "Letters") == Role(role="film", film="red")
        assert self.job.role_of(None, " Notes ") == Role(role="guide")

    def test_what_is_not_stated_is_none(self) -> None:
        assert self.job.role_of("#00ff00", "Letters") is None
        assert self.job.role_of(None, None) is None

    def test_the_film_of_a_colour(self) -> None:
        red = self.job.film_for("#ff0000", None)
        assert (red.kind, red.name, red.directional) == ("reflective", "red", True)
        assert self.job.film_for("#00ff00", None) is self.job.film

    def test_a_named_film_takes_what_it_leaves_out_from_the_jobs_film(self) -> None:
        job = Job.parse("""
            film = { kind = "calendered", thickness = 0.1, pvc = false }
            films.same = {}
            films.other = { kind = "cast" }
        """)
        same, other = job.named_film("same"), job.named_film("other")
        assert (same.kind, same.thickness, same.pvc) == ("calendered", 0.1, False)
        assert (other.kind, other.thickness, other.pvc) == ("cast", 0.05, False)

    def test_films_whose_edges_meet(self) -> None:
        films = {kind: FilmSpec(kind=kind) for kind in get_args(FilmKind)}
        butting = {kind for kind, film in films.items() if Job().underlap_for(film) == 0}
        # Common practice, no source: translucent, metallic and reflective films butt.
        assert butting == {"translucent", "metallic", "reflective"}
        assert Job(underlap=2.0).underlap_for(films["metallic"]) == 2.0


class TestSeverities:
    job = Job.parse("""
        [severities]
        thin-feature = "note"
        "thin-feature/sliver" = "error"
        narrow-gap = "off"
    """)

    @pytest.mark.parametrize(
        ("code", "case", "expected"),
        [
            ("thin-feature", "neck", Severity.NOTE),
            ("thin-feature", "sliver", Severity.ERROR),
            ("narrow-gap", "gap", None),
            ("live-text", "text", Severity.WARNING),
        ],
    )
    def test_case_then_code_then_default(self, code: str, case: str, expected: Severity | None) -> None:
        assert self.job.severity_of(code, case, Severity.WARNING) is expected

    def test_codes_nobody_knows(self) -> None:
        known = {"thin-feature": ("neck", "tip"), "narrow-gaps": ("gap",)}
        with pytest.raises(JobError) as caught:
            self.job.require_known_codes(known)
        assert caught.value.message.split("\n") == [
            "severities: rule “thin-feature” has no case “sliver”; it has neck, tip.",
            "severities: there is no rule “narrow-gap”. Did you mean “narrow-gaps”?",
        ]
        self.job.require_known_codes({"thin-feature": ("sliver",), "narrow-gap": ()})
