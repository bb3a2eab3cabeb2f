"""Designs that do not lie on their roll."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.report.model import Finding, Severity
from preflight.roll.fit import Fit, fit_film
from preflight.rules.build import Fault, findings, mm, place
from preflight.rules.rule import Parameter, Rule


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield one finding for each film whose cut must be turned, does not fit, or needs more roll."""
    for film in analysis.films:
        fit = fit_film(film)
        if fit.case is None or fit.bounds is None:
            continue
        yield from findings(RULE, fit.case, analysis, [_fault(fit)], film)


def _fault(fit: Fit) -> Fault:
    assert fit.bounds is not None  # checked by the caller
    assert fit.usable is not None
    x0, y0, x1, y1 = fit.bounds
    return Fault(
        message=_MESSAGES[fit.case or ""].format(
            across=mm(fit.across or 0),
            usable=mm(fit.usable),
            along=mm(fit.along or 0),
            length=mm(fit.length or 0),
        ),
        detail=f"{fit.reason} Cut bounds {mm(x1 - x0)} by {mm(y1 - y0)}.",
        places=(place(fit.bounds, None, None),),
        measured=fit.along if fit.case == "roll-too-short" else fit.across,
        limit=fit.length if fit.case == "roll-too-short" else fit.usable,
        unit="mm",
        badness=(fit.across or 0) - fit.usable,
        repairable=fit.case != "roll-too-short",
    )


_MESSAGES = {
    "turn-needed": "As drawn, this film does not fit the roll; turned a quarter it does, and takes {along} of film.",
    "panels-needed": "This film needs at least {across} across the roll and only {usable} can be used. It has to be "
    "cut in panels, or made smaller.",
    "roll-too-short": "This film needs {along} of the roll and only {length} is left.",
}

RULE = Rule(
    code="off-roll",
    title="Wider than the roll",
    why="A roll has a fixed width, its edges belong to the rollers, and no machine cuts wider than it is. A design "
    "that does not lie inside has to be turned, made in panels, or made smaller.",
    how_measured="For each film by itself, the bounds of its knife lines plus the weed border on all sides are "
    "compared with the usable width: the roll less its margins, or the machine's cutting width if that is less. "
    "First as drawn, then turned a quarter (not where the film has a direction). Not judged when no roll is stated.",
    remedy="Turn it, choose a wider roll, make the design smaller, or plan panels with a lap between them.",
    cases={"turn-needed": Severity.NOTE, "panels-needed": Severity.WARNING, "roll-too-short": Severity.ERROR},
    repairable=True,
    check=check,
    parameters=(
        Parameter("roll.width", "Width of the roll", "mm", "stated by the job"),
        Parameter(
            "roll.margin", "Edge on each side that the rollers need", "mm", "common practice, no source"
        ),
        Parameter("roll.machine_width", "The machine's cutting width", "mm", "stated by the job"),
        Parameter("roll.weed_border", "Strip of waste around the cut", "mm", "common practice, no source"),
    ),
)
