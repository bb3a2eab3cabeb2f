"""Pieces of any outline on a strip, by spyrrow (MIT) in a process of its own.

The engine works on polygons without holes, in single precision, along its x axis. So each piece is
handed over as one outline, grown by half the gap and by a margin that covers both the simplifying of
its outline and the engine's rounding; x and y are swapped, which turns the other way round. What
comes back then keeps the gap between the true outlines, and is pushed against the strip's beginning.
"""

from __future__ import annotations

import importlib.util
import json
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import IO, Any

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from preflight.errors import shortened
from preflight.roll.nesting.model import (
    Asked,
    Ended,
    NestingError,
    Piece,
    Placement,
    Progress,
    Strip,
    Told,
    outline_of,
)
from preflight.roll.nesting.rectangles import missing

_ROUNDING = 4e-7
"""Of the largest measure: what single precision may shift a corner by, with some to spare."""

_PLAY = 4e-6
"""Of the strip's width: room without which the engine cannot lay in a piece that is exactly as wide. What
reaches over the edge by so little is moved back afterwards; outlines are grown by as much for that."""

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
) -> tuple[tuple[Placement, ...], Ended]:
    """Return the best placements found within ``seconds``, and how the search ended.

    ``asked`` is called some twenty times a second; True ends the search with what there is. Raises
    `NestingError` where the engine is missing, fails, or has found nothing yet when it is ended.
    """
    if importlib.util.find_spec("spyrrow") is None:
        raise missing("spyrrow")
    begin = time.monotonic()
    names = {str(number): piece for number, piece in enumerate(pieces)}
    margin = _margin(pieces, strip)
    whole = max(int(seconds - _STARTING), 2)
    compress = max(round(whole * 0.2), 1)
    task = {
        "height": strip.width + strip.gap + 2 * margin + _PLAY * strip.width,
        "items": [
            {
                "id": name,
                "shape": _shape(piece, strip, margin),
                "copies": piece.copies,
                "turns": _turns(piece, strip),
            }
            for name, piece in names.items()
        ],
        "explore": whole - compress,
        "compress": compress,
        "early": True,
        "workers": workers,
        "seed": seed,
    }
    area = sum(piece.region.area * piece.copies for piece in pieces)
    run = _Run(task, lambda length: _tell(told, length, area, strip))
    best, ended = run.follow(begin + seconds, asked)
    placements = [
        Placement(names[name].key, -float(turn) % 360, float(y), float(x))
        for name, turn, x, y in best["placed"]
    ]
    return _pushed(placements, pieces, strip), ended


def _tell(told: Told | None, length: float, area: float, strip: Strip) -> None:
    if told is not None:
        told(Progress(max(length - strip.gap, 0.0), area / (strip.width * length)))


class _Run:
    """One run of the child process."""

    def __init__(self, task: dict[str, Any], better: Any) -> None:
        self.better = better
        self.best: dict[str, Any] | None = None
        script = Path(__file__).with_name("child.py")
        self.process = subprocess.Popen(
            [sys.executable, str(script)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
        )
        self.lines: queue.Queue[str | None] = queue.Queue()
        self.complaint: list[str] = []
        assert self.process.stdin
        assert self.process.stdout
        assert self.process.stderr
        self.readers = [
            threading.Thread(target=self._read, args=(self.process.stdout,), daemon=True),
            threading.Thread(target=self._complaints, args=(self.process.stderr,), daemon=True),
        ]
        for reader in self.readers:
            reader.start()
        try:
            self.process.stdin.write(json.dumps(task))
            self.process.stdin.close()
        except BrokenPipeError:
            pass  # it ended already: `follow` tells why

    def _read(self, stream: IO[str]) -> None:
        for line in stream:
            self.lines.put(line)
        self.lines.put(None)

    def _complaints(self, stream: IO[str]) -> None:
        self.complaint.extend(line for line in stream.read().splitlines() if line.strip())

    def follow(self, deadline: float, asked: Asked | None) -> tuple[dict[str, Any], Ended]:
        """Take what the child tells until it is done, time is up, or the caller has had enough."""
        ended: Ended = "complete"
        try:
            while True:
                if asked is not None and asked():
                    ended = "cancelled"
                    break
                if time.monotonic() >= deadline:
                    ended = "out-of-time"
                    break
                try:
                    line = self.lines.get(timeout=0.05)
                except queue.Empty:
                    continue
                if line is None:
                    break
                found = json.loads(line)
                if self.best is None or found["length"] <= self.best["length"]:
                    self.best = found
                    self.better(found["length"])
        finally:
            self.process.kill()
            self.process.wait()
            for reader in self.readers:
                reader.join()
            for stream in (self.process.stdout, self.process.stderr):
                assert stream
                stream.close()
        if self.best is None:
            raise self._failed(ended)
        return self.best, ended

    def _failed(self, ended: Ended) -> NestingError:
        if ended == "complete":
            why = self.complaint[-1] if self.complaint else "it gave no reason"
            return NestingError(
                "nesting-failed",
                f"The nesting engine ended without a result: {shortened(why)}",
                "Nest the pieces as their bounding rectangles, or leave out the piece that it names.",
            )
        word = "cancelled" if ended == "cancelled" else "out of time"
        return NestingError(
            f"nesting-{'cancelled' if ended == 'cancelled' else 'time'}",
            f"The nesting was {word} before any arrangement was found.",
            "Give it more time.",
        )


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
    known = {piece.key: piece for piece in pieces}
    boxes = np.array([known[p.key].at(p.turn, p.x, p.y).bounds for p in placements])
    x, y = boxes[:, :2].min(axis=0)
    back = x + np.clip(boxes[:, 2] - x - strip.width, 0.0, 2 * _PLAY * strip.width)
    return tuple(
        Placement(p.key, p.turn, p.x - float(dx), p.y - float(y))
        for p, dx in zip(placements, back, strict=True)
    )
