"""From pieces of knife lines to places a reader understands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from preflight.analysis import Analysis
from preflight.artwork import Origin
from preflight.curves import Bools, Ints
from preflight.geometry.gather import groups
from preflight.geometry.knife import KnifeLines
from preflight.report.model import Place
from preflight.rules.build import place

NEAR = 0.2
"""Pieces nearer than this (mm) belong to one place."""


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


def grouped(
    analysis: Analysis, knife: KnifeLines, pieces: Ints, *, by_shape: bool = False
) -> list[PlacedGroup]:
    """Gather ``pieces`` into places, in the order of their first piece: near ones, or those of one shape."""
    if not len(pieces):
        return []
    which, contours = knife.contours_at(pieces)
    owner = analysis.painting.contours.path[contours]
    begin = np.searchsorted(which, np.arange(len(pieces) + 1))
    if by_shape:
        first = owner[np.minimum(begin[:-1], len(owner) - 1)]
        gathered = [np.flatnonzero(first == shape) for shape in np.unique(first)]
    else:
        gathered = groups(knife.pieces.lines[pieces], NEAR)
    found = []
    for members in gathered:
        chosen = pieces[members]
        lengths = knife.pieces.length[chosen]
        shapes = sorted({int(o) for m in members for o in owner[begin[m] : begin[m + 1]]})
        origins = [analysis.shapes[index].origin for index in shapes]
        x, y = knife.pieces.spots()[chosen[int(np.argmax(lengths))]]
        x0, y0, x1, y1 = shapely.total_bounds(knife.pieces.lines[chosen])
        found.append(
            PlacedGroup(
                chosen,
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
