"""How an order lies on the roll: `layout` is the one answer; pictures and files are made from it."""

from __future__ import annotations

from preflight.roll.layout.build import Laid, lay_out, layout
from preflight.roll.layout.model import FilmLayout, Layout, PieceShown, Placed, Way
from preflight.roll.layout.options import LayoutOptions, OrderLine

__all__ = [
    "FilmLayout",
    "Laid",
    "Layout",
    "LayoutOptions",
    "OrderLine",
    "PieceShown",
    "Placed",
    "Way",
    "lay_out",
    "layout",
]
