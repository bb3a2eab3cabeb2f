"""Outlines of one film that cross: the knife would slice through film that should stay whole."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.geometry.knife import Knifing
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, mm
from preflight.rules.pieces import PlacedGroup, apart, grouped, is_whole_contour
from preflight.rules.rule import Parameter, Rule


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield groups of cut-in-film pieces that end where outlines cross."""
    for film in analysis.films:
        pieces = apart(film, film.knife.of(Knifing.IN_FILM))
        crossing = pieces[~is_whole_contour(film.knife, pieces)]
        across: list[Fault] = []
        within: list[Fault] = []
        for group in grouped(analysis, film.knife, crossing):
            if group.length < analysis.job.tolerances.coincidence:
                continue
            (across if len(group.shapes) > 1 else within).append(_fault(group))
        yield from findings(RULE, "shapes-cross", analysis, across, film)
        yield from findings(RULE, "outline-crosses-itself", analysis, within, film)


def _fault(group: PlacedGroup) -> Fault:
    if len(group.shapes) > 1:
        what = "Two outlines" if len(group.shapes) == 2 else f"{len(group.shapes)} outlines"
        message = f"{what} overlap here. The knife follows each of them, so it would cut through the film"
    else:
        message = (
            "This outline runs across itself. The knife follows all of it, so it would cut through the film"
        )
    return Fault(
        message=f"{message} along {mm(group.length)} inside the shape.",
        detail=f"Cut through film that should stay, {mm(group.length)} in "
        f"{len(group.pieces)} piece(s), where these meet: {group.names}.",
        places=(group.place,),
        measured=group.length,
        unit="mm",
        badness=group.length,
    )


RULE = Rule(
    code="overlapping-subpaths",
    title="Outlines overlap",
    why="A cutter follows every outline, also where it runs inside another shape. Joined script letters and "
    "shapes laid over each other look like one piece on screen and are cut into several on film.",
    how_measured="All outlines of one film are cut where they meet. A piece with film to keep on both sides "
    "that ends in a crossing is reported; pieces that touch count as one place. Crossings of outlines of "
    "different films are not faults here. Pieces shorter than the coincidence tolerance are left out.",
    remedy="Unite the overlapping shapes into one outline (for lettering: after turning it into outlines).",
    cases={"shapes-cross": Severity.ERROR, "outline-crosses-itself": Severity.ERROR},
    repairable=True,
    check=check,
    parameters=(
        Parameter(
            "tolerances.coincidence",
            "Cuts shorter than this are left out",
            "mm",
            "common practice, no source",
        ),
    ),
)
