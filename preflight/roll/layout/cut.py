"""The layout as files for production: every copy's mended contours where the layout puts them, film by film."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from preflight.curves import Matrix, Path, flatten
from preflight.errors import PreflightError, quoted
from preflight.geometry.fills import fill_regions
from preflight.repair import Repaired, Steps, repair
from preflight.roll.layout.build import Laid
from preflight.roll.layout.model import FilmLayout, Placed
from preflight.roll.layout.pieces import Cut, Ordered
from preflight.roll.nesting.model import polygons_of
from preflight.writers.model import CutFile, CutFilm
from preflight.writers.production import claim

STRAY = 0.1
"""So far may mended contours reach beyond what was laid out, mm; the proof of a mend allows far less."""

_FLATTENED = 0.002
"""Chord error with which contours are told apart by the part they belong to, mm."""


@dataclass(frozen=True, eq=False)
class FilmFile:
    """One film's cut on its roll, ready to be written, and whether all mends in it were proved."""

    film: FilmLayout
    file: CutFile
    proved: bool


def cut_files(laid: Laid, title: str = "") -> tuple[FilmFile, ...]:
    """Return a file for each film that was laid, as large as the roll is wide and the film taken is long.

    Every order line is mended by `preflight.repair` first. Lengths mm, places as in the layout. Raises
    `PreflightError` where no film was laid, or where what is to be cut is not what was laid out.
    """
    films = [film for film in laid.layout.films if film.placements]
    if not films:
        raise PreflightError(
            "layout-empty", "Nothing was laid on a roll, so there is nothing to write.", laid.layout.summary
        )
    mended = {line.number: _mended(line) for line in laid.lines}
    files = []
    for film, cuts in zip(laid.layout.films, laid.pieces.values(), strict=True):
        if film.placements:
            files.append(_file(film, cuts, mended, title))
    return tuple(files)


def _mended(line: Ordered) -> Repaired:
    return repair(line.artwork, line.analysis.job, Steps(turn=False, outline_text=False))


def _file(film: FilmLayout, cuts: Sequence[Cut], mended: dict[int, Repaired], title: str) -> FilmFile:
    contours = {key: (path, knife) for key, path, knife in _contours(cuts, mended)}
    known = {cut.key: cut for cut in cuts}
    placed, lines = [], []
    for place in film.placements:
        path, knife = contours[place.piece]
        _require_laid(known[place.piece], path)
        matrix = matrix_of(place)
        placed.append(path.mapped(matrix))
        if knife is not None:
            lines.append(knife.mapped(matrix))
    used = [mended[number] for number in sorted({cut.line.number for cut in cuts})]
    doubtful = [repaired for repaired in used if not repaired.proof.proved]
    assert film.roll is not None
    assert film.use is not None
    cut = CutFilm(film.film, film.colour, Path.joined(placed), Path.joined(lines) if lines else None)
    file = CutFile(
        film.roll.width_mm,
        film.use.film_length_mm,
        (cut,),
        title=title,
        claim=claim((doubtful or used)[0]),
    )
    return FilmFile(film, file, not doubtful)


def matrix_of(place: Placed) -> Matrix:
    """Return the map (a, b, c, d, e, f) from the piece as drawn to the roll; quarter turns are exact."""
    quarter = place.turn_deg / 90
    if quarter == round(quarter):
        cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
    else:
        cos, sin = math.cos(math.radians(place.turn_deg)), math.sin(math.radians(place.turn_deg))
    return (cos, sin, -sin, cos, place.x_mm, place.y_mm)


def _contours(cuts: Sequence[Cut], mended: dict[int, Repaired]) -> Iterator[tuple[str, Path, Path | None]]:
    """Yield each piece's key, its closed contours and the lines drawn for the knife that go with it."""
    by_line: dict[int, list[Cut]] = {}
    for cut in cuts:
        by_line.setdefault(cut.line.number, []).append(cut)
    for number, own in by_line.items():
        line = own[0].line
        place = f"/film[{[film.key for film in line.analysis.films].index(own[0].film.key) + 1}]"
        shapes = list(mended[number].artwork.shapes())
        path = Path.joined(
            [s.path.mapped(s.matrix) for s in shapes if s.fill is not None and s.origin.path == place]
        )
        if "." not in own[0].key:
            knife = [s.path.mapped(s.matrix) for s in shapes if s.fill is None]
            alone = len(line.analysis.films) == 1
            yield own[0].key, path, Path.joined(knife) if knife and alone else None
            continue
        yield from ((key, part, None) for key, part in _parts(own, path))


def _parts(cuts: Sequence[Cut], path: Path) -> Iterator[tuple[str, Path]]:
    """Yield each piece's key and its contours: those of the mended parts that lie in it."""
    lines = flatten([path], _FLATTENED)
    parts = polygons_of(fill_regions(lines, [False])[0])
    tree = shapely.STRtree(np.array([cut.region for cut in cuts], object))
    # A mended part belongs to the piece that it lies in, and a contour to the part whose edge it starts on.
    inner = np.array([part.representative_point() for part in parts], object)
    which, piece = tree.query(inner, predicate="within")
    owner = dict(zip(which.tolist(), piece.tolist(), strict=True))
    starts = shapely.points([lines[index][0] for index in range(len(lines))])
    edges = shapely.STRtree(np.array([part.boundary for part in parts], object))
    nearest = edges.nearest(starts)
    chosen: dict[int, list[Path]] = {}
    for contour, part in enumerate(nearest.tolist()):
        if part in owner:
            chosen.setdefault(owner[part], []).append(path.subpath(contour))
    for index, cut in enumerate(cuts):
        yield cut.key, Path.joined(chosen.get(index, []))


def _require_laid(cut: Cut, path: Path) -> None:
    """Raise `PreflightError` where mended contours are missing or reach beyond what was laid out."""
    strays = True
    if len(path):
        x0, y0, x1, y1 = path.bounds()
        a0, b0, a1, b1 = cut.region.bounds
        strays = min(x0 - a0, y0 - b0, a1 - x1, b1 - y1) < -STRAY
    if strays:
        raise PreflightError(
            "layout-differs",
            f"What mending makes of {quoted(cut.line.name)} in the film {quoted(cut.film.name)} is not what was laid "
            "out.",
            "Mend the artwork first, and lay the mended file out.",
        )
