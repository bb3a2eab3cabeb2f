"""Knife lines that run where nothing of the film stays on either side."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.geometry.knife import Knifing
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, mm
from preflight.rules.pieces import PlacedGroup, grouped
from preflight.rules.rule import Rule


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield groups of pieces with waste on both sides."""
    for film in analysis.films:
        pieces = film.knife.of(Knifing.IN_WASTE)
        faults = [
            _fault(group)
            for group in grouped(analysis, film.knife, pieces)
            if group.length >= analysis.job.tolerances.coincidence
        ]
        yield from findings(RULE, "in-waste", analysis, faults, film)


def _fault(group: PlacedGroup) -> Fault:
    return Fault(
        message=f"The knife would cut {mm(group.length)} here in film that is thrown away. It costs time, and "
        "the loose bits make weeding harder.",
        detail=f"Waste on both sides: {group.names}.",
        places=(group.place,),
        measured=group.length,
        unit="mm",
        badness=group.length,
    )


RULE = Rule(
    code="cut-in-waste",
    title="Cut in waste",
    why="A line with waste on both sides makes nothing that stays. Weed lines are drawn on purpose: give them a "
    "colour or layer that the job calls knife lines.",
    how_measured="All outlines of one film are cut where they meet; a piece with nothing to keep on both "
    "sides is reported.",
    remedy="Delete the line, or state in the job that its colour is a knife line.",
    cases={"in-waste": Severity.WARNING},
    repairable=True,
    check=check,
)
