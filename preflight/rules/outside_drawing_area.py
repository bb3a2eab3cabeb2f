"""Shapes that lie outside the drawing area or run over its edge."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from preflight.analysis import Analysis
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, mm, place
from preflight.rules.rule import Rule

OVER = 0.05
"""How far (mm) a shape may run over the edge unnoticed: what rounding in a file amounts to."""


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each shape the knife would follow outside the drawing area."""
    width, height = analysis.artwork.width, analysis.artwork.height
    wholly: list[Fault] = []
    partly: list[Fault] = []
    for index in analysis.knife_shapes():
        lines = analysis.lines[list(analysis.contours_of(index))]
        if not len(lines):
            continue
        x0, y0, x1, y1 = (float(v) for v in shapely.total_bounds(lines))
        over = max(-x0, -y0, x1 - width, y1 - height)
        if over <= OVER:
            continue
        origin = analysis.shapes[index].origin
        outside = x1 <= 0 or y1 <= 0 or x0 >= width or y0 >= height
        where = (
            "lies outside the drawing area"
            if outside
            else f"runs {mm(over)} over the edge of the drawing area"
        )
        fault = Fault(
            message=f"This shape {where}. On screen that part is cut off; the knife cuts it all the same.",
            detail=f"{origin.label}: bounds {x0:.2f}, {y0:.2f} to {x1:.2f}, {y1:.2f} mm; the drawing area is "
            f"{mm(width)} by {mm(height)}.",
            places=(place((x0, y0, x1, y1), None, origin),),
            measured=over,
            unit="mm",
            badness=over,
        )
        (wholly if outside else partly).append(fault)
    yield from findings(RULE, "outside", analysis, wholly)
    yield from findings(RULE, "over-the-edge", analysis, partly)


RULE = Rule(
    code="outside-drawing-area",
    title="Outside the drawing area",
    why="The edge of the drawing area hides what lies beyond it on screen. The paths are still in the file, and the "
    "knife follows them: left-over parts come out beside the sign.",
    how_measured="The bounds of each shape's outline are compared with the drawing area; up to 0.05 mm beyond its edge "
    "is left out.",
    remedy="Delete what lies outside, cut shapes off at the edge, or enlarge the drawing area.",
    cases={"outside": Severity.WARNING, "over-the-edge": Severity.WARNING},
    repairable=True,
    check=check,
)
