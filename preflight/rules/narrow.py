"""What narrow parts and narrow gaps have in common."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
import shapely

from preflight.analysis import Analysis
from preflight.curves import Bools
from preflight.films import Film
from preflight.geometry.coincidence import LEAST_WAY
from preflight.geometry.thickness import ThinKind, ThinPart
from preflight.job import Limit
from preflight.report.model import Severity
from preflight.rules.build import Fault, mm, place
from preflight.rules.origin import origin_at

_SPOTS = 5
"""So many spots of the shortest line across a part are asked for whether a line runs near them."""

_MUCH = 0.4
"""A piece of which lines run near each other along this part of its length is as good as a line."""


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
    one_line = _as_one_line(analysis, film, parts)
    for part in (part for part, one in zip(parts, one_line, strict=True) if not one):
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


def _as_one_line(analysis: Analysis, film: Film, parts: Sequence[ThinPart]) -> Bools:
    """Return which parts lie between lines that near-double-cut reports.

    Those are the gap or the strip itself, and what flattening makes of it: where the gap is less than
    the chord error, the edges run into each other and leave narrow bridges that nobody drew.
    """
    if not film.near or not parts:
        return np.zeros(len(parts), bool)
    chords = np.array([part.chord for part in parts])
    shares = np.linspace(0, 1, _SPOTS)[:, None, None]
    spots = (1 - shares) * chords[:, 0] + shares * chords[:, 1]
    distance = analysis.job.tolerances.coincidence
    widths = np.array([part.width for part in parts])
    # Runs leave out the last bit before a point or a blunt end; what is as narrow there belongs to them.
    reach = np.where(widths < distance, LEAST_WAY / 2, 0.5) * distance + 2 * film.flattened
    found, _ = film.near_runs.query(
        shapely.points(spots.reshape(-1, 2)), predicate="dwithin", distance=np.tile(reach, _SPOTS)
    )
    near = np.zeros(spots.shape[:2], bool)
    near.ravel()[found] = True
    held = np.atleast_1d(near.all(axis=0))
    slivers = [k for k, part in enumerate(parts) if held[k] and part.kind == ThinKind.SLIVER]
    for k in slivers:
        held[k] = _runs_along(film, parts[k])
    return held


def _runs_along(film: Film, part: ThinPart) -> bool:
    """Return whether lines run near each other along much of a piece, and not at its points only."""
    frame = shapely.box(*part.box)
    runs = film.near_runs.geometries.take(film.near_runs.query(frame, predicate="intersects"))
    x0, y0, x1, y1 = shapely.bounds(runs).T
    longest = float(np.hypot(x1 - x0, y1 - y0).max(initial=0.0))
    return longest >= _MUCH * float(np.hypot(part.box[2] - part.box[0], part.box[3] - part.box[1]))
