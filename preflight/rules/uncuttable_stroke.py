"""Strokes: the knife follows the middle of the line, not its edges."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from preflight.analysis import Analysis
from preflight.artwork import Shape
from preflight.geometry.appearance import PaintedLayer, Part
from preflight.job import ResolvedLimits
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, mm, place
from preflight.rules.rule import Parameter, Rule


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield every stroke that is not a knife line or a guide, by what is worst about it."""
    cases: dict[str, list[Fault]] = {case: [] for case in RULE.cases}
    for layer, meaning in zip(analysis.painting.layers, analysis.meanings, strict=True):
        if layer.part is not Part.STROKE or meaning.role in ("knife", "guide"):
            continue
        shape = analysis.shapes[layer.shape]
        film = next((f for f in analysis.films if f.key == meaning.film), None)
        case, fault = _judge(analysis, shape, layer, film.limits if film else analysis.stock_limits)
        cases[case].append(fault)
    for case, faults in cases.items():
        yield from findings(RULE, case, analysis, faults)


def _judge(
    analysis: Analysis, shape: Shape, layer: PaintedLayer, limits: ResolvedLimits
) -> tuple[str, Fault]:
    assert shape.stroke is not None  # a stroke layer comes from a stroke
    width = shape.stroke_width
    length = float(shapely.length(analysis.lines[list(analysis.contours_of(layer.shape))]).sum())
    x0, y0, x1, y1 = layer.unclipped.bounds if not layer.unclipped.is_empty else (0.0, 0.0, 0.0, 0.0)
    detail = (
        f"Stroke of {shape.origin.label}, {mm(width)} wide, centre line {mm(length)} long"
        f"{', also filled' if shape.fill else ''}."
    )
    first = analysis.painting.contours[analysis.contours_of(layer.shape)[0]][0]
    spot = place((x0, y0, x1, y1), (float(first[0]), float(first[1])), shape.origin)
    if shape.stroke.dashes:
        return "dashed", Fault(
            message="This line is dashed. A knife knows no dashes: it would cut one long slit down the middle.",
            detail=f"{detail} {len(shape.stroke.dashes)} dash and gap lengths.",
            places=(spot,),
            measured=width,
            unit="mm",
            badness=length,
        )
    if width < limits.hairline:
        return "hairline", Fault(
            message=f"This line is only {mm(width)} wide: too fine to be a strip of film. The knife would cut a "
            "single slit.",
            detail=detail,
            places=(spot,),
            measured=width,
            limit=limits.hairline,
            unit="mm",
            badness=limits.hairline - width,
            repairable=False,
        )
    return "centre-line", Fault(
        message=f"This line looks {mm(width)} wide, but the knife would follow its middle once and cut a slit, not "
        "a strip.",
        detail=detail,
        places=(spot,),
        measured=width,
        unit="mm",
        badness=length,
    )


RULE = Rule(
    code="uncuttable-stroke",
    title="Line that the knife would follow down the middle",
    why="A stroke is a path with a width that only the screen knows. The knife follows the path: what looks like a "
    "strip becomes a slit.",
    how_measured="Every stroke that is seen is reported, unless the job says that its colour or layer is a knife "
    "line or a guide. Its width is measured at the finished size, in the direction in which it is widest.",
    remedy="Turn the stroke into a filled shape with two edges (outline the stroke), or remove it. If it is meant as "
    "a cut, say in the job that its colour is a knife line.",
    cases={"centre-line": Severity.ERROR, "dashed": Severity.ERROR, "hairline": Severity.ERROR},
    repairable=True,
    check=check,
    parameters=(
        Parameter("limits.hairline", "A narrower stroke is a hairline", "mm", "common practice, no source"),
    ),
)
