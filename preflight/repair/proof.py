"""Make the comparison again on what was repaired, by two methods that share no code."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.artwork import Artwork
from preflight.curves import Matrix, flatten
from preflight.geometry.appearance import polygonal
from preflight.geometry.fills import fill_regions
from preflight.geometry.knife import Knifing, classify
from preflight.job import Job
from preflight.repair.model import Draft, FilmProof, Proof
from preflight.repair.rasters import compare
from preflight.repair.uniting import GATE

PLACES = 4


def film_proof(draft: Draft, region: BaseGeometry, tolerance: float) -> FilmProof:
    """Return the figures of one repaired film against the ``region`` the artwork shows."""
    lines = flatten([draft.path], tolerance)
    filled = fill_regions(lines, [False])[0]
    which = np.repeat(np.arange(len(lines)), np.diff(lines.starts))
    contours = (
        np.asarray(shapely.linestrings(lines.points, indices=which)) if len(lines) else np.zeros(0, object)
    )
    knife = classify(contours, np.arange(len(contours)), filled)
    apart = polygonal(shapely.symmetric_difference(filled, region))
    return FilmProof(
        film=draft.name,
        crossings_mm=round(knife.length(Knifing.IN_FILM), PLACES),
        double_cuts_mm=round(knife.length(Knifing.DOUBLE), PLACES),
        cuts_in_waste_mm=round(knife.length(Knifing.IN_WASTE), PLACES),
        open_contours=int((~draft.path.closed).sum()),
        difference_mm2=round(float(apart.area), PLACES),
        difference_thickness_mm=round(thickness(apart), PLACES),
        largest_deviation_mm=round(_deviation(filled, region), PLACES),
        nodes_before=draft.nodes_before,
        nodes_after=len(draft.path.controls),
    )


def prove(
    before: Artwork,
    after: Artwork,
    job: Job,
    films: Sequence[FilmProof],
    unmended: Sequence[str],
    *,
    matrix: Matrix,
) -> Proof:
    """Return the proof; every figure that is not as it should be is a reason why it fails."""
    raster = compare(before, after, job, before_matrix=matrix)
    reasons = list(unmended)
    for film in films:
        faults: Mapping[str, float] = {
            "cuts through film": film.crossings_mm,
            "lines cut twice": film.double_cuts_mm,
            "cuts in waste": film.cuts_in_waste_mm,
        }
        reasons += [
            f"{film.film}: {size:g} mm of {what} are left." for what, size in faults.items() if size > 0
        ]
        if film.nodes_before and not film.nodes_after:
            reasons.append(
                f"{film.film}: nothing in it is as thick as {GATE:g} mm, so nothing is left to cut."
            )
        if film.open_contours:
            reasons.append(f"{film.film}: {film.open_contours} outlines are left open.")
        if film.difference_thickness_mm > GATE:
            reasons.append(
                f"{film.film}: differs from the artwork by up to {film.difference_thickness_mm:g} mm in thickness."
            )
    if raster.thickness > 0:
        reasons.append(
            f"The independent picture differs by {raster.area:.2f} mm2, up to {raster.thickness:.2f} mm thick."
        )
    return Proof(
        proved=not reasons,
        reasons=tuple(reasons),
        films=tuple(films),
        raster_pixels=raster.pixels,
        raster_difference_mm2=round(raster.area, PLACES),
        raster_difference_thickness_mm=round(raster.thickness, PLACES),
        claim="Geometry proved; test-cut first." if not reasons else "Not proved; not cut-ready.",
    )


def thickness(region: BaseGeometry) -> float:
    """Return how thick ``region`` is at the most, mm: rounded up to the next of steps a fifth apart.

    A part is thinner than t where nothing is left of it after t / 2 is taken off all round.
    """
    parts = shapely.get_parts(region)
    parts = parts[shapely.area(parts) > 0]
    thickness = 0.0
    step = GATE / 20
    while len(parts):
        thickness = step
        parts = parts[~shapely.is_empty(shapely.buffer(parts, -step / 2, quad_segs=2))]
        step *= 1.2
    return thickness


def _deviation(one: BaseGeometry, other: BaseGeometry) -> float:
    """Return how far the outline of either region strays from the other's, mm (at their vertices).

    Rings that enclose nothing thicker than `GATE` are left out: they come and go with rounding, and
    what they amount to is in the difference's thickness.
    """
    if one.is_empty or other.is_empty:
        return 0.0
    worst = 0.0
    for a, b in ((_thick_rings(one), other), (_thick_rings(other), one)):
        rings = shapely.get_rings(shapely.get_parts(b))
        points, which = shapely.get_coordinates(rings, return_index=True)
        same = which[1:] == which[:-1]
        chords = np.asarray(shapely.linestrings(np.stack((points[:-1][same], points[1:][same]), axis=1)))
        spots = shapely.points(shapely.get_coordinates(a))
        _, distance = shapely.STRtree(chords).query_nearest(spots, return_distance=True, all_matches=False)
        worst = max(worst, float(distance.max()))
    return worst


def _thick_rings(region: BaseGeometry) -> np.ndarray:
    rings = shapely.get_rings(shapely.get_parts(region))
    filled = np.asarray(shapely.polygons(rings))
    return np.asarray(rings[~shapely.is_empty(shapely.buffer(filled, -GATE / 2, quad_segs=2))])
