"""What the reader met and could not turn into geometry: each becomes a finding, never silence."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.artwork import Remark, RemarkKind
from preflight.rules.build import Fault, place


def faults_of(analysis: Analysis, kinds: dict[RemarkKind, tuple[str, str]]) -> Iterator[tuple[str, Fault]]:
    """Yield (case, fault) for the artwork's remarks of the given kinds: kind -> (case, message)."""
    for remark in analysis.artwork.remarks:
        if remark.kind in kinds:
            case, message = kinds[remark.kind]
            yield case, _fault(remark, message)


def _fault(remark: Remark, message: str) -> Fault:
    origin = remark.origin
    box = remark.box or (0.0, 0.0, 0.0, 0.0)
    where = f" At {origin.label}" + (f", line {origin.line}." if origin.line else ".") if origin else ""
    return Fault(
        message=message,
        detail=f"{remark.subject}.{where}",
        places=(place(box, None, origin),) if origin or remark.box else (),
    )
