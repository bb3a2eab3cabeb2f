"""Parts of film narrower than knife and film can hold."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, mm
from preflight.rules.narrow import narrow_faults
from preflight.rules.rule import Parameter, Rule
from preflight.rules.specks import told_as_islands


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield necks, isolated slivers and long spikes narrower than the film's warning limit."""
    for film in analysis.films:
        cases: dict[str, list[Fault]] = {case: [] for case in RULE.cases}
        # A piece that is tiny as a whole is told by tiny-island, once.
        tiny = told_as_islands(analysis, film, [part.point for part in film.thin])
        parts = [part for part, told in zip(film.thin, tiny, strict=True) if not told]
        for part, fault in narrow_faults(
            analysis, film, parts, film.limits.solid_part, message=_message, what="Solid part"
        ):
            cases[part.kind].append(fault)
        for case, faults in cases.items():
            yield from findings(RULE, case, analysis, faults, film)


def _message(width: float, kind: str) -> str:
    if kind == "spike":
        return f"A long point runs out here to less than {mm(width)}. Its tip may lift or tear when weeding."
    where = "This piece is" if kind == "sliver" else "The film is"
    return (
        f"{where} only {mm(width)} wide here. So narrow a strip tears or lifts when the waste is pulled away."
    )


RULE = Rule(
    code="thin-feature",
    title="Part too narrow for knife and film",
    why="A blade drags the film as it turns, and the glue holds by area: a strip that is too narrow lifts while "
    "cutting, tears while weeding, or peels off on the sign.",
    how_measured="What a circle as wide as the limit cannot reach inside the shape is looked at: a neck between "
    "wider parts, a piece narrow everywhere, or a long point. The width is the shortest distance between facing "
    "edges there, measured on the outlines. Blunt corners are not reported; a piece that is tiny as "
    "a whole is left to tiny-island.",
    remedy="Make the part wider, make the whole design larger, or leave the detail out.",
    cases={"neck": Severity.ERROR, "sliver": Severity.ERROR, "spike": Severity.NOTE},
    repairable=False,
    check=check,
    parameters=(
        Parameter(
            "limits.solid_part",
            "Narrower than warning is a warning, narrower than error an error; by film kind, blade and use",
            "mm",
            "common practice, no source; 2 mm outdoors from two shops' artwork guides",
        ),
    ),
)
