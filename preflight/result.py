"""What would stand after cutting and weeding, compared with what the artwork shows.

The knife follows the file's own lines, film by film. That divides each film into faces. Whoever weeds
keeps a face where the picture mostly shows this film, and pulls it off where it mostly does not. The
kept faces are stacked in painting order and seen from the reader's side; where this differs from the
picture, the sign will not look like the artwork. Nothing is assumed about why: this one comparison
also meets faults that no other rule has a name for.

With the other polarity each film is the rest of its sheet: what is missing and what is surplus change
places, and the places where they differ are the same. On second-surface work the drawing is mirrored
and the films are laid in reverse order, which puts them before the reader's eye as drawn.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Floats
from preflight.geometry.appearance import framed, polygonal, stacked, union
from preflight.geometry.arrangement import node
from preflight.geometry.chains import MEETING, match_ends

if TYPE_CHECKING:
    from preflight.analysis import Analysis
    from preflight.films import Film

KEPT = 0.5
"""A face of which more than this part shows the film stays; the rest is weeded."""

SLACK = 0.02
"""Differences thinner than twice this (mm) are rounding and flattening, not faults."""


@dataclass(frozen=True, eq=False)
class Difference:
    """Where one film's result is not what the artwork shows; regions in mm.

    ``missing`` is shown and would not stand in this film; ``surplus`` would stand and is not shown.
    """

    film: Film
    missing: BaseGeometry
    surplus: BaseGeometry

    @property
    def area(self) -> float:
        """Total area in mm2."""
        return float(self.missing.area + self.surplus.area)


def differences(analysis: Analysis) -> list[Difference]:
    """Return, for every film, where the cut and weeded stack would not look like the artwork."""
    films = {film.key: film for film in analysis.films}
    runs = _runs(analysis)
    true = {key for key, film in films.items() if _cuts_what_it_shows(analysis, film)}
    if all(key in true for key, _ in runs):
        return [Difference(film, _NOTHING, _NOTHING) for film in analysis.films]
    kept: list[list[BaseGeometry]] = [[] for _ in runs]
    for film in analysis.films:
        own = [index for index, (key, _) in enumerate(runs) if key == film.key]
        if film.key in true:
            for index in own:
                kept[index] = [runs[index][1]]
            continue
        for face, run in _kept_faces(analysis, film, own, runs):
            kept[run].append(face)
    shown = stacked(_inside(analysis, [(key, region) for key, region in runs]))
    stands = stacked(
        _inside(analysis, [(key, union(faces)) for (key, _), faces in zip(runs, kept, strict=True)])
    )
    result = []
    for key, film in films.items():
        should, would = shown.get(key, _NOTHING), stands.get(key, _NOTHING)
        result.append(Difference(film, _beyond(should, would), _beyond(would, should)))
    return result


def _cuts_what_it_shows(analysis: Analysis, film: Film) -> bool:
    """Return whether a film shows just what its closed, unclipped outlines enclose.

    Then every edge that is seen lies on a knife line, and the result is the picture by construction.
    """
    if film.stroked or film.has_holes:
        return False
    layers = [analysis.painting.layers[index] for index in film.layers]
    contours = analysis.painting.contours
    return bool(contours.closed[film.contours].all()) and all(x.region is x.unclipped for x in layers)


_NOTHING = shapely.MultiPolygon()


def _runs(analysis: Analysis) -> list[tuple[str | None, BaseGeometry]]:
    """Return stretches of painting order of one film each, with what they show; None: something else."""
    runs: list[tuple[str | None, list[BaseGeometry]]] = []
    for layer, meaning in zip(analysis.painting.layers, analysis.meanings, strict=True):
        if meaning.role in ("knife", "guide"):
            continue
        key = meaning.film if meaning.role == "film" else None
        if not runs or runs[-1][0] != key:
            runs.append((key, []))
        runs[-1][1].append(layer.region)
    return [(key, union(regions)) for key, regions in runs]


def _inside(
    analysis: Analysis, layers: list[tuple[str | None, BaseGeometry]]
) -> list[tuple[str | None, BaseGeometry]]:
    return [(key, framed(region, analysis.frame)) for key, region in layers]


def _kept_faces(
    analysis: Analysis, film: Film, own: list[int], runs: list[tuple[str | None, BaseGeometry]]
) -> list[tuple[BaseGeometry, int]]:
    """Return the faces of ``film`` that stay, each with the run it belongs to."""
    lines = analysis.lines[film.followed_contours]
    faces = shapely.get_parts(shapely.polygonize(node(np.concatenate((lines, _bridges(lines)))).lines))
    if not len(faces) or not own:
        return []
    shares = np.stack([_shares(faces, runs[run][1]) for run in own])
    shown = _shares(faces, film.shapes_region)
    # A face in two runs belongs to the upper one, where most of it is seen.
    best = len(own) - 1 - np.argmax(shares[::-1], axis=0)
    return [(faces[i], own[int(best[i])]) for i in np.flatnonzero(shown > KEPT)]


def _bridges(lines: np.ndarray) -> np.ndarray:
    """Return short lines that join those ends of open ``lines`` which are as good as one spot."""
    open_ = lines[~shapely.is_closed(lines)]
    ends = shapely.get_coordinates(
        np.stack((shapely.get_point(open_, 0), shapely.get_point(open_, -1)), axis=1)
    )
    # No direction is given: whichever way the ends point, the knife comes back to the spot.
    pairs = [(match.a, match.b) for match in match_ends(ends, np.zeros_like(ends), MEETING) if match.gap > 0]
    return np.array([shapely.LineString(ends[list(pair)]) for pair in pairs], object)


def _shares(faces: np.ndarray, region: BaseGeometry) -> Floats:
    """Return the part of each face that ``region`` covers, 0 to 1, shape (faces,)."""
    parts = shapely.get_parts(region)
    shapely.prepare(parts)
    face, part = shapely.STRtree(parts).query(faces, predicate="intersects")[:2]
    areas = shapely.area(faces)
    covered = np.zeros(len(face))
    whole = shapely.covers(parts[part], faces[face])
    covered[whole] = areas[face[whole]]
    crossed = np.flatnonzero(~whole)
    covered[crossed] = shapely.area(shapely.intersection(faces[face[crossed]], parts[part[crossed]]))
    return np.bincount(face, weights=covered, minlength=len(faces)) / areas


def _beyond(one: BaseGeometry, other: BaseGeometry) -> BaseGeometry:
    """Return where ``one`` reaches beyond ``other`` by more than rounding."""
    rest = polygonal(shapely.difference(one, other))
    if rest.is_empty:
        return rest
    parts = shapely.get_parts(rest)
    core = shapely.buffer(parts, -SLACK, quad_segs=4)
    return union(parts[~shapely.is_empty(core)])
