"""Whose contour passes a spot."""

from __future__ import annotations

import shapely

from preflight.analysis import Analysis
from preflight.artwork import Origin
from preflight.films import Film


def origin_at(analysis: Analysis, film: Film, spot: tuple[float, float]) -> Origin | None:
    """Return the origin of the film's shape whose contour is nearest to ``spot`` (mm); None: no shape."""
    if not len(film.followed_contours):
        return None
    nearest = int(film.followed_contours[film.line_tree.nearest(shapely.Point(spot))])
    return analysis.shapes[int(analysis.painting.contours.path[nearest])].origin
