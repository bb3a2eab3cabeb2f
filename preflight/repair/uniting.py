"""Unite what overlaps and drop what is hidden, so that every line left is a true edge, once.

Contours that meet nothing are kept node for node. Shapes that cross go through the curve engine; its
answer is believed only where an independent fill agrees (the gate), else the flattened region takes
its place, which is right by construction and has straight segments only.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Bools, Ints, Path, flatten
from preflight.geometry.appearance import polygonal, union
from preflight.geometry.arrangement import Pieces, node, pieces_of
from preflight.geometry.curved import CurveError, reversed_path, simplified, united
from preflight.geometry.fills import fill_regions
from preflight.geometry.gather import groups
from preflight.geometry.knife import Inside
from preflight.repair.model import Part
from preflight.repair.resolve import polygon_path

GATE = 0.01
"""Thickest difference (mm) between the united outline and the independent fill that is accepted."""


@dataclass(frozen=True, eq=False)
class United:
    """The contours of one film. ``curves`` is False where the flattened region had to take their place."""

    path: Path
    united: int
    """Shapes that were united with others or with themselves."""
    dropped: int
    """Whole contours that were dropped because they are no edge of anything, or were there twice."""
    curves: bool


def unite(parts: list[Part], region: BaseGeometry, tolerance: float) -> United:
    """Return contours whose fill is ``region``, which is the parts' union by the independent fill."""
    if not parts:
        return United(Path.empty(), 0, 0, True)
    crossing, clusters = _clusters(parts, tolerance)
    kept = [part.path for part, crosses in zip(parts, crossing, strict=True) if not crosses]
    made: list[Path] = []
    try:
        for members in map(partial(_uncovered, parts, tolerance=tolerance), clusters):
            shapes = [simplified(parts[i].path, evenodd=parts[i].evenodd) for i in members]
            made.append(united(shapes) if len(shapes) > 1 else shapes[0])
    except CurveError:
        return _flattened(region, crossing)
    # The lines are held against their own fill: the engine's curves stray by a thousandth of a millimetre,
    # and the test spots lie nearer to the line than that.
    own = union(fill_regions(flatten(kept + made, tolerance), _rules(parts, crossing, len(made))))
    path, dropped = edges_only(Path.joined(kept + made), own, tolerance)
    if path is not None:
        path, slivers = _without_slivers(path, tolerance)
        dropped += slivers
    if path is None or not agrees(path, region, tolerance):
        return _flattened(region, crossing)
    return United(path, int(crossing.sum()), dropped, True)


def _without_slivers(path: Path, tolerance: float) -> tuple[Path, int]:
    """Leave out contours that enclose nothing thicker than `GATE`: a knife would run there and back."""
    rings = fill_regions(flatten([path.subpath(i) for i in range(len(path))], tolerance), [False] * len(path))
    thick = ~shapely.is_empty(shapely.buffer(np.array(rings, object), -GATE / 2, quad_segs=2))
    kept = [path.subpath(int(index)) for index in np.flatnonzero(thick)]
    return Path.joined(kept), len(path) - len(kept)


def _rules(parts: list[Part], crossing: Bools, made: int) -> list[bool]:
    kept = [part.evenodd for part, crosses in zip(parts, crossing, strict=True) if not crosses]
    return kept + [False] * made


def _uncovered(parts: list[Part], members: Ints, *, tolerance: float) -> Ints:
    """Leave out members that lie wholly in another one: copies above all, which the engine frays."""
    fills = fill_regions(
        flatten([parts[i].path for i in members], tolerance), [parts[i].evenodd for i in members]
    )
    kept: list[int] = []
    for index in np.argsort([-fill.area for fill in fills], kind="stable").tolist():
        if not any(shapely.covers(shapely.buffer(fills[other], 1e-4), fills[index]) for other in kept):
            kept.append(index)
    return members[sorted(kept)]


