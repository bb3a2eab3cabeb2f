"""What a seam meets at each place across a film: parts, holes, and how wide the panels beside it become.

Positions ``u`` (mm) run across the seams, ``v`` along them: for vertical seams u is x, for horizontal y.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Bools, Floats, Ints

TOUCH = 0.02
"""A seam that reaches less than this (mm) into a part does not cut it: it is assigned whole to one side."""


@dataclass(frozen=True, slots=True)
class Widths:
    """What decides how wide a panel is, mm."""

    room: float
    """Usable width of the roll less the weed border on both sides."""
    lap: float
    """Overlap where a seam runs through film."""
    mark: float
    """Span of a registration mark about its seam; 0: none are cut."""

    @property
    def overlap(self) -> float:
        """How far two neighbours overlap at a seam through film."""
        return max(self.lap, self.mark)


class Across:
    """The parts and holes of a region by where they begin and end across the seams."""

    def __init__(self, region: BaseGeometry, widths: Widths) -> None:
        """``region`` is one film in (u, v), mm, not empty."""
        self.region, self.widths = region, widths
        self.parts = np.array([p for p in shapely.get_parts(region) if p.geom_type == "Polygon"], object)
        boxes = shapely.bounds(self.parts)
        self.low, self.high = boxes[:, 0], boxes[:, 2]
        self.start, self.end = float(self.low.min()), float(self.high.max())
        whole = self.high - self.low <= widths.room
        self._letters = _Spans(self.low[whole], self.high[whole])
        self._all = _Spans(self.low, self.high)
        rings, owner = shapely.get_rings(self.parts, return_index=True)
        outer = np.append(True, owner[1:] != owner[:-1])[: len(rings)]
        holes = shapely.bounds(rings[~outer]).reshape(-1, 4)
        self._holes = _Spans(holes[:, 0], holes[:, 2])

    def cuts(self, u: Floats) -> Ints:
        """Return through how many parts a seam at each place goes that would fit on one panel."""
        return self._letters.over(u)

    def holes(self, u: Floats) -> Ints:
        """Return through how many holes (counters, letters that are left open) a seam at each place goes."""
        return self._holes.over(u)

    def meets(self, u: Floats) -> Bools:
        """Return where a seam goes through film."""
        return np.asarray(self._all.over(u) > 0)

    def crossed(self, u: float) -> Ints:
        """Return the indices of the parts that a seam at ``u`` cuts."""
        return np.flatnonzero((self.low < u - TOUCH) & (self.high > u + TOUCH))

    def left_reach(self, u: Floats, marked: Bools) -> Floats:
        """Return how far the panel before a seam at each place reaches; ``marked``: with marks in a gap."""
        half = self.widths.mark / 2
        met = self.meets(u)
        film = np.where(met, u + self.widths.lap / 2, self._all.last_end(u))
        return np.where((met | marked) & (half > 0), np.maximum(film, u + half), film)

    def right_reach(self, u: Floats, marked: Bools) -> Floats:
        """Return where the panel after a seam at each place begins; ``marked``: with marks in a gap."""
        half = self.widths.mark / 2
        met = self.meets(u)
        film = np.where(met, u - self.widths.lap / 2, self._all.next_start(u))
        return np.where((met | marked) & (half > 0), np.minimum(film, u - half), film)

    def clear(self, u: Floats) -> Floats:
        """Return how far the nearest film is from a seam at each place; 0 where it goes through film."""
        apart = np.minimum(u - self._all.last_end(u), self._all.next_start(u) - u)
        return np.where(self.meets(u), 0.0, np.maximum(apart, 0.0))

    def gap(self, u: float) -> tuple[float, float]:
        """Return the ends of the empty strip in which a seam at ``u`` lies."""
        spot = np.array([u])
        return float(self._all.last_end(spot)[0]), float(self._all.next_start(spot)[0])

    @cached_property
    def edges(self) -> Floats:
        """Places where a part begins or ends (n,), ascending, without the outermost."""
        found = np.unique(np.concatenate((self.low, self.high)))
        return found[(found > self.start + TOUCH) & (found < self.end - TOUCH)]

    @cached_property
    def gaps(self) -> Floats:
        """Empty strips from end to end of the film, (n, 2)."""
        order = np.argsort(self.low, kind="stable")
        reached = np.maximum.accumulate(self.high[order])
        following = self.low[order][1:]
        open_ = following - reached[:-1] > 2 * TOUCH
        return np.stack((reached[:-1][open_], following[open_]), axis=1)

    def mirrored(self) -> Across:
        """Return the same with u running the other way."""
        return Across(shapely.transform(self.region, lambda points: points * (-1.0, 1.0)), self.widths)


class _Spans:
    """Intervals, asked at many places at once."""

    def __init__(self, low: Floats, high: Floats) -> None:
        self._low, self._high = np.sort(low), np.sort(high)

    def over(self, u: Floats) -> Ints:
        """Return how many intervals hold each place, `TOUCH` away from their ends."""
        begun = np.searchsorted(self._low, u - TOUCH, side="left")
        ended = np.searchsorted(self._high, u + TOUCH, side="right")
        return np.asarray(np.maximum(begun - ended, 0), np.int64)

    def last_end(self, u: Floats) -> Floats:
        """Return the last end that is not past each place; minus infinity where there is none."""
        at = np.searchsorted(self._high, u + TOUCH, side="right")
        return np.concatenate(([-np.inf], self._high))[at]

    def next_start(self, u: Floats) -> Floats:
        """Return the first start that is not before each place; infinity where there is none."""
        at = np.searchsorted(self._low, u - TOUCH, side="left")
        return np.append(self._low, np.inf)[at]
