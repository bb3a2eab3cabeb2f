"""The pen of a stroke: the shapes it leaves at turns and ends, and what vectors need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preflight.artwork import Cap, Join
from preflight.curves import Floats, Ints

_FINEST = 1e-6
"""Least chord error as a share of the pen's radius: 2,200 chords a circle, right to 5 µm at 10 m width."""


def left(direction: Floats) -> Floats:
    """Return vectors (..., 2) turned by a quarter from x to y."""
    return np.stack((-direction[..., 1], direction[..., 0]), axis=-1)


def turned(vectors: Floats, angle: Floats) -> Floats:
    """Return vectors (..., 2) turned by ``angle`` (...)."""
    c, s = np.cos(angle), np.sin(angle)
    x, y = vectors[..., 0], vectors[..., 1]
    return np.stack((c * x - s * y, s * x + c * y), axis=-1)


def angle_between(first: Floats, second: Floats) -> Floats:
    """Return the signed angle from ``first`` to ``second``, -pi to pi."""
    cross = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
    return np.asarray(np.arctan2(cross, (first * second).sum(axis=-1)))


def unit(vectors: Floats) -> Floats:
    """Return vectors (..., 2) at length 1; those of no length stay as they are."""
    size = np.hypot(vectors[..., 0], vectors[..., 1])[..., None]
    return np.asarray(np.divide(vectors, size, out=np.zeros_like(vectors), where=size > 0))


@dataclass(frozen=True, slots=True)
class Pen:
    """What draws: half the width, the shapes at ends and joins, and the chord error allowed."""

    half: float
    cap: Cap
    join: Join
    limit: float
    error: float

    def steps(self, angle: Floats) -> Ints:
        """Return how many chords stand for an arc of the pen's radius through ``angle``."""
        share = max(self.error / self.half, _FINEST)
        widest = 2 * np.arccos(1 - share) if share < 1 else np.pi / 2
        return np.maximum(np.ceil(np.abs(angle) / widest - 1e-9), 1).astype(np.int64)

    def arc(self, normal: Floats, angle: float) -> Floats:
        """Return the inner points (n, 2) of an arc that starts at ``normal`` and turns by ``angle``."""
        count = int(self.steps(np.array([angle]))[0])
        turn = angle * np.arange(1, count) / count
        return self.half * turned(np.broadcast_to(normal, (count - 1, 2)), turn)

    def fan(self, place: Floats, before: Floats, after: Floats, join: Join) -> list[Floats]:
        """Return the ring on the outer side of a turn at ``place`` between two directions, if there is any."""
        angle = float(angle_between(before, after))
        if angle == 0.0:
            return []
        outer = -1.0 if angle > 0 else 1.0
        start, stop = outer * left(before), outer * left(after)
        middle = corner_points(start, before, angle, self, join)
        if abs(angle) > np.pi - 1e-9 and not len(middle):
            return []
        corners = (np.zeros((1, 2)), self.half * start[None], middle, self.half * stop[None])
        return [place + np.concatenate(corners)]


def corner_points(start: Floats, before: Floats, angle: float, pen: Pen, join: Join) -> Floats:
    """Return what a join adds between its two outer corners, relative to the vertex, (n, 2)."""
    if join is Join.ROUND:
        return pen.arc(start, angle)
    half = abs(angle) / 2
    if join is Join.BEVEL:
        return np.zeros((0, 2))
    if np.cos(half) * pen.limit >= 1:
        return np.asarray(pen.half * (start + np.tan(half) * before))[None]
    if join is not Join.MITER_CLIP:
        return np.zeros((0, 2))
    reach = pen.half * max(pen.limit - np.cos(half), 0.0) / np.sin(half)
    stop, after = turned(start, np.array(angle)), turned(before, np.array(angle))
    return np.stack((pen.half * start + reach * before, pen.half * stop - reach * after))
