"""The chords of a flattened path with the curve's own tangents, and the turns between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preflight.curves import Bools, Floats, Ints, Path, evaluate, flatten
from preflight.geometry.pen import Pen, angle_between, unit


@dataclass(eq=False)
class Edges:
    """The chords of the flattened path, without those of no length.

    ``begin``, ``end`` (n, 2); ``along`` (n, 2) unit directions; ``head`` and ``tail`` (n, 2) the
    true unit tangents of the curve at both ends where these are ends of segments, else ``along``;
    ``segment`` and ``owner`` (n,) the segment and the subpath each is from; ``closed`` (n,);
    ``size`` (n,) lengths.
    """

    begin: Floats
    end: Floats
    along: Floats
    head: Floats
    tail: Floats
    segment: Ints
    owner: Ints
    closed: Bools
    size: Floats

    def take(self, order: Ints) -> Edges:
        """Return the edges in another order."""
        return Edges(*(getattr(self, name)[order] for name in self.__dataclass_fields__))

    def bounds(self) -> Ints:
        """Return where each subpath starts, and one past the last, (k + 1,)."""
        return np.concatenate(([0], np.flatnonzero(np.diff(self.owner)) + 1, [len(self.owner)]))


def chords(path: Path, pen: Pen) -> Edges | None:
    """Flatten ``path`` to the pen's chord error; None where no chord has a length."""
    lines = flatten([path], pen.error)
    count = len(lines.points) - 1
    if count < 1:
        return None
    inside = np.ones(count, bool)
    inside[lines.starts[1:-1] - 1] = False
    owner = np.repeat(np.arange(len(lines)), np.diff(lines.starts))[:-1]
    segment = np.cumsum(lines.corners)[:-1] - 1 - owner
    step = np.diff(lines.points, axis=0)
    size = np.hypot(step[:, 0], step[:, 1])
    # Shorter than rounding can tell apart: its direction would be noise.
    floor = 1e-13 * max(float(np.abs(lines.points).max()), 1e-300)
    kept = np.flatnonzero(inside & (size > floor))
    if not len(kept):
        return None
    along = step[kept] / size[kept, None]
    edges = Edges(
        lines.points[kept], lines.points[kept + 1], along, along.copy(), along.copy(),
        segment[kept], owner[kept], lines.closed[owner[kept]], size[kept],
    )  # fmt: skip
    _set_tangents(edges, path)
    return _with_short_ends(edges, path, pen)


def _with_short_ends(edges: Edges, path: Path, pen: Pen) -> Edges:
    """Shorten the chords at ends of curves that are too tight for their square cut to fit the chord.

    The band of such a chord sticks out behind the cut by up to the chord's length, so that length is
    brought down to the error allowed.
    """
    pieces = np.bincount(edges.segment, minlength=len(path.controls))
    for at_end in (False, True):
        off = np.abs(angle_between(edges.tail if at_end else edges.head, edges.along))
        rows = np.flatnonzero((pen.half * np.tan(np.minimum(off, 1.5)) > 0.9 * edges.size) & (off > 0))
        if not len(rows):
            continue
        size = edges.size[rows]
        share = np.clip(pen.error / size * np.minimum(1.0, size / (pen.half * off[rows])), 1e-4, 0.5)
        t = share / pieces[edges.segment[rows]]
        middle = evaluate(path.controls[edges.segment[rows]], 1 - t if at_end else t)
        edges = _split_edges(edges, rows, middle)
        _set_tangents(edges, path)
    return edges


def _split_edges(edges: Edges, rows: Ints, middle: Floats) -> Edges:
    """Return the edges with those in ``rows`` cut in two at ``middle`` (n, 2), tangents unset."""
    copies = np.ones(len(edges.size), np.int64)
    copies[rows] = 2
    split = edges.take(np.repeat(np.arange(len(copies)), copies))
    first = rows + np.arange(len(rows))
    split.end[first] = middle
    split.begin[first + 1] = middle
    step = split.end - split.begin
    split.size = np.hypot(step[:, 0], step[:, 1])
    split.along = unit(step)
    split.head, split.tail = split.along.copy(), split.along.copy()
    return split


