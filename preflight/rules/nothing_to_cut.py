"""Artwork without a single line for the knife."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings
from preflight.rules.rule import Rule


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield one finding where no painted outline is seen that could be cut."""
    painted = any(not layer.region.is_empty for layer in analysis.painting.layers)
    if painted:
        return
    instead = []
    if analysis.texts:
        instead.append(f"{len(analysis.texts)} text(s)")
    if analysis.pictures:
        instead.append(f"{len(analysis.pictures)} picture(s)")
    has = f" It holds {' and '.join(instead)}, which have no outlines." if instead else ""
    fault = Fault(
        message=f"There is nothing to cut: the file has no painted outline that can be seen.{has}",
        detail=f"{len(analysis.artwork.items)} item(s) in the file, {len(analysis.shapes)} visible shape(s).",
        places=(),
    )
    yield from findings(RULE, "no-outline", analysis, [fault])


RULE = Rule(
    code="nothing-to-cut",
    title="Nothing to cut",
    why="Without a painted outline the knife has nothing to follow. Often the design is a picture, live text, or on a "
    "hidden layer.",
    how_measured="No fill and no stroke is seen after clipping.",
    remedy="Send the drawing with its shapes visible and filled, and text turned into outlines.",
    cases={"no-outline": Severity.ERROR},
    repairable=False,
    check=check,
)
