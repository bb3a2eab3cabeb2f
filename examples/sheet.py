"""A sheet of artwork that is written as SVG."""

from __future__ import annotations

from html import escape

from examples.outlines import Drawing

GREEN = "#1f5b3a"
LEAF = "#5a9e3d"
SUN = "#f0a71f"
BEET = "#8c1d40"
SKY = "#2b6c99"
INK = "#22282d"
WHITE = "#ffffff"


class Sheet:
    """One drawing area in mm, its shapes in painting order, each in a named layer or in none."""

    def __init__(self, width: float, height: float, title: str, *, sized: bool = True) -> None:
        self._width, self._height, self._title, self._sized = width, height, title, sized
        self._layers: list[tuple[str | None, list[str]]] = []
        self._definitions: list[str] = []

    def define(self, markup: str) -> None:
        """Add markup to the definitions."""
        self._definitions.append(markup)

    def add(self, markup: str, layer: str | None = None) -> None:
        """Add markup on top; a layer that comes again in a row goes on."""
        if not self._layers or self._layers[-1][0] != layer:
            self._layers.append((layer, []))
        self._layers[-1][1].append(markup)

    def fill(
        self, drawing: Drawing, colour: str, name: str, layer: str | None = None, more: str = ""
    ) -> None:
        """Add a filled shape; ``more`` is further attributes as markup."""
        space = " " if more else ""
        self.add(f'<path id="{name}" fill="{colour}"{space}{more} d="{drawing.data}"/>', layer)

    def stroke(
        self,
        drawing: Drawing,
        colour: str,
        width: float,
        name: str,
        *,
        layer: str | None = None,
        more: str = "",
    ) -> None:
        """Add an unfilled shape with a stroke ``width`` mm wide."""
        space = " " if more else ""
        self.add(
            f'<path id="{name}" fill="none" stroke="{colour}" stroke-width="{width:g}"'
            f'{space}{more} d="{drawing.data}"/>',
            layer,
        )

    def svg(self) -> str:
        """Return the sheet as an SVG document."""
        size = f' width="{self._width:g}mm" height="{self._height:g}mm"' if self._sized else ""
        out = [
            '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
            f'{size} viewBox="0 0 {self._width:g} {self._height:g}">',
            f"  <title>{escape(self._title)}</title>",
        ]
        if self._definitions:
            out += ["  <defs>", *(f"    {line}" for line in self._definitions), "  </defs>"]
        for layer, markup in self._layers:
            if layer is None:
                out += [f"  {line}" for line in markup]
            else:
                out += [f'  <g id="{layer}">', *(f"    {line}" for line in markup), "  </g>"]
        return "\n".join([*out, "</svg>", ""])
