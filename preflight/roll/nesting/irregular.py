"""Pieces of any outline on a strip, by spyrrow (MIT) in a process of its own.

The engine works on polygons without holes, in single precision, along its x axis. So each piece is
handed over as one outline, grown by half the gap and by a margin that covers both the simplifying of
its outline and the engine's rounding; x and y are swapped, which turns the other way round. What
comes back then keeps the gap between the true outlines, and is pushed against the strip's beginning.
"""

from __future__ import annotations

import importlib.util
import time
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from preflight.curves import Floats
from preflight.roll.nesting.check import faults
from preflight.roll.nesting.model import (
    Asked,
    Ended,
    Piece,
    Placement,
    Progress,
    Strip,
    Told,
    outline_of,
)
from preflight.roll.nesting.rectangles import missing
from preflight.roll.nesting.runs import NoStartError, run_apart, run_here
from preflight.roll.nesting.settle import settled

_ROUNDING = 4e-7
"""Of the largest measure: what single precision may shift a corner by, with some to spare."""

_PLAY = 4e-6
"""Of the strip's width: room without which the engine cannot lay in a piece that is exactly as wide. What
reaches over the edge by so little is moved back afterwards; outlines are grown by as much for that."""

_EASINGS = (0.0, 0.003, 0.01, 0.04)
"""Of the strip's width: how much wider it is made for the engine, in turn, where it finds no first arrangement.
It simplifies outlines in its own way, which may widen a piece that just fits. What then reaches over the edge
is moved back, and along the strip until all gaps are kept."""

_STARTING = 0.4
"""Seconds that starting the process may take; the search gets what is left."""

_MOST_CORNERS = 300
"""A piece's outline is simplified, to the outside, until it has no more."""


def search(
    pieces: Sequence[Piece],
    strip: Strip,
    *,
    seconds: float,
    seed: int,
    told: Told | None = None,
    asked: Asked | None = None,
    workers: int | None = None,
    isolated: bool = True,
) -> tuple[tuple[Placement, ...], Ended]:
    """Return the best placements found within ``seconds``, and how the search ended.

    ``asked`` is called some twenty times a second; True ends the search with what there is. Without
    ``isolated`` the engine runs in threads of this process (see `runs.run_here`). Raises `NestingError`
    where the engine is missing, fails, or has found nothing yet when it is ended.
    """
    if importlib.util.find_spec("spyrrow") is None:
        raise missing("spyrrow")
    begin = time.monotonic()
    run = run_apart if isolated else run_here
    area = sum(piece.region.area * piece.copies for piece in pieces)
    for easing in _EASINGS:
        left = seconds - (time.monotonic() - begin) - (_STARTING if isolated else 0.0)
        task = _task(pieces, strip, max(int(left), 2), easing) | {"workers": workers, "seed": seed}
        try:
            best, ended = run(task, lambda length: _tell(told, length, area, strip), begin + seconds, asked)
            break
        except NoStartError:
            if easing == _EASINGS[-1]:
                raise
    placements = [
        Placement(pieces[int(name)].key, -float(turn) % 360, float(y), float(x))
        for name, turn, x, y in best["placed"]
    ]
    found = _pushed(placements, pieces, strip)
    length = max(_boxes(found, pieces)[:, 3])
    if next(faults(pieces, found, strip, float(length)), None) is not None:
        found = settled(found, pieces, strip)
    return found, ended


def _task(pieces: Sequence[Piece], strip: Strip, whole: int, easing: float) -> dict[str, Any]:
    margin = _margin(pieces, strip)
    compress = max(round(whole * 0.2), 1)
    return {
        "height": strip.width + strip.gap + 2 * margin + (_PLAY + easing) * strip.width,
        "items": [
            {
                "id": str(number),
                "shape": _shape(piece, strip, margin),
                "copies": piece.copies,
                "turns": _turns(piece, strip),
            }
            for number, piece in enumerate(pieces)
        ],
        "explore": whole - compress,
        "compress": compress,
        "early": True,
    }


def _tell(told: Told | None, length: float, area: float, strip: Strip) -> None:
    if told is not None:
        told(Progress(max(length - strip.gap, 0.0), area / (strip.width * length)))


def _turns(piece: Piece, strip: Strip) -> list[float] | None:
    turns = (0.0,) if strip.directional else piece.turns
    return None if turns is None else sorted({-turn % 360 for turn in turns})


def _margin(pieces: Sequence[Piece], strip: Strip) -> float:
    """Return by how much outlines are grown besides the gap, mm."""
    corners = np.concatenate([shapely.get_coordinates(piece.region) for piece in pieces])
    total = sum(float(np.sqrt(piece.region.area)) * piece.copies for piece in pieces)
    rounding = _ROUNDING * max(float(np.abs(corners).max()), strip.width, total)
    return rounding + _PLAY * strip.width


def _shape(piece: Piece, strip: Strip, margin: float) -> list[tuple[float, float]]:
    """Return the corners of a piece's outline, grown and simplified to the outside, x and y swapped."""
    outline = outline_of(piece.region, strip.gap)
    grown = _grown(outline, strip.gap / 2 + margin, 0.0)
    x0, y0, x1, y1 = outline.bounds
    slack = strip.gap / 20 if strip.gap > 0 else 2e-4 * max(x1 - x0, y1 - y0)
    while len(grown.exterior.coords) > _MOST_CORNERS:
        grown = _grown(outline, strip.gap / 2 + margin, slack)
        slack *= 2
    return [(y, x) for x, y in grown.exterior.coords[:-1]]


def _grown(outline: Polygon, by: float, slack: float) -> Polygon:
    """Return a polygon that covers ``outline`` grown by ``by`` and reaches at most ``2 slack`` farther."""
    grown: BaseGeometry = outline.buffer(by + slack, join_style="mitre", mitre_limit=2.0)
    kept = grown.simplify(slack) if slack else grown
    # Corners reach farther than the edges are moved; up to the box they would only keep the piece from
    # the strip's edge.
    x0, y0, x1, y1 = outline.bounds
    kept = shapely.intersection(kept, shapely.box(x0 - by, y0 - by, x1 + by, y1 + by))
    return Polygon(shapely.get_exterior_ring(kept))


def _pushed(placements: Sequence[Placement], pieces: Sequence[Piece], strip: Strip) -> tuple[Placement, ...]:
    """Return the placements moved together so that the first cut is at y = 0 and the least x at 0.

    What then still reaches over the far edge, by the play at most, is moved back on its own.
    """
    boxes = _boxes(placements, pieces)
    x, y = boxes[:, :2].min(axis=0)
    back = x + np.clip(boxes[:, 2] - x - strip.width, 0.0, 2 * _PLAY * strip.width)
    return tuple(
        Placement(p.key, p.turn, p.x - float(dx), p.y - float(y))
        for p, dx in zip(placements, back, strict=True)
    )


def _boxes(placements: Sequence[Placement], pieces: Sequence[Piece]) -> Floats:
    """Return the bounds (n, 4) of the pieces as placed."""
    known = {piece.key: piece for piece in pieces}
    return np.array([known[p.key].at(p.turn, p.x, p.y).bounds for p in placements])
