"""What narrow parts and narrow gaps have in common."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import shapely

from preflight.analysis import Analysis
from preflight.films import Film
from preflight.geometry.thickness import ThinPart
from preflight.job import Limit
from preflight.report.model import Severity
from preflight.rules.build import Fault, mm, place
from preflight.rules.origin import origin_at


def narrow_faults(
    analysis: Analysis,
    film: Film,
    parts: Sequence[ThinPart],
    limit: Limit,
    *,
    message: Callable[[float, str], str],
    what: str,
) -> Iterator[tuple[ThinPart, Fault]]:
    """Yield each part with its fault: an error under the error limit, else a warning; points are notes.

    What is as good as one line (near-double-cut) is left out.
    """
    for part in parts:
        if part.width < analysis.job.tolerances.coincidence and _as_one_line(film, part):
            continue
        severe = part.width < limit.error
        severity = Severity.ERROR if severe else Severity.WARNING
        bound = limit.error if severe else limit.warning
        (ax, ay), (bx, by) = part.chord
        yield (
            part,
            Fault(
                message=message(part.width, part.kind),
                detail=f"{what} {mm(part.width)} wide between ({ax:.2f}, {ay:.2f}) and ({bx:.2f}, {by:.2f}) mm; "
                f"{film.spec.kind} film {mm(film.spec.thickness)} thick: warning below {mm(limit.warning)}, "
                f"error below {mm(limit.error)}.",
                places=(place(part.box, part.point, origin_at(analysis, film, part.chord[0]), part.width),),
                severity=Severity.NOTE if part.kind == "spike" else severity,
                measured=part.width,
                limit=bound,
                unit="mm",
                badness=bound - part.width,
            ),
        )


def _as_one_line(film: Film, part: ThinPart) -> bool:
    """Return whether the edges of a part are lines that near-double-cut reports there."""
    reach = part.width + 2 * film.flattened
    return len(film.near_runs.query(shapely.Point(part.point), predicate="dwithin", distance=reach)) > 0
