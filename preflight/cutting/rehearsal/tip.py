"""Where the tip of the knife goes for many contours at once, and how far beside the line.

Both ways are the trailing-blade model of `preflight.cutting.knife`:

- *uncompensated*, the pivot follows the line and the tip lags behind it;
- *compensated*, the pivot goes one offset ahead of the tip and swings round it at corners, but not at
  sharp turns that follow each other within one offset (see `preflight.cutting.corners`).

The error is the distance of the tip from the line near the spot where it should be: along the contour
from three offsets behind to one ahead, since the tip of an uncompensated cut is at most one offset
from its pivot. Lines that lie on other lines of the drawing are so not taken for each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from preflight.curves import Bools, Floats, Ints, Polylines, counting
from preflight.cutting.corners import SHARP, STEP, suspects
from preflight.cutting.knife import HAIR, headings, parted, pivot_path
from preflight.geometry.turning import SAME, turning

ENTRY = 4.0
"""The first so many offsets of a contour are its entry: after them the blade has settled to 2 %."""
_STOPS = np.array(
    [0.1, 0.25, 0.45, 0.65, 0.85, 1, 1.1, 1.2, 1.3, 1.4, 1.5, 1.65, 1.85, 2.1, 2.6, 3.3, 4.5, 6, 8, 11, 16]
)
"""Where a straight run is looked at, in offsets from its start; farther on nothing is left of a swing."""
_SMOOTH = np.radians(10.0)
_BEHIND, _AHEAD = 3.0, 1.0
_SETTLING = 600.0
_NONE = 0.001
"""What is less (mm) comes from the chords that stand for the pivot's arcs, and counts as no error."""
_LOOKED_AT = 12
_FINE = 250.0
"""The worst places are calculated once more with so many steps an offset."""


@dataclass(frozen=True, slots=True)
class Errors:
    """Distances of the cut from the line, mm; places on the machine; contours by index.

    The largest beyond the entries, the mean over the whole way, and the largest in the entries.
    """

    largest: float
    mean: float
    at: tuple[float, float] | None
    contour: int | None
    entry: float
    entry_contour: int | None


NO_ERRORS = Errors(0.0, 0.0, None, None, 0.0, None)


@dataclass(frozen=True, eq=False)
class _Samples:
    """Pivot positions of many contours: where the tip should be along its contour (``at``, n), the
    contour (``owner``, n) and the pivot (n, 2); ``heading`` (k,) in which each contour sets out."""

    pivot: Floats
    at: Floats
    owner: Ints
    heading: Floats


def uncompensated(lines: Polylines, offset: float, *, turned: bool) -> Errors:
    """Return the errors of a cut whose pivot follows ``lines`` in their order. See the module.

    ``turned`` says whether the blade points along each contour when it comes down; else it points as
    the contour before left it (the first is always turned).
    """
    lines = _clean(lines)
    if offset <= 0 or not len(lines):
        return NO_ERRORS
    fine, at = _refined(lines, offset)
    owner = np.repeat(np.arange(len(fine)), np.diff(fine.starts))
    samples = _Samples(fine.points, at, owner, _first_headings(lines))
    return _errors(samples, lines, offset, turned=turned)


def compensated(lines: Polylines, offset: float, *, turned: bool) -> Errors:
    """Return the errors of a cut whose pivot makes up for the offset. Parameters as above.

    With the blade turned before each contour only those with sharp turns close together can err.
    """
    clean = _clean(lines)
    if offset <= 0 or not len(clean):
        return NO_ERRORS
    which = suspects(clean, offset, STEP / 2) if turned else np.arange(len(clean))
    if not len(which):
        return NO_ERRORS
    chosen = _told(clean.take(which))
    swings = _swings(chosen, offset)
    if turned:
        # Where the pivot swings at every turn there is no error.
        owner = np.repeat(np.arange(len(chosen)), np.diff(chosen.starts))
        some = np.unique(owner[~swings])
        if not len(some):
            return NO_ERRORS
        which, swings = which[some], swings[np.isin(owner, some)]
        chosen = chosen.take(some)
    fine, at = _refined(chosen, offset)
    swung = np.ones(len(fine.points), bool)
    swung[fine.corners] = swings
    samples = _pivots(fine, at, swung, offset)
    found = _errors(samples, chosen, offset, turned=turned)
    share = float(_lengths(chosen).sum() / _lengths(clean).sum())
    return Errors(
        found.largest,
        found.mean * share,
        found.at,
        None if found.contour is None else int(which[found.contour]),
        found.entry,
        None if found.entry_contour is None else int(which[found.entry_contour]),
    )


