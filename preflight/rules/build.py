"""Make findings: places, fingerprints, severities, and the folding of very many into few."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from preflight.artwork import Box, Origin
from preflight.report.model import Finding, Place, Severity
from preflight.rules.rule import Rule

if TYPE_CHECKING:
    from preflight.analysis import Analysis
    from preflight.films import Film

FINGERPRINT_STEP = 0.1
"""Places nearer than about this (mm) have the same fingerprint."""

LISTED = 25
"""So many findings of one case and film are listed one by one; the rest is folded into one."""

PLACES_LISTED = 100
"""So many places of one finding are listed."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What a rule saw in one spot, before it becomes a finding."""

    message: str
    detail: str
    places: tuple[Place, ...]
    severity: Severity | None = None
    """None: the case's default."""
    measured: float | None = None
    limit: float | None = None
    unit: str | None = None
    badness: float = 0.0
    """Orders faults of a case: the greater, the earlier."""
    repairable: bool | None = None


def place(
    box: Box, point: tuple[float, float] | None, origin: Origin | None, measured: float | None = None
) -> Place:
    """Return a place in mm; without a point, the middle of the box is looked at."""
    middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
    x, y = point or middle
    return Place(
        box=(round(box[0], 3), round(box[1], 3), round(box[2], 3), round(box[3], 3)),
        point=(round(x, 3), round(y, 3)),
        element=origin.path if origin else None,
        id=origin.id if origin else None,
        layer=origin.layer if origin else None,
        line=origin.line if origin else None,
        measured=None if measured is None else round(measured, 3),
    )


def findings(
    rule: Rule, case: str, analysis: Analysis, faults: Iterable[Fault], film: Film | None = None
) -> list[Finding]:
    """Return the findings of one case: the worst one by one, the rest folded into one.

    Severities are the case's, changed by the job; where the finished size is not known, what rests
    on it (a fault with a limit in mm) is a warning at most.
    """
    made: list[tuple[Severity, Fault]] = []
    for fault in faults:
        severity = analysis.job.severity_of(rule.code, case, fault.severity or rule.cases[case])
        if severity is None:
            continue
        if severity is Severity.ERROR and fault.limit is not None and not analysis.size_stated:
            severity = Severity.WARNING
        made.append((severity, fault))
    made.sort(key=lambda m: (_RANK[m[0]], -m[1].badness, m[1].places[0].box if m[1].places else ()))
    result: list[Finding] = []
    for severity in Severity:
        same = [fault for level, fault in made if level is severity]
        listed = same if len(same) <= LISTED + 1 else same[:LISTED]
        result.extend(_finding(rule, case, severity, fault, film) for fault in listed)
        if len(listed) < len(same):
            result.append(_folded(rule, case, severity, same[len(listed) :], film))
    return result


_RANK = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}


def _folded(rule: Rule, case: str, severity: Severity, rest: Sequence[Fault], film: Film | None) -> Finding:
    worst = rest[0]
    places = tuple(spot for fault in rest for spot in fault.places)
    fault = Fault(
        message=f"And {len(rest)} more of the same kind. The worst of them: {worst.message}",
        detail=worst.detail,
        places=places,
        measured=worst.measured,
        limit=worst.limit,
        unit=worst.unit,
    )
    return _finding(rule, case, severity, fault, film)


def _finding(rule: Rule, case: str, severity: Severity, fault: Fault, film: Film | None) -> Finding:
    return Finding(
        code=rule.code,
        case=case,
        severity=severity,
        film=film.name if film else None,
        message=fault.message,
        detail=fault.detail,
        measured=None if fault.measured is None else round(fault.measured, 3),
        limit=None if fault.limit is None else round(fault.limit, 3),
        unit=fault.unit,
        places=fault.places[:PLACES_LISTED],
        places_total=len(fault.places),
        remedy=rule.remedy,
        repairable=rule.repairable if fault.repairable is None else fault.repairable,
        fingerprint=_fingerprint(rule.code, case, film.key if film else "", fault.places),
    )


def _fingerprint(code: str, case: str, film: str, places: Sequence[Place]) -> str:
    """Hash what the fault is and where it lies, and nothing else of the file."""
    spots = [",".join(str(round(value / FINGERPRINT_STEP)) for value in spot.box) for spot in places]
    text = "\n".join([code, case, film, *sorted(spots)])
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def mm(value: float) -> str:
    """Return a length for a message: two decimals below 10 mm, one below 100 mm, else none."""
    if 0 < abs(value) < 0.005:
        return "less than 0.01 mm"
    if abs(value) < 10:
        return f"{value:.2f} mm"
    return f"{value:.1f} mm" if abs(value) < 100 else f"{value:.0f} mm"


def area(value: float) -> str:
    """Return an area for a message, in mm2 below 100 mm2, else in cm2."""
    return f"{value:.1f} mm²" if value < 100 else f"{value / 100:.1f} cm²"


def counted(number: int, one: str, many: str | None = None) -> str:
    """Return "1 place" or "3 places"."""
    return f"{number} {one if number == 1 else many or one + 's'}"
