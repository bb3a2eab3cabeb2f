"""What the rules on small pieces and lettering leave to each other, and what they say is not known."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import preflight
from preflight.report.model import Report

DATA = Path(__file__).parent / "data"
LETTERING = ("letter-size", "letter-shape", "low-contrast")
ASKED = 'lettering.standards = ["accessible-signs", "legibility"]'


def check(body: str, job: str = "") -> Report:
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">'
        f"{body}</svg>"
    )
    return preflight.check(preflight.read(svg.encode()), preflight.Job.parse(job, "toml"))


def codes(report: Report) -> list[str]:
    return [finding.code for finding in report.findings if finding.code in ("thin-feature", "tiny-island")]


class TestOneFindingForOnePiece:
    def test_a_grain_is_told_as_a_tiny_island_alone(self) -> None:
        assert codes(check('<rect x="10" y="10" width="0.6" height="0.6"/>')) == ["tiny-island"]

    def test_a_strip_is_told_as_a_thin_part_alone(self) -> None:
        assert codes(check('<rect x="10" y="10" width="4" height="0.6"/>')) == ["thin-feature"]

    def test_each_of_two_pieces_has_its_own(self) -> None:
        both = '<rect x="10" y="10" width="0.6" height="0.6"/><rect x="30" y="10" width="40" height="0.6"/>'
        assert sorted(codes(check(both))) == ["thin-feature", "tiny-island"]

    def test_nothing_is_lost_where_one_of_them_is_switched_off(self) -> None:
        grain = '<rect x="10" y="10" width="0.6" height="0.6"/>'
        assert codes(check(grain, 'severities."tiny-island" = "off"')) == ["thin-feature"]


def examples() -> list[tuple[str, str]]:
    """Return drawing and job of every failing example of the rules on lettering."""
    return [
        (entry["svg"], entry.get("job", ""))
        for code in LETTERING
        for entry in tomllib.loads((DATA / f"{code}.toml").read_text(encoding="utf-8"))["fails"]
    ]


@pytest.mark.parametrize(("svg", "job"), examples())
def test_what_rests_on_a_standard_says_that_it_is_no_verdict(svg: str, job: str) -> None:
    for finding in check(svg, job).findings:
        if finding.code in LETTERING and finding.case != "film-limit":
            assert "never a verdict of compliance" in finding.message
            assert finding.severity != "error"


@pytest.mark.parametrize(("svg", "job"), examples())
def test_without_being_asked_the_rules_are_silent(svg: str, job: str) -> None:
    report = check(svg)
    assert not [finding for finding in report.findings if finding.code in LETTERING]
    assert not [note for note in report.not_judged if "etter" in note]
    assert job


class TestWhatIsNotKnown:
    def test_unstated_settings_are_named(self) -> None:
        notes = "\n".join(check('<rect x="10" y="10" width="9" height="9"/>', ASKED).not_judged)
        for word in ("lettering.viewing_distance", "lettering.baseline_height", "substrate_colour"):
            assert word in notes
        assert "no level line of separate letters was found" in notes

    def test_stated_settings_are_not(self) -> None:
        job = (
            'substrate_colour = "white"\nlettering = { standards = ["accessible-signs"], viewing_distance = "10 ft", '
            'baseline_height = "60 in" }'
        )
        notes = "\n".join(check('<rect x="10" y="10" width="9" height="9"/>', job).not_judged)
        for word in ("lettering.viewing_distance", "lettering.baseline_height", "substrate_colour"):
            assert word not in notes

    def test_live_text_has_an_em_and_no_more(self) -> None:
        notes = check('<text x="10" y="50" font-size="20">Plots</text>', ASKED).not_judged
        assert any("only its em size is known" in note for note in notes)
