"""Nodes that draw nothing: segments of no length, and lines that go out and come back along themselves."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from preflight.curves import Floats, Ints, Polylines
from preflight.geometry.turning import SAME, Turning, turning

_BACK = np.radians(175.0)
_WALKED = 64
"""A backtrack is followed over at most so many chords to either side."""


@dataclass(frozen=True, slots=True)
class Backtrack:
    """A line that turns back on itself at ``point`` and is retraced for ``length``; lengths in mm."""

    contour: int
    point: tuple[float, float]
    box: tuple[float, float, float, float]
    length: float


def repeated_nodes(lines: Polylines) -> Ints:
    """Return the indices of points that end a segment of no length. Contours of no length are left out."""
    if len(lines.points) < 2:
        return np.zeros(0, np.int64)
    near = (np.abs(np.diff(lines.points, axis=0)) <= SAME).all(axis=1)
    found = np.flatnonzero(near & lines.corners[1:] & lines.corners[:-1]) + 1
    found = found[~np.isin(found, lines.starts[:-1])]
    if not len(found):
        return found
    owner = np.searchsorted(lines.starts, found, side="right") - 1
    sized = [bool((np.ptp(lines[int(contour)], axis=0) > SAME).any()) for contour in owner]
    return found[sized]


def backtracks(lines: Polylines, *, width: float, least: float) -> Iterator[Backtrack]:
    """Yield the places where a contour returns along itself with at most ``width`` between, in order.

    Those shorter than ``least`` are left out. A contour that is nothing but a line there and back is
    given once.
    """
    chords = turning(lines)
    size, after = chords.size, chords.size[chords.following]
    shorter = np.minimum(size, after)
    found = np.flatnonzero((np.abs(chords.turn) > _BACK) & (shorter * np.sin(np.abs(chords.turn)) <= width))
    if not len(found):
        return
    lengths = dict(
        zip(chords.owner[chords.first].tolist(), np.add.reduceat(size, chords.first).tolist(), strict=True)
    )
    whole_given = -1
    for index in found:
        contour = int(chords.owner[index])
        if contour == whole_given:
            continue
        track = _track(lines, chords, int(index), width, lengths[contour] / 2)
        if track.length < least:
            continue
        if 2 * track.length > 0.98 * lengths[contour]:
            whole_given = contour
        yield track


def _track(lines: Polylines, chords: Turning, index: int, width: float, half: float) -> Backtrack:
    """Follow the line from the end of chord ``index`` both ways until the two part, ``half`` round at most."""
    contour = int(chords.owner[index])
    which = int(np.searchsorted(chords.owner[chords.first], contour))
    first, count = int(chords.first[which]), int(chords.count[which])
    reach = np.arange(min(_WALKED, count))
    closed = bool(lines.closed[contour])
    back, on = index - first - reach, index - first + 1 + reach
    if not closed:
        back, on = back[back >= 0], on[on < count]
    tip = lines.points[chords.end[index]]
    backward = _walk(tip, -chords.step[back % count + first])
    forward = _walk(tip, chords.step[on % count + first])
    where = [
        np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(way, axis=0).T)))) for way in (backward, forward)
    ]
    spots = np.unique(np.concatenate(where))
    spots = spots[spots <= min(where[0][-1], where[1][-1])]
    spots = spots[spots <= (half if closed else 2 * half) + SAME]
    one, two = (_at(way, place, spots) for way, place in zip((backward, forward), where, strict=True))
    apart = np.hypot(*(one - two).T) > width
    parted = int(np.argmax(apart)) if apart.any() else len(spots)
    kept = one[:parted]
    (x0, y0), (x1, y1) = kept.min(axis=0), kept.max(axis=0)
    return Backtrack(
        contour,
        (float(tip[0]), float(tip[1])),
        (float(x0), float(y0), float(x1), float(y1)),
        float(spots[parted - 1]),
    )


def _walk(start: Floats, steps: Floats) -> Floats:
    return np.concatenate((start[None], start + np.cumsum(steps, axis=0)))


def _at(way: Floats, where: Floats, spots: Floats) -> Floats:
    return np.stack([np.interp(spots, where, way[:, axis]) for axis in (0, 1)], axis=1)
