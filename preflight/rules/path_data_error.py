"""Paths whose data breaks off."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.artwork import RemarkKind
from preflight.report.model import Finding, Severity
from preflight.rules.remarks import findings_of
from preflight.rules.rule import Rule

_KINDS = {
    RemarkKind.PATH_ERROR: (
        "broken-off",
        "The drawing data of this outline is damaged. Only what stands before the damage is drawn, so part of the "
        "shape may be missing.",
    )
}


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield the reader's remarks on broken path data."""
    yield from findings_of(RULE, analysis, _KINDS)


RULE = Rule(
    code="path-data-error",
    title="Outline data is damaged",
    why="A drawing program stops at the first error in an outline and draws what came before. The rest of the shape "
    "is not there, on screen or on film.",
    how_measured="Path data is read by the grammar of SVG 2, chapter 9; on an error, what came before is kept.",
    remedy="Open the file in the program that made it, check the shape, and save it again.",
    cases={"broken-off": Severity.ERROR},
    repairable=False,
    check=check,
)
