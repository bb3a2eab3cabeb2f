"""The sign that would stand after cutting and weeding does not look like the artwork."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.analysis import Analysis
from preflight.films import Film
from preflight.geometry.gather import groups
from preflight.report.model import Finding, Place, Severity
from preflight.result import Difference
from preflight.rules.build import Fault, area, counted, findings, place
from preflight.rules.origin import origin_at
from preflight.rules.rule import Parameter, Rule

NEAR = 1.0
"""Differences nearer than this (mm) are one place."""


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield, a film, one finding for what would be missing and one for what would be too much."""
    for difference in analysis.differences:
        swapped = analysis.job.polarity == "surround"
        for case, region in (("missing", difference.missing), ("surplus", difference.surplus)):
            shown = {"missing": "surplus", "surplus": "missing"}[case] if swapped else case
            if not region.is_empty:
                fault = _fault(analysis, difference, region, shown)
                yield from findings(RULE, shown, analysis, [fault], difference.film)


def _fault(analysis: Analysis, difference: Difference, region: BaseGeometry, case: str) -> Fault:
    parts = shapely.get_parts(region)
    places = [_place(analysis, difference.film, parts[members]) for members in groups(parts, NEAR)]
    places.sort(key=lambda found: -found[0])
    spots = counted(len(places), "place")
    if case == "missing":
        message = (
            f"Cut as it is, the sign would lack {area(region.area)} that the picture shows in this film ({spots}): "
            "no line of the file separates it from the waste."
        )
    else:
        message = (
            f"Cut as it is, the sign would show {area(region.area)} of this film that the picture does not show "
            f"({spots}): no line of the file cuts it off."
        )
    return Fault(
        message=message,
        detail=f"Cut and weeding rehearsed on the file's own lines: {case} {region.area:.1f} mm2; the largest place "
        f"{places[0][0]:.1f} mm2.",
        places=tuple(spot for _, spot in places),
        measured=float(region.area),
        unit="mm2",
        badness=float(region.area),
    )


def _place(analysis: Analysis, film: Film, parts: np.ndarray) -> tuple[float, Place]:
    x0, y0, x1, y1 = (float(v) for v in shapely.total_bounds(parts))
    largest = parts[int(np.argmax(shapely.area(parts)))]
    spot = shapely.point_on_surface(largest)
    size = float(shapely.area(parts).sum())
    return size, place((x0, y0, x1, y1), (spot.x, spot.y), origin_at(analysis, film, (spot.x, spot.y)), size)


RULE = Rule(
    code="result-differs",
    title="The cut sign would not look like the picture",
    why="What is seen on screen and what the lines in the file divide can be two things: a stroke has no edges to cut, "
    "a clip no line, an outline with a gap encloses nothing. Then the sign comes out different.",
    how_measured="Cutting and weeding are rehearsed: the file's own lines divide each film into faces; a face stays "
    "where the picture shows mostly this film. The kept faces are stacked and compared with the picture, film by "
    "film. Differences thinner than 0.04 mm are left out.",
    remedy="Mend the other faults at these places first; they are the usual cause. Else draw the edge that is missing.",
    cases={"missing": Severity.ERROR, "surplus": Severity.ERROR},
    repairable=True,
    check=check,
    parameters=(Parameter("polarity", "Whether the shapes stay or their surround", "", "stated by the job"),),
)
