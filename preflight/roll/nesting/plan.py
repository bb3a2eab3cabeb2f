"""From an order to a checked nesting: what is asked, which engine, what comes of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.roll.nesting.check import faults
from preflight.roll.nesting.holes import Hosted, fill_holes
from preflight.roll.nesting.irregular import search
from preflight.roll.nesting.model import (
    Asked,
    Ended,
    Engine,
    Nesting,
    NestingError,
    Piece,
    Placement,
    Strip,
    Told,
)
from preflight.roll.nesting.rectangles import is_rectangle, pack_rectangles
from preflight.roll.nesting.runs import NoStartError
from preflight.roll.turning import SLACK, extents, narrowest_turn
from preflight.units import format_length

MOST_COPIES = 2000

_MOST_BOXED = 200
"""Copies that are packed by their boxes too, besides the search among their outlines."""


def nest(
    pieces: Sequence[Piece],
    strip: Strip,
    *,
    seconds: float = 10.0,
    seed: int = 1,
    holes: bool = False,
    engine: Literal["auto"] | Engine = "auto",
    told: Told | None = None,
    asked: Asked | None = None,
    workers: int | None = None,
    isolated: bool = True,
) -> Nesting:
    """Return all copies of ``pieces`` on ``strip`` in as little length as is found within ``seconds``.

    ``holes`` allows pieces inside the holes of others. ``told`` hears of every better arrangement;
    ``asked`` returning True ends the search with the best so far. ``engine`` "rectangles" packs the
    boxes of pieces that are no rectangles. ``isolated`` runs the irregular search in a process of its
    own; without it, it runs in threads of this one, for a place where no process may be started, and
    goes on in the background for the rest of ``seconds`` when it is ended. Raises `NestingError` where a
    piece has no area or is too wide at every turn, an engine is missing, or nothing was found in time.
    """
    if not seconds > 0:
        raise NestingError("nesting-time", f"The time given is {seconds:g} s.", "Give it 2 s or more.")
    _accept(pieces, strip)
    chosen: Engine = engine if engine != "auto" else _fitting_engine(pieces, strip, holes)
    outer, hosted = fill_holes(pieces, strip) if holes else (tuple(pieces), Hosted())
    ended: Ended = "complete"
    if chosen == "rectangles":
        placements = pack_rectangles(outer, strip, told, asked)
    else:
        boxed = pack_rectangles(outer, strip) if engine == "auto" and _box_fits(outer, strip) else None
        try:
            placements, ended = search(
                outer,
                strip,
                seconds=seconds,
                seed=seed,
                told=told,
                asked=asked,
                workers=workers,
                isolated=isolated,
            )
        except NestingError as error:
            late = error.code == "nesting-time"
            if boxed is None or not (late or isinstance(error, NoStartError)):
                raise
            placements, ended = boxed, "out-of-time" if late else "complete"
        if boxed is not None and _length(outer, boxed) <= _length(outer, placements):
            # Boxes that just fit side by side are what a search among outlines misses.
            placements, chosen = boxed, "rectangles"
    placements = hosted.spread(placements)
    return _checked(pieces, placements, strip, chosen, ended)


def nest_by_film(
    pieces: Sequence[Piece], strips: Mapping[str, Strip], *, seconds: float = 10.0, seed: int = 1
) -> dict[str, Nesting]:
    """Return one nesting a film, in the order in which the films first appear; time is shared evenly."""
    by_film: dict[str, list[Piece]] = {}
    for piece in pieces:
        by_film.setdefault(piece.film, []).append(piece)
    unknown = sorted(by_film.keys() - strips.keys())
    if unknown:
        raise NestingError(
            "nesting-film",
            f"No strip is stated for the film {unknown[0]}.",
            "State the roll of every film in the order.",
        )
    share = seconds / max(len(by_film), 1)
    return {film: nest(own, strips[film], seconds=share, seed=seed) for film, own in by_film.items()}


def _fitting_engine(pieces: Sequence[Piece], strip: Strip, holes: bool) -> Engine:
    square = all(
        is_rectangle(piece.region)
        and (strip.directional or piece.turns is None or all(t % 90 == 0 for t in piece.turns))
        for piece in pieces
    )
    return "rectangles" if square and not holes else "irregular"


def _box_fits(pieces: Sequence[Piece], strip: Strip) -> bool:
    """Return whether every piece fits the strip at a quarter turn that it may lie at; not for very many."""
    few = sum(piece.copies for piece in pieces) <= _MOST_BOXED
    return few and all(
        any(
            extents(shapely.get_coordinates(piece.region), t).across <= strip.width
            for t in _quarters(piece, strip)
        )
        for piece in pieces
    )


def _quarters(piece: Piece, strip: Strip) -> tuple[float, ...]:
    if strip.directional:
        return (0.0,)
    return (0.0, 90.0) if piece.turns is None else piece.turns


def _length(pieces: Sequence[Piece], placements: Sequence[Placement]) -> float:
    known = {piece.key: piece for piece in pieces}
    return float(max(known[p.key].at(p.turn, p.x, p.y).bounds[3] for p in placements))


def _accept(pieces: Sequence[Piece], strip: Strip) -> None:
    if not pieces:
        raise NestingError("nesting-empty", "There are no pieces to nest.", "Name one piece or more.")
    if len({piece.key for piece in pieces}) < len(pieces):
        raise NestingError(
            "nesting-keys", "Two pieces have the same name.", "Give each piece a name of its own."
        )
    if sum(piece.copies for piece in pieces) > MOST_COPIES:
        raise NestingError(
            "nesting-too-many",
            f"More than {MOST_COPIES} copies are asked for at once.",
            "Nest them in several runs.",
        )
    for piece in pieces:
        _accept_piece(piece, strip)


def _accept_piece(piece: Piece, strip: Strip) -> None:
    region: BaseGeometry = piece.region
    if region.area <= 0 or not region.is_valid or not np.isfinite(region.bounds).all():
        raise NestingError(
            "nesting-piece",
            f"The piece {piece.key} has no area, or its outline crosses itself.",
            "Repair the artwork first.",
        )
    if piece.copies < 1:
        raise NestingError(
            "nesting-piece",
            f"The piece {piece.key} is asked for {piece.copies} times.",
            "Ask for 1 or more, or leave it out.",
        )
    if piece.turns is not None and not piece.turns:
        raise NestingError(
            "nesting-piece", f"The piece {piece.key} has no turn it may lie at.", "Allow 0 degrees."
        )
    corners = shapely.get_coordinates(region)
    turns = (0.0,) if strip.directional else piece.turns
    tried = [narrowest_turn(corners)] if turns is None else [extents(corners, turn) for turn in turns]
    least = min(turn.across for turn in tried)
    if least > strip.width + SLACK:
        raise NestingError(
            "nesting-too-wide",
            f"The piece {piece.key} is at least {format_length(least)} wide at the turns it may lie at; "
            f"the strip has {format_length(strip.width)}.",
            "Part it into panels, scale it down, or take a wider roll.",
        )


def _checked(
    pieces: Sequence[Piece],
    placements: tuple[Placement, ...],
    strip: Strip,
    engine: Engine,
    ended: Ended,
) -> Nesting:
    length = _length(pieces, placements)
    wrong = next(faults(pieces, placements, strip, length), None)
    if wrong is not None:
        raise NestingError(
            "nesting-wrong",
            f"The engine's arrangement is not right: {wrong}.",
            "Try again with another seed; the arrangement was thrown away.",
        )
    area = float(sum(piece.region.area * piece.copies for piece in pieces))
    rank = {piece.key: number for number, piece in enumerate(pieces)}
    ordered = tuple(sorted(placements, key=lambda p: (rank[p.key], p.y, p.x)))
    return Nesting(ordered, length, area, strip, engine, ended)
