"""Knife lines that run so near along each other that a knife cuts them as one line, twice.

The search is over chords: pairs that come within the distance and run nearly the same or the opposite
way are cut to the stretch that is near, and the stretches of one line are joined into runs. Lines that
coincide exactly are left out: those are found by noding (`preflight.geometry.knife`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import shapely

from preflight.curves import Bools, Floats, Ints
from preflight.geometry.gather import diagonals, dot, groups
from preflight.geometry.knife import ON_LINE

LEAST_LENGTH = 20.0
"""Nearness over fewer distances than this is how lines meet and cross: two that cross at more than about
6 degrees are no longer near each other than that."""

LEAST_WAY = 40.0
"""Spots of one line count as two lines when the way between them along it is at least so many distances;
else every point and every blunt end of a shape would be near itself."""

LONGEST = 5.0
"""Chords longer than this (mm) are looked at in parts."""

_ALONG = np.cos(np.radians(30.0))
"""Chords run along each other when their directions differ by less: those of one small curve, flattened at
other nodes, may differ by half a chord's turn."""

_JOINED = 0.2
"""Runs nearer to each other than this (mm), or than one and a half distances, are one place."""


class Nearness(StrEnum):
    """What lies beyond two lines that run along each other."""

    COPY = "near-copy"
    """Film beyond one of them, waste beyond the other: one edge, drawn twice."""
    EDGES = "near-edge"
    """Film beyond both: two edges with next to nothing between them."""
    STRIP = "hair-strip"
    """Waste beyond both: next to no film between two edges."""


@dataclass(frozen=True, eq=False)
class NearPlace:
    """Neighbouring stretches that are as good as one line.

    ``length`` is how far the lines run along each other, ``distance`` the greatest distance between
    them, both mm. ``runs`` are the stretches of both lines, ``contours`` the numbers of those, ``spot``
    a point in the middle of the longest run.
    """

    kind: Nearness
    length: float
    distance: float
    runs: np.ndarray
    contours: tuple[int, ...]
    spot: tuple[float, float]


@dataclass(frozen=True, eq=False)
class _Chords:
    """All chords of some lines: ends (n, 2), unit directions, lengths, owning line, and the way to the start.

    ``total`` (lines,) is the length of each line, infinite for an open one: there is one way only.
    """

    start: Floats
    along: Floats
    size: Floats
    owner: Ints
    way: Floats
    total: Floats

    @classmethod
    def of(cls, lines: np.ndarray) -> _Chords:
        points, which = shapely.get_coordinates(lines, return_index=True)
        same = which[1:] == which[:-1]
        start, step, owner = points[:-1][same], np.diff(points, axis=0)[same], which[:-1][same]
        size = np.hypot(step[:, 0], step[:, 1])
        kept = size > 0
        start, step, owner, size = start[kept], step[kept], owner[kept], size[kept]
        # A long slanted chord has a box that meets nearly everything; in parts it does not.
        parts = np.ceil(size / LONGEST).astype(np.int64)
        chord = np.repeat(np.arange(len(size)), parts)
        nth = np.arange(len(chord)) - np.repeat(np.cumsum(parts) - parts, parts)
        step, size, owner = step[chord] / parts[chord, None], (size / parts)[chord], owner[chord]
        start = start[chord] + nth[:, None] * step
        run = np.cumsum(size) - size
        first = np.searchsorted(owner, np.arange(len(lines)))
        lead = np.append(run, 0.0)[first]
        length = np.bincount(owner, size, minlength=len(lines))
        total = np.where(shapely.is_closed(lines), length, np.inf)
        return cls(start, step / size[:, None], size, owner, run - lead[owner], total)

    def near(self, distance: float) -> tuple[Ints, Ints]:
        """Return pairs (i, j) and (j, i) of chords that may run along each other within ``distance``."""
        ends = self.start + self.size[:, None] * self.along
        low, high = np.minimum(self.start, ends), np.maximum(self.start, ends)
        tree = shapely.STRtree(diagonals(low, high))
        i, j = tree.query(diagonals(low - distance, high + distance))
        # Neighbours on one line are most of what is found, and never near.
        gone = LEAST_WAY * distance
        neighbours = (self.owner[i] == self.owner[j]) & (
            np.abs(self.way[i] - self.way[j]) + np.maximum(self.size[i], self.size[j]) < gone
        )
        i, j = i[~neighbours], j[~neighbours]
        running = np.abs(dot(self.along[i], self.along[j])) >= _ALONG
        running &= i != j
        return i[running], j[running]

    def between(
        self, i: Ints, j: Ints, place: Floats, moving: Floats, distance: float
    ) -> tuple[Floats, Floats, tuple[Floats, Floats]]:
        """Return the way along the line from the foot on ``j`` to a spot on ``i``, and its bounds.

        The way is given at the start of chord ``i`` and by its change a mm; there the foot lies
        ``place`` mm on ``j``, and ``moving`` is its change. Two lines have no way between them.
        """
        way, change = self.way[i] - self.way[j] - place, 1 - moving
        sign = np.where(way + change * self.size[i] / 2 < 0, -1.0, 1.0)
        one = self.owner[i] == self.owner[j]
        least = np.where(one, LEAST_WAY * distance, -np.inf)
        most = np.where(one, self.total[self.owner[i]] - LEAST_WAY * distance, np.inf)
        return sign * way, sign * change, (least, most)


