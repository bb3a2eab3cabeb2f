"""Where a swivel knife strays from a contour although the blade offset is compensated.

With the offset compensated the pivot follows t + r T and swings round the resting tip at corners, and
in the model of `preflight.cutting.knife` that leaves no error at all: not at right angles, not at
acute points, not in bends tighter than the offset. What the model takes for granted is that the film
holds the tip while the blade turns in place. It does where the blade has a cut behind it and film
before it that are as long as its lever, the offset. Where sharp turns follow each other within the
offset there is neither: the film stands in shreds around the tip, and machines leave out arcs that
have no leg to start from. There the swing is not counted on: the pivot is taken to go straight from
its place before the turn to its place after it, dragging the tip along, and the error is what the
cut then differs by. (This assumption has no published source. It is on the safe side: a machine that
makes every arc, in film that holds, cuts better.)

Not judged: how far the edge itself reaches ahead of the tip at the film's upper face, which is
thickness / tan(blade angle), under 0.1 mm in thin film; force, speed, and wear.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from preflight.curves import Bools, Floats, Ints, Polylines, counting
from preflight.cutting.knife import deviations, parted, pivot_path, tip_path, turns
from preflight.geometry.turning import SAME, turning

STEP = 0.025
"""A cutter is addressed in steps of this many mm (HP PCL/PJL reference, table 17-7: plotter unit)."""

SHARP = np.radians(30.0)
"""Lesser turns need no swing: joined straight they err by 0.012 offsets (calculated with the model)."""

_LEAD_IN, _LEAD_OUT, _APART = 1.0, 5.0, 4.0
"""In offsets: how far before and after the turns is looked at, and what turns are looked at together.
The blade has settled to 2 % after four offsets, to 0.7 % after five."""

_SAMPLE = 0.125
"""The cut is calculated at pivot positions this many offsets apart."""


@dataclass(frozen=True, slots=True)
class TightSpot:
    """A place where the cut strays. Lengths in mm, ``turn`` in radians.

    ``turns`` is the number of sharp turns around it, ``turn`` their sum as the contour goes on,
    ``leg`` the shortest way from one to the next, ``way`` that from the first to the last,
    ``back_and_forth`` whether they turn both ways,
    ``bend`` whether there is a curve among them, ``error`` how far the cut is off at the worst.
    """

    error: float
    point: tuple[float, float]
    box: tuple[float, float, float, float]
    turns: int
    turn: float
    leg: float
    way: float
    back_and_forth: bool
    bend: bool

    @property
    def radius(self) -> float:
        """Radius of a bend that turns as much over its legs, mm."""
        return self.way / abs(self.turn) if self.turn else 0.0


def least_turn(offset: float, tolerance: float) -> float:
    """Return the sum of turns (radians) below which unswung turns err by less than ``tolerance``.

    The bound offset (1 - cos(turn / 2)) lies above the error of every single turn and of every run
    of turns tried (see the tests); turns all at one spot are the worst.
    """
    return float(2 * np.arccos(np.clip(1 - tolerance / offset, -1.0, 1.0)))


def suspects(lines: Polylines, offset: float, tolerance: float) -> Ints:
    """Return the indices of contours that turn so much within few offsets that they need a closer look.

    A sharp turn with no other near it is swung, and does not count.
    """
    if not len(lines) or offset <= 0 or tolerance >= 2 * offset:
        return np.zeros(0, np.int64)
    where, turn, contour = _vertices(lines, 3 * offset)
    if not len(where):
        return np.zeros(0, np.int64)
    alone = _around(where, turn, offset) - turn < SHARP
    counted = np.where(alone & (turn > SHARP), 0.0, turn)
    much = _around(where, counted, 1.5 * offset) >= least_turn(offset, tolerance) - 1e-6
    return np.unique(contour[much])


def _vertices(lines: Polylines, overlap: float) -> tuple[Floats, Floats, Ints]:
    """Return for each vertex its place along all contours, the size of its turn, and its contour.

    Contours lie far apart in place. A closed one goes on for ``overlap`` past its seam, so that the
    vertices on both sides of it are found next to each other.
    """
    chords = turning(lines)
    owner, size, turn, first, count = chords.owner, chords.size, chords.turn, chords.first, chords.count
    if not len(owner):
        return size, turn, owner
    turn = np.abs(turn)
    closed = lines.closed[owner[first]]
    along = np.cumsum(size)
    begin, length = (along - size)[first], np.add.reduceat(size, first)
    head = np.searchsorted(along, begin + np.minimum(overlap, length), side="right") - first
    whole = count + np.where(closed, head, 0)
    nth = counting(whole)
    which = np.repeat(np.arange(len(first)), whole)
    again = nth >= count[which]
    index = first[which] + nth - again * count[which]
    place = along[index] + again * length[which] + which * 10 * overlap
    return place, turn[index], owner[index]


def _around(where: Floats, turn: Floats, reach: float) -> Floats:
    """Return for each vertex the sum of turns within ``reach`` to both sides of it along its contour."""
    sums = np.concatenate(([0.0], np.cumsum(turn)))
    high = np.searchsorted(where, where + reach, side="right")
    low = np.searchsorted(where, where - reach, side="left")
    around: Floats = sums[high] - sums[low]
    return around


_MARGIN = 1.3
"""Runs of turns stray by at most so many times their largest lag, up to 0.6 offsets (tried on 6,000 runs
at random; where they stray farther, the lag is so large that none is passed over; see the tests)."""


def lags(turn: Floats, legs: Floats, offset: float) -> Floats:
    """Return how far (mm) the tip is beside the leg after each of some unswung turns, (n,).

    ``turn`` (n,) in radians, ``legs`` (n,) in mm the straight way after each turn. Exact for straight
    legs: each turn is one chord of the pivot, each leg another; `tan(a/2)` decays along both.
    """
    angle, found = 0.0, []
    for turned, leg in zip(turn.tolist(), legs.tolist(), strict=True):
        quarter = math.copysign(math.pi / 2, turned)
        chord = 2 * math.sin(abs(turned) / 2)
        angle = turned / 2 - quarter + _settled(turned / 2 + quarter + angle, chord)
        angle = math.remainder(angle, 2 * math.pi)
        found.append(offset * math.sin(min(abs(angle), math.pi / 2)))
        angle = _settled(angle, leg / offset)
    return np.array(found)


def _settled(angle: float, way: float) -> float:
    """Return the angle left between chord and blade after so many offsets of way."""
    return 2 * math.atan(math.tan(math.remainder(angle, 2 * math.pi) / 2) * math.exp(-way))


@dataclass(frozen=True, eq=False)
class _Contour:
    """A contour without what a cutter cannot be told. ``points`` (n, 2); a closed one is not repeated
    at its end. ``at`` (n,) is the way to each point, ``length`` the whole; ``turn`` (n,) the turn at
    each point; ``curved`` (n,) how many points up to it come from curves."""

    points: Floats
    closed: bool
    at: Floats
    length: float
    turn: Floats
    curved: Ints


def tight_spots(
    points: Floats, corners: Bools, *, closed: bool, offset: float, tolerance: float
) -> Iterator[TightSpot]:
    """Yield the places where the cut along a flattened contour strays by more than ``tolerance`` mm.

    ``points`` (n, 2) in mm, a closed contour's first repeated at its end; ``corners`` (n,) marks
    nodes of the artwork. Details under half a cutter's step are left out first.
    """
    contour = _reduced(points, corners, closed)
    if contour is None:
        return
    sharp = np.flatnonzero(np.abs(contour.turn) > SHARP)
    unswung = sharp[_has_short_leg(contour, sharp, offset)]
    least = least_turn(offset, tolerance) - 1e-6
    for run in _runs(contour, unswung, _APART * offset):
        if np.abs(contour.turn[run]).sum() < least:
            continue
        behind = lags(contour.turn[run], _legs(contour, run), offset)
        if _MARGIN * behind.max() <= tolerance:
            continue
        for part in _worst_parts(run, behind):
            spot = _spot(contour, part, offset, tolerance)
            if spot is not None:
                yield spot
                break


def _worst_parts(run: Ints, behind: Floats) -> Iterator[Ints]:
    """Yield a short run whole; of a long one up to three parts, those around the largest lags."""
    if len(run) <= _LONG:
        yield run
        return
    for _ in range(3):
        worst = int(np.argmax(behind))
        part = slice(max(worst - _LONG // 2, 0), worst + _LONG // 4)
        yield run[part]
        behind = behind.copy()
        behind[part] = 0.0


_LONG = 256
"""Runs of more turns are calculated only where they are worst: they are one finding anyway."""


def _reduced(points: Floats, corners: Bools, closed: bool) -> _Contour | None:
    line = shapely.simplify(shapely.linestrings(points), STEP / 2, preserve_topology=False)
    kept = shapely.get_coordinates(line)
    apart = np.hypot(*np.diff(kept, axis=0, prepend=np.inf).T) > SAME
    kept = kept[apart]
    if closed and len(kept) > 1 and np.hypot(*(kept[-1] - kept[0])) <= SAME:
        kept = kept[:-1]
    if len(kept) < 3:
        return None
    ring = np.concatenate((kept[-1:], kept, kept[:1])) if closed else kept
    turn = turns(ring) if closed else np.concatenate(([0.0], turns(ring), [0.0]))
    size = np.hypot(*np.diff(kept, axis=0, append=kept[:1]).T)
    at = np.concatenate(([0.0], np.cumsum(size)))
    curved = np.cumsum(~corners, dtype=np.int64)[_found_again(kept, points)]
    return _Contour(kept, closed, at[:-1], float(at[-1] if closed else at[-2]), turn, curved)


def _found_again(kept: Floats, points: Floats) -> list[int]:
    """Return which of ``points`` each of ``kept`` is; both in the same order."""
    all_ = enumerate(map(tuple, points.tolist()))
    return [next(i for i, point in all_ if point == one) for one in map(tuple, kept.tolist())]


def _legs(contour: _Contour, vertices: Ints) -> Floats:
    """Return the way along the contour from each of the vertices (as they follow) to the next, cyclic."""
    legs = np.diff(contour.at[vertices], append=contour.at[vertices[:1]])
    legs[legs <= 0] += contour.length
    if not contour.closed:
        legs[-1:] = np.inf
    return legs


def _has_short_leg(contour: _Contour, sharp: Ints, offset: float) -> Bools:
    if not len(sharp):
        return np.zeros(0, bool)
    short = _legs(contour, sharp) < offset
    found: Bools = short | np.roll(short, 1)
    return found


def _runs(contour: _Contour, vertices: Ints, apart: float) -> list[Ints]:
    """Return the vertices in runs whose neighbours are at most ``apart`` from each other."""
    if not len(vertices):
        return []
    breaks = np.flatnonzero(_legs(contour, vertices) > apart)
    if not len(breaks):
        return [vertices]
    turned = np.roll(vertices, -int(breaks[-1]) - 1)
    cuts = (breaks[:-1] - int(breaks[-1]) - 1) % len(vertices) + 1
    return np.split(turned, cuts)


def _spot(contour: _Contour, run: Ints, offset: float, tolerance: float) -> TightSpot | None:
    """Cut the stretch around a run of turns and return its worst spot, if that is worse than allowed."""
    wanted, swung = _stretch(contour, run, offset)
    pivot = pivot_path(wanted, offset, swung=swung)
    cut = tip_path(parted(pivot.points, _SAMPLE * offset), offset, pivot.heading)
    fine = parted(wanted, _SAMPLE * offset)
    off, on_wanted = deviations(cut, wanted)
    missed, _ = deviations(fine, cut)
    error = np.concatenate((off, missed))
    where = np.concatenate((on_wanted, fine))
    worst = int(np.argmax(error))
    if error[worst] <= tolerance:
        return None
    x0, y0 = where[error > tolerance].min(axis=0)
    x1, y1 = where[error > tolerance].max(axis=0)
    near = run[np.hypot(*(contour.points[run] - where[worst]).T) <= 2 * offset]
    near = near if len(near) > 1 else run
    turn = contour.turn[near]
    legs = np.diff(contour.at[near]) % contour.length
    return TightSpot(
        error=float(error[worst]),
        point=(float(where[worst][0]), float(where[worst][1])),
        box=(float(x0), float(y0), float(x1), float(y1)),
        turns=len(near),
        turn=float(turn.sum()),
        leg=float(legs.min()),
        way=float(legs.sum()),
        back_and_forth=bool((turn > 0).any() and (turn < 0).any()),
        bend=bool(contour.curved[near[-1]] != contour.curved[near[0]]),
    )


def _stretch(contour: _Contour, run: Ints, offset: float) -> tuple[Floats, Bools]:
    """Return the contour (n, 2) from before a run of turns to after it, and where the pivot swings (n - 2,).

    A closed contour is gone round as often as it takes.
    """
    begin = contour.at[run[0]] - _LEAD_IN * offset
    way = float((contour.at[run[-1]] - contour.at[run[0]]) % contour.length)
    end = begin + way + (_LEAD_IN + _LEAD_OUT) * offset
    whole = np.isin(np.arange(len(contour.at)), run)
    if contour.closed:
        first, last = int(np.floor(begin / contour.length)), int(np.floor(end / contour.length))
        laps = np.arange(first, last + 2)
        at = (contour.at + laps[:, None] * contour.length).ravel()
        points, unswung = np.tile(contour.points, (len(laps), 1)), np.tile(whole, len(laps))
    else:
        at, points, unswung = contour.at, contour.points, whole
        begin, end = max(begin, 0.0), min(end, contour.length)
    inner = np.flatnonzero((at > begin + SAME) & (at < end - SAME))
    ends = np.stack([np.interp([begin, end], at, points[:, axis]) for axis in (0, 1)], axis=1)
    return np.concatenate((ends[:1], points[inner], ends[1:])), ~unswung[inner]
