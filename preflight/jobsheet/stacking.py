"""In which order films are laid on each other, found from where their painted regions overlap."""

from __future__ import annotations

from typing import Literal

import numpy as np
import shapely

from preflight.analysis import Analysis
from preflight.jobsheet.model import Laying

TOUCHING = 0.01
"""Regions that share less area than this (mm2) only touch: what flattening leaves along an edge."""


def laying_of(analysis: Analysis) -> Laying:
    """Return the order of the films, first to be laid first.

    A film goes on before those that cover some of it. On the second surface all is reversed: what the
    reader sees on top goes on the glass first. Films that nothing puts in order keep the order in which
    they first appear in the drawing.
    """
    films = analysis.films
    under = _coverings(analysis)
    order: list[int] = []
    left = list(range(len(films)))
    entangled: list[int] = []
    while left:
        free = [film for film in left if not any(low in left for low, high in under if high == film)]
        if not free:
            entangled = _knots(left, under)
            free = left
        taken = free[0]
        order.append(taken)
        left.remove(taken)
        if entangled:
            order += left
            break
    if analysis.job.surface == "second":
        order.reverse()
    return Laying(
        order=tuple(films[index].name for index in order),
        entangled=tuple(films[index].name for index in entangled),
        mirror=_mirror(analysis),
    )


def _mirror(analysis: Analysis) -> Literal["no", "mirror", "mirrored-already"]:
    if analysis.to_be_mirrored:
        return "mirror"
    return "mirrored-already" if analysis.job.drawn_as == "mirrored" else "no"


def _coverings(analysis: Analysis) -> set[tuple[int, int]]:
    """Return the pairs (lower film, upper film) by index: the upper one covers some of the lower one."""
    layers = analysis.painting.layers
    film_of = {layer: number for number, film in enumerate(analysis.films) for layer in film.layers}
    index = np.array(sorted(film_of), np.int64)
    if not len(index):
        return set()
    owner = np.array([film_of[int(layer)] for layer in index])
    regions = np.array([layers[int(layer)].region for layer in index], object)
    low, high = shapely.STRtree(regions).query(regions, predicate="intersects")
    kept = (low < high) & (owner[low] != owner[high])
    found: set[tuple[int, int]] = set()
    for a, b in zip(low[kept].tolist(), high[kept].tolist(), strict=True):
        pair = (int(owner[a]), int(owner[b]))
        if pair not in found and shapely.area(shapely.intersection(regions[a], regions[b])) > TOUCHING:
            found.add(pair)
    return found


def _knots(left: list[int], under: set[tuple[int, int]]) -> list[int]:
    """Return those of the films ``left`` that lie, through others or not, under themselves."""
    reach = {film: {high for low, high in under if low == film and high in left} for film in left}
    for _ in left:
        for film in left:
            reach[film] |= {far for near in reach[film] for far in reach[near]}
    return [film for film in left if film in reach[film]]
