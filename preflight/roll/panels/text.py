"""The plan of panels as text, for an operator at the machine and whoever puts the sign up."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.roll.panels.model import Panelling, PanelPlan, Seam
from preflight.roll.panels.wording import panel_words, seam_words
from preflight.roll.plain import length, wrapped
from preflight.units import Unit

_VERDICTS = {"panels": "PANELS", "whole": "ONE PIECE", "not-judged": "NOT JUDGED"}
_SHOWN = 20
"""Seams, panels and cut parts that are described; the JSON has them all."""


def to_text(panelling: Panelling, *, unit: Unit = "mm", width: int = 80) -> str:
    """Return a plan in words and figures, lengths in ``unit``, lines at most about ``width`` long."""
    lines = [f"{_VERDICTS[panelling.verdict]}  {panelling.summary}"]
    for plan in panelling.films:
        lines += ["", *_film(plan, unit)]
    if panelling.notes:
        lines += ["", "Worth knowing:", *(f"  - {note}" for note in panelling.notes)]
    lines += ["", panelling.claim]
    return "\n".join(part for line in lines for part in wrapped(line, width)) + "\n"


def _film(plan: PanelPlan, unit: Unit) -> Iterator[str]:
    named = "" if plan.film == plan.colour else f" ({plan.colour})"
    direction = ", directional" if plan.directional else ""
    yield f"{plan.film}{named}, {plan.kind}{direction}: {_VERDICTS[plan.verdict].lower()}"
    yield f"  {plan.reason}"
    if plan.verdict != "panels":
        return
    for seam in plan.seams[:_SHOWN]:
        yield f"  Seam {seam.number}: {seam_words(plan, seam, unit)}"
        yield from _cut(seam, unit)
    for panel in plan.panels[:_SHOWN]:
        yield f"  Panel {panel.number}: {panel_words(panel, unit)}"
    left = max(len(plan.seams) - _SHOWN, 0) + max(len(plan.panels) - _SHOWN, 0)
    if left:
        yield f"  ... and {left} more; the JSON has them all"
    if plan.film_length_mm is not None:
        yield f"  Film for all panels, with the lead: {length(plan.film_length_mm, unit)}"
    for note in plan.notes:
        yield f"  - {note}"


def _cut(seam: Seam, unit: Unit) -> Iterator[str]:
    for part in seam.parts:
        x0, y0, x1, y1 = part.box
        whole = ", which would fit on one panel" if part.could_be_whole else ""
        yield (
            f"    cuts {', '.join(part.shapes) or 'a part'}: {length(x1 - x0, unit)} by {length(y1 - y0, unit)}, "
            f"through {length(part.cut_mm, unit)} of film{whole}"
        )
    if seam.parts_total > len(seam.parts):
        yield f"    ... and {seam.parts_total - len(seam.parts)} more parts"
