"""Text that is still characters and a font."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.artwork import LiveText
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, mm, place
from preflight.rules.rule import Rule

SHOWN = 40
"""So many characters of a text are quoted."""


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each live text that is seen."""
    faults = [_fault(text) for text in analysis.texts if text.text.strip()]
    yield from findings(RULE, "not-outlined", analysis, faults)


def _fault(text: LiveText) -> Fault:
    words = " ".join(text.text.split())
    shown = words if len(words) <= SHOWN else words[: SHOWN - 1] + "…"
    x, y = text.position
    box = text.box or (x, y - text.size, x + text.size, y)
    families = ", ".join(text.families) or "no font named"
    return Fault(
        message=f"“{shown}” is still text, not an outline. A cutter needs outlines; on a machine without this "
        "font it would come out in another one, or not at all.",
        detail=f"Font: {families}; weight {text.weight}; size {mm(text.size)}.",
        places=(place(box, None, text.origin),),
        badness=text.size,
    )


RULE = Rule(
    code="live-text",
    title="Text is not outlined",
    why="A cutter follows outlines. Text is only a note that says which letters to draw in which font, and looks "
    "different wherever that font is missing.",
    how_measured="Every text element that is seen is reported.",
    remedy="Turn the text into outlines (curves) in the drawing program, then unite letters that overlap.",
    cases={"not-outlined": Severity.ERROR},
    repairable=False,
    check=check,
)
