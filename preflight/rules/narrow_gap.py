"""Gaps between parts narrower than can be cut and weeded."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, mm
from preflight.rules.narrow import narrow_faults
from preflight.rules.rule import Parameter, Rule


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield gaps narrower than the film's warning limit."""
    for film in analysis.films:
        cases: dict[str, list[Fault]] = {case: [] for case in RULE.cases}
        for part, fault in narrow_faults(
            analysis, film, film.gaps, film.limits.gap, message=_message, what="Gap"
        ):
            cases[part.kind].append(fault)
        for case, faults in cases.items():
            yield from findings(RULE, case, analysis, faults, film)


def _message(width: float, kind: str) -> str:
    if kind == "spike":
        return f"A slit runs in here to a point, less than {mm(width)} wide. Its end may not weed cleanly."
    return (
        f"The gap here is only {mm(width)} wide. The thin strip of waste in it tears when weeding, or pulls the "
        "parts beside it along."
    )


RULE = Rule(
    code="narrow-gap",
    title="Gap too narrow to weed",
    why="What lies between two parts has to be pulled out in one piece. A gap that is too narrow breaks while it is "
    "pulled, and the knife's two passes so close together lift the film.",
    how_measured="The same as for narrow parts, on what is weeded away: counters of letters, slits, and the space "
    "between neighbouring parts of one film.",
    remedy="Open the gap, close it altogether, or make the whole design larger.",
    cases={"neck": Severity.WARNING, "sliver": Severity.WARNING, "spike": Severity.NOTE},
    repairable=False,
    check=check,
    parameters=(
        Parameter(
            "limits.gap",
            "Narrower than warning is a warning, narrower than error an error; by film kind and blade",
            "mm",
            "common practice, no source",
        ),
    ),
)
