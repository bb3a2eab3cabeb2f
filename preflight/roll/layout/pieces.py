"""From an order to its pieces: what is cut from each film, at the finished size, as it goes on the roll."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.analysis import Analysis
from preflight.artwork import Artwork, LiveText
from preflight.curves import IDENTITY, Floats, Matrix
from preflight.errors import PreflightError, printable, quoted, shortened
from preflight.films import Film
from preflight.job import Job
from preflight.job.parse import suggestion
from preflight.repair.lettering import lettered
from preflight.roll.layout.options import MOST_LINES, LayoutOptions, OrderLine
from preflight.roll.nesting.model import polygons_of
from preflight.text import FontSource

_LINE_WIDTH = 0.02
"""Knife lines that are no edge of the film count as so wide, mm: they too must lie on the film."""


@dataclass(frozen=True, eq=False)
class Ordered:
    """One line of the order with all that is left out filled in."""

    number: int
    name: str
    copies: int
    upright: bool
    artwork: Artwork
    """As read, with its text outlined where that could be done."""
    analysis: Analysis

    @property
    def mirrored(self) -> bool:
        """Whether it is cut mirrored: it goes behind glass and is drawn as it is read."""
        return self.analysis.job.cut_mirrored

    @property
    def matrix(self) -> Matrix:
        """The map from the artwork at its finished size to what is cut."""
        return self.analysis.cut_matrix


@dataclass(frozen=True, eq=False)
class Cut:
    """A piece: what one order line, or one part of it, takes of one film."""

    key: str
    line: Ordered
    film: Film
    region: BaseGeometry
    """All that must lie on the film, mm."""
    area: float
    """Film that stays, mm2."""
    upright: bool

    @property
    def points(self) -> Floats:
        """Corners (n, 2), mm."""
        found: Floats = shapely.get_coordinates(self.region)
        return found


def ordered(
    lines: Sequence[OrderLine], job: Job, options: LayoutOptions, fonts: FontSource | None = None
) -> tuple[Ordered, ...]:
    """Return the order's lines, each analysed. Text is outlined in ``fonts`` and the file's own, as a mend would.

    Raises `PreflightError` for an order without lines or with too many, a number of copies that is none and
    a name in ``keep_upright`` that no line has; `JobError` where the job's size does not fit an artwork.
    """
    if not 1 <= len(lines) <= MOST_LINES:
        raise PreflightError(
            "layout-order",
            f"The order has {len(lines)} lines; a layout takes 1 to {MOST_LINES}.",
            "Lay the order out in several runs." if lines else "Name one artwork or more.",
        )
    found = []
    for number, line in enumerate(lines, 1):
        name = printable(shortened(line.name.strip() or line.artwork.source.name or f"artwork {number}"))
        copies = options.copies if line.copies is None else line.copies
        if copies < 1:
            raise PreflightError(
                "layout-copies",
                f"The order line {quoted(name)} asks for {copies} copies.",
                "Ask for 1 or more, or leave the line out.",
            )
        upright = line.keep_upright or name in options.keep_upright
        artwork = _outlined(line.artwork, fonts)
        found.append(Ordered(number, name, copies, upright, artwork, Analysis(artwork, job)))
    names = [line.name for line in found]
    for name in options.keep_upright:
        if name not in names:
            raise PreflightError(
                "layout-options",
                f"keep_upright: no order line is called {quoted(name)}.{suggestion(name, names)}",
                f"The order has {', '.join(map(quoted, names[:5]))}.",
            )
    return tuple(found)


def _outlined(artwork: Artwork, fonts: FontSource | None) -> Artwork:
    if not any(isinstance(item, LiveText) for item in artwork.items):
        return artwork
    return lettered(artwork, fonts or FontSource()).artwork


def pieces_of(lines: Sequence[Ordered], options: LayoutOptions) -> dict[str, list[Cut]]:
    """Return the pieces by the key of their film, films in the order in which they first appear."""
    found: dict[str, list[Cut]] = {}
    for line in lines:
        for film in line.analysis.films:
            for cut in _pieces(line, film, options):
                found.setdefault(film.key, []).append(cut)
    return found


def _pieces(line: Ordered, film: Film, options: LayoutOptions) -> Iterator[Cut]:
    if film.region.is_empty:
        return  # told in the notes
    region = _mapped(line, film.region)
    upright = line.upright or film.spec.directional
    if options.spread == "graphic":
        lines = _mapped(line, _beside(line.analysis, film))
        whole = shapely.union(region, lines) if not lines.is_empty else region
        yield Cut(str(line.number), line, film, whole, float(region.area), upright)
        return
    parts = polygons_of(region)
    for number, index in enumerate(_reading_order(parts), 1):
        part = parts[index]
        yield Cut(f"{line.number}.{number}", line, film, part, float(part.area), upright)


def _mapped(line: Ordered, region: BaseGeometry) -> BaseGeometry:
    if line.matrix == IDENTITY:
        return region
    a, b, c, d, e, f = line.matrix
    mapped: BaseGeometry = shapely.transform(region, lambda p: p @ np.array([[a, b], [c, d]]) + (e, f))
    return mapped


def _beside(analysis: Analysis, film: Film) -> BaseGeometry:
    """Return the lines that the knife follows and that lie on no edge and in no part of the film.

    Lines drawn for the knife belong to a film where there is only one: which they cut is not known else.
    """
    lines = analysis.lines[film.followed_contours]
    if len(analysis.films) == 1:
        pairs = zip(analysis.painting.layers, analysis.meanings, strict=True)
        drawn = sorted({layer.shape for layer, meaning in pairs if meaning.role == "knife"})
        contours = [index for shape in drawn for index in analysis.contours_of(shape)]
        lines = np.concatenate((lines, analysis.lines[contours]))
    covered = film.region.buffer(4 * analysis.tolerance, quad_segs=2)
    drawn_lines: BaseGeometry = shapely.MultiLineString(list(lines))
    return drawn_lines.difference(covered).buffer(_LINE_WIDTH / 2, quad_segs=2)


def _reading_order(parts: Sequence[BaseGeometry]) -> list[int]:
    """Return the order of parts from left to right, then from the top down."""
    boxes = np.array([part.bounds for part in parts]).reshape(-1, 4)
    return [int(i) for i in np.lexsort((boxes[:, 1], boxes[:, 0]))]
