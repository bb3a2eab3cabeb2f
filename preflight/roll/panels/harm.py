"""What a seam harms at each place, where it is free to choose.

In units that only compare places with each other. All of it is common practice, no source: a seam is
seen least, and holds best, in long straight areas, square to the edges it crosses and far from thin parts
and from corners, where it would leave slivers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from preflight.curves import Floats
from preflight.geometry.fills import ring_segments
from preflight.roll.panels.parts import Across
from preflight.roll.panels.seams import HARMLESS

_FREE = 20.0
"""A seam in a gap with so much room on both sides could not lie better, mm."""
_LONG = 8.0
"""Film run through over so many times the narrowest part allowed is no thin place."""
_NEAR = 20.0
"""Ends and corners of parts nearer than this leave slivers, mm; the lap where it is larger."""
_BESIDE = 0.35
"""Edges less wide than this share of their length run with the seams."""
_CROSSED, _THIN, _SLANTED, _SLIVER, _NARROW, _STACKED = 400.0, 150.0, 100.0, 150.0, 250.0, 1500.0


@dataclass(frozen=True, eq=False)
class Around:
    """What a film's seams should keep away from; u in mm."""

    solid: float
    """Narrowest part that the film holds well, mm."""
    narrow: Floats
    """Where narrow places and thin parts begin and end, (n, 2)."""
    taken: Sequence[float] = ()
    """Seams through film of other films that lie on this one or under it."""
    stagger: float = 0.0
    """Distance to keep from those, mm."""


class Harms:
    """Harm of a seam at any place across one film."""

    def __init__(self, across: Across, around: Around) -> None:
        self._across, self._around = across, around
        edges = ring_segments(shapely.get_rings(across.parts))
        self._edges = edges[edges[:, 0] != edges[:, 2]]
        self._slivers, self._weights = _slivers(across, edges)

    def __call__(self, u: Floats) -> Floats:
        """Return the harm at each place, 0 to `HARMLESS`."""
        u = np.asarray(u, float)
        if not len(u):
            return np.zeros(0)
        meets = self._across.meets(u)
        harm = 100 * (1 - np.minimum(self._across.clear(u), _FREE) / _FREE)
        if meets.any():
            harm[meets] = _CROSSED + self._through(u[meets])
        return np.asarray(np.minimum(harm, HARMLESS))

    def _through(self, u: Floats) -> Floats:
        around, near = self._around, max(_NEAR, self._across.widths.lap)
        harm = np.array([self._crossing(float(spot)) for spot in u])
        spots, weights = self._slivers, self._weights
        first, last = np.searchsorted(spots, u - near), np.searchsorted(spots, u + near)
        for k, (a, b) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
            harm[k] += _SLIVER * float((weights[a:b] * (1 - np.abs(spots[a:b] - u[k]) / near)).sum())
        if len(around.narrow):
            low, high = around.narrow.T
            hit = (low[None] < u[:, None] + near) & (high[None] > u[:, None] - near)
            harm += _NARROW * hit.sum(axis=1)
        if len(around.taken) and around.stagger > 0:
            apart = np.abs(np.asarray(around.taken)[None] - u[:, None]).min(axis=1)
            harm += np.where(apart < around.stagger, _STACKED * (2 - apart / around.stagger), 0.0)
        return harm

    def _crossing(self, u: float) -> float:
        """Return what the runs of film at ``u`` count: short ones, and edges that are met at a slant."""
        crossing = crossings(self._edges, u)
        if not len(crossing):
            return 0.0
        spots, slant = crossing[:, 0], crossing[:, 1]
        runs = spots[1::2] - spots[0::2]
        long = _LONG * self._around.solid
        thin = np.maximum(1 - runs / long, 0.0).sum()
        return _THIN * float(thin) + _SLANTED * float((1 - slant).sum())


def crossings(edges: Floats, u: float) -> Floats:
    """Return where the ``edges`` (n, 4) of a region cross the line at ``u``: v and sine of the angle, by v.

    Edges are u0, v0, u1, v1. The first and the second, the third and the fourth ... bound a run of film.
    """
    u0, v0, u1, v1 = edges[(edges[:, 0] < u) != (edges[:, 2] < u)].T
    share = (u - u0) / (u1 - u0)
    found = np.stack((v0 + share * (v1 - v0), np.abs(u1 - u0) / np.hypot(u1 - u0, v1 - v0)), axis=1)
    return found[np.argsort(found[:, 0], kind="stable")]


def _slivers(across: Across, edges: Floats) -> tuple[Floats, Floats]:
    """Return where a seam nearby leaves slivers, ascending, and how much each place counts.

    That is where outlines turn back across the seams, and along edges that run with them.
    """
    found = []
    for ring in shapely.get_rings(across.parts):
        u = shapely.get_coordinates(ring)[:-1, 0]
        u = u[np.append(True, u[1:] != u[:-1])]
        if len(u) > 1 and u[0] == u[-1]:
            u = u[:-1]
        before, after = u - np.roll(u, 1), np.roll(u, -1) - u
        found.append(u[before * after < 0])
    turns = np.concatenate(found)
    along, wide = np.abs(edges[:, 3] - edges[:, 1]), np.abs(edges[:, 2] - edges[:, 0])
    beside = wide < _BESIDE * along
    spots = np.concatenate((turns, (edges[beside, 0] + edges[beside, 2]) / 2))
    weights = np.concatenate((np.ones(len(turns)), np.minimum(along[beside] / _NEAR, 2.0)))
    order = np.argsort(spots, kind="stable")
    return spots[order], weights[order]
