"""Short tours through points with known distances: 2-opt and Or-opt moves, then seeded kicks.

Greedy nearest neighbour gives a first tour. It is mended by 2-opt (G. A. Croes, 1958) and Or-opt
(I. Or, 1976) moves over each point's nearest neighbours, until no such move shortens it. Then short
stretches are swapped at random places (the double bridge of Martin, Otto and Felten, 1991, kept
local) and mended again; what is not shorter is undone. (Sources from memory.) Everything is decided
by the distances and a seed, never by a clock, so a tour comes out the same every time; a caller who
has a clock passes ``going``.

All moves are made of exchanges of two edges, each a reversal of a stretch; so undoing is reversing
again in the other order.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from preflight.curves import Floats

NEIGHBOURS = 8
_CHAINS = ((1, 0), (2, 0), (2, -1), (3, 0), (3, -2))
"""Chains that begin or end at a point: how many points, and where the first of them is."""
_KICK = 30
"""A kick swaps two stretches of at most this many points each."""
_LEAST_GAIN = 1e-10
"""Of the largest distance: what is less is rounding, and following it would never end."""


def tour_length(distances: Floats, tour: Sequence[int]) -> float:
    """Return the length of a closed tour by the matrix ``distances`` (n, n)."""
    order = np.asarray(tour)
    return float(distances[order, np.roll(order, -1)].sum())


def short_tour(
    distances: Floats, *, kicks: int = 0, seed: int = 1, going: Callable[[], bool] | None = None
) -> list[int]:
    """Return a short closed tour through all points, which begins at point 0.

    ``distances`` (n, n) is symmetric. ``kicks`` is how often a random change is tried after the tour
    has been mended; ``going`` is asked before each of them, and False ends it.
    """
    count = len(distances)
    if count <= 3:
        return list(range(count))
    work = _Tour(distances)
    work.mend(range(count))
    chance = random.Random(seed)
    if count >= 8:
        for _ in range(kicks):
            if going is not None and not going():
                break
            work.kick(chance)
    first = work.tour.index(0)
    return work.tour[first:] + work.tour[:first]


def short_path(
    distances: Floats, *, kicks: int = 0, seed: int = 1, going: Callable[[], bool] | None = None
) -> list[int]:
    """Return a short path through all points that begins at point 0 and ends anywhere."""
    count = len(distances)
    # One more point, as near to all others, and so near to point 0 that the tour never parts the two.
    far = 10 * float(distances.max(initial=0.0)) + 1.0
    more = np.zeros((count + 1, count + 1))
    more[:count, :count] = distances
    more[count, 0] = more[0, count] = -far
    tour = short_tour(more, kicks=kicks, seed=seed, going=going)
    if len(tour) > 2 and tour[1] == count:
        tour = [0, *reversed(tour[1:])]
    return [point for point in tour if point != count]


def nearest_neighbour(distances: Floats, start: int = 0) -> list[int]:
    """Return the tour that always goes on to the nearest point not yet visited."""
    count = len(distances)
    left = np.ones(count, bool)
    tour = [start]
    for _ in range(count - 1):
        left[tour[-1]] = False
        tour.append(int(np.where(left, distances[tour[-1]], np.inf).argmin()))
    return tour


class _Tour:
    """A tour under change: the order of points, each point's place in it, and the reversals made."""

    def __init__(self, distances: Floats) -> None:
        count = len(distances)
        self.count = count
        self.far: list[list[float]] = distances.tolist()
        others = distances.copy()
        np.fill_diagonal(others, np.inf)
        nearest = np.argsort(others, axis=1, kind="stable")[:, : min(NEIGHBOURS, count - 1)]
        self.near: list[list[int]] = nearest.tolist()
        self.tour = nearest_neighbour(distances)
        self.place = [0] * count
        for place, point in enumerate(self.tour):
            self.place[point] = place
        self.made: list[tuple[int, int]] = []
        self.recording = False
        self.least = _LEAST_GAIN * float(np.abs(distances).max())

    def _reverse(self, first: int, last: int) -> None:
        """Turn round the stretch from place ``first`` to ``last``, over the end where first > last.

        The rest is turned round instead where it is shorter: as a closed tour that is the same.
        """
        tour, place, count = self.tour, self.place, self.count
        inner = (last - first) % count + 1
        if inner * 2 > count:
            first, last, inner = (last + 1) % count, (first - 1) % count, count - inner
        if first <= last:
            part = tour[first : last + 1]
            part.reverse()
            tour[first : last + 1] = part
            for at, point in enumerate(part, first):
                place[point] = at
            return
        for _ in range(inner // 2):
            a, b = tour[first], tour[last]
            tour[first], tour[last] = b, a
            place[b], place[a] = first, last
            first = first + 1 if first + 1 < count else 0
            last = last - 1 if last else count - 1

    def _exchange(self, a: int, b: int, c: int, d: int) -> None:
        """Replace the edges ab and cd by ac and bd; read one way or the other, the tour is a b .. c d."""
        place = self.place
        first, last = place[b], place[c]
        if self.tour[place[a] - 1] == b and self.tour[place[d] - 1] != c:
            first, last = last, first
        if self.recording:
            self.made.append((first, last))
        self._reverse(first, last)

    def _move(self, ends: tuple[int, int, int, int], u: int, v: int, *, turned: bool) -> None:
        """Put a chain between u and v: ``ends`` are the point before it, its ends, the point after it.

        The tour, read one way, is p s .. t n .. u v; after it p n .. u s .. t v, or u t .. s v if turned.
        """
        p, s, t, n = ends
        self._exchange(p, s, u, v)
        if n != u:
            self._exchange(p, u, n, t)
        if s != t and not turned:
            self._exchange(u, t, s, v)

    def mend(self, points: Iterable[int]) -> float:
        """Shorten the tour until no move at ``points``, or at what moves touched, helps; return the gain."""
        waiting = deque(points)
        queued = set(waiting)
        gained = 0.0
        while waiting:
            point = waiting.popleft()
            queued.discard(point)
            while True:
                gain, touched = self._two_opt(point)
                if not gain:
                    gain, touched = self._or_opt(point)
                if not gain:
                    break
                gained += gain
                for other in touched:
                    if other not in queued:
                        queued.add(other)
                        waiting.append(other)
        return gained

    def _two_opt(self, a: int) -> tuple[float, tuple[int, ...]]:
        """Exchange two edges, one of them at ``a``, where that shortens the tour."""
        tour, place, far, count = self.tour, self.place, self.far, self.count
        at, row = place[a], far[a]
        after, before = tour[at + 1 if at + 1 < count else 0], tour[at - 1]
        edge_after, edge_before = row[after], row[before]
        for c in self.near[a]:
            step = row[c]
            if step < edge_after:
                there = place[c] + 1
                d = tour[there if there < count else 0]
                gain = edge_after + far[c][d] - step - far[after][d]
                if gain > self.least:
                    self._exchange(a, after, c, d)
                    return gain, (a, after, c, d)
            if step < edge_before:
                d = tour[place[c] - 1]
                gain = edge_before + far[c][d] - step - far[before][d]
                if gain > self.least:
                    self._exchange(a, before, c, d)
                    return gain, (a, before, c, d)
            elif step >= edge_after:
                break
        return 0.0, ()

    def _or_opt(self, a: int) -> tuple[float, tuple[int, ...]]:
        """Move a chain of up to three points that begins or ends at ``a`` next to a neighbour of ``a``."""
        tour, place, far, count = self.tour, self.place, self.far, self.count
        at = place[a]
        for size, first in _CHAINS:
            if size > count - 3:
                break
            begin = (at + first) % count
            end = (begin + size - 1) % count
            s, t = tour[begin], tour[end]
            p, n = tour[begin - 1], tour[end + 1 if end + 1 < count else 0]
            freed = far[p][s] + far[t][n] - far[p][n]
            other = t if a == s else s
            for c in self.near[a]:
                step = far[a][c]
                if step >= freed:
                    break
                there = place[c]
                if (there - begin) % count < size:
                    continue
                ahead = tour[there + 1 if there + 1 < count else 0]
                for d, u, v in ((ahead, c, ahead), (tour[there - 1], tour[there - 1], c)):
                    if d in (s, t):
                        continue  # the edge to the chain itself
                    gain = freed + far[c][d] - step - far[other][d]
                    if gain > self.least:
                        self._move((p, s, t, n), u, v, turned=(a == s) != (c == u))
                        return gain, (p, s, t, n, u, v)
        return 0.0, ()

    def kick(self, chance: random.Random) -> None:
        """Swap two neighbouring stretches at a random place, mend, and undo all if nothing was won."""
        tour, far, count = self.tour, self.far, self.count
        most = min(_KICK, (count - 2) // 2)
        at = chance.randrange(count)
        one, two = chance.randint(1, most), chance.randint(1, most)
        p, s = tour[at], tour[(at + 1) % count]
        t, n = tour[(at + one) % count], tour[(at + one + 1) % count]
        u, v = tour[(at + one + two) % count], tour[(at + one + two + 1) % count]
        longer = far[p][n] + far[u][s] + far[t][v] - far[p][s] - far[t][n] - far[u][v]
        self.made.clear()
        self.recording = True
        self._move((p, s, t, n), u, v, turned=False)
        if self.mend((p, s, t, n, u, v)) - longer <= self.least:
            for first, last in reversed(self.made):
                self._reverse(first, last)
        self.recording = False