def lead_lengths(turn: Floats, offset: float, tolerance: float) -> Floats:
    """Return the straight way (n,) in mm until a blade that stands off by ``turn`` (n,) radians follows
    within ``tolerance`` mm beside the line.

    The tip is r sin(a) beside the line, and tan(a/2) = tan(a0/2) exp(-s/r). A blade that points straight
    back is taken to be a thousandth of a degree off it (`HAIR`): exactly there the model has no answer.
    """
    if offset <= 0 or tolerance >= offset:
        return np.zeros(len(turn))
    least = np.arcsin(tolerance / offset)
    angle = np.minimum(np.abs(turn), np.pi - HAIR)
    way: Floats = offset * np.log(np.maximum(np.tan(angle / 2) / np.tan(least / 2), 1.0))
    return way


def _clean(lines: Polylines) -> Polylines:
    """Return lines without points in one spot; a contour of one spot keeps one short chord."""
    step = np.full((len(lines.points), 2), np.inf)
    step[1:] = np.diff(lines.points, axis=0)
    step[lines.starts[:-1]] = np.inf
    kept = np.hypot(step[:, 0], step[:, 1]) > SAME
    owner = np.repeat(np.arange(len(lines)), np.diff(lines.starts))
    count = np.bincount(owner[kept], minlength=len(lines))
    if (count < 2).any():
        raise ValueError("a contour is no more than one spot")
    return Polylines(
        lines.points[kept],
        np.concatenate(([0], np.cumsum(count))).astype(np.int64),
        lines.closed,
        lines.path,
        lines.corners[kept],
    )


def _told(lines: Polylines) -> Polylines:
    """Return lines without details under half a cutter's step, which it cannot be told."""
    owner = np.repeat(np.arange(len(lines)), np.diff(lines.starts))
    drawn = np.asarray(shapely.linestrings(lines.points, indices=owner))
    points, index = shapely.get_coordinates(
        shapely.simplify(drawn, STEP / 2, preserve_topology=False), return_index=True
    )
    # A line that is all detail is kept as it is, rather than as none.
    sizes = np.bincount(index, minlength=len(lines))
    bounds = np.concatenate(([0], np.cumsum(sizes))).astype(np.int64)
    plain = Polylines(points, bounds, lines.closed, lines.path, np.ones(len(points), bool))
    whole = _lengths(plain) > SAME
    return _clean(plain) if whole.all() else lines


def _lengths(lines: Polylines) -> Floats:
    return lines.along()[lines.starts[1:] - 1]


def _first_headings(lines: Polylines) -> Floats:
    first = lines.starts[:-1]
    step = lines.points[first + 1] - lines.points[first]
    heading: Floats = np.arctan2(step[:, 1], step[:, 0])
    return heading


def _refined(lines: Polylines, offset: float) -> tuple[Polylines, Floats]:
    """Return the lines with points put in where the blade swings, and how far along each point is.

    Chords that begin at a sharp turn or up to `ENTRY` offsets behind one, or behind the start, are parted at
    `_STOPS`; in the chords of a smooth curve the blade hardly swings. `corners` marks the points there were.
    """
    along = lines.along()
    step = np.zeros((len(lines.points), 2))
    step[:-1] = np.diff(lines.points, axis=0)
    step[lines.starts[1:] - 1] = 0.0
    size = np.hypot(step[:, 0], step[:, 1])
    stops = _STOPS * offset
    # Every point, then those of the chord that begins at it.
    parts = 1 + np.where(_unsettled(lines, along, offset), np.searchsorted(stops, size - SAME), 0)
    which = np.repeat(np.arange(len(parts)), parts)
    nth = counting(parts)
    way = np.where(nth > 0, stops[nth - 1], 0.0)
    unit = step / np.where(size > 0, size, 1.0)[:, None]
    points = lines.points[which] + unit[which] * way[:, None]
    bounds = np.concatenate(([0], np.cumsum(parts)))
    fine = Polylines(points, bounds[lines.starts].astype(np.int64), lines.closed, lines.path, nth == 0)
    return fine, along[which] + way


def _unsettled(lines: Polylines, along: Floats, offset: float) -> Bools:
    """Return at which points (n,) there is a sharp turn, or the contour's start, at most `ENTRY` offsets behind."""
    chords = turning(lines)
    sharp = chords.end[np.abs(chords.turn) > _SMOOTH]
    mark = np.full(len(along), -np.inf)
    mark[sharp] = along[sharp]
    mark[lines.starts[:-1]] = 0.0
    # The latest mark up to each point; the start of its own contour is one, so none is another contour's.
    latest = np.maximum.accumulate(np.where(np.isfinite(mark), np.arange(len(mark)), 0))
    near: Bools = along - along[latest] < ENTRY * offset
    return near


