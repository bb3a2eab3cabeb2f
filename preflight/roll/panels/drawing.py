"""The assembly drawing: panels in the order they go on, seams, laps, marks and lengths, for whoever fits them.

Everything is drawn from our own geometry and lettering: no markup of an uploaded file can reach it. Places
are those of the sign as it is put up.
"""

from __future__ import annotations

from collections.abc import Iterator

from preflight.colour import plain_colour
from preflight.report.canvas import document, png, require_width
from preflight.report.legend import text
from preflight.report.lettering import wrap
from preflight.roll.cards import MARGIN, PAD, card, film_head, verdict_head
from preflight.roll.layout.drawing import LINE
from preflight.roll.panels.build import Panelled, Planned
from preflight.roll.panels.model import PanelPlan, Verdict
from preflight.roll.panels.sketch import Sketch, lap_profile
from preflight.roll.panels.wording import panel_words, seam_words
from preflight.units import Unit

NARROWEST = 720
_WORDS: dict[Verdict, tuple[str, str]] = {
    "panels": ("PANELS", "#1f5f99"),
    "whole": ("ONE PIECE", "#2c7a43"),
    "not-judged": ("NOT JUDGED", "#6b7682"),
}
_LISTED = 12
"""Seams and panels that are described below a drawing; the JSON has them all."""


def assembly_svg(panelled: Panelled, *, width_px: int = 1200, unit: Unit = "mm") -> str:
    """Return the assembly drawing as SVG, lengths in ``unit``.

    Raises `PreflightError` for a width outside 720 to 4096 px.
    """
    require_width(width_px, NARROWEST, "A drawing {} px wide cannot be made.")
    width, shown = float(width_px), panelled.panelling
    word, colour = _WORDS[shown.verdict]
    body, y = verdict_head(word, colour, shown.summary, width)
    y += 18
    for planned in panelled.films:
        markup, height = _card(panelled, planned, y, width, unit)
        body.append(markup)
        y += height + 18
    for note in (*shown.notes, shown.claim):
        for line in wrap(note, 9, width - 2 * MARGIN, 3):
            body.append(text(line, MARGIN, y + 9, 9, colour=LINE))
            y += 17
    return document(width, y + 14, "Assembly of panels", shown.summary, body)


def assembly_png(panelled: Panelled, *, width_px: int = 1200, unit: Unit = "mm") -> bytes:
    """Return the assembly drawing as PNG; see `assembly_svg`."""
    svg = assembly_svg(panelled, width_px=width_px, unit=unit)
    return png(svg)


def _card(panelled: Panelled, planned: Planned, top: float, width: float, unit: Unit) -> tuple[str, float]:
    """Return one film's card from ``top`` down, and its height."""
    plan = planned.plan
    x, right = MARGIN + PAD, width - MARGIN - PAD
    word, colour = _WORDS[plan.verdict]
    fill = plain_colour(plan.colour) or "#b8c2ca"
    body = film_head(plan.film, fill, word, colour, top=top, width=width)
    y = top + 60
    for line in wrap(plan.reason, 9.5, right - x, 3):
        body.append(text(line, x, y, 9.5))
        y += 18
    if plan.verdict == "panels":
        sketch = Sketch(panelled, planned, (x, y + 4, right), unit)
        body.append(sketch.markup())
        y = sketch.bottom + 20
        for markup, height in _rows(plan, x, right, unit):
            body.append(f'<g transform="translate(0 {y:.2f})">{markup}</g>')
            y += height
        for note in plan.notes:
            for line in wrap(note, 9, right - x, 3):
                body.append(text(line, x, y + 9, 9, colour=LINE))
                y += 17
    height = y + 8 - top
    return card(top, width, height, body), height


def _rows(plan: PanelPlan, x: float, right: float, unit: Unit) -> Iterator[tuple[str, float]]:
    """Yield the lines below a drawing, each with its height: seams first, then panels."""
    for seam in plan.seams[:_LISTED]:
        head, indent = f"Seam {seam.number}", 74.0
        picture = lap_profile(plan, seam, x + indent, 0.0)
        start = x + indent + (96 if picture else 0)
        out = [text(head, x, 11, 9.5, bold=True), picture]
        lines = wrap(seam_words(plan, seam, unit), 9.5, right - start, 4)
        out += [text(line, start, 11 + 18 * i, 9.5) for i, line in enumerate(lines)]
        yield "".join(out), max(18.0 * len(lines), 30.0 if picture else 0.0) + 4
    for panel in plan.panels[:_LISTED]:
        lines = wrap(panel_words(panel, unit), 9.5, right - x - 74, 3)
        out = [text(f"Panel {panel.number}", x, 11, 9.5, bold=True)]
        out += [text(line, x + 74, 11 + 18 * i, 9.5) for i, line in enumerate(lines)]
        yield "".join(out), 18.0 * len(lines) + 4
    left = max(len(plan.seams) - _LISTED, 0) + max(len(plan.panels) - _LISTED, 0)
    if left:
        yield text(f"... and {left} more; the JSON has them all", x, 11, 9.5, colour=LINE), 20.0
