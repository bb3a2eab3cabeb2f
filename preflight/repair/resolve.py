"""What is seen, as filled outlines a film: strokes become areas, clips and holes become edges."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.analysis import Analysis
from preflight.artwork import Clip
from preflight.curves import Path
from preflight.films import Film
from preflight.geometry.appearance import PaintedLayer, Part, polygonal, union
from preflight.geometry.curved import CurveError, combine, simplified, united
from preflight.repair.model import Action
from preflight.repair.model import Part as Outline

HIDDEN = 1e-3
"""A clip that hides less than this (mm2) of a shape changes nothing."""


Cutters = Sequence[tuple[int, PaintedLayer]]
"""Layers that are taken off the layers of a film painted before them, with their place in painting order."""


def cutters_of(analysis: Analysis, film: Film, lower: Iterable[Film]) -> Cutters:
    """Return what is cut out of ``film``: holes, and what shows of films that lie ``lower`` in the stack.

    Films are laid one on top of the other, whatever the painting order. Where a lower film is painted
    over this one it can only show through an opening.
    """
    first = min(film.layers)
    through = [
        (index, analysis.painting.layers[index]) for below in lower for index in below.layers if index > first
    ]
    return sorted([*film.holes, *through], key=lambda cutter: cutter[0])


def shown_region(analysis: Analysis, layers: Sequence[int], cutters: Cutters) -> BaseGeometry:
    """Return what must stand of one film's ``layers``, from the independent fills, mm."""
    parts = []
    for index in layers:
        region = analysis.painting.layers[index].region
        above = [c.region for i, c in cutters if i > index and shapely.intersects(c.region, region)]
        parts.append(polygonal(shapely.difference(region, union(above))) if above else region)
    return union(parts)


def outlines_of(
    analysis: Analysis, film: Film, layers: Sequence[int], cutters: Cutters, actions: list[Action]
) -> list[Outline]:
    """Return the filled outlines whose union is what must stand of ``film``, lowest first."""
    found: list[tuple[int, Outline]] = []
    for index in layers:
        layer = analysis.painting.layers[index]
        outline = (
            _stroke(analysis, film, layer, actions) if layer.part is Part.STROKE else _fill(analysis, layer)
        )
        if _clipped(layer) and layer.part is Part.FILL:
            outline = _within_clips(analysis, film, layer, outline, actions)
        found.append((index, outline))
    return [
        _less_holes(analysis, film, index, outline, cutters=cutters, actions=actions)
        for index, outline in found
        if len(outline.path)
    ]


def polygon_path(region: BaseGeometry) -> Path:
    """Return the rings of a region as contours of straight segments."""
    rings = shapely.get_rings(shapely.get_parts(region))
    return Path.joined([Path.polygon(shapely.get_coordinates(ring)[:-1]) for ring in rings])


def closed(path: Path) -> Path:
    """Return ``path`` with a straight segment across the ends of every open contour."""
    if path.closed.all():
        return path
    parts = []
    for index in range(len(path)):
        part = path.subpath(index)
        first, last = part.controls[0, 0], part.controls[-1, 3]
        controls, lines = part.controls, part.lines
        if (first != last).any():
            controls = np.concatenate((controls, np.stack((last, last, first, first))[None]))
            lines = np.append(lines, True)
        parts.append(Path(controls, lines, part.starts, np.ones(1, bool)))
    return Path.joined(parts)


def _fill(analysis: Analysis, layer: PaintedLayer) -> Outline:
    shape = analysis.shapes[layer.shape]
    path = closed(shape.path.mapped(shape.matrix))
    return Outline(path, shape.evenodd, len(shape.path.controls))


def _stroke(analysis: Analysis, film: Film, layer: PaintedLayer, actions: list[Action]) -> Outline:
    shape = analysis.shapes[layer.shape]
    path = polygon_path(layer.region)
    dashed = "dashed stroke" if shape.stroke and shape.stroke.dashes else "stroke"
    actions.append(
        Action(
            step="expand-strokes",
            what=f"The {dashed} of {shape.origin.label} became an area with two edges.",
            film=film.name,
            box=layer.region.bounds if not layer.region.is_empty else None,
            before=round(shape.stroke_width, 3),
            after=round(layer.region.area, 3),
            unit="mm wide, then mm2",
        )
    )
    return Outline(path, False, len(shape.path.controls))


def _clipped(layer: PaintedLayer) -> bool:
    return layer.region is not layer.unclipped and layer.unclipped.area - layer.region.area > HIDDEN


def _within_clips(
    analysis: Analysis, film: Film, layer: PaintedLayer, outline: Outline, actions: list[Action]
) -> Outline:
    shape = analysis.shapes[layer.shape]
    try:
        path = simplified(outline.path, evenodd=outline.evenodd)
        for clip in shape.clips:
            path = combine(path, _clip_path(clip), "intersection")
    except CurveError:
        path = polygon_path(layer.region)
    actions.append(
        Action(
            step="apply-clips",
            what=f"{shape.origin.label} was cut to what its clip shows.",
            film=film.name,
            box=layer.region.bounds if not layer.region.is_empty else None,
            before=round(layer.unclipped.area, 3),
            after=round(layer.region.area, 3),
            unit="mm2",
        )
    )
    return Outline(path, False, outline.nodes)


def _clip_path(clip: Clip) -> Path:
    parts = []
    for part in clip.parts:
        path = simplified(closed(part.path.mapped(part.matrix)), evenodd=part.evenodd)
        for inner in part.clips:
            path = combine(path, _clip_path(inner), "intersection")
        parts.append(path)
    kept = united(parts) if parts else Path.empty()
    for outer in clip.clips:
        kept = combine(kept, _clip_path(outer), "intersection")
    return kept


def _less_holes(
    analysis: Analysis, film: Film, index: int, outline: Outline, *, cutters: Cutters, actions: list[Action]
) -> Outline:
    own = analysis.painting.layers[index].region
    meeting = [(i, hole) for i, hole in cutters if i > index and shapely.intersects(own, hole.region)]
    if not meeting:
        return outline
    holes = [_hole(analysis, hole) for _, hole in meeting]
    try:
        path = combine(simplified(outline.path, evenodd=outline.evenodd), united(holes), "difference")
    except CurveError:
        path = polygon_path(shapely.difference(own, union([hole.region for _, hole in meeting])))
    actions.append(
        Action(
            step="cut-holes",
            what=f"{len(holes)} shape(s) that lie on top became openings in "
            f"{analysis.shapes[analysis.painting.layers[index].shape].origin.label}.",
            film=film.name,
        )
    )
    return Outline(path, False, outline.nodes + sum(len(hole.controls) for hole in holes))


def _hole(analysis: Analysis, layer: PaintedLayer) -> Path:
    if layer.part is Part.STROKE or _clipped(layer):
        return simplified(polygon_path(layer.region), evenodd=False)
    shape = analysis.shapes[layer.shape]
    return simplified(closed(shape.path.mapped(shape.matrix)), evenodd=shape.evenodd)
