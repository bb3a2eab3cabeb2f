"""Fit few cubics to many points: least squares, with corners kept, within a stated tolerance.

The method is P. J. Schneider's (An Algorithm for Automatically Fitting Digitized Curves, Graphics
Gems, 1990; from memory): a piece gets the cubic with given end tangents that is nearest in the least
squares, its parameters are bettered by Newton's method, and where it still strays by more than the
tolerance it is parted at the worst point. Unlike there, all pieces of a level are fitted in the same
array calls, so the time grows with the points times the number of levels.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from preflight.curves import Bools, Floats, Ints, Path

_REACH = 8.0
"""Tangents and corners are seen over so many tolerances: noise within the tolerance then turns them little."""

_CORNER = np.radians(40.0)
_ROUNDS = 8
_HOPELESS = 100.0
"""A first fit worse than so many tolerances is parted at once; Newton's method seldom saves it. Parting
at the worst point leaves more pieces than needed, so neighbours are united afterwards where that fits."""


def fit(points: Floats, tolerance: float, corners: Ints | None = None) -> Path:
    """Return one subpath of cubics (straight where a piece between corners is) through ``points`` (n, 2).

    Every point lies within ``tolerance`` of the curve (same unit as the points). Long chords are looked
    at every 20 tolerances as well; between such spots the curve may stray a few percent further. The
    result is closed if the last point repeats the first. Pieces meet smoothly except at ``corners``, indices of
    points; None: `find_corners` looks for them. Raises ValueError for fewer than two different
    points or a tolerance that is not positive.
    """
    if not tolerance > 0:
        raise ValueError(f"the tolerance is {tolerance}; it must be greater than 0")
    points, index = _distinct(np.asarray(points, float))
    if len(points) < 2:
        raise ValueError("fitting takes two different points or more")
    closed = len(points) > 3 and bool((points[0] == points[-1]).all())
    sharp = find_corners(points, tolerance) if corners is None else np.unique(index[corners])
    points, at = _filled_in(points, 20 * tolerance)
    sharp = at[sharp]
    if closed and (0 in sharp or len(points) - 1 in sharp):
        sharp = np.union1d(sharp, [0, len(points) - 1])
    run = _Run(points, closed, sharp, tolerance)
    return run.fitted()


def find_corners(points: Floats, tolerance: float) -> Ints:
    """Return the indices of points (n, 2) where the line turns by more than 40 degrees.

    The turn is seen over 8 tolerances to both sides. The line is closed if its last point repeats
    the first; its ends are no corners unless it is closed and turns there (then index 0 is given).
    """
    closed = len(points) > 3 and bool((points[0] == points[-1]).all())
    where = _way(points)
    before, after = _seen(points, where, where, _REACH * tolerance, closed)
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.abs(np.arctan2(cross, (before * after).sum(axis=1)))
    if not closed:
        turn[[0, -1]] = 0.0
    above = np.flatnonzero(turn > _CORNER)
    if not len(above):
        return above
    runs = np.split(above, np.flatnonzero(where[above[1:]] - where[above[:-1]] > _REACH * tolerance / 2) + 1)
    found = np.array([run[np.argmax(turn[run])] for run in runs])
    return np.unique(np.where(found == len(points) - 1, 0, found)) if closed else found


def _distinct(points: Floats) -> tuple[Floats, Ints]:
    """Return the points without repeats in a row, and where each of the given ones went."""
    new = np.ones(len(points), bool)
    new[1:] = (points[1:] != points[:-1]).any(axis=1)
    return points[new], np.cumsum(new) - 1


def _filled_in(points: Floats, longest: float) -> tuple[Floats, Ints]:
    """Return the points with long chords parted evenly, and the index of each given point."""
    step = np.diff(points, axis=0)
    parts = np.maximum(np.ceil(np.hypot(step[:, 0], step[:, 1]) / longest), 1).astype(np.int64)
    at = np.concatenate(([0], np.cumsum(parts)))
    which = np.repeat(np.arange(len(step)), parts)
    share = (np.arange(at[-1]) - at[which] + 1) / parts[which]
    return np.concatenate((points[:1], points[which] + step[which] * share[:, None])), at


def _way(points: Floats) -> Floats:
    step = np.diff(points, axis=0)
    return np.concatenate(([0.0], np.cumsum(np.hypot(step[:, 0], step[:, 1]))))


def _seen(points: Floats, where: Floats, spots: Floats, reach: float, closed: bool) -> tuple[Floats, Floats]:
    """Return the vectors from ``reach`` before each spot to it, and from it to ``reach`` after it.

    Past the ends of an open line the vector is shorter, at the very end nothing.
    """

    def at(places: Floats) -> Floats:
        places = places % where[-1] if closed else np.clip(places, 0, where[-1])
        return np.stack([np.interp(places, where, points[:, axis]) for axis in (0, 1)], axis=1)

    here = at(spots)
    return here - at(spots - reach), at(spots + reach) - here


@dataclass(frozen=True, eq=False)
class _Pieces:
    """Pieces of a run: first and last points (k,), and the unit tangents into the piece there (k, 2)."""

    first: Ints
    last: Ints
    head: Floats
    tail: Floats

    def __getitem__(self, chosen: Bools | Ints) -> _Pieces:
        return _Pieces(self.first[chosen], self.last[chosen], self.head[chosen], self.tail[chosen])


class _Run:
    """One line to be fitted."""

    def __init__(self, points: Floats, closed: bool, corners: Ints, tolerance: float) -> None:
        self.points, self.closed, self.tolerance = points, closed, tolerance
        self.where = _way(points)
        self.corner = np.zeros(len(points), bool)
        self.corner[corners] = True
        if not closed:
            self.corner[[0, -1]] = True

    def fitted(self) -> Path:
        """Part the run until every piece fits, then unite neighbours as long as that fits too."""
        cuts = np.unique(np.concatenate((np.flatnonzero(self.corner), [0, len(self.points) - 1])))
        first, last = cuts[:-1], cuts[1:]
        done = []
        while len(first):
            controls, straight, fits, worst = self._tried(first, last)
            done.append((first[fits], controls[fits], straight[fits]))
            first, last, worst = first[~fits], last[~fits], worst[~fits]
            first, last = np.concatenate((first, worst)), np.concatenate((worst, last))
        begin, controls, straight = (np.concatenate([item[i] for item in done]) for i in range(3))
        order = np.argsort(begin)
        begin, controls, straight = self._united(begin[order], controls[order], straight[order])
        return Path(controls, straight, np.zeros(1, np.int64), np.array([self.closed]))

    def _tried(self, first: Ints, last: Ints) -> tuple[Floats, Bools, Bools, Ints]:
        """Return the cubics of pieces, which of them are straight, which fit, and where each is worst."""
        pieces = _Pieces(first, last, self._tangents(first, last), self._tangents(last, first))
        straight = self._straight(pieces)
        controls, fits, worst = self._fit(pieces)
        controls[straight] = self._chords(pieces[straight])
        return controls, straight, fits | straight, worst

    def _united(self, begin: Ints, controls: Floats, straight: Bools) -> tuple[Ints, Floats, Bools]:
        """Try each piece together with the next, every other pair at a time, until no pair fits."""
        refused = np.zeros(len(begin), bool)
        parity, idle = 0, 0
        while idle < 2 and len(begin) > 1:
            ends = np.append(begin[1:], len(self.points) - 1)
            pairs = np.arange(parity, len(begin) - 1, 2)
            pairs = pairs[~self.corner[begin[pairs + 1]] & ~refused[pairs]]
            parity, idle = 1 - parity, idle + 1
            if not len(pairs):
                continue
            united, line, fits, _ = self._tried(begin[pairs], ends[pairs + 1])
            refused[pairs[~fits]] = True
            joined = pairs[fits]
            if len(joined):
                controls[joined], straight[joined] = united[fits], line[fits]
                # What was refused next to a longer piece is refused all the more.
                kept = np.ones(len(begin), bool)
                kept[joined + 1] = False
                refused[joined] = refused[joined + 1]
                begin, controls = begin[kept], controls[kept]
                straight, refused = straight[kept], refused[kept]
                idle = 0
        return begin, controls, straight

    def _tangents(self, ends: Ints, others: Ints) -> Floats:
        """Return unit tangents at ``ends`` towards ``others``: of one side at corners, else of both."""
        forward = np.where(others > ends, 1.0, -1.0)[:, None]
        reach = _REACH * self.tolerance
        before, after = _seen(self.points, self.where, self.where[ends], reach, self.closed)
        both = (before + after) * forward
        # Of one side never past the piece's other end.
        size = np.minimum(reach, np.abs(self.where[others] - self.where[ends]))
        spots = self.where[ends] + forward[:, 0] * size
        seen = np.stack([np.interp(spots, self.where, self.points[:, axis]) for axis in (0, 1)], axis=1)
        one = seen - self.points[ends]
        tangent = np.where(self.corner[ends][:, None], one, both)
        length = np.hypot(tangent[:, 0], tangent[:, 1])
        # A line that comes back to where it was has no direction at that reach: take the next chord's.
        lost = length < 1e-9 * reach
        tangent[lost] = (self.points[ends + np.where(others > ends, 1, -1)] - self.points[ends])[lost]
        length[lost] = np.hypot(tangent[lost, 0], tangent[lost, 1])
        unit: Floats = tangent / length[:, None]
        return unit

    def _chords(self, pieces: _Pieces) -> Floats:
        a, b = self.points[pieces.first], self.points[pieces.last]
        return np.stack((a, a, b, b), axis=1)

    def _straight(self, pieces: _Pieces) -> Bools:
        """Return which pieces are single chords, or run straight from corner to corner."""
        single = pieces.last - pieces.first == 1
        straight = self.corner[pieces.first] & self.corner[pieces.last]
        index, of, begin = _gathered(pieces)
        a = self.points[pieces.first]
        along = self.points[pieces.last] - a
        square = (along * along).sum(axis=1)
        square[square == 0] = np.inf  # a loop from a corner to itself: its points are off by their distance
        off = self.points[index] - a[of]
        share = np.clip((off * along[of]).sum(axis=1) / square[of], 0, 1)
        across = np.hypot(*(off - along[of] * share[:, None]).T)
        near = np.maximum.reduceat(across, begin) <= self.tolerance
        found: Bools = single | (straight & near)
        return found

    def _fit(self, pieces: _Pieces) -> tuple[Floats, Bools, Ints]:
        """Return cubics (k, 4, 2), which pieces they fit, and the worst point inside each."""
        controls = self._chords(pieces)
        fits = np.zeros(len(pieces.first), bool)
        worst = (pieces.first + pieces.last) // 2
        open_ = np.flatnonzero(pieces.last - pieces.first > 1)
        at = self._shares(pieces[open_])
        for round_ in range(_ROUNDS):
            if not len(open_):
                break
            group = pieces[open_]
            members = _gathered(group)
            index, of, begin = members
            cubics = _least_squares(self.points, group, members, at)
            off, slope, bend = _compare(cubics[of], at, self.points[index])
            error = (off * off).sum(axis=1)
            largest = np.maximum.reduceat(error, begin)
            controls[open_] = cubics
            fits[open_] = largest <= self.tolerance**2
            worst[open_] = _worst(error, largest, members, group)
            limit = _HOPELESS if round_ < 2 else 4.0
            again = ~fits[open_] & (largest <= (limit * self.tolerance) ** 2)
            at = np.clip(at - _newton(off, slope, bend), 0, 1)[again[of]]
            open_ = open_[again]
        return controls, fits, worst

    def _shares(self, pieces: _Pieces) -> Floats:
        """Return each point's share of its piece's length, for the points of all pieces."""
        index, of, _ = _gathered(pieces)
        begin, end = self.where[pieces.first], self.where[pieces.last]
        shares: Floats = (self.where[index] - begin[of]) / (end - begin)[of]
        return shares


class _Members(NamedTuple):
    """The points of many pieces, both ends included (m,), the piece of each (m,), where each piece begins (k,)."""

    point: Ints
    of: Ints
    begin: Ints


def _gathered(pieces: _Pieces) -> _Members:
    count = pieces.last - pieces.first + 1
    begin = np.cumsum(count) - count
    of = np.repeat(np.arange(len(count)), count)
    return _Members(np.arange(int(count.sum())) - begin[of] + pieces.first[of], of, begin)


def _least_squares(points: Floats, pieces: _Pieces, members: _Members, at: Floats) -> Floats:
    """Return the cubics (k, 4, 2) with the pieces' ends and tangents that are nearest to their points.

    Unknown are the two handles' lengths; where they come out without sense, a third of the chord.
    """
    index, of, begin = members
    a, b = points[pieces.first], points[pieces.last]
    s, t = 1 - at, at
    one, two = 3 * t * s * s, 3 * t * t * s
    rest = points[index] - a[of] * (s**3 + one)[:, None] - b[of] * (t**3 + two)[:, None]
    cosine = (pieces.head * pieces.tail).sum(axis=1)
    c00 = np.add.reduceat(one * one, begin)
    c01 = np.add.reduceat(one * two, begin) * cosine
    c11 = np.add.reduceat(two * two, begin)
    x0 = np.add.reduceat(one * (rest * pieces.head[of]).sum(axis=1), begin)
    x1 = np.add.reduceat(two * (rest * pieces.tail[of]).sum(axis=1), begin)
    chord = np.hypot(*(b - a).T)
    det = c00 * c11 - c01 * c01
    with np.errstate(divide="ignore", invalid="ignore"):
        first, second = (c11 * x0 - c01 * x1) / det, (c00 * x1 - c01 * x0) / det
    sound = (det > 1e-12 * c00 * c11) & (np.minimum(first, second) > 1e-6 * chord)
    first, second = np.where(sound, first, chord / 3), np.where(sound, second, chord / 3)
    return np.stack((a, a + pieces.head * first[:, None], b + pieces.tail * second[:, None], b), axis=1)


def _compare(cubics: Floats, at: Floats, points: Floats) -> tuple[Floats, Floats, Floats]:
    """Return cubic less point, first and second derivative, each (n, 2)."""
    p0, p1, p2, p3 = (cubics[:, i] for i in range(4))
    t = at[:, None]
    c, b, a = 3 * (p1 - p0), 3 * (p2 - 2 * p1 + p0), p3 - 3 * (p2 - p1) - p0
    off = ((a * t + b) * t + c) * t + p0 - points
    return off, (3 * a * t + 2 * b) * t + c, 6 * a * t + 2 * b


def _newton(off: Floats, slope: Floats, bend: Floats) -> Floats:
    """Return the step that brings each parameter nearer to the foot of its point."""
    value = (off * slope).sum(axis=1)
    rate = (slope * slope).sum(axis=1) + (off * bend).sum(axis=1)
    step: Floats = np.divide(value, rate, out=np.zeros_like(value), where=rate > 0)
    return step


def _worst(error: Floats, largest: Floats, members: _Members, pieces: _Pieces) -> Ints:
    """Return the point with the largest error inside each piece; never an end."""
    hit = np.flatnonzero(error == largest[members.of])
    first = np.searchsorted(members.of[hit], np.arange(len(largest)))
    return np.clip(members.point[hit[first]], pieces.first + 1, pieces.last - 1)
