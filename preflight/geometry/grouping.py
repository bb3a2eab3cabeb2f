"""Put boxes, and whatever pairs connect, into groups."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from preflight.curves import Floats, Ints


def gathered_boxes(bounds: Floats, cell: float) -> Floats:
    """Return one bounding box for all boxes (n, 4) that begin in the same cell of a grid."""
    _, group = np.unique(np.floor(bounds[:, :2] / cell), axis=0, return_inverse=True)
    return _bounds_of(bounds, group.ravel())


def _bounds_of(bounds: Floats, group: Ints) -> Floats:
    count = int(group.max()) + 1
    joined = np.concatenate((np.full((count, 2), np.inf), np.full((count, 2), -np.inf)), axis=1)
    np.minimum.at(joined[:, :2], group, bounds[:, :2])
    np.maximum.at(joined[:, 2:], group, bounds[:, 2:])
    return joined


def joined_boxes(bounds: Floats) -> npt.NDArray[np.object_]:
    """Return rectangles that cover ``bounds`` (n, 4), joined until no two of them overlap."""
    while True:
        boxes = np.asarray(shapely.box(*bounds.T))
        group = grouped(len(boxes), *shapely.STRtree(boxes).query(boxes, predicate="intersects"))
        if int(group.max()) + 1 == len(boxes):
            return boxes
        bounds = _bounds_of(bounds, group)


def grouped(count: int, first: Ints, second: Ints) -> Ints:
    """Return a number for each of ``count`` things: the same where pairs connect them, in order of appearance."""
    parent = np.arange(count)
    while True:
        low = np.minimum(parent[first], parent[second])
        before = parent.copy()
        np.minimum.at(parent, parent[first], low)
        np.minimum.at(parent, parent[second], low)
        parent = parent[parent]
        if np.array_equal(before, parent):
            return np.unique(parent, return_inverse=True)[1]
