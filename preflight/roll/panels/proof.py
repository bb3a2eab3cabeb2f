"""The proof that panels together are the film: what they cover, what overlaps, and what the knife meets.

What a panel must be is found by clipping polygons (GEOS), what it is by splitting curves: two methods that
share no code. Laps are found a third way, as what lies in the strip about a seam and reaches both its sides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Path
from preflight.geometry.appearance import polygonal, union
from preflight.repair import FLATTENING
from preflight.repair.model import Draft
from preflight.repair.proof import film_proof, thickness
from preflight.repair.uniting import GATE
from preflight.roll.fit import SLACK
from preflight.roll.panels.build import Planned
from preflight.roll.panels.contours import Contours, filled
from preflight.roll.panels.model import Panel, PanelProof
from preflight.roll.panels.parts import TOUCH

_PLACES = 4


@dataclass(frozen=True, eq=False)
class Piece:
    """One panel in (u, v): its contours, its marks, and the region that it must be."""

    panel: Panel
    path: Path
    marks: Sequence[Path]
    wanted: BaseGeometry

    @property
    def frame(self) -> tuple[float, float, float, float]:
        """What its file covers, as u0, v0, u1, v1."""
        a, b, c, d = self.panel.frame
        return (a, b, c, d) if self.panel.turn_deg == 0 else (b, a, d, c)


def prove(planned: Planned, contours: Contours, pieces: Sequence[Piece]) -> PanelProof:
    """Return the proof for the panels of one film, ``pieces`` in the order of their places."""
    fills = [filled(piece.path) for piece in pieces]
    apart = polygonal(shapely.symmetric_difference(union(fills), contours.region))
    laps = polygonal(shapely.symmetric_difference(_overlaps(fills), _laps(contours)))
    cuts, reasons = 0.0, []
    for piece in pieces:
        spec, name = planned.film.spec, f"panel {piece.panel.number}"
        draft = Draft(planned.film.key, name, planned.film.colour, spec, piece.path)
        own = film_proof(draft, piece.wanted, FLATTENING)
        cuts += own.crossings_mm + own.double_cuts_mm + own.cuts_in_waste_mm
        if own.open_contours:
            reasons.append(f"Panel {piece.panel.number}: {own.open_contours} outlines are open.")
        if own.difference_thickness_mm > GATE:
            reasons.append(
                f"Panel {piece.panel.number}: differs from what was planned by up to "
                f"{own.difference_thickness_mm:g} mm in thickness."
            )
        reasons += _outside(piece, planned)
    clear = _clear(pieces, fills)
    if thickness(apart) > GATE:
        reasons.append(f"All panels together differ from the film by up to {thickness(apart):.3g} mm.")
    if thickness(laps) > GATE:
        reasons.append(f"What overlaps differs from the laps planned by up to {thickness(laps):.3g} mm.")
    if cuts > 0:
        reasons.append(f"{cuts:g} mm of lines are no edge of their panel.")
    if clear is not None and clear <= 0:
        reasons.append("A registration mark touches the graphic.")
    return PanelProof(
        film=planned.plan.film,
        proved=not reasons,
        reasons=tuple(reasons),
        union_difference_mm2=round(float(apart.area), _PLACES),
        union_difference_thickness_mm=round(thickness(apart), _PLACES),
        lap_difference_mm2=round(float(laps.area), _PLACES),
        lap_difference_thickness_mm=round(thickness(laps), _PLACES),
        cuts_in_film_mm=round(cuts, _PLACES),
        marks_clear_mm=None if clear is None else round(clear, 3),
        nodes_before=len(contours.path.controls),
        nodes_after=sum(len(piece.path.controls) for piece in pieces),
    )


def _overlaps(fills: Sequence[BaseGeometry]) -> BaseGeometry:
    """Return all that lies on more than one panel."""
    return union(polygonal(shapely.intersection(a, b)) for a, b in combinations(fills, 2))


def _laps(contours: Contours) -> BaseGeometry:
    """Return the laps: in the strip about each seam, what reaches from one side of the seam to the other."""
    half, (_, v0, _, v1) = contours.across.widths.lap / 2, contours.region.bounds
    found: list[BaseGeometry] = []
    for seam in contours.seams.tolist() if half else []:
        crossed = contours.across.parts[contours.across.crossed(seam)]
        strip = shapely.box(seam - half, v0, seam + half, v1)
        for piece in shapely.get_parts(shapely.intersection(crossed, strip)):
            for single in shapely.get_parts(piece):
                a, _, b, _ = single.bounds
                if single.geom_type == "Polygon" and a < seam - TOUCH and b > seam + TOUCH:
                    found.append(single)
    return union(found)


def _clear(pieces: Sequence[Piece], fills: Sequence[BaseGeometry]) -> float | None:
    """Return the least distance of a mark to its own panel's film, mm; None without marks."""
    apart = [
        float(shapely.distance(filled(mark), fill))
        for piece, fill in zip(pieces, fills, strict=True)
        for mark in piece.marks
    ]
    return min(apart) if apart else None


def _outside(piece: Piece, planned: Planned) -> list[str]:
    """Return a reason where film or marks reach into the weed border, so that the panel does not fit its roll."""
    roll = planned.film.roll
    assert roll is not None, "only films with a roll are cut"
    if not len(piece.path):
        return [f"Panel {piece.panel.number}: no film is left on it."]
    border = roll.weed_border
    bounds = np.array([path.bounds() for path in (piece.path, *piece.marks)])
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    u0, v0, u1, v1 = piece.frame
    inside = (low >= (u0 + border - GATE, v0 + border - GATE)).all() and (
        high <= (u1 - border + GATE, v1 - border + GATE)
    ).all()
    if inside and high[0] - low[0] + 2 * border <= roll.usable_width + SLACK:
        return []
    return [f"Panel {piece.panel.number}: does not lie within its borders on the roll."]