def _swings(lines: Polylines, offset: float) -> Bools:
    """Return at which points (n,) the pivot swings round the tip: not at sharp turns within one offset of another."""
    chords = turning(lines)
    sharp = np.abs(chords.turn) > SHARP
    along = lines.along()
    where = np.flatnonzero(sharp)
    place = along[chords.end[where]]
    owner = chords.owner[where]
    close = np.zeros(len(where), bool)
    pair = (np.diff(place) < offset) & (np.diff(owner) == 0)
    close[:-1] |= pair
    close[1:] |= pair
    swings = np.ones(len(lines.points), bool)
    swings[chords.end[where[close]]] = False
    return swings


def _pivots(fine: Polylines, at: Floats, swung: Bools, offset: float) -> _Samples:
    """Return the compensated pivot positions of all contours, in one go: with travel between them as chords."""
    owner = np.repeat(np.arange(len(fine)), np.diff(fine.starts))
    first = fine.starts[1:-1]
    # Where a contour begins in the spot the last one ended in, a detour keeps the chord from vanishing.
    gap = np.hypot(*(fine.points[first] - fine.points[first - 1]).T) <= SAME
    before = np.repeat(first, np.where(gap, 1, 0))
    detour = fine.points[before] + offset
    points = np.insert(fine.points, before, detour, axis=0)
    owners = np.insert(owner, before, -1)
    ways = np.insert(at, before, 0.0)
    swings = np.insert(swung, before, True)
    path = pivot_path(points, offset, swung=swings[1:-1])
    # The pivot is on a chord of a contour where the vertex it comes from and the next are of one contour.
    vertex = path.vertex
    start = np.flatnonzero(np.diff(owners, prepend=-2) != 0)
    start = start[owners[start] >= 0]
    heading = _first_headings(fine)
    begin = points[start] + offset * np.stack((np.cos(heading), np.sin(heading)), axis=1)
    came = owners[np.maximum(vertex - 1, 0)]
    mine = (owners[vertex] >= 0) & (owners[vertex] == came) & (vertex > 0)
    # Swings at a contour's last vertex lead away from it; they come with that vertex and no way along.
    last = np.isin(vertex, np.append(start[1:], len(points)) - 1)
    again = np.concatenate(([False], vertex[1:] == vertex[:-1]))
    mine &= ~(last & again)
    pivot = np.concatenate((begin, path.points[mine]))
    who = np.concatenate((np.arange(len(fine)), owners[vertex[mine]]))
    where = np.concatenate((np.zeros(len(fine)), ways[vertex[mine]]))
    order = np.argsort(who, kind="stable")
    return _Samples(pivot[order], where[order], who[order], heading)


def _blade(samples: _Samples, offset: float, *, turned: bool) -> Floats:
    """Return the blade's heading at each pivot position (n,), contour after contour."""
    pivot, owner = samples.pivot, samples.owner
    first = np.flatnonzero(np.diff(owner, prepend=-1))
    if turned:
        # A long straight run up to each contour settles the blade into the contour's own heading.
        heading = samples.heading
        run = _SETTLING * offset * np.stack((np.cos(heading), np.sin(heading)), axis=1)
        whole = np.insert(pivot, first, pivot[first] - run, axis=0)
        angle = headings(whole, offset, float(heading[0]))
        return np.delete(angle, first + np.arange(len(first)))
    # The blade keeps its heading in the air: contours are joined as if each began where the last ended.
    step = np.diff(pivot, axis=0, prepend=pivot[:1])
    step[first] = 0.0
    return headings(np.cumsum(step, axis=0), offset, float(samples.heading[0]))


def _errors(samples: _Samples, lines: Polylines, offset: float, *, turned: bool) -> Errors:
    angle = _blade(samples, offset, turned=turned)
    tip = samples.pivot - offset * np.stack((np.cos(angle), np.sin(angle)), axis=1)
    off, spot = _nearest(tip, samples.at, samples.owner, lines, offset)
    step = np.diff(samples.at)
    joined = np.diff(samples.owner) == 0
    weight = np.where(joined, np.maximum(step, 0.0), 0.0)
    mean = float((weight * (off[1:] + off[:-1]) / 2).sum() / max(weight.sum(), SAME))
    entry = samples.at < _entry_length(lines, offset)[samples.owner]
    first = int(np.argmax(np.where(entry, off, -1.0)))
    worst = int(np.argmax(np.where(entry, -1.0, off)))
    largest, where, contour = float(off[worst]), spot[worst], int(samples.owner[worst])
    entry_error = float(off[first]) if entry[first] else 0.0
    if largest <= _NONE:
        return Errors(0.0, mean if mean > _NONE else 0.0, None, None, *_entry(entry_error, samples, first))
    finer = _finer(samples, lines, angle, np.where(entry, 0.0, off), offset)
    if finer is not None and finer[0] > largest:
        largest, where, contour = finer
    at = (float(where[0]), float(where[1]))
    return Errors(largest, mean, at, contour, *_entry(entry_error, samples, first))


