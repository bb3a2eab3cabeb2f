"""Fit on the roll, film by film."""

from __future__ import annotations

import pytest

import preflight
from preflight.report.model import RollFit


def fit(width: float, height: float, job: str) -> RollFit:
    drawing = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}"><rect width="{width}" height="{height}"/></svg>'
    )
    return preflight.check(preflight.read(drawing.encode()), preflight.Job.parse(job, "toml")).roll[0]


ROLL = 'roll = {{ width = "{width} mm", margin = "10 mm", weed_border = "5 mm", lead = "0 mm"{more} }}'


def roll(width: float, more: str = "") -> str:
    return ROLL.format(width=width, more=more)


@pytest.mark.parametrize(
    ("width", "height", "roll_width", "verdict", "across", "along"),
    [
        (500, 300, 610, "fits", 510, 310),
        (580, 300, 610, "fits", 590, 310),
        (580.1, 300, 610, "fits-turned", 310, 590.1),
        (900, 300, 610, "fits-turned", 310, 910),
        (900, 700, 610, "does-not-fit", 710, 910),
    ],
)
def test_width_and_quarter_turn(
    *, width: float, height: float, roll_width: float, verdict: str, across: float, along: float
) -> None:
    found = fit(width, height, roll(roll_width))
    assert found.verdict == verdict
    assert (found.across_mm, found.along_mm) == pytest.approx((across, along))
    assert found.usable_width_mm == roll_width - 20


def test_the_machine_may_cut_less_than_the_roll_is_wide() -> None:
    assert fit(500, 600, roll(610, ', machine_width = "450 mm"')).usable_width_mm == 450
    assert fit(500, 600, roll(610, ', machine_width = "450 mm"')).verdict == "does-not-fit"


def test_turned_where_only_so_the_rest_of_the_roll_is_enough() -> None:
    assert fit(300, 500, roll(610, ', length = "600 mm"')).verdict == "fits"
    assert fit(300, 500, roll(610, ', length = "400 mm"')).verdict == "fits-turned"
    short = fit(300, 500, roll(610, ', length = "200 mm"'))
    assert short.verdict == "does-not-fit"
    assert "310 mm of film is needed" in short.reason


def test_a_film_with_a_direction_is_never_turned() -> None:
    assert fit(900, 300, roll(610) + "\nfilm = { directional = true }").verdict == "does-not-fit"


def test_each_film_is_fitted_by_its_own_cut() -> None:
    drawing = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="900mm" height="900mm" viewBox="0 0 900 900">'
        '<rect width="900" height="900" fill="#c00"/><rect x="50" y="50" width="200" height="200" fill="#00c"/></svg>'
    )
    report = preflight.check(preflight.read(drawing.encode()), preflight.Job.parse(roll(610), "toml"))
    assert [(found.film, found.verdict) for found in report.roll] == [
        ("#cc0000", "does-not-fit"),
        ("#0000cc", "fits"),
    ]


def test_no_roll_is_not_judged() -> None:
    found = fit(900, 300, "")
    assert found.verdict == "not-judged"
    assert "No roll is stated" in found.reason
