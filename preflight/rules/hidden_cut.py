"""A shape of one film that lies wholly inside another of the same film: unseen, and cut all the same."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.geometry.knife import Knifing
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, counted, findings, mm
from preflight.rules.pieces import PlacedGroup, apart, grouped, is_whole_contour
from preflight.rules.rule import Rule


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield whole contours with film to keep on both sides."""
    for film in analysis.films:
        pieces = apart(film, film.knife.of(Knifing.IN_FILM))
        hidden = pieces[is_whole_contour(film.knife, pieces)]
        faults = [_fault(group) for group in grouped(analysis, film.knife, hidden, by_shape=True)]
        yield from findings(RULE, "hidden-in-film", analysis, faults, film)


def _fault(group: PlacedGroup) -> Fault:
    return Fault(
        message="A shape lies hidden inside another of the same colour. Nobody sees it, but the knife "
        f"would cut it out of the film: {mm(group.length)} of cut.",
        detail=f"{counted(len(group.pieces), 'whole outline')} inside film that should stay: {group.names}.",
        places=(group.place,),
        measured=group.length,
        unit="mm",
        badness=group.length,
    )


RULE = Rule(
    code="hidden-cut",
    title="Hidden shape inside a shape",
    why="A shape of the same colour on top of another cannot be seen, so nobody misses it on screen. The "
    "cutter follows its outline and cuts a piece out of film that should stay whole.",
    how_measured="An outline that crosses nothing and has film to keep on both of its sides is reported. If it "
    "was meant as a hole, it is not drawn as one.",
    remedy="Delete the hidden shape. If it was meant as a hole, subtract it from the shape around it.",
    cases={"hidden-in-film": Severity.ERROR},
    repairable=True,
    check=check,
)
