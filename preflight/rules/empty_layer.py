"""Layers with nothing on them."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings
from preflight.rules.rule import Rule


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each named group that holds nothing that shows."""
    faults = [
        Fault(
            message=f"Layer “{name}” is empty. Was something meant to be on it?",
            detail="A named group without anything drawn.",
            places=(),
        )
        for name in analysis.artwork.empty_layers
    ]
    yield from findings(RULE, "nothing-on-it", analysis, faults)


RULE = Rule(
    code="empty-layer",
    title="Empty layer",
    why="An empty layer is harmless to the knife. It may be a sign that something got lost on export.",
    how_measured="Every named group that holds no drawn item is reported.",
    remedy="Delete the layer, or export again with what belongs on it.",
    cases={"nothing-on-it": Severity.NOTE},
    repairable=True,
    check=check,
)
