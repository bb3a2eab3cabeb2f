"""Parts that are narrower than a limit everywhere, and where each is narrowest.

Artwork that is small against the limit consists of nothing else: all its edges lie near each other,
and comparing all of them would cost the square of their number. Since such a part is one place
whatever its shape, its shortest chord is enough, and that is looked for in ever wider circles.
"""

from __future__ import annotations

import numpy as np
import shapely

from preflight.curves import Bools, Floats
from preflight.geometry.walls import Chords, near_pairs, shortest_chords, walls_of

LONG = 5.0
"""A chord counts where it cuts off more than so many times its own length of the outline."""

FIRST = 1 / 16
"""Share of the limit at which the search begins; it doubles from there."""

Chord = tuple[tuple[float, float], tuple[float, float]]


def hollow(parts: np.ndarray, limit: float) -> Bools:
    """Return which polygons (n,) a disc of diameter ``limit`` mm fits nowhere into."""
    # A disc in a part is in its box too: most parts need no closer look.
    x0, y0, x1, y1 = shapely.bounds(parts).T
    slim = np.minimum(x1 - x0, y1 - y0) < limit
    # A part of more than its perimeter times a quarter of the limit in area holds such a disc.
    unsure = np.flatnonzero(~slim & (shapely.area(parts) < shapely.length(parts) * limit / 2))
    slim[unsure] = shapely.is_empty(shapely.buffer(parts[unsure], -limit / 2, quad_segs=16))
    return np.asarray(slim)


def narrowest(parts: np.ndarray, limit: float, tolerance: float) -> list[Chord | None]:
    """Return for each of ``parts`` its shortest chord below ``limit`` mm, or None where it has none.

    Of equally short ones, the chord nearest the middle of the part's box.
    """
    found: list[Chord | None] = [None] * len(parts)
    left = np.arange(len(parts))
    # A chord cuts off half the outline at the most, so no longer one than this can count.
    most = np.minimum(limit, shapely.length(parts) / (2 * LONG))
    reach = limit * FIRST
    while len(left):
        chosen = parts[left]
        # Walls are numbered by part in the order given; every part here is one valid polygon.
        walls = walls_of(shapely.MultiPolygon(list(chosen)), tolerance)
        chords, _ = shortest_chords(walls, near_pairs(walls, reach), min(reach, limit), gaps=False)
        kept = chords.take(chords.around > LONG * chords.width)
        owner = walls.part[kept.first]
        inside = _inside(kept, walls.parts[owner])
        kept, owner = kept.take(inside), owner[inside]
        settled = np.unique(owner)
        for index in settled.tolist():
            found[int(left[index])] = _best(kept.take(owner == index), shapely.bounds(walls.parts[index]))
        left = np.delete(left, settled)
        left = left[most[left] > reach]
        reach *= 2
    return found


def _inside(chords: Chords, parts: np.ndarray) -> Bools:
    """Return which chords have nothing in their way: all but their very ends lies in their part."""
    step = chords.head - chords.tail
    ends = np.stack((chords.tail + 0.02 * step, chords.tail + 0.98 * step), axis=1)
    shapely.prepare(parts)
    return np.asarray(shapely.contains_properly(parts, shapely.linestrings(ends)), bool).reshape(len(chords))


def _best(chords: Chords, box: Floats) -> Chord:
    middle = (chords.tail + chords.head) / 2
    away = np.hypot(*(middle - (box[:2] + box[2:]) / 2).T)
    pick = int(np.lexsort((away, np.round(chords.width, 6)))[0])
    (ax, ay), (bx, by) = chords.tail[pick].tolist(), chords.head[pick].tolist()
    return (ax, ay), (bx, by)
