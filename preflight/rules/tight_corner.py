"""Corners and bends that the blade cannot follow although its offset is compensated."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from preflight.analysis import Analysis
from preflight.cutting.corners import TightSpot, suspects, tight_spots
from preflight.films import Film
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, counted, findings, mm, place
from preflight.rules.judged import judged_shapes
from preflight.rules.rule import Parameter, Rule

_PARALLEL = np.radians(179.0)
"""Sides that turn by less than this in all come together: a pointed tip, of the film or of the waste."""


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield where the cut strays from the contour by more than the corner tolerance; tips as one a film."""
    blade, lines = analysis.job.blade, analysis.painting.contours
    judged: dict[int, Film | None] = {}
    found: dict[tuple[Film | None, str], list[tuple[int, TightSpot]]] = {}
    for contour in suspects(lines, blade.offset, blade.corner_tolerance):
        judged = judged or judged_shapes(analysis)
        shape = int(lines.path[contour])
        if shape not in judged:
            continue
        inside = slice(int(lines.starts[contour]), int(lines.starts[contour + 1]))
        for spot in tight_spots(
            lines.points[inside],
            lines.corners[inside],
            closed=bool(lines.closed[contour]),
            offset=blade.offset,
            tolerance=blade.corner_tolerance,
        ):
            found.setdefault((judged[shape], _case(spot)), []).append((shape, spot))
    films: tuple[Film | None, ...] = (*analysis.films, None)
    for film in films:
        for case in RULE.cases:
            spots = found.get((film, case), [])
            faults = (
                [_tips(analysis, spots)] if spots and case == "tip" else [_fault(analysis, *s) for s in spots]
            )
            yield from findings(RULE, case, analysis, faults, film)


def _case(spot: TightSpot) -> str:
    if spot.back_and_forth:
        return "short-run"
    if abs(spot.turn) < _PARALLEL:
        return "tip"
    return "radius" if spot.bend else "corner"


def _fault(analysis: Analysis, shape: int, spot: TightSpot) -> Fault:
    blade, origin, case = analysis.job.blade, analysis.shapes[shape].origin, _case(spot)
    offset = f"the {mm(blade.offset)} between the blade's tip and its pivot"
    message = {
        "short-run": f"The line turns back and forth in steps down to {mm(spot.leg)}, shorter than {offset}: the "
        "blade never gets straight before it turns again.",
        "radius": f"This bend has a radius of about {mm(spot.radius)}, much less than {offset}.",
        "corner": f"The line turns round an edge of only {mm(spot.leg)}, shorter than {offset}: the blade turns in "
        "film that does not hold it.",
    }[case]
    return Fault(
        message=f"{message} The cut comes out up to {mm(spot.error)} beside the line.",
        detail=f"{spot.turns} sharp turns, together {np.degrees(abs(spot.turn)):.0f}°, shortest leg {mm(spot.leg)}: "
        f"{origin.label}. {_settings(analysis)}",
        places=(place(spot.box, spot.point, origin, spot.error),),
        measured=spot.error,
        limit=blade.corner_tolerance,
        unit="mm",
        badness=spot.error,
    )


def _tips(analysis: Analysis, spots: list[tuple[int, TightSpot]]) -> Fault:
    """Return one fault for all pointed tips, the worst first."""
    spots = sorted(spots, key=lambda s: (-s[1].error, s[1].point))
    worst = spots[0][1].error
    return Fault(
        message=f"{counted(len(spots), 'pointed tip')} with a blunt end narrower than the blade can turn on: the tip "
        f"comes out up to {mm(worst)} beside the line. Little film is at stake, and it seldom shows.",
        detail=f"Sides meet in {counted(len(spots), 'tip')} whose end is shorter than the blade offset. "
        f"{_settings(analysis)}",
        places=tuple(place(s.box, s.point, analysis.shapes[shape].origin, s.error) for shape, s in spots),
        measured=worst,
        limit=analysis.job.blade.corner_tolerance,
        unit="mm",
        badness=worst,
    )


def _settings(analysis: Analysis) -> str:
    blade = analysis.job.blade
    return f"Blade offset {mm(blade.offset)}, compensated; accepted error {mm(blade.corner_tolerance)}."


RULE = Rule(
    code="tight-corner",
    title="Corner too tight for the blade",
    why="The blade trails behind its pivot like a castor. Cutters make up for that and swing the pivot round at "
    "corners, which is exact as long as the film holds the blade's tip. Where sharp turns follow each other in less "
    "than the blade offset, the film around the tip is cut to shreds and lifts or tears.",
    how_measured="The path of the blade's tip is calculated for a cutter that makes up for the offset, but cannot "
    "swing the blade in place where a turn of more than 30° has another within one blade offset (an assumption on the "
    "safe side, no source). Details under half a cutter's step (0.0125 mm) are left out. Reported is how far the cut "
    "lies beside the line, where that is more than the corner tolerance. Right angles and points with sides longer "
    "than the offset are cut exactly and are never reported here. Blunt ends of pointed tips are one note a film.",
    remedy="Draw the spot simpler or larger, smooth a line that was traced, or take a blade with less offset.",
    cases={
        "corner": Severity.WARNING,
        "radius": Severity.WARNING,
        "short-run": Severity.WARNING,
        "tip": Severity.NOTE,
    },
    repairable=False,
    check=check,
    parameters=(
        Parameter(
            "blade.offset",
            "Distance between the blade's tip and its pivot",
            "mm",
            "Graphics Pro, August 2021, p. 43: about 0.25 mm for 45 degree blades, 0.5 mm for 60 degree blades",
        ),
        Parameter("blade.corner_tolerance", "Error that is accepted", "mm", "common practice, no source"),
    ),
)
