"""Outlines without any paint: unseen, and followed by many cutters all the same."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from preflight.analysis import Analysis
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, place
from preflight.rules.rule import Rule


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each shape that has neither a fill nor a stroke."""
    faults = []
    for index, shape in enumerate(analysis.shapes):
        if shape.fill is not None or shape.stroke is not None:
            continue
        lines = analysis.lines[list(analysis.contours_of(index))]
        x0, y0, x1, y1 = (float(v) for v in shapely.total_bounds(lines))
        length = float(shapely.length(lines).sum())
        faults.append(
            Fault(
                message="An outline without colour lies here. It cannot be seen, but many cutters follow every "
                "outline, seen or not.",
                detail=f"No fill and no stroke: {shape.origin.label}, {length:.1f} mm long.",
                places=(place((x0, y0, x1, y1), None, shape.origin),),
                badness=length,
            )
        )
    yield from findings(RULE, "no-paint", analysis, faults)


RULE = Rule(
    code="invisible-outline",
    title="Outline without colour",
    why="Left-over outlines cannot be seen on screen, and a cutter that follows paths and not colours cuts them.",
    how_measured="Every shape on a visible layer with neither fill nor stroke is reported.",
    remedy="Delete it, or give it the colour it should have.",
    cases={"no-paint": Severity.WARNING},
    repairable=True,
    check=check,
)
