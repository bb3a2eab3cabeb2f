"""What a viewer sees: the region of every fill and stroke, clipped, and how they cover each other."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.artwork import Artwork, Clip, ClipPart, Paint, Shape
from preflight.curves import Floats, Outlines, Polylines, flatten
from preflight.geometry.fills import EMPTY, fill_regions
from preflight.geometry.strokes import stroke_region


class Part(StrEnum):
    """Which of a shape's two paints."""

    FILL = "fill"
    STROKE = "stroke"


@dataclass(frozen=True, eq=False)
class PaintedLayer:
    """One paint of one shape. ``shape`` indexes the shapes given; regions are in mm."""

    shape: int
    part: Part
    paint: Paint
    region: BaseGeometry
    """What is seen of it: clipped, but not yet covered by what lies above."""
    unclipped: BaseGeometry


@dataclass(frozen=True, eq=False)
class Painting:
    """All layers in painting order, and the flattened contours they came from.

    ``contours.path`` gives the index of the shape of each polyline; ``lengths`` (shapes,) is the
    length of each shape's outline in mm.
    """

    shapes: tuple[Shape, ...]
    layers: tuple[PaintedLayer, ...]
    contours: Polylines
    lengths: Floats


@dataclass(frozen=True, eq=False)
class Appearance:
    """``colours``: the region seen of each solid colour; ``other``: what is painted otherwise."""

    colours: dict[str, BaseGeometry]
    other: BaseGeometry
    painted: BaseGeometry


def appearance(artwork: Artwork, tolerance: float | None = None) -> Appearance:
    """Return what is seen of ``artwork`` inside its drawing area, flattened to ``tolerance`` mm."""
    painting = paint(tuple(artwork.shapes()), tolerance or artwork.flattening_tolerance)
    frame = shapely.box(0, 0, artwork.width, artwork.height)
    layers = [(layer.paint.color, framed(layer.region, frame)) for layer in painting.layers]
    seen = stacked(layers)
    other = seen.pop(None, EMPTY)
    return Appearance(
        {colour: region for colour, region in seen.items() if colour and not region.is_empty},
        other,
        union([region for _, region in layers]),
    )


def paint(shapes: tuple[Shape, ...], tolerance: float) -> Painting:
    """Return the regions of all paints of ``shapes``, flattened to ``tolerance`` mm at once."""
    parts = list(_clip_parts(shapes))
    drawn: list[Shape | ClipPart] = [*shapes, *parts]
    outlines = Outlines.of([item.path for item in drawn], [item.matrix for item in drawn])
    lines = flatten(outlines, tolerance)
    rules = [shape.evenodd for shape in shapes] + [part.evenodd for part in parts]
    regions = fill_regions(lines, rules)
    clips = _Clips(dict(zip(map(id, parts), regions[len(shapes) :], strict=True)))
    layers: list[PaintedLayer] = []
    for index, shape in enumerate(shapes):
        painted = []
        if shape.fill is not None and shape.fill.opacity * shape.opacity > 0:
            painted.append((Part.FILL, shape.fill, regions[index]))
        if shape.stroke is not None and shape.stroke.paint.opacity * shape.opacity > 0:
            outline = stroke_region(shape.path, shape.matrix, shape.stroke, tolerance)
            painted.append((Part.STROKE, shape.stroke.paint, outline))
        if shape.stroke_first:
            painted.reverse()
        for part, paint_, region in painted:
            layers.append(PaintedLayer(index, part, paint_, clips.applied(region, shape.clips), region))
    count = int(np.searchsorted(lines.path, len(shapes)))
    return Painting(shapes, tuple(layers), _first(lines, count), outlines.lengths()[: len(shapes)])


def stacked(layers: Sequence[tuple[str | None, BaseGeometry]]) -> dict[str | None, BaseGeometry]:
    """Return the region left of each key when later layers cover earlier ones of other keys."""
    regions = np.array([region for _, region in layers], object)
    if not len(regions):
        return {}
    above: list[list[int]] = [[] for _ in layers]
    for low, high in zip(*shapely.STRtree(regions).query(regions), strict=True):
        if high > low and layers[low][0] != layers[high][0]:
            above[low].append(int(high))
    seen: dict[str | None, list[BaseGeometry]] = {}
    for index, (key, region) in enumerate(layers):
        left = region
        if above[index]:
            left = polygonal(shapely.difference(region, union([regions[i] for i in sorted(above[index])])))
        seen.setdefault(key, []).append(left)
    return {key: union(parts) for key, parts in seen.items()}


def union(regions: Iterable[BaseGeometry]) -> BaseGeometry:
    """Return the union of areas; parts far from each other are never compared."""
    kept = [region for region in regions if not region.is_empty]
    if not kept:
        return EMPTY
    if len(kept) == 1:
        return kept[0]
    return polygonal(shapely.disjoint_subset_union_all(kept))


def polygonal(geometry: BaseGeometry) -> BaseGeometry:
    """Return only the areas of ``geometry``: what overlays leave as points and lines is dropped."""
    if geometry.geom_type in ("Polygon", "MultiPolygon"):
        return geometry
    parts = shapely.get_parts(geometry)
    areas = [part for part in parts if part.geom_type in ("Polygon", "MultiPolygon")]
    return union(areas)


def framed(region: BaseGeometry, frame: BaseGeometry) -> BaseGeometry:
    """Return ``region`` cut off at ``frame``, untouched where it lies inside."""
    if region.is_empty:
        return region
    x0, y0, x1, y1 = region.bounds
    a, b, c, d = frame.bounds
    if x0 >= a and y0 >= b and x1 <= c and y1 <= d:
        return region
    return polygonal(shapely.intersection(region, frame))


def _clip_parts(shapes: Iterable[Shape]) -> Iterable[ClipPart]:
    """Yield every part of every clip once, however many shapes share it."""
    seen: set[int] = set()
    pending: list[Clip] = [clip for shape in shapes for clip in shape.clips]
    while pending:
        clip = pending.pop()
        if id(clip) in seen:
            continue
        seen.add(id(clip))
        pending.extend(clip.clips)
        for part in clip.parts:
            yield part
            pending.extend(part.clips)


class _Clips:
    """The regions of clips, each computed when first asked for."""

    def __init__(self, parts: dict[int, BaseGeometry]) -> None:
        self._parts = parts
        self._done: dict[int, BaseGeometry] = {}

    def region(self, clip: Clip) -> BaseGeometry:
        if id(clip) not in self._done:
            kept = union(self.applied(self._parts[id(part)], part.clips) for part in clip.parts)
            self._done[id(clip)] = self.applied(kept, clip.clips)
        return self._done[id(clip)]

    def applied(self, region: BaseGeometry, clips: Sequence[Clip]) -> BaseGeometry:
        for clip in clips:
            if region.is_empty:
                break
            kept = self.region(clip)
            region = polygonal(shapely.intersection(region, kept))
        return region


def _first(lines: Polylines, count: int) -> Polylines:
    """Return the first ``count`` polylines."""
    end = lines.starts[count]
    return Polylines(
        lines.points[:end],
        lines.starts[: count + 1],
        lines.closed[:count],
        lines.path[:count],
        lines.corners[:end],
    )
