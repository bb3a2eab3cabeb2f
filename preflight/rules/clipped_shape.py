"""Shapes of which a clip hides a part: the knife does not know clips."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, place
from preflight.rules.rule import Rule

HIDDEN_AREA = 1e-4
"""A clip that hides less than this part of a shape changes nothing."""


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each painted shape that a clip cuts into or hides."""
    faults = []
    for layer, meaning in zip(analysis.painting.layers, analysis.meanings, strict=True):
        shape = analysis.shapes[layer.shape]
        whole = layer.unclipped.area
        if not shape.clips or meaning.role == "guide" or whole == 0:
            continue
        hidden = (whole - layer.region.area) / whole
        if hidden <= HIDDEN_AREA:
            continue
        clip = next((c.origin.label for c in shape.clips if c.origin), "the edge of its viewport")
        part = "All" if hidden >= 1 - HIDDEN_AREA else f"{hidden:.0%}"
        faults.append(
            Fault(
                message=f"{part} of this shape is hidden by a clip (a window it is seen through). The knife does not "
                "know clips: it would cut the whole shape, and not the edge that is seen.",
                detail=f"{layer.part.capitalize()} of {shape.origin.label}, clipped by {clip}.",
                places=(place(layer.unclipped.bounds, None, shape.origin),),
                measured=round(hidden * 100, 1),
                unit="%",
                badness=whole - layer.region.area,
            )
        )
    yield from findings(RULE, "partly-hidden", analysis, faults)


RULE = Rule(
    code="clipped-shape",
    title="Shape hidden in part by a clip",
    why="A clip is a window: on screen only what lies inside is seen. The path itself is unchanged, and the knife "
    "follows the path.",
    how_measured="The area of each fill and stroke is compared with what its clips leave of it; more than 0.01 % "
    "hidden is reported.",
    remedy="Cut the shape to what is seen (intersect it with the clip) and remove the clip.",
    cases={"partly-hidden": Severity.ERROR},
    repairable=True,
    check=check,
)
