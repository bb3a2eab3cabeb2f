"""Where the lines of many flattened contours turn, all at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preflight.curves import Floats, Ints, Polylines

SAME = 1e-6
"""Points nearer than this (mm) are one."""


@dataclass(frozen=True, eq=False)
class Turning:
    """Every chord that has a length, contour by contour, and the turn at its end.

    ``end`` (n,) is the index of the chord's end among the points; ``owner`` (n,) its contour;
    ``step`` (n, 2) and ``size`` (n,) the chord; ``following`` (n,) the next chord, round the seam;
    ``turn`` (n,) radians in -pi to pi, 0 at the last end of an open contour; ``first`` and ``count``
    (k,) the chords of each contour that has any.
    """

    end: Ints
    owner: Ints
    step: Floats
    size: Floats
    following: Ints
    turn: Floats
    first: Ints
    count: Ints


def turning(lines: Polylines) -> Turning:
    """Return the chords and turns of all contours; points in one spot are passed over."""
    owner = np.repeat(np.arange(len(lines)), np.diff(lines.starts))
    step = np.zeros((len(lines.points), 2))
    step[1:] = np.diff(lines.points, axis=0)
    step[lines.starts[:-1]] = 0.0
    size = np.hypot(step[:, 0], step[:, 1])
    end = np.flatnonzero(size > SAME)
    step, size, owner = step[end], size[end], owner[end]
    first = np.flatnonzero(np.diff(owner, prepend=-1))
    count = np.diff(np.append(first, len(owner)))
    following = np.arange(1, len(owner) + 1)
    last = first + count - 1
    following[last] = first
    after = step[following]
    turn = np.arctan2(step[:, 0] * after[:, 1] - step[:, 1] * after[:, 0], (step * after).sum(axis=1))
    turn[last[~lines.closed[owner[last]]]] = 0.0
    return Turning(end, owner, step, size, following, turn, first, count)
