"""Which shapes are judged as lines that a knife follows."""

from __future__ import annotations

from preflight.analysis import Analysis
from preflight.films import Film


def judged_shapes(analysis: Analysis) -> dict[int, Film | None]:
    """Return the shapes whose contours are cut: those of a film with it, knife lines with None.

    Guides are left out, and outlines that only carry a stroke: what is cut there is the stroke's edge.
    """
    pairs = zip(analysis.painting.layers, analysis.meanings, strict=True)
    knife: dict[int, Film | None] = {layer.shape: None for layer, meaning in pairs if meaning.role == "knife"}
    return {**knife, **analysis.film_of_shape}
