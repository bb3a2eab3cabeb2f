"""What the reader met and could not turn into geometry: each becomes a finding, never silence."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.artwork import Box, Remark, RemarkKind, Shape
from preflight.report.model import Finding
from preflight.rules.build import Fault, findings, place
from preflight.rules.rule import Rule


def faults_of(analysis: Analysis, kinds: dict[RemarkKind, tuple[str, str]]) -> Iterator[tuple[str, Fault]]:
    """Yield (case, fault) for the artwork's remarks of the given kinds: kind -> (case, message)."""
    for remark in analysis.artwork.remarks:
        if remark.kind in kinds:
            case, message = kinds[remark.kind]
            yield case, _fault(remark, message, remark.box or _box_of(analysis, remark))


def findings_of(
    rule: Rule, analysis: Analysis, kinds: dict[RemarkKind, tuple[str, str]]
) -> Iterator[Finding]:
    """Yield the findings of a rule that passes on the reader's remarks of the given kinds, case by case."""
    cases: dict[str, list[Fault]] = {case: [] for case in rule.cases}
    for case, fault in faults_of(analysis, kinds):
        cases[case].append(fault)
    for case, faults in cases.items():
        yield from findings(rule, case, analysis, faults)


def _box_of(analysis: Analysis, remark: Remark) -> Box | None:
    """Return the bounds of what was drawn of the remark's element; None: nothing was."""
    if remark.origin is None:
        return None
    boxes = [
        item.path.mapped(item.matrix).bounds()
        for item in analysis.artwork.items
        if isinstance(item, Shape) and item.origin.path == remark.origin.path and len(item.path.controls)
    ]
    if not boxes:
        return None
    lows, highs = [box[:2] for box in boxes], [box[2:] for box in boxes]
    return (
        min(x for x, _ in lows),
        min(y for _, y in lows),
        max(x for x, _ in highs),
        max(y for _, y in highs),
    )


def _fault(remark: Remark, message: str, known: Box | None) -> Fault:
    origin = remark.origin
    box = known or (0.0, 0.0, 0.0, 0.0)
    where = f" At {origin.label}" + (f", line {origin.line}." if origin.line else ".") if origin else ""
    return Fault(
        message=message,
        detail=f"{remark.subject}.{where}",
        places=(place(box, None, origin),) if origin or known else (),
    )
