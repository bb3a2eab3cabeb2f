"""Whether a nesting is right, by geometry that shares nothing with the engines."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from preflight.roll.nesting.model import Piece, Placement, Strip

TOLERANCE = 1e-6
"""Of the strip's width: pieces may be so much too near to each other or to the edge; below any knife's step."""


def faults(
    pieces: Sequence[Piece], placements: Sequence[Placement], strip: Strip, length: float
) -> Iterator[str]:
    """Yield in words what is wrong with a nesting; nothing where all copies are there and lie right.

    Checked are the number of copies, their turns, that each lies inside ``strip.width`` by ``length``,
    and that no two overlap or come nearer than ``strip.gap``. Holes count as free.
    """
    known = {piece.key: piece for piece in pieces}
    counted = Counter(p.key for p in placements)
    for key in sorted(known.keys() | counted.keys()):
        wanted = known[key].copies if key in known else 0
        if counted[key] != wanted:
            yield f"piece {key} is there {counted[key]} times instead of {wanted}"
    here = [p for p in placements if p.key in known]
    for place in here:
        turns = (0.0,) if strip.directional else known[place.key].turns
        if turns is not None and min(abs((place.turn - t + 180) % 360 - 180) for t in turns) > 1e-6:
            yield f"piece {place.key} is turned by {place.turn:g} degrees, which it must not be"
    allowed = TOLERANCE * strip.width
    regions = np.array([known[p.key].at(p.turn, p.x, p.y) for p in here], object)
    if not len(regions):
        return
    boxes = shapely.bounds(regions)
    outside = np.maximum(-boxes[:, :2], boxes[:, 2:] - (strip.width, length)).max(axis=1) > allowed
    for index in np.flatnonzero(outside).tolist():
        yield f"piece {here[index].key} reaches over the strip's edge"
    first, second = shapely.STRtree(regions).query(regions, "dwithin", distance=max(strip.gap, allowed))
    for i, j in zip(first.tolist(), second.tolist(), strict=True):
        if i >= j:
            continue
        if strip.gap > 0 and shapely.distance(regions[i], regions[j]) < strip.gap - allowed:
            yield f"pieces {here[i].key} and {here[j].key} are nearer than the gap"
        elif shapely.intersects(regions[i], regions[j]):
            overlap = shapely.intersection(regions[i], regions[j])
            # Deeper than the tolerance anywhere: something is left when its edge is taken off.
            if not shapely.buffer(overlap, -allowed / 2).is_empty:
                yield f"pieces {here[i].key} and {here[j].key} overlap"
