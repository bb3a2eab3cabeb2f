"""One fault, one finding: what near-double-cut says no other rule says again."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

import preflight

DATA = Path(__file__).parent / "data" / "near-double-cut.toml"
ENTRIES = tomllib.loads(DATA.read_text(encoding="utf-8"))["fails"]

ABOUT_NARROWNESS = {
    "near-double-cut",
    "double-cut",
    "overlapping-subpaths",
    "hidden-cut",
    "cut-in-waste",
    "thin-feature",
    "narrow-gap",
    "tiny-island",
}
"""Rules that could all say something of two lines next to each other."""


def codes(body: str, job: str = "") -> list[str]:
    svg = body
    if not body.lstrip().startswith("<svg"):
        svg = (
            '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">'
            f"{body}</svg>"
        )
    report = preflight.check(preflight.read(svg.encode()), preflight.Job.parse(job, "toml"))
    return sorted(finding.code for finding in report.findings if finding.code in ABOUT_NARROWNESS)


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry["name"])
def test_nothing_else_is_said_of_the_same_lines(entry: dict[str, Any]) -> None:
    assert codes(entry["svg"], entry.get("job", "")) == ["near-double-cut"]


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


@pytest.mark.parametrize("gap", [0.002, 0.004, 0.008, 0.03])
def test_a_disc_in_a_hole_that_is_hardly_larger_leaves_no_narrow_bridges(gap: float) -> None:
    # Gaps below the chord error of flattening: the flattened edges run into each other here and there.
    found = codes(
        '<path fill-rule="evenodd" d="M10 10h80v80h-80z M77.3 50a27.3 27.3 0 1 0 -54.6 0a27.3 27.3 0 1 0 54.6 0z"/>'
        f'<circle cx="50" cy="50" r="{27.3 - gap}" transform="rotate(17 50 50)"/>'
    )
    assert found == ["near-double-cut"]


def test_a_lens_is_near_itself_at_its_points_and_still_a_narrow_piece() -> None:
    found = codes('<path d="M10 50A500 500 0 0 1 30 50A500 500 0 0 1 10 50z"/>')
    assert "thin-feature" in found


PAIR = '<path d="M10 10h20v20h-20z"/><path d="M30.03 10h20v20h-20z"/>'


@pytest.mark.parametrize(
    "body",
    [
        PAIR,
        # Not to be seen as a gap: cut off by a clip, or painted over by a stroke of the same film.
        f'<clipPath id="c"><path d="M10 10h15v20h-15z"/></clipPath><g clip-path="url(#c)">{PAIR}</g>',
        f'{PAIR}<path fill="none" stroke="#000000" stroke-width="2" d="M30 8v24"/>',
        # Covered by a third shape, so that nothing there is an edge.
        f'{PAIR}<path d="M25 5h10v30h-10z"/>',
    ],
    ids=["seen", "clipped", "under a stroke", "under a shape"],
)
def test_lines_that_do_not_show_are_followed_all_the_same(body: str) -> None:
    assert "near-double-cut" in codes(body)
