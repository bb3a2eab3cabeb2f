"""Markers (SVG 2, 13.7)."""

from __future__ import annotations

from lxml import etree

from preflight.artwork import Shape
from preflight.readers.svg.outlines import Outline
from preflight.readers.svg.state import Context, Scene
from preflight.readers.svg.style import Style


def has_markers(style: Style) -> bool:
    """Tell whether any marker property is set."""
    values = style.inherited
    return any(
        values.get(name, "none").lower() != "none" for name in ("marker-start", "marker-mid", "marker-end")
    )


def marker_order(order: list[str]) -> tuple[bool, bool]:
    """Return whether paint-order puts markers first, and whether last."""
    if not order or order[0] == "normal":
        return False, True
    full = [*order, *(w for w in ("fill", "stroke", "markers") if w not in order)]
    if sorted(full) != ["fill", "markers", "stroke"]:
        return False, True
    return full[0] == "markers", full[-1] == "markers"


def draw_markers(
    scene: Scene, element: etree._Element, local: str, shape: Shape, drawn: Outline, context: Context
) -> None:
    """Draw the markers of ``shape``."""
