"""How one copy of a piece can lie: as drawn, turned a quarter, turned by the angle of least length."""

from __future__ import annotations

import math

from preflight.curves import Floats
from preflight.job import Roll
from preflight.roll.layout.model import LargestScale, PieceShown, Way
from preflight.roll.layout.options import Turns
from preflight.roll.turning import SLACK, Turn, extents, largest_scale, narrowest_turn, shortest_turn

_RANK: dict[Turns, int] = {"as-drawn": 0, "quarter": 1, "any": 2}


def ways_of(points: Floats, roll: Roll, turns: Turns) -> tuple[Way, ...]:
    """Return the three ways of a cut with corners ``points`` (n, 2), mm; ``turns`` are those allowed."""
    inner = inner_width(roll)
    lying: dict[Turns, Turn] = {
        "as-drawn": extents(points, 0.0),
        "quarter": extents(points, 90.0),
        "any": shortest_turn(points, inner) or narrowest_turn(points),
    }
    return tuple(_way(way, turn, roll, turns) for way, turn in lying.items())


def _way(way: Turns, turn: Turn, roll: Roll, turns: Turns) -> Way:
    across = turn.across + 2 * roll.weed_border
    along = turn.along + 2 * (roll.weed_border + roll.lead)
    fits = across <= roll.usable_width + SLACK and (roll.length is None or along <= roll.length + SLACK)
    return Way(
        way=way,
        allowed=_RANK[way] <= _RANK[turns],
        fits=fits,
        turn_deg=turn.angle,
        across_mm=round(across, 3),
        along_mm=round(along, 3),
    )


def largest_of(points: Floats, roll: Roll, turns: Turns) -> LargestScale | None:
    """Return the largest scale at which a cut fits ``roll``; None where the roll is too short for anything."""
    length = None if roll.length is None else roll.length - 2 * (roll.weed_border + roll.lead)
    if length is not None and length <= 0:
        return None
    found = largest_scale(points, inner_width(roll), length, turns)
    drawn = extents(points, 0.0)
    factor = math.floor(found.scale * 1e6 * (1 + 1e-12)) / 1e6
    return LargestScale(
        factor=factor,
        turn_deg=found.turn.angle,
        width_mm=round(drawn.across * found.scale, 3),
        height_mm=round(drawn.along * found.scale, 3),
    )


def inner_width(roll: Roll) -> float:
    """Return what cuts may take across, mm: the usable width less two weed borders."""
    return roll.usable_width - 2 * roll.weed_border


def best_way(ways: tuple[Way, ...]) -> Way | None:
    """Return the allowed way that fits and takes the least film; of equal ones the least turned."""
    fitting = [way for way in ways if way.allowed and way.fits]
    return min(fitting, key=lambda way: (way.along_mm, _RANK[way.way]), default=None)


def is_too_wide(piece: PieceShown, usable: float) -> bool:
    """Return whether a piece is wider than ``usable`` mm at every turn it may lie at, borders included."""
    # What a way takes is rounded to the third place.
    return not any(way.allowed and way.across_mm <= usable + 1e-3 for way in piece.ways)
