"""The job: stock values against their published sources, resolution of settings, and errors in words."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from preflight.errors import JobError
from preflight.job import FilmKind, FilmSpec, Job, Limit, Role, Roll, Use, stock
from preflight.job.reference import settings_guide
from preflight.report.model import Severity


def problems(data: bytes | str | dict[str, Any]) -> list[str]:
    with pytest.raises(JobError) as caught:
        Job.parse(data)
    assert caught.value.advice
    return caught.value.message.split("\n")


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


class TestErrors:
    @pytest.mark.parametrize(
        ("text", "lines"),
        [
            ("blade.ofset = 0.3", ["blade.ofset: there is no such setting. Did you mean “offset”?"]),
            (
                "blade.xyzzy = 1",
                ["blade.xyzzy: there is no such setting. Settings here: angle, corner_tolerance, offset."],
            ),
            ("films.a.kindd = 'cast'", ["films.a.kindd: there is no such setting. Did you mean “kind”?"]),
            ('blade.offset = "3 mm"', ["blade.offset: “3 mm” is out of range: 0 mm to 2 mm."]),
            ("blade.angle = 90", ["blade.angle: 90° is out of range: 20° to 70°."]),
            ("film.thickness = 0", ["film.thickness: 0 mm is out of range: more than 0 mm, up to 5 mm."]),
            (
                'use = "exteriour"',
                ["use: “exteriour” is not one of interior, exterior, vehicle. Did you mean “exterior”?"],
            ),
            ("limits.gap.warning = 1", ["limits.gap.error: this setting is needed here and is missing."]),
            (
                "limits.gap = { warning = 1, error = 2 }",
                ["limits.gap: the warning limit 1 must not be less than the error limit 2."],
            ),
            ('film = "cast"', ["film: “cast” stands where a table of settings belongs."]),
            ('film.pvc = "perhaps"', ["film.pvc: “perhaps” is neither true nor false."]),
            (
                "size.height = true",
                ["size.height: “true” is no length. Write for instance “610 mm” or “24 in”."],
            ),
            (
                "colours.white = 'substrate'\ncolours.'#FFF' = 'film'",
                ["colours: “white” and “#FFF” are the same colour; keep one of them."],
            ),
            (
                "colours.whiteish = 'film'",
                [
                    "colours: “whiteish” is no solid colour. Write it as “#rrggbb” or by its name, "
                    "for instance “red”."
                ],
            ),
            (
                "layers.Cut = { role = 'film', film = 'gould' }\nfilms.gold = {}",
                ["layers.Cut.film: there is no film “gould” in films. Did you mean “gold”?"],
            ),
            (
                "layers.Cut = { role = 'knife', film = 'gold' }\nfilms.gold = {}",
                ["layers.Cut: a knife has no film. Leave film out."],
            ),
            (
                "severities.'Thin Feature' = 'off'",
                [
                    "severities: “Thin Feature” is no rule's code. Write code or code/case, "
                    "for instance “thin-feature”."
                ],
            ),
        ],
    )
    def test_each_says_field_value_and_what_is_allowed(self, text: str, lines: list[str]) -> None:
        assert problems(text) == lines

    def test_one_line_a_problem(self) -> None:
        lines = problems("blade.offset = -1\nblade.angle = 5\nuse = 1\nroll = {}")
        assert [line.split(":")[0] for line in lines] == ["blade.offset", "blade.angle", "use", "roll.width"]

    def test_a_flood_of_problems_is_cut_short(self) -> None:
        lines = problems({f"wrong{number}": 1 for number in range(500)})
        assert len(lines) == 31
        assert lines[-1] == "... and 470 more problems."

    def test_long_values_are_shortened(self) -> None:
        assert all(len(line) < 400 for line in problems({"use": "x" * 100_000, "y" * 100_000: 1}))

    @pytest.mark.parametrize("value", ["nan", "inf", "-inf"])
    @pytest.mark.parametrize(
        "path", ["size.width", "size.scale", "blade.angle", "tolerances.colour", "underlap"]
    )
    def test_numbers_that_are_not_finite(self, path: str, value: str) -> None:
        (line,) = problems(f"{path} = {value}")
        assert line.startswith(f"{path}: ")

    @pytest.mark.parametrize(
        ("data", "words"),
        [
            ("[x", "not valid TOML"),
            ('{"use": }', "not valid JSON"),
            ('{"use": "interior", "use": "vehicle"}', "the key “use” is there twice"),
            ('{"size": {"width": NaN}}', "NaN is no JSON number"),
            ('{"size": {"width": ' + "9" * 5000 + "}}", "not valid JSON"),
            (b"\xff\xfe\x00", "not UTF-8"),
            ('{"films": ' + "[" * 100_000, "nested far too deeply"),
            ("a = " + "[" * 100_000, "nested far too deeply"),
            ("#" * 1_000_001, "at most 1000000"),
        ],
    )
    def test_text_that_is_no_job(self, data: bytes | str, words: str) -> None:
        with pytest.raises(JobError) as caught:
            Job.parse(data)
        assert words in caught.value.message
        assert caught.value.advice

    def test_a_list_is_no_job(self) -> None:
        with pytest.raises(JobError, match="table of settings"):
            Job.parse("[1, 2]", "json")


class TestReading:
    toml = 'size.width = "24 in"\n[roll]\nwidth = "30 in"\n[colours]\nblack = "film"\n'
    table: dict[str, Any] = {  # noqa: RUF012  (read only)
        "size": {"width": "24 in"},
        "roll": {"width": "30 in"},
        "colours": {"black": "film"},
    }

    def test_toml_json_and_tables_are_the_same_job(self) -> None:
        jobs = [
            Job.parse(self.toml),
            Job.parse(self.toml.encode(), "toml"),
            Job.parse(json.dumps(self.table)),
            Job.parse(b"\xef\xbb\xbf" + json.dumps(self.table).encode()),
            Job.parse(self.table),
        ]
        assert all(job == jobs[0] for job in jobs)
        assert jobs[0].size.width == 609.6

    def test_nothing_is_the_stock_job(self) -> None:
        assert Job.parse("") == Job() == Job.parse("{}") == Job.parse({})

    def test_what_is_stated(self) -> None:
        job = Job.parse(self.toml)
        assert job.stated("roll.width")
        assert job.stated("colours.#000000")
        assert not job.stated("roll.margin")
        assert not job.stated("blade.offset")
        assert not job.stated("size.height")

    def test_a_dumped_job_reads_back(self) -> None:
        job = Job.parse(self.toml)
        assert Job.parse(job.model_dump_json()) == job

    def test_the_schema_offers_text_and_numbers(self) -> None:
        blade = Job.model_json_schema()["$defs"]["Blade"]["properties"]["offset"]
        number, text = blade["anyOf"]
        assert (number["type"], number["minimum"], number["maximum"]) == ("number", 0, 2)
        assert text["type"] == "string"
        assert blade["default"] == 0.25

    @given(
        st.recursive(
            st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
            lambda inner: (
                st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
            ),
            max_leaves=6,
        ),
        st.sampled_from(
            [*Job.model_fields, "films.a", "colours.red", "layers.x", "blade.offset", "size.width"]
        ),
    )
    def test_any_value_anywhere_gives_a_job_or_a_job_error(self, value: Any, path: str) -> None:
        for key in reversed(path.split(".")):
            value = {key: value}
        message = ""
        try:
            job = Job.parse(value)
        except JobError as error:
            message = error.message
        else:
            assert len(job.sha256) == 64
        assert message == "" or path.split(".", maxsplit=1)[0] in message


class TestHash:
    def test_the_same_settings_in_other_words(self) -> None:
        one = Job.parse('size.width = "24 in"\ncolours.white = "substrate"\ncolours.red = "film"')
        other = Job.parse(
            {"colours": {"#f00": "film", "#FFF": {"role": "substrate"}}, "size": {"width": 609.6}}
        )
        assert one.sha256 == other.sha256

    @pytest.mark.parametrize(
        "text",
        [
            "size.width = 1",
            "use = 'vehicle'",
            "film.name = 'x'",
            "films.a = {}",
            "blade.offset = 0.3",
            "roll.width=90",
        ],
    )
    def test_other_settings_have_another_hash(self, text: str) -> None:
        assert Job.parse(text).sha256 != Job().sha256

    def test_stating_the_stock_value_changes_nothing(self) -> None:
        assert Job.parse('blade.offset = "0.25 mm"').sha256 == Job().sha256

    def test_it_is_the_same_in_another_process(self) -> None:
        code = "from preflight.job import Job; print(Job.parse('films.a={}\\nfilms.b={}').sha256)"
        run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        assert run.stdout.strip() == Job.parse("films.a={}\nfilms.b={}").sha256


class TestGuide:
    def test_the_guide_is_up_to_date(self) -> None:
        guide = Path(__file__).parents[1] / "docs" / "job.md"
        assert guide.read_text("utf-8") == settings_guide(), (
            "docs/job.md is out of date: run python -m preflight.job.reference docs/job.md"
        )

    def test_its_example_is_a_job(self) -> None:
        example = settings_guide().split("```toml\n")[1].split("```")[0]
        job = Job.parse(example)
        assert job.film_for("#daa520").kind == "metallic"  # CSS Color 3: goldenrod (from memory)
        assert job.roll is not None
        assert job.roll.usable_width == pytest.approx(24 * 25.4 - 20)

    def test_its_errors_are_the_real_ones(self) -> None:
        guide = settings_guide()
        for line in problems("blade.ofset = 1\nblade.angle = 90"):
            assert f"    {line}\n" in guide

    def test_it_names_every_setting(self) -> None:
        guide = settings_guide()
        for name in Job.model_fields:
            assert f"| `{name}` |" in guide
        for name in Roll.model_fields:
            assert f"| `roll.{name}` |" in guide
