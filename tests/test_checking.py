"""The whole report: verdicts, order, sameness, fingerprints, size, and what is said to be unknown."""

from __future__ import annotations

import json

import pytest

import preflight
from preflight.report.model import Severity, Verdict

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="100mm" viewBox="0 0 200 100">'
OVERLAP = '<path d="M10 10h40v40h-40z"/><path d="M30 30h40v40h-40z"/>'


def report(body: str, job: str = "", head: str = HEAD) -> preflight.Report:
    return preflight.check(preflight.read(f"{head}{body}</svg>".encode()), preflight.Job.parse(job, "toml"))


def test_the_same_bytes_job_and_version_give_the_same_report_byte_for_byte() -> None:
    body = OVERLAP + '<path fill="#0c0" stroke="red" d="M100 10h40l-20 60"/><text x="5" y="90">Peas</text>'
    assert report(body).model_dump_json() == report(body).model_dump_json()


def test_verdict_is_the_worst_severity() -> None:
    assert report('<rect width="50" height="50"/>').verdict is Verdict.PASS
    assert report('<rect width="50" height="50" fill="white"/>').verdict is Verdict.WARN
    assert report(OVERLAP).verdict is Verdict.FAIL


def test_findings_are_listed_worst_first() -> None:
    severities = [
        f.severity for f in report(OVERLAP + '<rect x="150" width="9" height="9" fill="white"/>').findings
    ]
    assert severities == sorted(severities, key=list(Severity).index)
    assert len(set(severities)) > 1


def test_a_fingerprint_survives_edits_elsewhere_in_the_file() -> None:
    def overlap(body: str) -> str:
        found = [f for f in report(body).findings if f.code == "overlapping-subpaths"]
        return min(f.fingerprint for f in found if f.places[0].box[0] < 90)

    before = overlap(OVERLAP)
    assert overlap("<!-- a note -->\n<g id='x'>" + OVERLAP + "</g>") == before
    assert overlap(OVERLAP + '<path d="M110 10h20v20h-20z M120 20h20v20h-20z"/>') == before
    assert overlap(OVERLAP.replace("M30 30", "M31 30")) != before


def test_the_job_changes_severities_and_switches_rules_off() -> None:
    assert report(OVERLAP, 'severities = { "overlapping-subpaths" = "note" }').verdict is Verdict.PASS
    assert report(OVERLAP, 'severities = { "overlapping-subpaths/shapes-cross" = "off" }').findings == ()


def test_a_severity_for_a_rule_that_does_not_exist_is_an_error() -> None:
    with pytest.raises(preflight.JobError, match="overlapping-subpath"):
        report(OVERLAP, 'severities = { "overlapping-subpath" = "note" }')


def test_lengths_and_areas_grow_with_the_finished_size() -> None:
    small, large = report(OVERLAP), report(OVERLAP, 'size = { width = "400 mm" }')
    assert large.measures.scale == pytest.approx(2)
    assert large.measures.cut_length_mm == pytest.approx(2 * small.measures.cut_length_mm)
    assert large.measures.films[0].area_mm2 == pytest.approx(4 * small.measures.films[0].area_mm2)
    assert large.findings[0].measured == pytest.approx(160)


def test_measures_of_a_circle() -> None:
    """Area pi r^2 and circumference 2 pi r; four cubics stray less than 0.03 % from a circle (geometry)."""
    film = report('<circle cx="50" cy="50" r="40"/>').measures.films[0]
    assert film.area_mm2 == pytest.approx(3.141593 * 1600, rel=1e-3)
    assert film.cut_length_mm == pytest.approx(3.141593 * 80, rel=1e-3)


def test_what_is_not_known_is_said() -> None:
    unknown = report(
        '<rect width="50" height="50"/>',
        head='<svg xmlns="http://www.w3.org/2000/svg" width="200" height="99">',
    )
    assert any("no roll is stated" in note for note in unknown.not_judged)
    assert any("size" in note for note in unknown.not_judged)
    assert {a.subject for a in unknown.assumptions} >= {"finished size", "colours", "film", "blade"}
    assert unknown.roll[0].verdict == "not-judged"
    stated = report(
        '<rect width="50" height="50"/>',
        'film = { kind = "calendered" }\nblade = { offset = "0.25 mm" }\nroll = { width = "610 mm" }\n'
        'colours = { black = "film" }\nuse = "interior"\npolarity = "shapes"\nsurface = "first"\n'
        'construction = "layered"',
    )
    assert stated.assumptions == ()
    assert stated.not_judged == ()


def test_very_many_faults_are_folded_and_none_is_lost() -> None:
    bars = "".join(f'<rect x="{i % 40 * 5}" y="{i // 40 * 10}" width="4" height="0.3"/>' for i in range(200))
    thin = [f for f in report(bars).findings if f.code == "thin-feature"]
    assert sum(f.places_total for f in thin) == 200
    assert len(thin) < 30


def test_nothing_that_rests_on_an_unstated_size_is_an_error() -> None:
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="200" height="100">'
    found = report('<rect width="90" height="0.5"/>', head=head).findings
    assert {f.code for f in found} >= {"thin-feature", "size-unstated"}
    assert all(f.severity is not Severity.ERROR for f in found)


def test_the_report_never_promises_a_safe_cut() -> None:
    assert "Test-cut first" in report('<rect width="50" height="50"/>').claim


def test_the_report_survives_json() -> None:
    made = report(OVERLAP)
    assert preflight.Report.model_validate_json(json.dumps(made.model_dump(mode="json"))) == made


def test_proportions_that_do_not_fit_are_an_error() -> None:
    with pytest.raises(preflight.JobError, match="proportions"):
        report(OVERLAP, 'size = { width = "400 mm", height = "300 mm" }')
