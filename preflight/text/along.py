"""Points and directions at distances along a path."""

from __future__ import annotations

import math

import numpy as np

from preflight.curves import Floats, Path, evaluate

_PARTS = 32
_AT, _WEIGHT = np.polynomial.legendre.leggauss(5)


def backwards(path: Path) -> Path:
    """Return ``path`` run from its end to its start."""
    ends = path.ends
    total = len(path.controls)
    starts = (total - ends)[::-1]
    return Path(path.controls[::-1, ::-1], path.lines[::-1], starts, path.closed[::-1])


class Along:
    """A path measured: gaps between subpaths have no length.

    Each segment is cut into 32 parts of equal parameter, each part's length integrated by
    Gauss-Legendre quadrature; between parts the distance is inverted by Newton's method.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        count = len(path.controls)
        self.closed = len(path) == 1 and bool(path.closed[0])
        edges = np.arange(_PARTS) / _PARTS
        at = (edges[:, None] + (_AT + 1) / (2 * _PARTS)).ravel()
        t = np.tile(at, count)
        controls = np.repeat(path.controls, len(at), axis=0)
        speed = np.hypot(*_derivative(controls, t).T) if count else np.zeros(0)
        parts = (speed.reshape(count * _PARTS, len(_AT)) * _WEIGHT).sum(axis=1) / (2 * _PARTS)
        self.sums = np.concatenate(([0.0], np.cumsum(parts)))
        self.length = float(self.sums[-1])
        self.end = (float(path.controls[-1, 3, 0]), float(path.controls[-1, 3, 1])) if count else (0.0, 0.0)

    def at(self, distance: float) -> tuple[float, float, float]:
        """Return the point at ``distance`` (from 0 to `length`) and the direction there in degrees."""
        last = len(self.sums) - 2
        part = min(max(int(np.searchsorted(self.sums, distance, side="right")) - 1, 0), last)
        segment, step = divmod(part, _PARTS)
        control = self.path.controls[segment : segment + 1]
        span = self.sums[part + 1] - self.sums[part]
        low = step / _PARTS
        t = low + (distance - self.sums[part]) / span / _PARTS if span > 0 else low
        for _ in range(4):
            gone = self._within(control, low, t)
            speed = float(np.hypot(*_derivative(control, np.array([t]))[0]))
            if speed <= 0:
                break
            t = min(max(t - (gone - (distance - self.sums[part])) / speed, low), low + 1 / _PARTS)
        x, y = evaluate(control, np.array([t]))[0]
        return float(x), float(y), _direction(control, t)

    @staticmethod
    def _within(control: Floats, low: float, t: float) -> float:
        at = low + (_AT + 1) / 2 * (t - low)
        speed = np.hypot(*_derivative(np.repeat(control, len(at), axis=0), at).T)
        return float((speed * _WEIGHT).sum() * (t - low) / 2)


def _derivative(
    controls: Floats,
    t: Floats,
) -> Floats:
    step = 3 * np.diff(controls, axis=1)
    s, u = (1 - t)[:, None], t[:, None]
    found: Floats = s * s * step[:, 0] + 2 * s * u * step[:, 1] + u * u * step[:, 2]
    return found


def _direction(control: Floats, t: float) -> float:
    """Return the direction in degrees; at a cusp or an end with equal controls, the chord's nearby."""
    dx, dy = _derivative(control, np.array([t]))[0]
    if math.hypot(dx, dy) <= 1e-9 * float(np.abs(np.diff(control, axis=1)).max()):
        near = evaluate(np.repeat(control, 2, axis=0), np.array([max(t - 1e-3, 0.0), min(t + 1e-3, 1.0)]))
        dx, dy = near[1] - near[0]
    return math.degrees(math.atan2(dy, dx))
