"""Two lines of one film so near along each other that the knife cuts the same line twice."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from preflight.analysis import Analysis
from preflight.geometry.coincidence import Nearness, NearPlace
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, mm, place
from preflight.rules.pieces import named
from preflight.rules.rule import Parameter, Rule

_MESSAGES = {
    Nearness.COPY: "The same edge is drawn twice here, at most {apart} apart, along {along}. The knife would cut "
    "it twice, so nearly in one line that the film tears and the backing paper may be cut through.",
    Nearness.EDGES: "Two edges of one colour lie at most {apart} apart here, along {along}. They look joined, but the "
    "knife would cut along both, and what lies between is too little to cut or to pull out.",
    Nearness.STRIP: "A strip of film at most {apart} wide would be left here between two cuts, along {along}. So "
    "little film does not hold.",
}


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each place where lines run within the coincidence tolerance of each other."""
    for film in analysis.films:
        cases: dict[str, list[Fault]] = {case: [] for case in RULE.cases}
        for near in film.near:
            cases[near.kind].append(_fault(analysis, near))
        for case, faults in cases.items():
            yield from findings(RULE, case, analysis, faults, film)


def _fault(analysis: Analysis, near: NearPlace) -> Fault:
    shapes = sorted({int(analysis.painting.contours.path[contour]) for contour in near.contours})
    origins = [analysis.shapes[index].origin for index in shapes]
    x0, y0, x1, y1 = shapely.total_bounds(near.runs)
    tolerance = analysis.job.tolerances.coincidence
    apart = f"{near.distance:.3f} mm"
    return Fault(
        message=_MESSAGES[near.kind].format(apart=apart, along=mm(near.length)),
        detail=f"Lines within {tolerance:g} mm of each other along {mm(near.length)}, greatest distance "
        f"{apart}: {named(origins)}.",
        places=(place((float(x0), float(y0), float(x1), float(y1)), near.spot, origins[-1], near.distance),),
        measured=near.distance,
        limit=tolerance,
        unit="mm",
        badness=near.length,
    )


RULE = Rule(
    code="near-double-cut",
    title="Two lines so near that they are cut as one",
    why="A knife takes nothing away: it parts the film. Two cuts closer together than the machine can place them are "
    "one cut made twice, with a thread of film between them that tears, curls up under the blade or stays behind.",
    how_measured="Lines of one film that run along each other within the coincidence tolerance, for at least twenty "
    "times that tolerance, are reported with the length and the greatest distance; stretches within 0.2 mm of "
    "each other count as one place. Lines that coincide exactly are double cuts. A part or gap narrower than the "
    "tolerance that lies in such a place is not reported as too narrow as well, nor its edges as cuts through film. "
    "Lines that cross or touch and part again at more than about 6 degrees are not reported.",
    remedy="Delete the copy; unite the two shapes, or move them apart.",
    cases={Nearness.COPY: Severity.ERROR, Nearness.EDGES: Severity.ERROR, Nearness.STRIP: Severity.ERROR},
    repairable=True,
    check=check,
    parameters=(
        Parameter(
            "tolerances.coincidence",
            "Lines nearer than this are cut as one",
            "mm",
            "two steps of 0.025 mm (HP PCL/PJL reference, table 17-7); common practice, no source",
        ),
    ),
)
