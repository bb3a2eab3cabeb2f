"""Films of different colours whose edges meet, or nearly meet, without a lap."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from preflight.analysis import Analysis
from preflight.artwork import Box
from preflight.curves import Floats, Ints
from preflight.films import Film
from preflight.geometry.abutting import Facing, as_lines, facing_edges
from preflight.geometry.appearance import union
from preflight.report.model import Finding, Place, Severity
from preflight.rules.build import Fault, area, counted, findings, mm, place
from preflight.rules.origin import origin_at
from preflight.rules.rule import Parameter, Rule

COINCIDENT = 0.05
"""Edges nearer than this (mm) meet."""

SLIP = 0.5
"""A slip of this much (mm) between two films is common when they are laid by hand."""

SHORTEST = 2.0
"""Edges that meet over less than this (mm) at one spot touch at a corner; they do not run along each other."""

NEAR = 0.6
"""Pieces nearer than this (mm) are one place."""


@dataclass(frozen=True, eq=False)
class _Joint:
    """Where two films face each other."""

    one: Film
    other: Film
    facing: Facing
    pieces: Ints
    """Indices in ``facing``."""
    seen: Floats
    """Length of each of ``facing`` that is seen, mm."""


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each pair of films that meet, and each that leave a hairline between them."""
    films = [film for film in analysis.films if analysis.job.underlap_for(film.spec) > 0]
    if len(films) < 2:
        return
    facing = facing_edges([film.region for film in films], -COINCIDENT, SLIP)
    if not len(facing.distance):
        return
    seen = _seen(analysis, films, facing)
    meets = facing.distance <= COINCIDENT
    for case, chosen in (("butt", meets & (seen > 0)), ("hairline-gap", ~meets & (seen > 0))):
        faults: list[Fault] = []
        for i, j in np.unique(facing.regions[chosen], axis=0).tolist():
            pair = np.flatnonzero(chosen & np.all(facing.regions == (i, j), axis=1))
            joint = _Joint(films[i], films[j], facing, pair, seen)
            faults.extend(_faults(analysis, joint, case))
        yield from findings(RULE, case, analysis, faults)


def _seen(analysis: Analysis, films: list[Film], facing: Facing) -> Floats:
    """Return the length of each piece, mm, that does not lie under a third film, where no slip shows."""
    lengths = facing.lengths
    if len(analysis.films) < 3:
        return lengths
    film_of = {layer: index for index, film in enumerate(analysis.films) for layer in film.layers}
    layers = np.array(sorted(film_of))
    film_at = np.array([film_of[layer] for layer in layers.tolist()])
    own = np.array([analysis.films.index(film) for film in films])[facing.regions]
    lines = as_lines(facing.lines)
    regions = np.array([analysis.painting.layers[layer].region for layer in layers.tolist()], object)
    piece, over = shapely.STRtree(regions).query(lines, predicate="dwithin", distance=SLIP)
    third = ~np.any(film_at[over][:, None] == own[piece], axis=1)
    top = np.full(len(lines), -1)
    np.maximum.at(top, piece[~third], layers[over[~third]])
    above = np.flatnonzero(third & (layers[over] > top[piece]))
    above = above[shapely.intersects(lines[piece[above]], regions[over[above]])]
    for index in np.unique(piece[above]).tolist():
        hiding = union(regions[over[above[piece[above] == index]]])
        lengths[index] = shapely.difference(lines[index], hiding).length
    return lengths


def _faults(analysis: Analysis, joint: _Joint, case: str) -> Iterator[Fault]:
    places, total, widest = [], 0.0, 0.0
    for run in joint.facing.runs(joint.pieces, NEAR):
        length = float(joint.seen[run].sum())
        if length < SHORTEST:
            continue
        total += length
        widest = max(widest, float(joint.facing.distance[run].max()))
        places.append(_place(analysis, joint.one, joint.facing.lines[run], joint.seen[run], length))
    if not places:
        return
    knocked_out = analysis.job.construction == "knocked-out"
    names = f"{joint.one.name} and {joint.other.name}"
    gap = area(total * SLIP)
    if case == "butt":
        message = (
            f"The films {names} meet edge to edge over {mm(total)}, without one running under the other. Laid by "
            f"hand they slip by about {mm(SLIP)}: a line of up to {gap} in all of what lies beneath would show."
        )
    else:
        message = (
            f"Between the films {names} a hairline of up to {mm(widest)} is left open over {mm(total)}. What lies "
            f"beneath shows through, and a slip of {mm(SLIP)} closes it or doubles it."
        )
    yield Fault(
        message=message,
        detail=f"Edges within {mm(COINCIDENT if case == 'butt' else SLIP)} of each other, outside to outside, over "
        f"{mm(total)} at {counted(len(places), 'place')}; underlap asked for: "
        f"{mm(analysis.job.underlap_for(joint.one.spec))}. {mm(total)} × {mm(SLIP)} = {gap}.",
        places=tuple(sorted(places, key=lambda spot: -(spot.measured or 0.0))),
        severity=Severity.NOTE if case == "butt" and knocked_out else None,
        measured=total,
        unit="mm",
        badness=total,
    )


def _place(analysis: Analysis, film: Film, lines: Floats, lengths: Floats, length: float) -> Place:
    low, high = lines.min(axis=(0, 1)), lines.max(axis=(0, 1))
    box: Box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    x, y = lines[int(np.argmax(lengths))].mean(axis=0)
    spot = (float(x), float(y))
    return place(box, spot, origin_at(analysis, film, spot), length)


RULE = Rule(
    code="abutting-films",
    title="Films meet edge to edge",
    why="Each film is cut and laid by itself, and no hand lays two of them without a slip. Where edges only meet, "
    "every slip opens a line of the surface beneath, or leaves one film standing on the other.",
    how_measured="For films of different colours, the length over which their edges face each other within 0.05 mm "
    "(butt), or leave a gap of up to 0.5 mm (hairline-gap); contacts shorter than 2 mm and edges hidden under a third "
    "film are left out. The area is that length times a slip of 0.5 mm (common practice, no source). Translucent, "
    "metallic and reflective films butt by rule and are not reported unless the job states an underlap.",
    remedy="Let the lower film run on under the upper one by the underlap, or lay the upper film on a whole lower one.",
    cases={"butt": Severity.WARNING, "hairline-gap": Severity.WARNING},
    repairable=False,
    check=check,
    parameters=(
        Parameter(
            "underlap",
            "How far a lower film runs under an upper one; where it is 0, films butt and nothing is reported",
            "mm",
            "common practice, no source",
        ),
    ),
)
