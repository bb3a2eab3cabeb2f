"""Fit one film's cut to its roll, as drawn and turned a quarter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from preflight.films import Film
from preflight.report.model import RollFit
from preflight.units import format_length

Answer = Literal["fits", "fits-turned", "does-not-fit", "not-judged"]

SLACK = 1e-6
"""A design exactly as wide as the usable width fits, whatever the last digit says (mm)."""


@dataclass(frozen=True, slots=True)
class Fit:
    """How a film lies on its roll; lengths in mm, weed border included in ``across`` and ``along``."""

    answer: Answer
    reason: str
    case: Literal["turn-needed", "panels-needed", "roll-too-short"] | None = None
    bounds: tuple[float, float, float, float] | None = None
    usable: float | None = None
    across: float | None = None
    along: float | None = None
    length: float | None = None
    """What is left of the roll, where the job states it."""

    def shown(self, film: str) -> RollFit:
        """Return the fit as the report shows it."""
        return RollFit(
            film=film,
            verdict=self.answer,
            reason=self.reason,
            usable_width_mm=_rounded(self.usable),
            across_mm=_rounded(self.across),
            along_mm=_rounded(self.along),
        )


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def fit_film(film: Film) -> Fit:
    """Return how ``film`` lies on its roll. The width of the drawing area runs across the roll."""
    roll, bounds = film.roll, film.cut_bounds
    if roll is None:
        return Fit("not-judged", "No roll is stated for this film.", bounds=bounds)
    if bounds is None:
        return Fit("not-judged", "There is nothing to cut from this film.")
    usable = roll.usable_width
    width = bounds[2] - bounds[0] + 2 * roll.weed_border
    height = bounds[3] - bounds[1] + 2 * roll.weed_border
    as_drawn, turned = width <= usable + SLACK, height <= usable + SLACK and not film.spec.directional
    across, along = (width, height) if as_drawn or not turned else (height, width)
    along += 2 * roll.lead
    room = f"usable width {format_length(usable)}"
    if not as_drawn and not turned:
        least = width if film.spec.directional else min(width, height)
        turning = (
            "The film has a direction, so it may not be turned."
            if film.spec.directional
            else "Turned or not."
        )
        return Fit(
            "does-not-fit",
            f"{format_length(least)} across, with the weed border, is more than the {room}. {turning}",
            "panels-needed",
            bounds,
            usable,
            across,
            along,
            roll.length,
        )
    if roll.length is not None and along > roll.length + SLACK:
        return Fit(
            "does-not-fit",
            f"{format_length(along)} of film is needed and {format_length(roll.length)} is left on the roll.",
            "roll-too-short",
            bounds,
            usable,
            across,
            along,
            roll.length,
        )
    how = "as drawn" if as_drawn else "turned a quarter"
    return Fit(
        "fits" if as_drawn else "fits-turned",
        f"{format_length(across)} across, with the weed border, lies in the {room} {how}.",
        None if as_drawn else "turn-needed",
        bounds,
        usable,
        across,
        along,
        roll.length,
    )
