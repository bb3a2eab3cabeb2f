"""Separate pieces and holes too small to weed cleanly."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.films import Film
from preflight.job import AreaLimit
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, area, counted, findings, mm, place
from preflight.rules.origin import origin_at
from preflight.rules.rule import Parameter, Rule
from preflight.rules.specks import Speck, holding, small_counters, small_islands


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield the small pieces of every film one by one, and its small holes together."""
    for film in analysis.films:
        islands = [_island(analysis, film, speck) for speck in small_islands(film)]
        yield from findings(RULE, "island", analysis, islands, film)
        yield from findings(RULE, "counter", analysis, _counters(analysis, film), film)


def _island(analysis: Analysis, film: Film, speck: Speck) -> Fault:
    limit, part = film.limits.island_area, film.limits.solid_part
    # A piece as narrow as an error of thin-feature is one here too: it is the same piece.
    severe = speck.area < limit.error or speck.short < part.error
    return Fault(
        message=f"A separate piece of only {mm(speck.short)} by {mm(speck.long)}. So little glue may not hold it: it "
        "comes off with the waste, or washes off the sign.",
        detail=f"{_sizes(speck, limit)}. {film.spec.kind} film: parts under {mm(part.error)} wide are errors too.",
        places=(place(speck.box, speck.point, origin_at(analysis, film, speck.point), speck.area),),
        severity=Severity.ERROR if severe else Severity.WARNING,
        measured=speck.area,
        limit=limit.error if speck.area < limit.error else limit.warning,
        unit="mm²",
        badness=-speck.area,
    )


def _counters(analysis: Analysis, film: Film) -> list[Fault]:
    specks = small_counters(film)
    if not specks:
        return []
    # Holes as narrow as a gap that is too narrow are told by narrow-gap.
    narrow = holding(specks, [gap.point for gap in film.gaps])
    if any(narrow):
        told = [gap.point for gap, held in zip(film.gaps, narrow, strict=True) if held]
        specks = [speck for speck in specks if not any(holding([speck], told))]
    limit = film.limits.island_area
    tiny = [speck for speck in specks if speck.area < limit.error]
    small = [speck for speck in specks if speck.area >= limit.error]
    return [
        _holes(analysis, film, kind, bound, severity)
        for kind, bound, severity in (
            (tiny, limit.error, Severity.WARNING),
            (small, limit.warning, Severity.NOTE),
        )
        if kind
    ]


def _holes(analysis: Analysis, film: Film, specks: list[Speck], bound: float, severity: Severity) -> Fault:
    ordered = sorted(specks, key=lambda speck: (speck.area, speck.box))
    least = ordered[0]
    each = "Each has to be picked out by hand, and is easily left in."
    message = (
        f"A hole of only {mm(least.short)} by {mm(least.long)}. It has to be picked out by hand, and is easily left in."
        if len(ordered) == 1
        else f"{counted(len(ordered), 'hole')} smaller than {area(bound)}, the smallest {mm(least.short)} by "
        f"{mm(least.long)}. {each}"
    )
    return Fault(
        message=message,
        detail=f"{_sizes(least, film.limits.island_area)}.",
        places=tuple(
            place(speck.box, speck.point, origin_at(analysis, film, speck.point), speck.area)
            for speck in ordered
        ),
        severity=severity,
        measured=least.area,
        limit=bound,
        unit="mm²",
        badness=-least.area,
    )


def _sizes(speck: Speck, limit: AreaLimit) -> str:
    x, y = speck.point
    return f"Area {speck.area:.2f} mm² at ({x:.2f}, {y:.2f}) mm; limits {limit.warning:g} mm² and {limit.error:g} mm²"


RULE = Rule(
    code="tiny-island",
    title="Piece or hole too small to weed",
    why="Film holds by the area of its glue. A piece the size of a grain comes away with the waste around it, or later "
    "in wind and wash; a hole of that size has to be picked out with a point, one by one.",
    how_measured="The area of every separate piece of film and of every hole, and the sides of the smallest rectangle "
    "round it. Only compact ones count, at most three times as long as wide and covering a third of that "
    "rectangle: others are strips or thin rings, which the rules on narrow parts and gaps report. A piece reported "
    "here is not reported there as well; a hole that is reported as a narrow gap is left out here.",
    remedy="Make it larger, join it to its neighbour, or leave it out.",
    cases={"island": Severity.WARNING, "counter": Severity.NOTE},
    repairable=False,
    check=check,
    parameters=(
        Parameter(
            "limits.island_area",
            "Smaller than warning is a warning, smaller than error an error; a hole one step less; by film kind",
            "mm²",
            "warning: two shops' artwork guides, no piece under 2 mm square; error: common practice, no source",
        ),
    ),
)
