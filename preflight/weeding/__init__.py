"""Weeding: what comes off, what needs care, how hard it is, and where extra cuts in the waste would help."""

from __future__ import annotations

from preflight.weeding.lines import weed_lines
from preflight.weeding.model import (
    Difficulty,
    FilmWeeding,
    Fragile,
    Hands,
    Term,
    WeedLine,
)
from preflight.weeding.plan import weed, weeding_of

__all__ = [
    "Difficulty",
    "FilmWeeding",
    "Fragile",
    "Hands",
    "Term",
    "WeedLine",
    "weed",
    "weed_lines",
    "weeding_of",
]
