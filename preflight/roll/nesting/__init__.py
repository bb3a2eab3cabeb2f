"""Nesting: several pieces, in several copies, on one roll, in as little film as a search finds.

``nest`` chooses between two engines: rectangles alone are packed by rectpack, all else by spyrrow,
whose search runs in a process of its own. Both come with the extra ``nesting``. Whatever an engine
answers is checked again here by independent geometry (`check`) before anybody sees it.

How far an irregular search gets depends on the time it is given and on the machine, so its result is
no part of a report. The same seed begins the same search.
"""

from __future__ import annotations

from preflight.roll.nesting.check import faults
from preflight.roll.nesting.model import (
    Nesting,
    NestingError,
    Piece,
    Placement,
    Progress,
    Strip,
)
from preflight.roll.nesting.plan import nest, nest_by_film

__all__ = [
    "Nesting",
    "NestingError",
    "Piece",
    "Placement",
    "Progress",
    "Strip",
    "faults",
    "nest",
    "nest_by_film",
]
