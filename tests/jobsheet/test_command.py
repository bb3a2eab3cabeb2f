"""``sign-preflight jobsheet``, and the job's settings for it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from preflight.cli import main
from preflight.errors import JobError
from preflight.job import Job

ARTWORK = Path(__file__).resolve().parents[2] / "examples" / "artwork"


@pytest.mark.parametrize(
    ("ending", "start"), [("html", b"<!DOCTYPE html>"), ("pdf", b"%PDF"), ("json", b"{")]
)
def test_the_sheet_is_written_in_the_form_its_name_asks_for(
    ending: str, start: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / f"sheet.{ending}"
    status = main(
        [
            "jobsheet",
            str(ARTWORK / "van-door.svg"),
            "--job",
            str(ARTWORK / "van-door.toml"),
            "--output",
            str(target),
        ]
    )
    assert status == 0
    assert target.read_bytes().startswith(start)
    assert "test-cut first" in capsys.readouterr().out


def test_artwork_that_fails_gets_its_sheet_and_status_1(tmp_path: Path) -> None:
    target = tmp_path / "sheet.json"
    assert main(["jobsheet", str(ARTWORK / "live-text.svg"), "--output", str(target)]) == 1
    assert json.loads(target.read_text())["verdict"] == "fail"


def test_another_form_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "sheet.docx"
    assert main(["jobsheet", str(ARTWORK / "van-door.svg"), "--output", str(target)]) == 2
    assert "neither .html, .pdf nor .json" in capsys.readouterr().err
    assert not target.exists()


def test_nothing_to_cut_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "sheet.html"
    assert main(["jobsheet", str(ARTWORK / "nothing-to-cut.svg"), "--output", str(target)]) == 2
    assert "nothing to cut" in capsys.readouterr().err


class TestMounting:
    def test_nothing_is_taken_for_granted(self) -> None:
        assert all(value is None for value in Job().mounting.model_dump().values())
        assert Job().film.temperature is None

    def test_it_changes_no_finding_but_the_hash(self) -> None:
        assert Job.parse('mounting.place = "board"').sha256 != Job().sha256

    @pytest.mark.parametrize(
        ("text", "told"),
        [
            ('mounting.place = "moon"', "mounting.place"),
            ('mounting.tape_width = "0 mm"', "mounting.tape_width"),
            ("film.temperature.least = 10", "film.temperature.bulletin"),
            ('film.temperature = { least = 30, most = 10, bulletin = "b" }', "must not be above"),
            ('film.temperature = { least = 300, bulletin = "b" }', "out of range"),
        ],
    )
    def test_wrong_values_are_named(self, text: str, told: str) -> None:
        with pytest.raises(JobError) as caught:
            Job.parse(text)
        assert told in str(caught.value)

    def test_another_kind_of_film_has_another_bulletin(self) -> None:
        job = Job.parse(
            'film = { kind = "cast", temperature = { least = "4 °C", bulletin = "b" } }\n'
            'films.same = {}\nfilms.other = { kind = "calendered" }'
        )
        same, other = job.named_film("same").temperature, job.named_film("other").temperature
        assert same is not None
        assert same.least == 4
        assert other is None