@dataclass(frozen=True, eq=False)
class _Stretches:
    """Parts of chords that another chord runs along: ``low`` to ``high`` mm on ``chord``.

    ``distance`` (n,) is the greatest distance; ``spot`` and ``foot`` (n, 2) are a point of the stretch
    where the two lines are well apart for their stretch, and the point across.
    """

    chord: Ints
    low: Floats
    high: Floats
    distance: Floats
    spot: Floats
    foot: Floats


def near_lines(lines: np.ndarray, distance: float) -> Ints:
    """Return the indices of the ``lines`` (n,) of which some stretch lies near another line or another part.

    ``distance`` in mm. What is near for a short way only is among them.
    """
    chords = _Chords.of(lines)
    return np.unique(chords.owner[_stretches(chords, distance).chord])


def near_places(
    lines: np.ndarray, contours: Ints, distance: float, inside: Callable[[Floats], Bools]
) -> list[NearPlace]:
    """Return where ``lines`` run within ``distance`` mm of each other for at least twenty times that.

    ``contours`` (n,) are the numbers of the lines (n,); ``inside`` says which of many points (m, 2) lie
    in film that stays. Places come in the order of the lines.
    """
    chords = _Chords.of(lines)
    stretches = _stretches(chords, distance)
    if not len(stretches.chord):
        return []
    kinds = _kinds(stretches, distance, inside)
    runs, owner, run_of = _runs(chords, stretches, lines, distance)
    lengths = shapely.length(runs)
    weight = stretches.high - stretches.low
    found = []
    for members in groups(runs, max(_JOINED, 1.5 * distance)):
        # Both lines are among the runs, so the way they run along each other is half of all.
        length = float(lengths[members].sum()) / 2
        if length < LEAST_LENGTH * distance:
            continue
        among = np.isin(run_of, members)
        shares = {kind: float(weight[among & (kinds == kind)].sum()) for kind in Nearness}
        longest = runs[members[int(np.argmax(lengths[members]))]]
        spot = shapely.line_interpolate_point(longest, 0.5, normalized=True)
        found.append(
            NearPlace(
                max(shares, key=lambda kind: shares[kind]),
                length,
                float(stretches.distance[among].max()),
                runs[members],
                tuple(np.unique(contours[owner[members]]).tolist()),
                (spot.x, spot.y),
            )
        )
    return found


def _stretches(chords: _Chords, distance: float) -> _Stretches:
    if not len(chords.size):
        none, index = np.zeros(0), np.zeros(0, np.int64)
        return _Stretches(index, none, none, none, np.zeros((0, 2)), np.zeros((0, 2)))
    i, j = chords.near(distance)
    along = chords.along[j]
    normal = np.stack((-along[:, 1], along[:, 0]), axis=1)
    off = chords.start[i] - chords.start[j]
    # Along chord i, both the distance from line j and the place of the foot on it change linearly.
    place, moving = dot(off, along), dot(chords.along[i], along)
    side, slope = dot(off, normal), dot(chords.along[i], normal)
    low, high = np.zeros(len(i)), chords.size[i].copy()
    for value, rate, bounds in (
        (side, slope, (-distance, distance)),
        (place, moving, (0.0, chords.size[j])),
        chords.between(i, j, place, moving, distance),
    ):
        begin, end = _between(value, rate, bounds)
        low, high = np.maximum(low, begin), np.minimum(high, end)
    kept = high > low
    i, j, low, high, along = i[kept], j[kept], low[kept], high[kept], along[kept]
    first, last = (np.abs(side[kept] + at * slope[kept]) for at in (low, high))
    # A tenth in from the end that lies farther off, so that the spot is inside of the stretch.
    at = np.where(first > last, 0.9 * low + 0.1 * high, 0.1 * low + 0.9 * high)
    spot = chords.start[i] + at[:, None] * chords.along[i]
    foot = chords.start[j] + (place[kept] + at * moving[kept])[:, None] * along
    most = np.maximum(first, last)
    one = most <= ON_LINE
    return _Stretches(i[~one], low[~one], high[~one], most[~one], spot[~one], foot[~one])