def _flattened(region: BaseGeometry, crossing: Bools) -> United:
    return United(polygon_path(shapely.orient_polygons(region)), int(crossing.sum()), 0, False)


def _clusters(parts: list[Part], tolerance: float) -> tuple[Bools, list[Ints]]:
    """Return which parts have contours that meet one, and those parts in groups that touch."""
    lines = flatten([part.path for part in parts], tolerance)
    contours = _lines(lines.points, lines.starts)
    pieces = node(contours)
    met = ~shapely.is_closed(pieces.lines)
    tree = shapely.STRtree(contours)
    _, line = tree.query(shapely.points(pieces.spots()[met]), predicate="dwithin", distance=1e-5)
    crossing = np.zeros(len(parts), bool)
    crossing[lines.path[line]] = True
    chosen = np.flatnonzero(crossing)
    whole = np.array(
        [shapely.MultiLineString(list(contours[lines.path == index])) for index in chosen], object
    )
    return crossing, [chosen[group] for group in groups(whole, 1e-6)]


def _lines(points: np.ndarray, starts: Ints) -> np.ndarray:
    which = np.repeat(np.arange(len(starts) - 1), np.diff(starts))
    return np.asarray(shapely.linestrings(points, indices=which))


def edges_only(path: Path, region: BaseGeometry, tolerance: float) -> tuple[Path | None, int]:
    """Keep the contours that are edges of ``region``, each once, filled on the left as seen (y down).

    Returns None where contours still cross. Contours inside film or inside waste, and copies, are
    dropped and counted.
    """
    if not len(path):
        return path, 0
    lines = flatten([path], tolerance)
    contours = _lines(lines.points, lines.starts)
    pieces = node(contours)
    if not shapely.is_closed(pieces.lines).all():
        return None, 0
    owner = _owners(pieces, contours)
    inside = Inside(region)
    left, right = (inside(points) for points in pieces.beside())
    kept = []
    for piece in np.flatnonzero(left != right):
        contour = path.subpath(int(owner[piece]))
        # A piece may run against its contour: ask the contour's own line which side is filled.
        own = _beside(contours[owner[piece]])
        kept.append(contour if inside(own)[0] else reversed_path(contour))
    return Path.joined(kept), len(path) - len(kept)


def _owners(pieces: Pieces, contours: np.ndarray) -> Ints:
    """Return for each whole-contour piece the first contour that follows it."""
    which, contour = shapely.STRtree(contours).query(
        shapely.points(pieces.spots()), predicate="dwithin", distance=1e-5
    )
    owner = np.full(len(pieces), len(contours))
    np.minimum.at(owner, which, contour)
    return owner


def _beside(line: BaseGeometry) -> np.ndarray:
    left, _ = pieces_of(np.array([line], object)).beside()
    return left


def agrees(path: Path, region: BaseGeometry, tolerance: float) -> bool:
    """Return whether the fill of ``path`` is ``region`` to within `GATE`."""
    return bool(thick_difference(path, region, tolerance).is_empty)


def is_sound(path: Path, region: BaseGeometry, tolerance: float) -> bool:
    """Return whether ``path`` is edges of ``region`` only, each once, and encloses just that region."""
    kept, dropped = edges_only(path, fill_regions(flatten([path], tolerance), [False])[0], tolerance)
    return kept is not None and dropped == 0 and agrees(path, region, tolerance)


def thick_difference(path: Path, region: BaseGeometry, tolerance: float) -> BaseGeometry:
    """Return where the fill of ``path`` and ``region`` differ by more than `GATE` mm in thickness."""
    filled = fill_regions(flatten([path], tolerance), [False])[0]
    apart = shapely.get_parts(polygonal(shapely.symmetric_difference(filled, region)))
    core = shapely.buffer(apart, -GATE / 2, quad_segs=2)
    return shapely.MultiPolygon([part for part, left in zip(apart, core, strict=True) if not left.is_empty])
