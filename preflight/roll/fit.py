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
    turned: bool = False
    """Whether it lies turned a quarter, on a roll that is wide enough for that."""

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
    """Return how ``film`` lies on its roll. The width of the drawing area runs across the roll.

    As drawn goes before turned; turned is taken too where only so the film left on the roll is enough.
    """
    roll, bounds = film.roll, film.cut_bounds
    if roll is None:
        return Fit("not-judged", "No roll is stated for this film.", bounds=bounds)
    if bounds is None:
        return Fit("not-judged", "There is nothing to cut from this film.")
    usable = roll.usable_width
    room = f"usable width {format_length(usable)}"
    width = bounds[2] - bounds[0] + 2 * roll.weed_border
    height = bounds[3] - bounds[1] + 2 * roll.weed_border
    drawn = (width, height + 2 * roll.lead, False)
    turned = (height, width + 2 * roll.lead, True)
    ways = [drawn] if film.spec.directional else [drawn, turned]
    across = [way for way in ways if way[0] <= usable + SLACK]
    long_enough = [way for way in across if roll.length is None or way[1] <= roll.length + SLACK]

    def fit(
        answer: Answer,
        reason: str,
        case: Literal["turn-needed", "panels-needed", "roll-too-short"] | None,
        way: tuple[float, float, bool],
    ) -> Fit:
        turned = way[2] and case != "panels-needed"
        return Fit(answer, reason, case, bounds, usable, way[0], way[1], roll.length, turned)

    if not across:
        narrowest = min(ways, key=lambda way: way[0])
        turning = (
            "The film has a direction, so it may not be turned."
            if film.spec.directional
            else "Turned or not."
        )
        reason = (
            f"{format_length(narrowest[0])} across, with the weed border, is more than the {room}. {turning}"
        )
        return fit("does-not-fit", reason, "panels-needed", narrowest)
    if not long_enough:
        shortest = min(across, key=lambda way: way[1])
        left = format_length(roll.length or 0.0)
        reason = f"{format_length(shortest[1])} of film is needed and {left} is left on the roll."
        return fit("does-not-fit", reason, "roll-too-short", shortest)
    way = long_enough[0]
    how = "turned a quarter" if way[2] else "as drawn"
    reason = f"{format_length(way[0])} across, with the weed border, lies in the {room} {how}."
    return fit("fits-turned" if way[2] else "fits", reason, "turn-needed" if way[2] else None, way)
