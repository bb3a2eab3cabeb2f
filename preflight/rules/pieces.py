"""From pieces of knife lines to places a reader understands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from preflight.analysis import Analysis
from preflight.artwork import Origin
from preflight.curves import Bools, Ints
from preflight.films import Film
from preflight.geometry.gather import groups
from preflight.geometry.knife import KnifeLines
from preflight.report.model import Place
from preflight.rules.build import place

NEAR = 0.2
"""Pieces nearer than this (mm) belong to one place."""

_SAMPLES = 20
"""So many spots of a piece are asked for whether a line runs near it."""

_MOSTLY = 0.8
"""A piece of which this part is near another line is near it; the rest are its corners."""


@dataclass(frozen=True, eq=False)
class PlacedGroup:
    """Neighbouring pieces: their total length in mm, the shapes they belong to, and where they lie."""

    pieces: Ints
    length: float
    shapes: tuple[int, ...]
    names: str
    place: Place


def is_whole_contour(knife: KnifeLines, pieces: Ints) -> Bools:
    """Return which pieces are whole closed contours that nothing crosses."""
    closed: Bools = shapely.is_closed(knife.pieces.lines[pieces])
    return closed


def apart(film: Film, pieces: Ints) -> Ints:
    """Return the pieces that do not run along another line as near as if they were one.

    Those belong to near-double-cut: one finding says more of one fault than two.
    """
    if not film.near or not len(pieces):
        return pieces
    lines = film.knife.pieces.lines[pieces]
    shares = (np.arange(_SAMPLES) + 0.5) / _SAMPLES
    spots = shapely.line_interpolate_point(
        np.repeat(lines, _SAMPLES), np.tile(shares, len(lines)), normalized=True
    )
    # Both were flattened from one curve, the runs more finely.
    which, _ = film.near_runs.query(spots, predicate="dwithin", distance=2 * film.flattened)
    near = np.zeros(len(spots), bool)
    near[which] = True
    shares_near = near.reshape(-1, _SAMPLES).mean(axis=1)
    return pieces[np.flatnonzero(shares_near < _MOSTLY)]


def grouped(
    analysis: Analysis, knife: KnifeLines, pieces: Ints, *, by_shape: bool = False
) -> list[PlacedGroup]:
    """Gather ``pieces`` into places, in the order of their first piece: near ones, or those of one shape."""
    if not len(pieces):
        return []
    which, contours = knife.contours_at(pieces)
    owner = analysis.painting.contours.path[contours]
    begin = np.searchsorted(which, np.arange(len(pieces) + 1))
    own = knife.pieces.chosen(pieces)
    spots, bounds = own.spots(), shapely.bounds(own.lines)
    if by_shape:
        first = owner[np.minimum(begin[:-1], len(owner) - 1)]
        gathered = [np.flatnonzero(first == shape) for shape in np.unique(first)]
    else:
        gathered = groups(own.lines, NEAR)
    found = []
    for members in gathered:
        lengths = own.length[members]
        shapes = sorted({int(o) for m in members for o in owner[begin[m] : begin[m + 1]]})
        origins = [analysis.shapes[index].origin for index in shapes]
        x, y = spots[members[int(np.argmax(lengths))]]
        (x0, y0), (x1, y1) = bounds[members, :2].min(axis=0), bounds[members, 2:].max(axis=0)
        found.append(
            PlacedGroup(
                pieces[members],
                float(lengths.sum()),
                tuple(shapes),
                named(origins),
                place(
                    (float(x0), float(y0), float(x1), float(y1)),
                    (float(x), float(y)),
                    origins[-1] if origins else None,
                ),
            )
        )
    return found


def named(origins: list[Origin]) -> str:
    """Return the elements' names for an operator, at most four of them."""
    names = [f"{o.label} (line {o.line})" if o.line else o.label for o in origins[:4]]
    more = len(origins) - len(names)
    return ", ".join(names) + (f" and {more} more" if more > 0 else "")
