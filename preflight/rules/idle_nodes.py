"""Nodes that draw nothing: repeated ones, and lines that go out and come back."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from preflight.analysis import Analysis
from preflight.cutting.corners import STEP
from preflight.films import Film
from preflight.geometry.idle import Backtrack, backtracks, repeated_nodes
from preflight.report.model import Finding, Place, Severity
from preflight.rules.build import Fault, counted, findings, mm, place
from preflight.rules.judged import judged_shapes
from preflight.rules.rule import Rule

FEW = 10
SHARE = 0.02
"""A film with so many repeated nodes or fewer, or with no larger share of all its nodes, is not noted:
programs that round leave a few behind, and they harm nothing. Common practice, no source."""


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield repeated nodes, one finding a film, and each line that comes back along itself."""
    lines, judged = analysis.painting.contours, judged_shapes(analysis)
    repeated = _repeated_nodes(analysis, judged)
    back: dict[Film | None, list[Fault]] = {}
    for track in backtracks(lines, width=analysis.tolerance / 10, least=STEP / 2):
        shape = int(lines.path[track.contour])
        if shape in judged:
            back.setdefault(judged[shape], []).append(_backtrack(analysis, shape, track))
    films: tuple[Film | None, ...] = (*analysis.films, None)
    for film in films:
        if film in repeated:
            fault = _repeated(*repeated[film])
            yield from findings(RULE, "zero-length", analysis, [fault], film)
        yield from findings(RULE, "backtrack", analysis, back.get(film, []), film)


def _repeated_nodes(
    analysis: Analysis, judged: dict[int, Film | None]
) -> dict[Film | None, tuple[list[Place], int]]:
    """Return for each film with many the places of its repeated nodes, and the number of all its nodes."""
    lines = analysis.painting.contours
    nodes = repeated_nodes(lines)
    if len(nodes) <= FEW:
        return {}
    owner = lines.path[np.searchsorted(lines.starts, nodes, side="right") - 1]
    drawn = np.bincount(lines.path, np.add.reduceat(lines.corners.astype(float), lines.starts[:-1]) - 1)
    places: dict[Film | None, list[Place]] = {}
    for node, shape in zip(nodes, owner.tolist(), strict=True):
        if shape in judged:
            x, y = (float(value) for value in lines.points[node])
            spot = place((x, y, x, y), (x, y), analysis.shapes[shape].origin)
            places.setdefault(judged[shape], []).append(spot)
    found = {}
    for film, spots in places.items():
        count = int(sum(drawn[shape] for shape, its in judged.items() if its is film and shape < len(drawn)))
        if len(spots) > max(FEW, SHARE * count):
            found[film] = (spots, count)
    return found


def _repeated(places: list[Place], count: int) -> Fault:
    return Fault(
        message=f"{len(places)} of {count} nodes lie exactly on the one before. That changes nothing to see, but the "
        "knife can halt at each.",
        detail=f"{counted(len(places), 'segment')} of no length.",
        places=tuple(places),
        measured=float(len(places)),
        unit="nodes",
    )


def _backtrack(analysis: Analysis, shape: int, track: Backtrack) -> Fault:
    origin = analysis.shapes[shape].origin
    return Fault(
        message=f"The outline runs out for {mm(track.length)} and comes back along the same line. The spike has no "
        "width, so nothing of it is seen, but the knife cuts it both ways.",
        detail=f"The contour of {origin.label} retraces itself from ({track.point[0]:.2f}, {track.point[1]:.2f}) mm, "
        f"with at most {analysis.tolerance / 10:g} mm between. Where it is long enough to harm the film it is a double "
        "cut as well.",
        places=(place(track.box, track.point, origin, track.length),),
        measured=track.length,
        unit="mm",
        badness=track.length,
    )


RULE = Rule(
    code="idle-nodes",
    title="Nodes that draw nothing",
    why="A node on top of another, or a line that goes out and comes back along itself, is left over from rounding, "
    "tracing or deleting. It shows nowhere, but the knife halts or turns there.",
    how_measured="Segments whose ends and course lie in one spot are counted; more than 10 in a film that are also "
    "more than 2 % of its nodes are one note (fewer are left over from rounding, and harm nothing). A backtrack is "
    "where the contour turns by more than 175° and the two sides of the turn stay within a tenth of the flattening "
    "tolerance of each other for at least half a cutter's step (0.0125 mm; a cutter is addressed in steps of "
    "0.025 mm: HP PCL/PJL reference, table 17-7, plotter unit).",
    remedy="Delete these nodes.",
    cases={"zero-length": Severity.NOTE, "backtrack": Severity.NOTE},
    repairable=True,
    check=check,
)
