"""Paints that film does not have: gradients, patterns, transparency."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.artwork import PaintKind
from preflight.geometry.appearance import PaintedLayer
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, place
from preflight.rules.rule import Rule

_CASES = {PaintKind.GRADIENT: "gradient", PaintKind.PATTERN: "pattern"}


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield every layer that is not painted in one opaque colour; print-and-cut work is left alone."""
    if analysis.job.method == "print-and-cut":
        return
    cases: dict[str, list[Fault]] = {case: [] for case in RULE.cases}
    for layer, meaning in zip(analysis.painting.layers, analysis.meanings, strict=True):
        if meaning.role in ("knife", "guide") or layer.region.is_empty:
            continue
        opacity = layer.paint.opacity * analysis.shapes[layer.shape].opacity
        if layer.paint.kind in _CASES:
            case = _CASES[layer.paint.kind]
            cases[case].append(_blend(analysis, layer, case))
        elif opacity < 1:
            cases["transparency"].append(_see_through(analysis, layer, opacity))
    for case, faults in cases.items():
        yield from findings(RULE, case, analysis, faults)


def _blend(analysis: Analysis, layer: PaintedLayer, kind: str) -> Fault:
    origin = analysis.shapes[layer.shape].origin
    name = f" ({layer.paint.reference})" if layer.paint.reference else ""
    return Fault(
        message=f"This {layer.part} is a {kind}. Film has one flat colour, so the shape can be cut but the {kind} "
        "cannot be shown.",
        detail=f"The {layer.part} of {origin.label} is painted with a {kind}{name}; no film was taken for it.",
        places=(place(layer.region.bounds, None, origin),),
        badness=layer.region.area,
    )


def _see_through(analysis: Analysis, layer: PaintedLayer, opacity: float) -> Fault:
    origin = analysis.shapes[layer.shape].origin
    return Fault(
        message=f"This {layer.part} is {opacity:.0%} opaque: what lies behind shines through on screen. Film does "
        "not do that; it would be cut from film of the full colour.",
        detail=f"{layer.part.capitalize()} of {origin.label}: {layer.paint.color} at opacity {opacity:.3g}.",
        places=(place(layer.region.bounds, None, origin),),
        measured=opacity,
        limit=None,
        unit="1",
        badness=layer.region.area,
    )


RULE = Rule(
    code="uncuttable-paint",
    title="Paint that film does not have",
    why="Films are sheets of one colour. Gradients, patterns and transparency exist on screen and in print only.",
    how_measured="Every fill and stroke that is seen is looked at: a gradient, a pattern, or a total opacity under "
    "1 is reported. Not judged where the job is print-and-cut.",
    remedy="Give the shape one solid, opaque colour for each film, or order it as print-and-cut.",
    cases={"gradient": Severity.ERROR, "pattern": Severity.ERROR, "transparency": Severity.ERROR},
    repairable=False,
    check=check,
)
