"""Helpers: a drawing from a snippet, and where its shapes lie."""

from __future__ import annotations

from preflight.artwork import Artwork, Remark, RemarkKind, Shape
from preflight.readers import Limits, read

PX = 25.4 / 96
"""mm in a CSS px (CSS Values and Units 4, 6.2)."""


def svg(body: str, attributes: str = 'width="200" height="100"') -> bytes:
    """Return a document around ``body``."""
    head = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
    return f"<svg {head} {attributes}>{body}</svg>".encode()


def drawn(body: str, attributes: str = 'width="200" height="100"', limits: Limits | None = None) -> Artwork:
    """Read a document around ``body``."""
    return read(svg(body, attributes), limits=limits or Limits())


def shapes(artwork: Artwork) -> list[Shape]:
    """Return all shapes, hidden ones too."""
    return [item for item in artwork.items if isinstance(item, Shape)]


def only(artwork: Artwork) -> Shape:
    """Return the single shape of ``artwork``."""
    found = shapes(artwork)
    assert len(found) == 1
    return found[0]


def box_px(shape: Shape) -> tuple[float, ...]:
    """Return a shape's exact bounds in px of the outermost viewport, rounded to 1e-9."""
    return tuple(round(v / PX, 9) + 0.0 for v in shape.path.mapped(shape.matrix).bounds())


def fills(artwork: Artwork) -> list[str | None]:
    """Return the fill colours in painting order; None for no fill."""
    return [shape.fill.color if shape.fill else None for shape in shapes(artwork)]


def remarks(artwork: Artwork, kind: RemarkKind) -> list[Remark]:
    """Return the remarks of one kind."""
    return [remark for remark in artwork.remarks if remark.kind is kind]
