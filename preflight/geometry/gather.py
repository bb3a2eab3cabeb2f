"""Gather neighbouring things into the groups that a reader sees as one place."""

from __future__ import annotations

import numpy as np
import shapely

from preflight.curves import Floats, Ints


def diagonals(low: Floats, high: Floats) -> np.ndarray:
    """Return a line (n,) from each corner ``low`` to ``high`` (n, 2): for trees that only look at boxes.

    The box of such a line is the box meant, and it is made in a tenth of a rectangle's time.
    """
    return np.asarray(shapely.linestrings(np.stack((low, high), axis=1)))


def dot(a: Floats, b: Floats) -> Floats:
    """Return the scalar products (n,) of vectors ``a`` and ``b`` (n, 2): a sum over an axis of two is slow."""
    return np.asarray(a[:, 0] * b[:, 0] + a[:, 1] * b[:, 1])


def groups(items: np.ndarray, distance: float) -> list[Ints]:
    """Return the sets of ``items`` (geometries) linked by gaps of at most ``distance`` mm.

    Each group lists its items in order; groups are in the order of their first item.
    """
    if not len(items):
        return []
    a, b = shapely.STRtree(items).query(items, predicate="dwithin", distance=distance)
    return linked(len(items), a, b)


def linked(count: int, a: Ints, b: Ints) -> list[Ints]:
    """Return the sets of ``count`` things that the pairs ``a``, ``b`` of indices link, each in order."""
    root = list(range(count))

    def find(index: int) -> int:
        while root[index] != index:
            root[index] = root[root[index]]
            index = root[index]
        return index

    for i, j in zip(a.tolist(), b.tolist(), strict=True):
        if i < j:
            low, high = sorted((find(i), find(j)))
            root[high] = low
    label = np.array([find(index) for index in range(count)], np.int64)
    order = np.argsort(label, kind="stable")
    _, begin = np.unique(label[order], return_index=True)
    return np.split(order, begin[1:]) if count else []
