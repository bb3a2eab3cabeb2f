"""What all pictures are made of: the width asked for, the document, outlines as path data, the PNG."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape

import resvg_py
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Floats
from preflight.errors import PreflightError, printable

WIDEST = 4096
"""Greatest width of a picture, px."""


def require_width(
    width_px: int, narrowest: int, sentence: str = "A picture {} px wide cannot be drawn."
) -> None:
    """Raise `PreflightError` with ``sentence`` for a width outside ``narrowest`` to 4096 px."""
    if not narrowest <= width_px <= WIDEST:
        raise PreflightError(
            "picture-width",
            sentence.format(width_px),
            f"Ask for a width between {narrowest} and {WIDEST} px.",
        )


def document(
    width: float, height: float, title: str, told: str, body: Sequence[str], *, definitions: str = ""
) -> str:
    """Return ``body`` as an SVG document on white; ``told`` is what it shows, in words, escaped here."""
    size = f'width="{width:g}" height="{height:.0f}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 {width:g} {height:.0f}" role="img">'
        f"<title>{escape(printable(title))}</title><desc>{escape(printable(told))}</desc>{definitions}"
        f'<rect {size} fill="#ffffff"/>'
        '<g stroke-linecap="round" stroke-linejoin="round">' + "".join(body) + "</g></svg>"
    )


def outline_data(geometry: BaseGeometry, to_px: Callable[[Floats], Floats]) -> str:
    """Return the rings of all polygons of ``geometry`` as path data; ``to_px`` maps places (n, 2)."""
    rings = [
        ring
        for part in shapely.get_parts(geometry)
        if part.geom_type == "Polygon"
        for ring in (part.exterior, *part.interiors)
    ]
    return "".join(ring_data(to_px(shapely.get_coordinates(ring)[:-1])) for ring in rings)


def ring_data(points: Floats) -> str:
    """Return the corners (n, 2) of a ring, px, as path data; the first is not repeated."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + "Z"


def png(svg: str) -> bytes:
    """Return a picture as PNG; letters in pictures are paths, so no font of the host is asked for."""
    return bytes(resvg_py.svg_to_bytes(svg_string=svg, skip_system_fonts=True))
