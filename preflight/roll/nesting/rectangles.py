"""Rectangles on a strip, packed by rectpack (Apache-2.0): all its ways tried, the shortest kept."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import Any

from shapely.geometry.base import BaseGeometry

from preflight.roll.nesting.model import (
    Asked,
    NestingError,
    Piece,
    Placement,
    Progress,
    Strip,
    Told,
    placed,
)

_STEPS = 10_000
"""rectpack counts in whole numbers: so many a mm."""

_RECTANGULAR = 1e-9
_MANY = 200


@dataclass(frozen=True, slots=True)
class _Copy:
    piece: Piece
    choices: tuple[tuple[float, int, int], ...]
    """Turns, each with the whole steps across and along that the copy then needs, gap included."""


def is_rectangle(region: BaseGeometry) -> bool:
    """Return whether a region fills its box."""
    x0, y0, x1, y1 = region.bounds
    box = (x1 - x0) * (y1 - y0)
    return bool(abs(region.area - box) <= _RECTANGULAR * box)


def pack_rectangles(
    pieces: Sequence[Piece], strip: Strip, told: Told | None = None, asked: Asked | None = None
) -> tuple[Placement, ...]:
    """Return the shortest packing found. Raises `NestingError` where rectpack is missing."""
    copies = [copy for piece in pieces for copy in [_copy(piece, strip)] * piece.copies]
    width = floor((strip.width + strip.gap) * _STEPS + 1e-3)
    area = sum(piece.region.area * piece.copies for piece in pieces)
    best: tuple[int, list[tuple[int, int, int]]] | None = None
    for turned in _turnings(copies, width):
        sizes = [copy.choices[choice][1:] for copy, choice in zip(copies, turned, strict=True)]
        for spots in _packings(sizes, width):
            if asked is not None and asked() and best is not None:
                break
            length = max(y + size[1] for (_, y), size in zip(spots, sizes, strict=True))
            if best is None or length < best[0]:
                best = length, [(x, y, t) for (x, y), t in zip(spots, turned, strict=True)]
                if told is not None:
                    long = length / _STEPS - strip.gap
                    told(Progress(long, area / (strip.width * long)))
    assert best is not None
    return tuple(_placement(copy, *spot) for copy, spot in zip(copies, best[1], strict=True))


def _copy(piece: Piece, strip: Strip) -> _Copy:
    turns = (0.0,) if strip.directional else piece.turns
    turns = (0.0, 90.0) if turns is None else turns
    seen: dict[tuple[int, int], tuple[float, int, int]] = {}
    for turn in turns:
        x0, y0, x1, y1 = placed(piece.region, turn, 0, 0).bounds
        size = ceil((x1 - x0 + strip.gap) * _STEPS - 1e-3), ceil((y1 - y0 + strip.gap) * _STEPS - 1e-3)
        seen.setdefault(size, (turn, *size))
    return _Copy(piece, tuple(seen.values()))


def _turnings(copies: Sequence[_Copy], width: int) -> Iterator[list[int]]:
    """Yield, for each copy, which of its turns: as drawn, long sides along, long sides across, mixed."""
    fitting = [[i for i, c in enumerate(copy.choices) if c[1] <= width] for copy in copies]
    # The last: whatever leaves the least rest when the strip is filled with copies of it side by side.
    ways: tuple[Callable[[int, int], int], ...] = (
        lambda place, _: place,
        lambda _, across: across,
        lambda _, across: -across,
        lambda _, across: width % across,
    )
    done = set()
    for way in ways:
        chosen = tuple(
            min(fits, key=lambda i: way(i, copy.choices[i][1]))
            for copy, fits in zip(copies, fitting, strict=True)
        )
        if chosen not in done:
            done.add(chosen)
            yield list(chosen)


def _packings(sizes: Sequence[tuple[int, int]], width: int) -> Iterator[list[tuple[int, int]]]:
    """Yield the corners of the rectangles for each of rectpack's ways, in the order of ``sizes``."""
    try:
        import rectpack  # noqa: PLC0415  (an extra)
    except ImportError as error:
        raise missing("rectpack") from error
    long = sum(size[1] for size in sizes)
    orders = (rectpack.SORT_LSIDE, rectpack.SORT_SSIDE, rectpack.SORT_AREA, _by_length)
    kinds: tuple[Any, ...] = (
        rectpack.MaxRectsBl,
        rectpack.MaxRectsBssf,
        rectpack.SkylineBl,
        rectpack.SkylineBlWm,
        rectpack.SkylineMwf,
        rectpack.GuillotineBssfSas,
    )
    if len(sizes) > _MANY:
        kinds = (rectpack.SkylineBl, rectpack.SkylineMwf)  # the others' time grows with the square and more
    for order in orders:
        for kind in kinds:
            packer = rectpack.newPacker(
                mode=rectpack.PackingMode.Offline, pack_algo=kind, sort_algo=order, rotation=False
            )
            for index, (across, along) in enumerate(sizes):
                packer.add_rect(across, along, index)
            packer.add_bin(width, long)
            packer.pack()
            spots = {rid: (x, y) for _, x, y, _, _, rid in packer.rect_list()}
            if len(spots) == len(sizes):
                yield [spots[index] for index in range(len(sizes))]


def _by_length(rectangles: list[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    return sorted(rectangles, key=lambda r: (-r[1], -r[0]))


def missing(name: str) -> NestingError:
    """Return the error for an engine that is not installed."""
    return NestingError(
        "nesting-engine-missing",
        f"Nesting needs the library {name}, which is not installed.",
        "Install it with: pip install 'sign-preflight[nesting]'",
    )


def _placement(copy: _Copy, x: int, y: int, choice: int) -> Placement:
    turn = copy.choices[choice][0]
    x0, y0, _, _ = placed(copy.piece.region, turn, 0, 0).bounds
    return Placement(copy.piece.key, turn, x / _STEPS - x0, y / _STEPS - y0)
