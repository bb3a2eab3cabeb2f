"""Weed border and weed lines as layers of their own in a file for production."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Path, flatten
from preflight.geometry.appearance import polygonal
from preflight.geometry.fills import fill_regions
from preflight.job import Job, WeedingSpec, stock
from preflight.weeding.lines import weed_lines
from preflight.weeding.model import Box
from preflight.writers.model import CutFile, CutFilm

LAYER = "weed lines"
"""What the layer's name ends in, after its film's name."""

_FLATTENED = 0.01
"""Chord error with which what stays is told from the contours, mm; far less than any clearance."""


def with_weed_lines(cut: CutFile, job: Job) -> CutFile:
    """Return ``cut`` with a layer for each film that holds its weed border and weed lines, and no contour.

    A film's border is as wide as its roll in ``job`` says, else stock. Where it lies outside the drawing
    area, the area is made larger on all sides by as much, and everything is moved along. With the polarity
    ``surround`` there is no border, since what is outside stays.
    """
    surround = job.polarity == "surround"
    made = [
        (film, _layer(film, _border(job, film.name), job.weeding, surround=surround)) for film in cut.films
    ]
    used = [lines for _, lines in made if lines is not None]
    beyond = max((_beyond(lines, cut) for lines in used), default=0.0)
    matrix = (1.0, 0.0, 0.0, 1.0, beyond, beyond)
    names = {film.name for film in cut.films}
    films: list[CutFilm] = []
    for film, lines in made:
        knife = None if film.knife is None else film.knife.mapped(matrix)
        films.append(replace(film, path=film.path.mapped(matrix), knife=knife))
        if lines is not None:
            name = next(_names(f"{film.name}: {LAYER}", names))
            names.add(name)
            films.append(CutFilm(name, film.colour, Path.empty(), lines.mapped(matrix)))
    return replace(cut, width=cut.width + 2 * beyond, height=cut.height + 2 * beyond, films=tuple(films))


def _border(job: Job, name: str) -> float:
    films = [job.named_film(key) for key in job.films]
    roll = job.roll_for(next((film for film in films if film.name == name), job.film))
    return roll.weed_border if roll else stock().roll.weed_border.value


def _names(wanted: str, taken: set[str]) -> Iterator[str]:
    number = 1
    while True:
        name = wanted if number == 1 else f"{wanted} ({number})"
        if name not in taken:
            yield name
        number += 1


def _layer(film: CutFilm, border: float, spec: WeedingSpec, *, surround: bool) -> Path | None:
    if not len(film.path):
        return None
    shapes = fill_regions(flatten([film.path], _FLATTENED), [False])[0]
    x0, y0, x1, y1 = film.path.bounds()
    frame: Box = (x0 - border, y0 - border, x1 + border, y1 + border)
    if surround:
        lines = weed_lines(_around(shapes, frame), None, shapes, spec)
    else:
        lines = weed_lines(shapes, frame, polygonal(shapely.difference(shapely.box(*frame), shapes)), spec)
    parts = [Path.polygon([line.start, line.end], closed=False) for line in lines]
    if not surround and border > 0:
        fx0, fy0, fx1, fy1 = frame
        parts.append(Path.polygon([(fx0, fy0), (fx1, fy0), (fx1, fy1), (fx0, fy1)]))
    return Path.joined(parts) if parts else None


def _around(shapes: BaseGeometry, frame: Box) -> BaseGeometry:
    """Return what stays where the shapes come off, as far as weed lines could meet it."""
    x0, y0, x1, y1 = frame
    wide = max(x1 - x0, y1 - y0)
    return polygonal(shapely.difference(shapely.box(x0 - wide, y0 - wide, x1 + wide, y1 + wide), shapes))


def _beyond(lines: Path, cut: CutFile) -> float:
    """Return how far lines reach outside the drawing area, mm; whole micrometres, rounded up."""
    x0, y0, x1, y1 = lines.bounds()
    return float(np.ceil(max(-x0, -y0, x1 - cut.width, y1 - cut.height, 0.0) * 1000) / 1000)
