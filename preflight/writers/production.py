"""From mended artwork to what the writers take: films with contours, and knife lines."""

from __future__ import annotations

from preflight.artwork import Shape
from preflight.curves import Path
from preflight.repair.model import Repaired
from preflight.writers.model import CutFile, CutFilm
from preflight.writers.naming import free_name

KNIFE_LINES = "Knife lines"
"""Name of the layer that holds the knife lines where there are several films, or none."""
_BLACK = "#000000"


def cut_file(repaired: Repaired, title: str = "") -> CutFile:
    """Return the films of ``repaired`` (mm, at the finished size) as they are written.

    Knife lines belong to the film where there is only one; with several, which film they cut is not
    known, so they stand in a layer of their own. Whether the cut was proved is told in the file's
    claim. Raises `WriteError` where a contour is open or there is no drawing area.
    """
    films: list[CutFilm] = []
    names: set[str] = set()
    knife: list[Shape] = []
    for shape in repaired.artwork.shapes():
        if shape.fill is None:
            knife.append(shape)
            continue
        name = free_name(shape.origin.layer or shape.fill.color or "Film", names)
        films.append(CutFilm(name, shape.fill.color or _BLACK, shape.path.mapped(shape.matrix)))
    if knife:
        lines = Path.joined([shape.path.mapped(shape.matrix) for shape in knife])
        if len(films) == 1:
            only = films[0]
            films = [CutFilm(only.name, only.colour, only.path, lines)]
        else:
            stroke = knife[0].stroke
            colour = (stroke.paint.color if stroke else None) or _BLACK
            films.append(CutFilm(free_name(KNIFE_LINES, names), colour, Path.empty(), lines))
    return CutFile(
        repaired.artwork.width, repaired.artwork.height, tuple(films), title=title, claim=claim(repaired)
    )


def claim(repaired: Repaired) -> str:
    """Return what a file of ``repaired`` does and does not promise, in one or two sentences."""
    if repaired.proof.proved:
        return repaired.proof.claim
    return f"NOT PROVED: do not cut it as it is. {' '.join(repaired.proof.reasons)}".strip()
