"""The order in which a knife follows contours, and where it begins each of them.

Three demands come before short travel:

- inner before outer: once the outer contour is cut, what it holds may shift or lift;
- the film is fed back and forth little: contours are taken in windows along the feed (y), by their far
  edges, so that the knife never goes back to a window it has done but for a contour that reaches there;
- within a window, pieces so small that they could lift go first, while all the film still holds them.

(Common practice, no source.) What remains free is a short path through the contours of each window,
then the start points: by dynamic programming over the whole sequence, which for the given sequence
and candidates is exact. A contour is begun at a corner where it has one, since a join in the middle of
a curve is seen.

Lengths are mm, y runs along the feed. The same contours give the same order every time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from preflight.curves import Bools, Floats, Ints, Polylines
from preflight.cutting.tour import short_path
from preflight.job.stock import stock

FEED_WINDOW = stock().machine.feed_window.value
"""Length of film that is cut before the next is fed, mm."""

_LARGEST_SET = 600
"""So many contours are put in order at once; larger windows are parted."""
_KICKS, _ALL_KICKS = 10, 3000
"""Changes tried for each contour of a set, and for all sets together (in proportion to their sizes)."""
_CANDIDATES = 40
_CORNER = np.radians(20.0)
_ROUNDS = 2


@dataclass(frozen=True, eq=False)
class CutOrder:
    """The sequence of a cut.

    ``contours`` (k,) are indices of polylines in the order of cutting; ``starts`` (k,) is the vertex
    each begins at, and ``backward`` (k,) says which open ones are followed from their end. ``enter``
    and ``leave`` (k, 2) are where the knife goes down and comes up; ``travel`` (k,) is the way with the
    knife up to each, the first from home. ``parent`` is, by index of polyline, the contour around it
    (-1: none).
    """

    contours: Ints
    starts: Ints
    backward: Bools
    enter: Floats
    leave: Floats
    travel: Floats
    parent: Ints

    @property
    def travel_length(self) -> float:
        """The whole way with the knife up, from home, mm."""
        return float(self.travel.sum())


def cut_order(
    lines: Polylines,
    *,
    home: tuple[float, float] = (0.0, 0.0),
    window: float = FEED_WINDOW,
    fragile_area: float = 0.0,
    seed: int = 1,
) -> CutOrder:
    """Return the order and the start points in which to cut ``lines``.

    ``window`` is the length of film in mm that is cut at a time, ``fragile_area`` the area in mm2
    under which a closed contour goes first in its window. Raises ValueError for a window of no length
    and for a polyline without points.
    """
    if not window > 0:
        raise ValueError(f"the feed window is {window} mm; it must be more than 0")
    if (np.diff(lines.starts) < 1).any():
        raise ValueError("a polyline has one point or more")
    closed = closed_lines(lines)
    boxes = _boxes(lines)
    areas = enclosed_areas(lines, closed)
    parent = enclosing(lines, closed, boxes, areas)
    choices = [_candidates(lines, i, bool(c)) for i, c in enumerate(closed)]
    spots = (boxes[:, :2] + boxes[:, 2:]) / 2
    best: CutOrder | None = None
    for _ in range(_ROUNDS):
        planner = _Planner(spots, parent, areas < fragile_area, seed)
        sequence = planner.whole(boxes, window, np.array(home))
        found = _begun(lines, closed, sequence, choices, np.array(home), parent=parent)
        if best is None or found.travel_length < best.travel_length:
            best = found
        spots = spots.copy()
        spots[found.contours] = (found.enter + found.leave) / 2
    assert best is not None
    return best


def file_order(lines: Polylines, *, home: tuple[float, float] = (0.0, 0.0)) -> CutOrder:
    """Return the order of the file: every contour from its first point, as drawn."""
    count = len(lines)
    enter, leave = lines.points[lines.starts[:-1]], lines.points[lines.starts[1:] - 1]
    closed = closed_lines(lines)
    return CutOrder(
        np.arange(count),
        np.zeros(count, np.int64),
        np.zeros(count, bool),
        enter,
        leave,
        travel_as_drawn(lines, home=home),
        enclosing(lines, closed, _boxes(lines), enclosed_areas(lines, closed)),
    )


def travel_as_drawn(lines: Polylines, *, home: tuple[float, float] = (0.0, 0.0)) -> Floats:
    """Return the way (k,) with the knife up to each contour in the order of the file, mm."""
    enter, leave = lines.points[lines.starts[:-1]], lines.points[lines.starts[1:] - 1]
    before = np.concatenate((np.array([home]), leave))[: len(lines)]
    travel: Floats = np.hypot(*(enter - before).T)
    return travel


def arranged(lines: Polylines, order: CutOrder) -> Polylines:
    """Return the lines in the order of cutting, each from its start point; ``path`` is the old index."""
    if not len(lines):
        return lines
    parts, marks = [], []
    for contour, start, back in zip(order.contours, order.starts, order.backward, strict=True):
        begin, end = int(lines.starts[contour]), int(lines.starts[contour + 1])
        picked = np.arange(begin, end)
        if back:
            picked = picked[::-1]
        elif start:
            picked = np.concatenate((picked[start:-1], picked[: start + 1]))
        parts.append(lines.points[picked])
        marks.append(lines.corners[picked])
    sizes = [len(part) for part in parts]
    return Polylines(
        np.concatenate(parts),
        np.concatenate(([0], np.cumsum(sizes))).astype(np.int64),
        lines.closed[order.contours],
        order.contours,
        np.concatenate(marks),
    )


def closed_lines(lines: Polylines) -> Bools:
    """Return which polylines (k,) end where they begin and enclose something."""
    first, last = lines.points[lines.starts[:-1]], lines.points[lines.starts[1:] - 1]
    found: Bools = (np.abs(first - last).max(axis=1, initial=0) <= 1e-9) & (np.diff(lines.starts) >= 4)
    return found


def _boxes(lines: Polylines) -> Floats:
    if not len(lines):
        return np.zeros((0, 4))
    low = np.minimum.reduceat(lines.points, lines.starts[:-1])
    high = np.maximum.reduceat(lines.points, lines.starts[:-1])
    return np.concatenate((low, high), axis=1)


def enclosed_areas(lines: Polylines, closed: Bools) -> Floats:
    """Return the area (k,) that closed lines enclose, infinite for open ones."""
    areas = np.full(len(lines), np.inf)
    p = lines.points
    if len(p):
        cross = np.append(p[:-1, 0] * p[1:, 1] - p[1:, 0] * p[:-1, 1], 0.0)
        cross[lines.starts[1:] - 1] = 0.0
        areas[closed] = np.abs(np.add.reduceat(cross, lines.starts[:-1]))[closed] / 2
    return areas


def enclosing(lines: Polylines, closed: Bools, boxes: Floats, areas: Floats) -> Ints:
    """Return for each polyline the smallest closed one around it (k,), -1 where there is none.

    Around it is a contour of larger area whose box holds its box and whose inside its first point.
    """
    parent = np.full(len(lines), -1)
    rings = np.flatnonzero(closed)
    if not len(rings):
        return parent
    owner = np.repeat(np.arange(len(lines)), np.diff(lines.starts))
    kept = closed[owner]
    polygons = np.asarray(
        shapely.polygons(shapely.linearrings(lines.points[kept], indices=np.searchsorted(rings, owner[kept])))
    )
    firsts = shapely.points(lines.points[lines.starts[:-1]])
    inner, outer = shapely.STRtree(polygons).query(firsts, predicate="within")
    outer = rings[outer]
    held = (
        (boxes[outer, :2] <= boxes[inner, :2]).all(axis=1)
        & (boxes[outer, 2:] >= boxes[inner, 2:]).all(axis=1)
        & ((areas[outer] > areas[inner]) | ~closed[inner])
        & (inner != outer)
    )
    inner, outer = inner[held], outer[held]
    # The smallest is written last; of equal ones the first.
    by_size = np.lexsort((-outer, -areas[outer]))
    parent[inner[by_size]] = outer[by_size]
    return parent


def _candidates(lines: Polylines, index: int, closed: bool) -> Ints:
    """Return the vertices at which a polyline may be begun: both ends, or corners, or nodes."""
    size = int(lines.starts[index + 1] - lines.starts[index])
    if not closed:
        return np.array([0, size - 1])
    whole = np.arange(size - 1)
    nodes = whole[lines.corners[lines.starts[index] : lines.starts[index + 1] - 1]]
    sharp = nodes[np.abs(_turns_at(lines[index], nodes)) >= _CORNER]
    found = sharp if len(sharp) else nodes if len(nodes) else whole
    if len(found) > _CANDIDATES:
        found = found[np.linspace(0, len(found) - 1, _CANDIDATES).round().astype(np.int64)]
    return found


def _turns_at(ring: Floats, nodes: Ints) -> Floats:
    here = ring[nodes]
    before, after = ring[nodes - 1], ring[nodes + 1]
    before = np.where((nodes == 0)[:, None], ring[-2], before)
    a, b = here - before, after - here
    turn: Floats = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1))
    return turn


class _Planner:
    """Puts contours into a sequence by the spots that stand for them."""

    def __init__(self, spots: Floats, parent: Ints, fragile: Bools, seed: int) -> None:
        self.spots = spots
        self.parent = parent
        self.fragile = fragile
        self.seed = seed

    def whole(self, boxes: Floats, window: float, at: Floats) -> Ints:
        """Return the sequence of all contours, window after window along the feed."""
        if not len(boxes):
            return np.zeros(0, np.int64)
        far, depth = boxes[:, 3], _depths(self.parent)
        number = np.floor((far - far.min()) / window).astype(np.int64)
        sequence: list[int] = []
        for value in np.unique(number):
            members = np.flatnonzero(number == value)
            # What a contour holds has a far edge no farther than its own, so windows keep the nesting; where
            # two are equal the deeper one is first.
            members = members[np.lexsort((members, -depth[members], far[members]))]
            for part in np.array_split(members, -(-len(members) // _LARGEST_SET)):
                done = self._window(part, at)
                sequence += done
                at = self.spots[done[-1]]
        return np.array(sequence)

    def _window(self, members: Ints, at: Floats) -> list[int]:
        inside = set(members.tolist())
        children: dict[int, list[int]] = {}
        for contour in sorted(inside):
            up = int(self.parent[contour])
            while up >= 0 and up not in inside:
                up = int(self.parent[up])
            children.setdefault(up, []).append(contour)
        return self._siblings(children.get(-1, []), children, at)

    def _siblings(self, members: list[int], children: dict[int, list[int]], at: Floats) -> list[int]:
        """Return the sequence of ``members``, each preceded by all that it holds."""
        sequence: list[int] = []
        for level in (True, False):
            chosen = [m for m in members if bool(self.fragile[m]) == level]
            for member in self._path(chosen, at):
                held = children.get(member)
                if held:
                    sequence += self._siblings(held, children, at)
                sequence.append(member)
                at = self.spots[member]
        return sequence

    def _path(self, members: list[int], at: Floats) -> list[int]:
        if len(members) < 2:
            return members
        points = np.concatenate((at[None], self.spots[members]))
        step = points[:, None] - points[None]
        kicks = int(len(members) * min(_KICKS, _ALL_KICKS / len(self.spots)))
        path = short_path(np.hypot(step[..., 0], step[..., 1]), kicks=kicks, seed=self.seed)
        return [members[point - 1] for point in path[1:]]


def _depths(parent: Ints) -> Ints:
    """Return how many contours are around each (k,)."""
    depth, up = np.zeros(len(parent), np.int64), parent.copy()
    while (up >= 0).any():
        depth[up >= 0] += 1
        up = np.where(up >= 0, parent[up], -1)
    return depth


def _begun(
    lines: Polylines, closed: Bools, sequence: Ints, choices: Sequence[Ints], home: Floats, *, parent: Ints
) -> CutOrder:
    """Return the sequence with the start points that make its travel shortest."""
    taken = best_starts(lines, closed, sequence, choices, home)
    count = len(sequence)
    first = lines.starts[:-1][sequence]
    last = lines.starts[1:][sequence] - 1
    shut = closed[sequence]
    enter = lines.points[first + taken] if count else np.zeros((0, 2))
    other = np.where(shut, first + taken, np.where(taken == 0, last, first))
    leave = lines.points[other] if count else np.zeros((0, 2))
    before = np.concatenate((home[None], leave))[:count]
    return CutOrder(
        sequence,
        np.where(shut, taken, 0),
        ~shut & (taken != 0),
        enter,
        leave,
        np.hypot(*(enter - before).T),
        parent,
    )


def best_starts(
    lines: Polylines, closed: Bools, sequence: Ints, choices: Sequence[Ints], home: Floats
) -> Ints:
    """Return the start vertex (k,) of each contour of ``sequence`` for the least travel from ``home``.

    ``choices`` are, by contour, the vertices to choose from; of an open one its two ends.
    """
    taken = np.zeros(len(sequence), np.int64)
    came: list[Ints] = []
    leave, cost = home[None], np.zeros(1)
    for contour in sequence.tolist():
        line, choice = lines[contour], choices[contour]
        enter = line[choice]
        step = enter[:, None] - leave[None]
        total = cost + np.hypot(step[..., 0], step[..., 1])
        source = total.argmin(axis=1)
        came.append(source)
        cost = total[np.arange(len(choice)), source]
        leave = enter if closed[contour] else enter[::-1]
    state = int(cost.argmin())
    for place in range(len(sequence) - 1, -1, -1):
        taken[place] = choices[int(sequence[place])][state]
        state = int(came[place][state])
    return taken
