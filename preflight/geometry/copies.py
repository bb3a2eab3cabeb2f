"""Which lines lie in the same place as others, as a whole: drawn once more, whatever their start or sense."""

from __future__ import annotations

import numpy as np
import shapely

from preflight.curves import Bools


def copies(lines: np.ndarray, of: np.ndarray, distance: float) -> Bools:
    """Return which of ``lines`` (n,) run along one of the lines ``of`` (m,) from end to end.

    They do where no spot of either is farther than ``distance`` mm from the other (the Hausdorff distance)
    and both are as long, to 1 %: so a line followed twice within itself is no copy of one followed once.
    """
    found = np.zeros(len(lines), bool)
    if not len(lines) or not len(of):
        return found
    # The boxes of copies are as near to each other as the copies are.
    here, there = shapely.bounds(lines), shapely.bounds(of)
    spots = np.asarray(shapely.points(here[:, :2]))
    reach = shapely.box(*(there[:, [0, 1, 0, 1]] + distance * np.array([-1, -1, 1, 1])).T)
    other, mine = shapely.STRtree(spots).query(reach, predicate="intersects")
    near = np.abs(here[mine] - there[other]).max(axis=1, initial=0.0) <= distance
    mine, other = mine[near], other[near]
    long, also = shapely.length(lines[mine]), shapely.length(of[other])
    alike = np.abs(long - also) <= 0.01 * np.maximum(long, also)
    mine, other = mine[alike], other[alike]
    same = shapely.hausdorff_distance(lines[mine], of[other]) <= distance
    found[mine[same]] = True
    return found
