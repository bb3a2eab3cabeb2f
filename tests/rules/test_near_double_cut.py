"""One fault, one finding: what near-double-cut says no other rule says again."""

from __future__ import annotations

from typing import Any

import pytest

import preflight
from tests.rules.test_rules import load


def codes(body: str, job: str = "") -> list[str]:
    svg = body
    if not body.lstrip().startswith("<svg"):
        svg = (
            '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">'
            f"{body}</svg>"
        )
    report = preflight.check(preflight.read(svg.encode()), preflight.Job.parse(job, "toml"))
    return sorted(finding.code for finding in report.findings)


@pytest.mark.parametrize("entry", load("near-double-cut")["fails"], ids=lambda entry: entry["name"])
def test_nothing_else_is_said_of_the_same_lines(entry: dict[str, Any]) -> None:
    found = [code for code in codes(entry["svg"], entry.get("job", "")) if code != "size-unstated"]
    assert found == ["near-double-cut"]


def test_without_the_tolerance_the_other_rules_say_it() -> None:
    off = "tolerances.coincidence = 0"
    assert codes('<path d="M10 10h20v20h-20z"/><path d="M30.03 10h20v20h-20z"/>', off) == ["narrow-gap"]
    assert codes('<path d="M10 10h60v0.03h-60z"/>', off) == ["thin-feature"]
    assert "overlapping-subpaths" in codes(
        '<circle cx="50" cy="50" r="30"/><circle cx="50.03" cy="50" r="30"/>', off
    )
    assert codes('<circle cx="50" cy="50" r="30"/><circle cx="50" cy="50" r="29.96"/>', off) == ["hidden-cut"]


def test_the_rest_of_a_shape_is_still_judged() -> None:
    # One neighbour 0.03 mm off, another 0.4 mm off, and a bar that crosses.
    found = codes(
        '<path d="M10 10h20v20h-20z"/><path d="M30.03 10h20v20h-20z"/><path d="M10 30.4h15v20h-15z"/>'
        '<path d="M40 5v40h4v-40z"/>'
    )
    assert found == ["narrow-gap", "near-double-cut", "overlapping-subpaths"]


def test_a_pinch_between_two_points_stays_a_narrow_part() -> None:
    # Two points 0.03 mm apart: near for no length, so there is nothing that is cut twice.
    found = codes('<path d="M10 10L30 19.985L50 10V30L30 20.015L10 30z"/>')
    assert found == ["thin-feature"]
