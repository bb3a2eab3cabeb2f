"""One film's cut put together: what is cut, how it lies, in which order, when, and where the film goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preflight.curves import Floats, Ints, Matrix, Polylines
from preflight.cutting.order import (
    CutOrder,
    arranged,
    closed_lines,
    cut_order,
    enclosed_areas,
    travel_as_drawn,
)
from preflight.cutting.timing import Machine, Motion, motion, move_times
from preflight.geometry.turning import SAME


@dataclass(frozen=True, eq=False)
class Cut:
    """The cut of one film. Arrays of k contours are in the order of cutting; mm on the machine, s.

    ``lines`` are open polylines, overcut included; ``own`` (k,) is each contour's length without it and
    ``overcut`` (k,) what it goes on for. ``travel`` (k,) is the way to each with the knife up and
    ``moving`` (k,) the time that takes; ``begin`` (k,) is when that way begins. ``small`` (k,) are pieces
    that could lift. ``drawn`` (k,) is the contour's index in the drawing.
    """

    order: CutOrder
    drawn: Ints
    lines: Polylines
    own: Floats
    overcut: Floats
    travel: Floats
    moving: Floats
    begin: Floats
    motion: Motion
    small: np.ndarray
    file_order_travel: float

    def seconds(self, machine: Machine) -> float:
        """Return the whole time, s."""
        knife = len(self.own) * (machine.drop + machine.lift)
        return float(self.moving.sum() + self.motion.duration.sum()) + knife


def laid(lines: Polylines, *, mirrored: bool, turned: bool) -> tuple[Polylines, Matrix]:
    """Return lines as they lie on the machine, their box's corner at 0, and the matrix that took them there.

    Mirrored left to right, then turned a quarter clockwise (y is down), where asked for.
    """
    a, b, c, d = (-1.0 if mirrored else 1.0), 0.0, 0.0, 1.0
    if turned:  # (x, y) becomes (-y, x)
        a, b, c, d = -b, a, -d, c
    points = lines.points @ np.array([[a, b], [c, d]])
    low = points.min(axis=0)
    moved = Polylines(points - low, lines.starts, lines.closed, lines.path, lines.corners)
    # Adding 0 makes no number another, but -0 to 0.
    return moved, (a + 0.0, b + 0.0, c + 0.0, d + 0.0, float(0.0 - low[0]), float(0.0 - low[1]))


def spots(lines: Polylines) -> np.ndarray:
    """Return which polylines (k,) are no more than one spot, so that there is nothing to cut."""
    low = np.minimum.reduceat(lines.points, lines.starts[:-1])
    high = np.maximum.reduceat(lines.points, lines.starts[:-1])
    found: np.ndarray = (high - low).max(axis=1) <= 4 * SAME
    return found


def planned(
    lines: Polylines,
    drawn: Ints,
    machine: Machine,
    *,
    window: float,
    small_area: float,
    overcut: float,
    small_first: bool,
) -> Cut:
    """Return the cut of ``lines``, as they lie on the machine.

    ``drawn`` (k,) are their indices in the drawing; ``window`` mm of film are cut before the next is fed;
    closed contours of less than ``small_area`` mm2 count as small, and go first if ``small_first``;
    ``overcut`` is how far closed contours are cut past their start, mm.
    """
    order = cut_order(lines, window=window, fragile_area=small_area if small_first else 0.0)
    sorted_lines = arranged(lines, order)
    own, whole, beyond = _overcut(sorted_lines, overcut)
    first, last = whole.starts[:-1], whole.starts[1:] - 1
    leave = np.concatenate((np.zeros((1, 2)), whole.points[last]))[:-1]
    travel = np.hypot(*(whole.points[first] - leave).T)
    moving = np.zeros(len(travel))
    far = travel > 0
    moving[far] = move_times(travel[far], machine.travel_speed, machine.travel_acceleration)
    followed = motion(whole.points, whole.starts, machine, corners=whole.corners)
    each = moving + machine.drop + followed.duration + machine.lift
    return Cut(
        order=order,
        drawn=drawn[order.contours],
        lines=whole,
        own=own,
        overcut=beyond,
        travel=travel,
        moving=moving,
        begin=np.concatenate(([0.0], np.cumsum(each)))[:-1],
        motion=followed,
        small=enclosed_areas(sorted_lines, closed_lines(sorted_lines)) < small_area,
        file_order_travel=float(travel_as_drawn(lines).sum()),
    )


def _overcut(lines: Polylines, overcut: float) -> tuple[Floats, Polylines, Floats]:
    """Return each line's length, the lines with closed ones gone on past their start, and by how much."""
    along = lines.along()
    own = along[lines.starts[1:] - 1]
    beyond = np.where(closed_lines(lines), np.minimum(overcut, own), 0.0)
    parts: list[Floats] = []
    marks: list[np.ndarray] = []
    for i, more in enumerate(beyond.tolist()):
        begin, end = int(lines.starts[i]), int(lines.starts[i + 1])
        parts.append(lines.points[begin:end])
        marks.append(lines.corners[begin:end])
        if more <= SAME:
            continue
        # Whole chords that fit, then a part of the next.
        reached = begin + int(np.searchsorted(along[begin:end], more - SAME))
        share = (more - along[reached - 1]) / (along[reached] - along[reached - 1])
        tip = lines.points[reached - 1] + share * (lines.points[reached] - lines.points[reached - 1])
        parts += [lines.points[begin + 1 : reached], tip[None]]
        marks += [lines.corners[begin + 1 : reached], np.ones(1, bool)]
    extra = np.where(beyond > SAME, 1, 0)
    owner = np.concatenate([np.full(1 + 2 * e, i) for i, e in enumerate(extra.tolist())])
    sizes = np.bincount(owner, [len(part) for part in parts], len(lines)).astype(np.int64)
    return (
        own,
        Polylines(
            np.concatenate(parts),
            np.concatenate(([0], np.cumsum(sizes))).astype(np.int64),
            np.zeros(len(lines), bool),
            lines.path,
            np.concatenate(marks),
        ),
        np.where(beyond > SAME, beyond, 0.0),
    )