def _entry_length(lines: Polylines, offset: float) -> Floats:
    """Return how much of each contour (k,) is its entry, mm: of a short one a quarter."""
    found: Floats = np.minimum(ENTRY * offset, _lengths(lines) / 4)
    return found


def _entry(error: float, samples: _Samples, index: int) -> tuple[float, int | None]:
    return (error, int(samples.owner[index])) if error > _NONE else (0.0, None)


def _nearest(tip: Floats, at: Floats, owner: Ints, lines: Polylines, offset: float) -> tuple[Floats, Floats]:
    """Return how far each tip (n, 2) is from its line near where it should be, and the nearest spots (n, 2)."""
    along = lines.along()
    # One axis for all contours: each begins where the one before it ends, and a little more.
    base = np.concatenate(([0.0], np.cumsum(_lengths(lines) + 8 * offset)))[:-1]
    axis = along + np.repeat(base, np.diff(lines.starts))
    spot = at + base[owner]
    low, high = lines.starts[:-1][owner], lines.starts[1:][owner] - 2
    chord = np.clip(np.searchsorted(axis, spot - _BEHIND * offset, side="right") - 1, low, high)
    last = np.clip(np.searchsorted(axis, spot + _AHEAD * offset, side="left") - 1, low, high)
    x, y = lines.points[:, 0].copy(), lines.points[:, 1].copy()
    dx, dy = np.append(np.diff(x), 0.0), np.append(np.diff(y), 0.0)
    square = np.maximum(dx * dx + dy * dy, SAME * SAME)
    best, near_x, near_y = np.full(len(tip), np.inf), np.zeros(len(tip)), np.zeros(len(tip))
    active, tip_x, tip_y = np.arange(len(tip)), tip[:, 0].copy(), tip[:, 1].copy()
    # One chord of each window at a time; columns, since sums over pairs are slow.
    while len(active):
        cx, cy, ux, uy = x[chord], y[chord], dx[chord], dy[chord]
        share = ((tip_x - cx) * ux + (tip_y - cy) * uy) / square[chord]
        np.clip(share, 0.0, 1.0, out=share)
        found_x, found_y = cx + share * ux, cy + share * uy
        away = (tip_x - found_x) ** 2 + (tip_y - found_y) ** 2
        better = np.flatnonzero(away < best[active])
        spot_of = active[better]
        best[spot_of], near_x[spot_of], near_y[spot_of] = away[better], found_x[better], found_y[better]
        chord += 1
        left = np.flatnonzero(chord <= last)
        active, chord, last, tip_x, tip_y = active[left], chord[left], last[left], tip_x[left], tip_y[left]
    return np.sqrt(best), np.stack((near_x, near_y), axis=1)


def _finer(
    samples: _Samples, lines: Polylines, angle: Floats, off: Floats, offset: float
) -> tuple[float, Floats, int] | None:
    """Calculate the worst places again with small steps; return error, spot and contour of the worst."""
    candidates = np.flatnonzero(off >= 0.8 * off.max())
    candidates = candidates[np.argsort(-off[candidates], kind="stable")][: 50 * _LOOKED_AT]
    done: list[int] = []
    best: tuple[float, Floats, int] | None = None
    for index in candidates.tolist():
        if any(abs(index - other) <= len(_STOPS) for other in done):
            continue
        done.append(index)
        found = _around(samples, lines, angle, index, offset)
        if best is None or found[0] > best[0]:
            best = found
        if len(done) == _LOOKED_AT:
            break
    return best


def _around(
    samples: _Samples, lines: Polylines, angle: Floats, index: int, offset: float
) -> tuple[float, Floats, int]:
    owner = int(samples.owner[index])
    begin, end = index, index
    while begin > 0 and samples.owner[begin - 1] == owner and index - begin < 4:
        begin -= 1
    while end + 1 < len(angle) and samples.owner[end + 1] == owner and end - index < 4:
        end += 1
    coarse = samples.pivot[begin : end + 1]
    pivot = parted(coarse, offset / _FINE)
    heading = headings(pivot, offset, float(angle[begin]))
    tip = pivot - offset * np.stack((np.cos(heading), np.sin(heading)), axis=1)
    way = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(coarse, axis=0).T))))
    here = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(pivot, axis=0).T))))
    at = np.interp(here, way, samples.at[begin : end + 1])
    alone = lines.take(np.array([owner]))
    off, spot = _nearest(tip, at, np.zeros(len(tip), np.int64), alone, offset)
    worst = int(np.argmax(np.where(at < _entry_length(alone, offset)[0], -1.0, off)))
    return float(off[worst]), spot[worst], owner
