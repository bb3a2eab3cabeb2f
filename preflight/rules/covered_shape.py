"""Shapes of one film that shapes of other films hide completely."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from preflight.analysis import Analysis
from preflight.geometry.appearance import PaintedLayer, union
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, mm, place
from preflight.rules.rule import Rule

SEEN_AREA = 1e-3
"""A shape of which less than this part is seen counts as covered."""


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each layer of a film that later layers of other films cover."""
    pairs = zip(analysis.painting.layers, analysis.meanings, strict=True)
    kept = [(layer, m.film) for layer, m in pairs if m.role == "film" and layer.region.area > 0]
    if len({film for _, film in kept}) < 2:
        return
    regions = np.array([layer.region for layer, _ in kept], object)
    areas = shapely.area(regions)
    low, high = shapely.STRtree(regions).query(regions)
    above: dict[int, list[int]] = {}
    for i, j in zip(low.tolist(), high.tolist(), strict=True):
        if j > i and kept[i][1] != kept[j][1]:
            above.setdefault(i, []).append(j)
    faults = []
    for i, over in sorted(above.items()):
        # Less area than its own cannot cover it: most layers are settled here.
        if areas[over].sum() < areas[i] * (1 - SEEN_AREA):
            continue
        seen = shapely.difference(regions[i], union(regions[j] for j in sorted(over))).area
        if seen <= SEEN_AREA * areas[i]:
            faults.append(_fault(analysis, kept[i][0], [kept[j][0] for j in over]))
    yield from findings(RULE, "under-other-film", analysis, faults)


def _fault(analysis: Analysis, layer: PaintedLayer, over: list[PaintedLayer]) -> Fault:
    origin = analysis.shapes[layer.shape].origin
    length = float(analysis.painting.lengths[layer.shape])
    colours = sorted({upper.paint.color or "" for upper in over})
    return Fault(
        message=f"This shape in {layer.paint.color} is hidden completely under {', '.join(colours)}. It would be cut "
        f"from film ({mm(length)} of cut) and never be seen.",
        detail=f"{layer.part.capitalize()} of {origin.label}; {len(over)} shape(s) above it.",
        places=(place(layer.region.bounds, None, origin),),
        measured=length,
        unit="mm",
        badness=layer.region.area,
    )


RULE = Rule(
    code="covered-shape",
    title="Shape hidden under another film",
    why="A shape that other colours cover completely is often left over from an earlier version. It costs film and "
    "cutting time, and makes the sign thicker where nobody sees why.",
    how_measured="Each shape is compared with what lies above it in other films; less than 0.1 % seen is reported. "
    "A film that shows around an upper one is construction, and no fault.",
    remedy="Delete it if it is left over.",
    cases={"under-other-film": Severity.WARNING},
    repairable=True,
    check=check,
)
