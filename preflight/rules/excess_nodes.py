"""Outlines with many more nodes than their form needs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from preflight.analysis import Analysis
from preflight.curves import Ints, Polylines
from preflight.films import Film
from preflight.geometry.fitting import fit
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, mm, place
from preflight.rules.judged import judged_shapes
from preflight.rules.rule import Parameter, Rule

FIT = 0.05
"""The fewer nodes draw the same line to this many mm: two cutter's steps of 0.025 mm (HP PCL/PJL
reference, table 17-7: plotter unit)."""

FEW = 50
"""Contours of so many nodes or fewer are never reported. Common practice, no source."""

SPARSE = 1.0
"""Contours with a node every so many mm or fewer are never reported. Common practice, no source."""

TIMES = 4
"""Reported is more than this many times the nodes needed. Common practice, no source."""


@dataclass(slots=True)
class _Excess:
    """The nodes of one shape's contours that have too many."""

    contours: list[int]
    nodes: int = 0
    needed: int = 0
    length: float = 0.0


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each shape with contours of too many nodes."""
    lines = analysis.painting.contours
    judged: dict[int, Film | None] = {}
    shapes: dict[int, _Excess] = {}
    nodes, lengths = _nodes_and_lengths(lines)
    for contour in np.flatnonzero((nodes > FEW) & (lengths < SPARSE * nodes) & (lengths > 0)):
        judged = judged or judged_shapes(analysis)
        shape = int(lines.path[contour])
        if shape not in judged:
            continue
        needed = len(fit(lines[int(contour)], FIT).controls)
        if nodes[contour] > TIMES * needed:
            excess = shapes.setdefault(shape, _Excess([]))
            excess.contours.append(int(contour))
            excess.nodes += int(nodes[contour])
            excess.needed += needed
            excess.length += float(lengths[contour])
    found: dict[tuple[Film | None, str], list[Fault]] = {}
    for shape, excess in shapes.items():
        case = "dense" if excess.length < analysis.job.blade.offset * excess.nodes else "many"
        found.setdefault((judged[shape], case), []).append(_fault(analysis, shape, excess, case))
    for (film, case), faults in found.items():
        yield from findings(RULE, case, analysis, faults, film)


def _nodes_and_lengths(lines: Polylines) -> tuple[Ints, np.ndarray]:
    """Return how many nodes each contour has, and its length in mm."""
    if not len(lines):
        return np.zeros(0, np.int64), np.zeros(0)
    # Segments, not nodes: the first node of a closed contour comes again at its end.
    nodes = np.add.reduceat(lines.corners.astype(np.int64), lines.starts[:-1]) - 1
    size = np.zeros(len(lines.points))
    size[1:] = np.hypot(*np.diff(lines.points, axis=0).T)
    size[lines.starts[:-1]] = 0.0
    return nodes, np.add.reduceat(size, lines.starts[:-1])


def _fault(analysis: Analysis, shape: int, excess: _Excess, case: str) -> Fault:
    lines, origin = analysis.painting.contours, analysis.shapes[shape].origin
    points = np.concatenate([lines[contour] for contour in excess.contours])
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    apart = excess.length / excess.nodes
    message = (
        f"This outline has {excess.nodes} nodes where about {excess.needed} would draw the same line to within "
        f"{mm(FIT)}."
    )
    if case == "dense":
        message += (
            f" They lie {mm(apart)} apart, closer than the {mm(analysis.job.blade.offset)} the blade needs to "
            "straighten, so the knife shakes and the edge comes out ragged."
        )
    else:
        message += " The cutter takes longer, and the edge can come out less smooth."
    return Fault(
        message=message,
        detail=f"{origin.label}: {excess.nodes} segments over {mm(excess.length)}, {apart:.3g} mm each; cubics fitted "
        f"within {mm(FIT)} take {excess.needed}. Reported above {TIMES} times as many.",
        places=(place((float(x0), float(y0), float(x1), float(y1)), _pair(points[0]), origin, excess.nodes),),
        measured=float(excess.nodes),
        limit=float(TIMES * excess.needed),
        unit="nodes",
        badness=excess.nodes / excess.needed,
    )


def _pair(point: np.ndarray) -> tuple[float, float]:
    return (float(point[0]), float(point[1]))


RULE = Rule(
    code="excess-nodes",
    title="Outline has far too many nodes",
    why="Traced pictures and exported drawings can have a node every fraction of a millimetre. The cutter slows down "
    "at each, the blade turns at each, and the edge comes out ragged instead of smooth.",
    how_measured="For contours of more than 50 nodes that lie less than 1 mm apart on average, curves are fitted that "
    "keep within 0.05 mm of the contour and keep its corners. More than 4 times as many nodes as that takes is "
    "reported; as “dense” where they lie closer together than the blade offset, in which the blade has straightened "
    "by no more than 63 % after a turn.",
    remedy="Simplify the outline in the drawing program (to 0.05 mm at the finished size), or draw it anew with "
    "curves.",
    cases={"dense": Severity.WARNING, "many": Severity.NOTE},
    repairable=True,
    check=check,
    parameters=(
        Parameter(
            "blade.offset",
            "Nodes closer together than this are “dense”",
            "mm",
            "Graphics Pro, August 2021, p. 43: about 0.25 mm for 45 degree blades, 0.5 mm for 60 degree blades",
        ),
    ),
)
