"""Which contours of a picture carry their number, and where it stands so that it covers no other. Pixels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from preflight.curves import Floats
from preflight.report.lettering import text_width
from preflight.report.markers import Box

_STEPS = (1000, 500, 100, 50, 10, 5, 1)
_DISTANCES = (12.0, 17.0)
_DIRECTIONS = 12
_CELL = 40.0


@dataclass(frozen=True, slots=True)
class Label:
    """A number's place: the contour's index, the middle of the number, its width."""

    index: int
    x: float
    y: float
    width: float


def ranked(count: int) -> list[int]:
    """Return the indices of contours in the order in which they get a number: first, last, round ones, the rest."""
    rank = dict.fromkeys([0, count - 1] if count else [])
    for step in _STEPS:
        rank.update(dict.fromkeys(range(step - 1, count, step)))
    return list(rank)


def arranged(
    ranking: Sequence[int],
    starts: Floats,
    headings: Sequence[float],
    *,
    size: float,
    most: int,
    area: Box,
) -> list[Label]:
    """Return numbers for the first of ``ranking`` that find a free place beside their start (n, 2).

    Away from the direction of the cut first, where the arrow is not. At most ``most`` of them, all
    inside ``area``.
    """
    taken: dict[tuple[int, int], list[Box]] = {}
    labels: list[Label] = []
    for index in ranking:
        if len(labels) == most:
            break
        wide = text_width(str(index + 1), size)
        x, y = float(starts[index][0]), float(starts[index][1])
        for place in _places(x, y, headings[index], wide):
            box = (
                place[0] - wide / 2 - 3,
                place[1] - size / 2 - 3,
                place[0] + wide / 2 + 3,
                place[1] + size / 2 + 3,
            )
            if _inside(box, area) and _free(box, taken):
                labels.append(Label(index, place[0], place[1], wide))
                _take(box, taken)
                break
    return labels


def _places(x: float, y: float, heading: float, wide: float) -> list[tuple[float, float]]:
    back = heading + math.pi
    found = []
    for distance in _DISTANCES:
        for step in range(_DIRECTIONS):
            turn = (step + 1) // 2 * (1 if step % 2 else -1)
            angle = back + turn * 2 * math.pi / _DIRECTIONS
            # A wide number stands farther off to the sides.
            found.append((x + (distance + wide / 2 - 3) * math.cos(angle), y + distance * math.sin(angle)))
    return found


def _inside(box: Box, area: Box) -> bool:
    return box[0] >= area[0] and box[1] >= area[1] and box[2] <= area[2] and box[3] <= area[3]


def _cells(box: Box) -> list[tuple[int, int]]:
    columns = range(int(box[0] // _CELL), int(box[2] // _CELL) + 1)
    return [(i, j) for i in columns for j in range(int(box[1] // _CELL), int(box[3] // _CELL) + 1)]


def _free(box: Box, taken: dict[tuple[int, int], list[Box]]) -> bool:
    return not any(
        box[0] < other[2] and other[0] < box[2] and box[1] < other[3] and other[1] < box[3]
        for cell in _cells(box)
        for other in taken.get(cell, ())
    )


def _take(box: Box, taken: dict[tuple[int, int], list[Box]]) -> None:
    for cell in _cells(box):
        taken.setdefault(cell, []).append(box)
