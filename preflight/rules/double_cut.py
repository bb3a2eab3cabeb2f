"""The same line followed more than once within one film."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.films import Film
from preflight.geometry.knife import Inside, Knifing
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, mm
from preflight.rules.pieces import PlacedGroup, grouped
from preflight.rules.rule import Parameter, Rule


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield groups of pieces that are followed twice or more, by what lies beside them."""
    for film in analysis.films:
        double = film.knife.of(Knifing.DOUBLE)
        if not len(double):
            continue
        inside = Inside(film.fills_region)
        left, right = (inside(points) for points in film.knife.pieces.chosen(double).beside())
        shared = left & right
        for case, pieces in (("drawn-twice", double[~shared]), ("shared-edge", double[shared])):
            kept = [
                _fault(case, group, film)
                for group in grouped(analysis, film.knife, pieces)
                if group.length >= analysis.job.tolerances.coincidence
            ]
            yield from findings(RULE, case, analysis, kept, film)


def _fault(case: str, group: PlacedGroup, film: Film) -> Fault:
    times = int(film.knife.times[group.pieces].max())
    often = "twice" if times == 2 else f"{times} times"
    if case == "drawn-twice":
        message = (
            f"The same line is drawn {often} here, along {mm(group.length)}. The knife would cut it {often}: "
            "the film tears and the backing paper may be cut through."
        )
    else:
        message = (
            f"Two shapes of one colour share an edge here, along {mm(group.length)}. They look like one piece, "
            f"but the knife would cut between them, {often}."
        )
    return Fault(
        message=message,
        detail=f"Followed {often}: {group.names}.",
        places=(group.place,),
        measured=group.length,
        unit="mm",
        badness=group.length,
    )


RULE = Rule(
    code="double-cut",
    title="The same line is cut more than once",
    why="A second cut along the same line lifts and tears the film's edge and can go through the liner. "
    "Shapes copied onto themselves and shapes set edge to edge cause it.",
    how_measured="All outlines of one film are cut where they meet; a piece that two or more outlines follow, or "
    "one follows twice, is reported. Pieces that touch count as one place.",
    remedy="Delete the copy; unite shapes of one colour that share an edge.",
    cases={"drawn-twice": Severity.ERROR, "shared-edge": Severity.ERROR},
    repairable=True,
    check=check,
    parameters=(
        Parameter(
            "tolerances.coincidence",
            "Stretches shorter than this are left out",
            "mm",
            "common practice, no source",
        ),
    ),
)
