"""Reading a job: errors in words, both forms of file, the hash, and the guide."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from preflight.errors import JobError
from preflight.job import Job, Roll
from preflight.job.reference import settings_guide
from tests.job.refused import problems


class TestErrors:
    @pytest.mark.parametrize(
        ("text", "lines"),
        [
            ("blade.ofset = 0.3", ["blade.ofset: there is no such setting. Did you mean “offset”?"]),
            (
                "blade.xyzzy = 1",
                [
                    "blade.xyzzy: there is no such setting. Settings here: angle, corner_tolerance, offset, overcut."
                ],
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
        guide = Path(__file__).parents[2] / "docs" / "job.md"
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