def _set_tangents(edges: Edges, path: Path) -> None:
    """Put the curve's true tangents at the ends of curved segments in place of the chords'."""
    change = np.flatnonzero(np.diff(edges.segment)) + 1
    firsts = np.concatenate(([0], change))
    lasts = np.append(change, len(edges.segment)) - 1
    curved = ~path.lines[edges.segment[firsts]]
    firsts, lasts = firsts[curved], lasts[curved]
    if not len(firsts):
        return
    controls = path.controls[edges.segment[firsts]]
    floor = (1e-9 * np.ptp(controls, axis=1).max(axis=1))[:, None]
    for rows, target, ends in (
        (firsts, edges.head, controls),
        (lasts, edges.tail, controls[:, ::-1]),
    ):
        vectors = ends[:, 1:] - ends[:, :1]
        usable = np.hypot(vectors[..., 0], vectors[..., 1]) > floor
        chosen = vectors[np.arange(len(rows)), usable.argmax(axis=1)]
        sign = 1.0 if ends is controls else -1.0
        found = usable.any(axis=1)
        target[rows[found]] = sign * unit(chosen[found])


@dataclass(eq=False)
class Joints:
    """What happens between each edge and the next, (n,) each; the last of an open subpath is unused.

    ``following`` index of the next edge; ``turn`` the signed angle between the chords; ``bend`` the
    angle between true tangents; ``corner`` marks joins; ``hard`` marks breaks.
    ``head`` and ``tail`` (n, 2): the directions to which the ends of each edge are cut square.
    """

    following: Ints
    live: Bools
    turn: Floats
    bend: Floats
    corner: Bools
    hard: Bools
    head: Floats
    tail: Floats


def joints_of(edges: Edges, pen: Pen) -> Joints:
    """Return what happens at every turn: whether it is a join, and whether the stroke's sides break there."""
    bounds = edges.bounds()
    count = len(edges.owner)
    following = np.arange(1, count + 1)
    following[bounds[1:] - 1] = bounds[:-1]
    live = np.ones(count, bool)
    live[bounds[1:] - 1] = edges.closed[bounds[:-1]]
    turn = angle_between(edges.along, edges.along[following])
    bend = angle_between(edges.tail, edges.head[following])
    inner = (edges.segment == edges.segment[following]) & (following == np.arange(count) + 1)
    corner = live & ~inner & (pen.half * bend * bend / 8 > pen.error / 8)
    straight = (edges.tail == edges.along).all(axis=1)
    straight_on = (edges.head == edges.along).all(axis=1)[following]
    hard = corner & ~(straight & straight_on)
    # True tangents only at corners and open ends, and where the chord is long enough to take them.
    first = np.zeros(count, bool)
    first[following[hard | ~live]] = True
    head = np.where(_fits(edges, edges.head, first, pen)[:, None], edges.head, edges.along)
    tail = np.where(_fits(edges, edges.tail, hard | ~live, pen)[:, None], edges.tail, edges.along)
    joints = Joints(following, live, turn, bend, corner, hard, head, tail)
    _break_tight_turns(edges, joints, pen)
    return joints


def _fits(edges: Edges, tangent: Floats, wanted: Bools, pen: Pen) -> Bools:
    off = np.abs(angle_between(tangent, edges.along))
    lean = pen.half * np.tan(np.minimum(off, 1.0))
    return wanted & (off < 1.0) & (lean < 0.9 * edges.size)


def _break_tight_turns(edges: Edges, joints: Joints, pen: Pen) -> None:
    """Mark as hard the turns whose inner side needs more of an edge than there is."""
    with np.errstate(over="ignore"):
        need = pen.half * np.tan(np.minimum(np.abs(joints.turn) / 2, np.pi / 2 - 1e-9))
    behind = np.empty_like(joints.following)
    behind[joints.following] = np.arange(len(behind))
    # The inner corner of the edge before must lie on the edge after, and the other way round.
    cover = pen.half * np.sin(np.minimum(np.abs(joints.turn), np.pi / 2))
    lean = pen.half * np.tan(angle_between(joints.head, edges.along))
    lean_end = pen.half * np.tan(angle_between(edges.along, joints.tail))
    while True:
        soft = joints.live & ~joints.hard
        needed = np.where(soft, need, 0.0)
        worst = np.zeros(len(need))
        for side in (1.0, -1.0):
            at_end = np.where(joints.turn * side > 0, needed, 0.0)
            covering = np.where(at_end > 0, cover, 0.0)
            taken = np.maximum(at_end + at_end[behind], np.maximum(covering, covering[behind]))
            taken += np.maximum(side * lean, 0) + np.maximum(side * lean_end, 0)
            worst = np.maximum(worst, taken)
        bad = np.flatnonzero((worst > 0.98 * edges.size) & (np.maximum(needed, needed[behind]) > 0))
        if not len(bad):
            return
        larger = needed[bad] >= needed[behind[bad]]
        joints.hard[np.where(larger, bad, behind[bad])] = True
