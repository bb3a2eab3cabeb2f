"""Settings of the job that nothing in the artwork answers to: usually a misspelt colour or layer."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.errors import quoted
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings
from preflight.rules.rule import Rule


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each colour and each layer that the job gives a role and the artwork does not have."""
    colours = {layer.paint.color for layer in analysis.painting.layers}
    colours |= {text.fill.color for text in analysis.texts if text.fill}
    missing = [colour for colour in analysis.job.colours if colour not in colours]
    had = ", ".join(sorted(colour for colour in colours if colour)) or "none"
    faults = [_fault("colour", colour, had) for colour in missing]
    yield from findings(RULE, "colour", analysis, faults)
    layers = analysis.artwork.layers
    absent = [name for name in analysis.job.layers if name not in layers]
    shown = ", ".join(quoted(name) for name in layers[:20]) or "none"
    yield from findings(RULE, "layer", analysis, [_fault("layer", quoted(n), shown) for n in absent])


def _fault(kind: str, name: str, had: str) -> Fault:
    return Fault(
        message=f"The job says what the {kind} {name} stands for, but the artwork has no such {kind}.",
        detail=f"{kind.capitalize()}s in the artwork: {had}.",
        places=(),
    )


RULE = Rule(
    code="job-unmatched",
    title="The job names something the artwork lacks",
    why="A misspelt colour or layer in the job leaves the real one without its role.",
    how_measured="Every colour and layer with a role in the job is looked for among what is seen in the artwork.",
    remedy="Correct the name in the job, or take it out.",
    cases={"colour": Severity.WARNING, "layer": Severity.WARNING},
    repairable=False,
    check=check,
)