def _between(
    value: Floats, rate: Floats, bounds: tuple[float | Floats, float | Floats]
) -> tuple[Floats, Floats]:
    """Return from and to which t ``value + t * rate`` lies within ``bounds``; to is less where it never does."""
    level = np.abs(rate) < 1e-12
    safe = np.where(level, 1.0, rate)
    a, b = (bounds[0] - value) / safe, (bounds[1] - value) / safe
    within = (value >= bounds[0]) & (value <= bounds[1])
    begin = np.where(level, np.where(within, -np.inf, np.inf), np.minimum(a, b))
    end = np.where(level, np.where(within, np.inf, -np.inf), np.maximum(a, b))
    return begin, end


def _kinds(stretches: _Stretches, distance: float, inside: Callable[[Floats], Bools]) -> np.ndarray:
    """Return for each stretch what lies beyond the two lines."""
    step = stretches.foot - stretches.spot
    size = np.hypot(step[:, 0], step[:, 1])[:, None]
    across = np.divide(step, size, out=np.zeros_like(step), where=size > 0)
    # Farther out than a third line that is near as well.
    reach = 2 * distance * across
    before, after = inside(stretches.spot - reach), inside(stretches.foot + reach)
    kinds = np.full(len(size), Nearness.COPY, object)
    kinds[before & after] = Nearness.EDGES
    kinds[~before & ~after] = Nearness.STRIP
    return kinds


def _runs(
    chords: _Chords, stretches: _Stretches, lines: np.ndarray, distance: float
) -> tuple[np.ndarray, Ints, Ints]:
    """Join stretches of one line that overlap or nearly do.

    Returns the runs as lines, the line each is part of, and the run of every stretch.
    """
    owner = chords.owner[stretches.chord]
    begin = chords.way[stretches.chord] + stretches.low
    end = chords.way[stretches.chord] + stretches.high
    # Lines are set one behind the other on one scale, with room between them.
    length = shapely.length(lines)
    base = (np.cumsum(length + 2 * distance) - length)[owner]
    order = np.argsort(base + begin, kind="stable")
    reached = np.maximum.accumulate((base + end)[order])
    fresh = np.append(True, (base + begin)[order][1:] > reached[:-1] + distance)
    number = np.cumsum(fresh) - 1
    run_of = np.empty(len(order), np.int64)
    run_of[order] = number
    first = np.flatnonzero(fresh)
    stop = np.maximum.reduceat(end[order], first)
    runs = _substrings(chords, owner[order][first], begin[order][first], stop)
    return runs, owner[order][first], run_of


def _substrings(chords: _Chords, owner: Ints, begin: Floats, end: Floats) -> np.ndarray:
    """Return the stretch of each line from ``begin`` to ``end`` mm along it."""
    first = np.searchsorted(chords.owner, np.arange(owner.max() + 2))
    drawn = []
    for line, low, high in zip(owner.tolist(), begin.tolist(), end.tolist(), strict=True):
        part = slice(first[line], first[line + 1])
        way, start, along = chords.way[part], chords.start[part], chords.along[part]
        a, b = np.searchsorted(way, (low, high), "right") - 1
        b = max(int(np.searchsorted(way, high, "left")) - 1, int(a))
        ends = [start[k] + (at - way[k]) * along[k] for k, at in ((a, low), (b, high))]
        drawn.append(np.concatenate((ends[:1], start[a + 1 : b + 1], ends[1:])))
    counts = [len(points) for points in drawn]
    indices = np.repeat(np.arange(len(drawn)), counts)
    return np.asarray(shapely.linestrings(np.concatenate(drawn), indices=indices))
