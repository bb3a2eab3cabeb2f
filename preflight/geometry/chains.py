"""Which open ends belong together: matching the ends of contours that were cut into pieces.

A contour that was meant to be closed and is not, or that came as separate strokes in any order and
either direction, has ends that lie near each other and run on into each other. Ends are matched in
order of a cost that grows with the gap and with how sharply one would have to turn to run on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from preflight.curves import Floats, Ints
from preflight.errors import LimitError

_TURN_WEIGHT = 1.0
"""How much a turn counts beside the gap: a half turn makes a gap count as (1 + 2 x this) times as wide."""
_ON_WEIGHT = 1.0
"""How much it counts that the gap lies aside of, and not ahead of, the ends."""

MEETING = 0.005
"""Ends nearer than this (mm) are in the same spot: a fifth of the 0.025 mm step that cutters are addressed in."""

_MOST_PAIRS = 10_000_000
"""Pairs of near ends beyond which the search is refused: each takes some 50 bytes."""


@dataclass(frozen=True, slots=True)
class EndMatch:
    """Ends ``a`` < ``b`` (indices) belong together; ``gap`` is their distance in mm."""

    a: int
    b: int
    gap: float


def match_ends(points: Floats, tangents: Floats, max_gap: float) -> list[EndMatch]:
    """Match open ends that lie at most ``max_gap`` mm apart; each end is used once at most.

    ``points`` (n, 2) are the ends in mm, ``tangents`` (n, 2) the directions in which the contours
    leave through them (outwards, of any length; no length where the direction is unknown). The two
    ends of one contour may match. The answer is ordered by ``a``.

    A pair's cost is its gap times one plus what the turns add: for ends that face each other
    nothing, for ends that run the same way most. The cheapest pair is taken first (greedy), so a
    pair that is each other's best is always matched.

    Raises ValueError for arrays of other shapes, values that are not finite, or a negative ``max_gap``;
    LimitError where so many ends crowd within ``max_gap`` that matching them would be guesswork.
    """
    points, tangents = np.asarray(points, float), np.asarray(tangents, float)
    if points.ndim != 2 or points.shape[1:] != (2,) or points.shape != tangents.shape:
        raise ValueError(f"points and tangents must both be (n, 2), not {points.shape} and {tangents.shape}")
    if not (np.isfinite(points).all() and np.isfinite(tangents).all()):
        raise ValueError("ends and their tangents must be finite")
    if not max_gap >= 0:
        raise ValueError(f"the largest gap must be at least 0 mm, not {max_gap}")
    if len(points) < 2:
        return []
    first, second = _near(points, max_gap)
    gap, cost = _costs(points, tangents, first, second, max_gap)
    matches = []
    free = np.ones(len(points), bool)
    for k in np.lexsort((second, first, gap, cost)).tolist():
        a, b = int(first[k]), int(second[k])
        if free[a] and free[b]:
            free[a] = free[b] = False
            matches.append(EndMatch(a, b, float(gap[k])))
    return sorted(matches, key=lambda match: match.a)


def _near(points: Floats, max_gap: float) -> tuple[Ints, Ints]:
    """Return pairs first < second of ends within ``max_gap``."""
    _, crowd = np.unique(np.floor(points / max(max_gap, 1e-9)), axis=0, return_counts=True)
    if int((crowd.astype(np.int64) ** 2).sum()) // 2 > _MOST_PAIRS:
        raise LimitError(
            "too-many-open-ends",
            f"{int(crowd.max())} open ends of contours lie within {max_gap:g} mm of each other.",
            "Join the contours in the drawing program, or allow a smaller gap.",
        )
    ends = np.asarray(shapely.points(points))
    first, second = shapely.STRtree(ends).query(ends, predicate="dwithin", distance=max_gap)
    ordered = first < second
    return first[ordered], second[ordered]


def _costs(
    points: Floats, tangents: Floats, first: Ints, second: Ints, max_gap: float
) -> tuple[Floats, Floats]:
    size = np.hypot(tangents[:, 0], tangents[:, 1])[:, None]
    ahead = np.divide(tangents, size, out=np.zeros_like(tangents), where=size > 0)
    step = points[second] - points[first]
    gap = np.hypot(step[:, 0], step[:, 1])
    across = np.divide(step, gap[:, None], out=np.zeros_like(step), where=gap[:, None] > 0)
    # 0 where the ends face each other, 2 where they run the same way; an unknown direction counts 1.
    turn = 1 + (ahead[first] * ahead[second]).sum(axis=1)
    aside = 2 - (ahead[first] * across).sum(axis=1) + (ahead[second] * across).sum(axis=1)
    aside = np.where(gap > 0, aside / 2, 0.0)
    # Ends in one place differ in nothing but the turn.
    floor = 1e-3 * max_gap
    return gap, (gap + floor) * (1 + _TURN_WEIGHT * turn + _ON_WEIGHT * aside)
