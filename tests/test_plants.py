"""Defects of known size, planted in clean drawings: the truth is the drawing's own construction.

The full count is ``python -m benchmarks.plants``; here a few of the same drawings.
"""

from __future__ import annotations

import dataclasses

import pytest

from benchmarks.planting.drawing import CONTROL, KINDS, drawing
from benchmarks.planting.plant import CLEARLY_BAD
from benchmarks.plants import Outcome, counts, judge, run

SEED, COUNT = 20_260, 120


@pytest.fixture(scope="module")
def outcomes() -> list[Outcome]:
    return run(SEED, COUNT)


def test_every_kind_is_planted_and_some_drawings_are_clean(outcomes: list[Outcome]) -> None:
    for kind in KINDS:
        assert counts(o for o in outcomes if o.kind == kind)["planted"] >= 3, kind
    assert sum(o.kind == CONTROL for o in outcomes) >= 5
    assert sum(o.good for o in outcomes) >= 30


def test_what_is_planted_is_found(outcomes: list[Outcome]) -> None:
    assert [(o.index, o.form, o.badness) for o in outcomes if o.planted and not o.found] == []


def test_nothing_is_invented(outcomes: list[Outcome]) -> None:
    assert [(o.index, o.form, o.invented) for o in outcomes if o.invented] == []


def test_widths_are_measured_to_twice_the_flattening(outcomes: list[Outcome]) -> None:
    errors = {(o.index, o.form): o.error for o in outcomes if o.error is not None}
    assert len(errors) >= 20
    # Flattening is at most 0.01 mm off, on either wall.
    assert {key: error for key, error in errors.items() if error > 0.02} == {}


def test_the_same_seed_gives_the_same_drawing() -> None:
    assert drawing(SEED, 7) == drawing(SEED, 7)
    assert drawing(SEED, 7).svg != drawing(SEED, 8).svg


def test_a_rule_that_is_switched_off_is_counted_as_a_miss() -> None:
    chosen = [k for k in range(100) if drawing(SEED, k).kind == "neck"]
    index = next(k for k in chosen if (plant := drawing(SEED, k).plant) and plant.badness >= CLEARLY_BAD)
    drawn = drawing(SEED, index)
    assert judge(index, drawn).found
    off = dataclasses.replace(drawn, job=drawn.job + 'severities.thin-feature = "off"\n')
    assert counts([judge(index, off)])["missed"] == 1


def test_a_defect_that_nobody_is_told_of_is_counted_as_invented() -> None:
    index = next(k for k in range(100) if (plant := drawing(SEED, k).plant) and plant.badness >= CLEARLY_BAD)
    untold = dataclasses.replace(drawing(SEED, index), plant=None, kind=CONTROL)
    assert counts([judge(index, untold)])["invented"] >= 1
