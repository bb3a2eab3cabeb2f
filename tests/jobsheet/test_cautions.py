"""Each caution where it applies, as uncertain where the job leaves it open, and nowhere else."""

from __future__ import annotations

from typing import Any

import pytest

from preflight.jobsheet.cautions import LOCAL_RULES
from preflight.jobsheet.wording import sections
from tests.jobsheet.samples import GREEN, bar, sheet

ALWAYS = {"blades", "carriage", "solvents", "pvc-laser"}
SMALL = bar(GREEN, 20, 30, 100, 50)
BLACK = bar("#000000", 20, 20, 360, 280)  # 0.1008 m2
STATED = {"ladder": False, "roadside": False, "illuminated": False}


def told(body: str, job: dict[str, Any]) -> tuple[set[str], set[str]]:
    cautions = sheet(body, job).cautions
    certain = {caution.key for caution in cautions if caution.certain}
    return certain - ALWAYS, {caution.key for caution in cautions} - certain


@pytest.mark.parametrize(
    ("mounting", "more", "certain", "open_"),
    [
        ({}, {}, set(), {"heat-gun", "ladder", "stakes", "roadside"}),
        ({}, {"use": "interior"}, set(), {"heat-gun", "ladder"}),
        ({}, {"use": "vehicle"}, {"sensors-and-lights"}, {"heat-gun", "vehicle-glass"}),
        ({"place": "board"}, {}, set(), {"ladder", "roadside"}),
        ({"place": "board", **STATED}, {}, set(), set()),
        ({"place": "board", **STATED, "ladder": True}, {}, {"ladder"}, set()),
        ({"place": "board", **STATED, "roadside": True}, {}, {"roadside"}, set()),
        ({"place": "board", **STATED, "illuminated": True}, {}, {"illuminated"}, set()),
        ({"place": "ground-stake", **STATED}, {}, {"stakes"}, set()),
        ({"place": "ground-stake", "roadside": False}, {}, {"stakes"}, set()),
        ({"place": "vehicle", **STATED}, {"use": "vehicle"}, {"heat-gun", "sensors-and-lights"}, set()),
        ({"place": "vehicle-window"}, {}, {"vehicle-glass", "sensors-and-lights"}, set()),
        ({"place": "banner", **STATED}, {}, set(), set()),
        ({"place": "window", **STATED}, {}, set(), set()),
        (
            {**STATED, "place": "board", "illuminated": None},
            {"film": {"kind": "translucent"}},
            set(),
            {"illuminated"},
        ),
    ],
)
def test_by_what_the_job_says(
    mounting: dict[str, Any], more: dict[str, Any], certain: set[str], open_: set[str]
) -> None:
    assert told(SMALL, {"mounting": mounting, **more}) == (certain, open_)


@pytest.mark.parametrize(
    ("body", "job", "answer"),
    [
        (BLACK, {"mounting": {"place": "window", **STATED}}, "certain"),
        (BLACK, {"surface": "second", "mounting": STATED}, "open"),
        (BLACK, {"mounting": {"place": "board", **STATED}}, "none"),
        (bar("#000000", 20, 20, 300, 280), {"mounting": {"place": "window", **STATED}}, "none"),
        (BLACK.replace("#000000", "#ffffff"), {"mounting": {"place": "window", **STATED}}, "none"),
    ],
)
def test_glass_may_break_under_large_dark_film_only(body: str, job: dict[str, Any], answer: str) -> None:
    certain, open_ = told(body, job)
    assert ("glass-breakage" in certain) == (answer == "certain")
    assert ("glass-breakage" in open_) == (answer == "open")


def test_the_laser_is_warned_of_for_pvc_only() -> None:
    keys = {caution.key for caution in sheet(SMALL, {"film": {"pvc": False}}).cautions}
    assert "pvc-laser" not in keys
    assert keys >= ALWAYS - {"pvc-laser"}


def test_every_caution_names_its_source_and_the_sheet_defers_to_local_rules() -> None:
    made = sheet(BLACK, {"mounting": {"place": "vehicle-window", "ladder": True, "illuminated": True}})
    section = sections(made)[-1]
    for caution in made.cautions:
        assert caution.source
        assert caution.why
        text = next(line for line in (*section.steps, *section.notes) if caution.text in line)
        assert caution.source in text
    assert LOCAL_RULES in section.notes
    assert all(word in LOCAL_RULES for word in ("local code", "owner", "licensed"))


def test_figures_of_the_ladder_and_the_laws_are_the_sources_own() -> None:
    """29 CFR 1926.1053(b)(1): side rails 3 ft above the landing; 1 to 4. 23 CFR 1.23(b)."""
    cautions = {c.key: c for c in sheet(SMALL, {"mounting": {"ladder": True, "roadside": True}}).cautions}
    assert "1 out for 4 up" in cautions["ladder"].text
    assert "3 ft" in cautions["ladder"].text
    assert cautions["ladder"].source.startswith("29 CFR 1926.1053(b)(1)")
    assert cautions["roadside"].source.startswith("23 CFR 1.23(b)")
