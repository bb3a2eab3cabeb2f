"""Parts of the file that are broken or missing."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.artwork import RemarkKind
from preflight.report.model import Finding, Severity
from preflight.rules.remarks import findings_of
from preflight.rules.rule import Rule

_KINDS = {
    RemarkKind.BAD_VALUE: (
        "bad-value",
        "A value in the file could not be read; the standard's own value was taken instead.",
    ),
    RemarkKind.MISSING_REFERENCE: (
        "missing-part",
        "The file refers to a part of itself that is not there, so something may be missing from the design.",
    ),
    RemarkKind.EXTERNAL_REFERENCE: (
        "outside-link",
        "The file refers to something outside itself. Links are never followed, so what they bring is missing here.",
    ),
    RemarkKind.CYCLE: (
        "contains-itself",
        "A part of the file contains itself. The inner copy was left out.",
    ),
    RemarkKind.NOTE: ("oddity", "The file has an oddity that was accepted as it is."),
}


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield the reader's remarks on broken, missing and outside parts."""
    yield from findings_of(RULE, analysis, _KINDS)


RULE = Rule(
    code="faulty-file",
    title="Part of the file is broken or missing",
    why="What cannot be read cannot be judged, and another program may read it differently.",
    how_measured="The reader reports each value it could not read and each reference that leads nowhere or outside.",
    remedy="Open the file in the program that made it and save it again with everything embedded.",
    cases={
        "bad-value": Severity.WARNING,
        "missing-part": Severity.WARNING,
        "outside-link": Severity.WARNING,
        "contains-itself": Severity.WARNING,
        "oddity": Severity.NOTE,
    },
    repairable=False,
    check=check,
)
