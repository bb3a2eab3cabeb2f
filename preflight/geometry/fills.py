"""From contours and a fill rule to the region that is filled.

Most outlines are simple rings that do not touch each other; those are put together by nesting,
for all paths in a few array calls. Only what truly crosses is noded.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from preflight.curves import Bools, Floats, Ints, Polylines
from preflight.geometry.arrangement import faces, node
from preflight.geometry.winding import winding_numbers

EMPTY = MultiPolygon()


def fill_regions(lines: Polylines, evenodd: Sequence[bool] | Bools) -> list[BaseGeometry]:
    """Return the filled region of every path of ``lines``, as valid (multi)polygons.

    ``evenodd`` gives the fill rule of each path (False: nonzero). Open polylines are filled as if
    closed by a straight line, as SVG 2 section 13.4 says.
    """
    count = len(evenodd)
    regions: list[BaseGeometry] = [EMPTY] * count
    rings, owner = _rings(lines)
    if not len(owner):
        return regions
    even = np.asarray(evenodd, bool)
    polygons = np.asarray(shapely.polygons(rings))
    simple = shapely.is_valid(polygons)
    per_path = np.bincount(owner, minlength=count)
    broken = np.zeros(count, bool)
    broken[owner[~simple]] = True
    broken |= _touching(rings, owner, ~broken & (per_path > 1))

    starts = np.concatenate(([0], np.cumsum(per_path)))
    single = simple & (per_path[owner] == 1)
    for index in np.flatnonzero(single):
        regions[owner[index]] = polygons[index]
    nested = np.flatnonzero((per_path > 1) & ~broken)
    if len(nested):
        windings = _nesting(rings, polygons, owner, nested, starts)
        for path in nested.tolist():
            part = slice(starts[path], starts[path + 1])
            regions[path] = _assembled(rings[part], *windings[path], bool(even[path]))
    for path in np.flatnonzero(broken).tolist():
        part = slice(starts[path], starts[path + 1])
        regions[path] = fill_crossing(rings[part], bool(even[path]))
    return regions


def ring_segments(rings: Sequence[BaseGeometry] | np.ndarray) -> Floats:
    """Return the segments (n, 4) of rings or lines."""
    points, which = shapely.get_coordinates(rings, return_index=True)
    same = which[1:] == which[:-1]
    return np.concatenate((points[:-1][same], points[1:][same]), axis=1)


def fill_crossing(rings: np.ndarray, evenodd: bool) -> BaseGeometry:
    """Return the region filled by closed rings (n,) that may cross anyhow."""
    # Every face is asked, not only those beside a border: where two rings run nearer to each other than
    # the test spots reach, one misjudged piece would open a border and lose the whole shape.
    polygons, inside = faces(node(rings).lines)
    if not len(polygons):
        return EMPTY
    winding = winding_numbers(inside, ring_segments(rings))
    kept = polygons[winding % 2 != 0 if evenodd else winding != 0]
    if not len(kept):
        return EMPTY
    region: BaseGeometry = shapely.coverage_union_all(kept)
    return region


def _rings(lines: Polylines) -> tuple[np.ndarray, Ints]:
    """Return the closed rings with an area, and the path of each."""
    sizes = np.diff(lines.starts)
    which = np.repeat(np.arange(len(lines)), sizes)
    last = lines.starts[1:] - 1
    unclosed = np.flatnonzero((lines.points[lines.starts[:-1]] != lines.points[last]).any(axis=1))
    points = np.concatenate((lines.points, lines.points[lines.starts[:-1]][unclosed]))
    which = np.concatenate((which, unclosed))
    order = np.argsort(which, kind="stable")
    points, which = points[order], which[order]
    total = np.bincount(which, minlength=len(lines))
    enough = total >= 4
    keep = enough[which]
    kept = np.flatnonzero(enough)
    renumber = np.cumsum(enough) - 1
    rings = np.asarray(shapely.linearrings(points[keep], indices=renumber[which[keep]]))
    return rings, lines.path[kept]


def _touching(rings: np.ndarray, owner: Ints, asked: Bools) -> Bools:
    """Return for each path whether rings of it meet; only ``asked`` paths are looked at."""
    result = np.zeros(len(asked), bool)
    candidates = np.flatnonzero(asked[owner])
    if not len(candidates):
        return result
    tree = shapely.STRtree(rings[candidates])
    i, j = tree.query(rings[candidates])
    i, j = candidates[i], candidates[j]
    pair = (i < j) & (owner[i] == owner[j])
    i, j = i[pair], j[pair]
    meet = shapely.intersects(rings[i], rings[j])
    result[owner[i[meet]]] = True
    return result


def _nesting(
    rings: np.ndarray, polygons: np.ndarray, owner: Ints, paths: Ints, starts: Ints
) -> dict[int, tuple[Ints, Ints, Ints]]:
    """Return, a path, the windings inside and outside of each ring and its nearest enclosing ring."""
    chosen = np.flatnonzero(np.isin(owner, paths))
    subset = polygons[chosen]
    tree = shapely.STRtree(subset)
    first_points = shapely.get_point(rings[chosen], 0)
    inner, outer = tree.query(first_points, predicate="within")
    i, j = chosen[inner], chosen[outer]
    pair = (owner[i] == owner[j]) & (i != j)
    i, j = i[pair], j[pair]
    turn = np.where(shapely.is_ccw(rings), 1, -1)
    outside = np.bincount(i, weights=turn[j], minlength=len(rings)).astype(np.int64)
    inside = outside + turn
    area = shapely.area(polygons)
    parent = np.full(len(rings), -1)
    order = np.argsort(-area[j], kind="stable")
    parent[i[order]] = j[order]  # the smallest enclosing ring is written last
    result = {}
    for path in paths:
        part = slice(starts[path], starts[path + 1])
        local = np.where(parent[part] >= 0, parent[part] - starts[path], -1)
        result[int(path)] = (inside[part], outside[part], local)
    return result


def _assembled(rings: np.ndarray, inside: Ints, outside: Ints, parent: Ints, evenodd: bool) -> BaseGeometry:
    """Put nested rings together: rings where the fill changes are the borders."""
    filled_in = inside % 2 != 0 if evenodd else inside != 0
    filled_out = outside % 2 != 0 if evenodd else outside != 0
    border = filled_in != filled_out
    holes: dict[int, list[shapely.LinearRing]] = {int(i): [] for i in np.flatnonzero(border & filled_in)}
    for ring in np.flatnonzero(border & ~filled_in):
        up = int(parent[ring])
        while up >= 0 and up not in holes:
            up = int(parent[up])
        holes[up].append(rings[ring])
    parts = [shapely.Polygon(rings[shell], inner) for shell, inner in holes.items()]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
