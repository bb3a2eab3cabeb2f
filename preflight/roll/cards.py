"""Parts that the pictures of layouts and panels share: the verdict on top, a card for each film. Pixels."""

from __future__ import annotations

from preflight.report.legend import text
from preflight.report.lettering import text_width, wrap
from preflight.report.markers import INK
from preflight.roll.layout.drawing import PAPER

MARGIN = 24.0
"""Around the picture."""
PAD = 16.0
"""Inside a card."""


def verdict_head(word: str, colour: str, summary: str, width: float) -> tuple[list[str], float]:
    """Return the verdict with its summary beside it, and the lower edge of both."""
    wide = text_width(word, 12) + 32
    lines = wrap(summary, 11, width - 2 * MARGIN - wide - 18, 2)
    parts = [
        f'<rect x="{MARGIN}" y="{MARGIN}" width="{wide:.2f}" height="36" rx="8" fill="{colour}"/>',
        text(word, MARGIN + 16, MARGIN + 24, 12, colour="#ffffff", bold=True),
        *(text(line, MARGIN + wide + 18, MARGIN + 24 + 20 * i, 11) for i, line in enumerate(lines)),
    ]
    return parts, MARGIN + 36 + 20 * (len(lines) - 1)


def film_head(film: str, fill: str, word: str, colour: str, *, top: float, width: float) -> list[str]:
    """Return the first line of a film's card: swatch, name, and the film's own verdict on the right."""
    x, right, wide = MARGIN + PAD, width - MARGIN - PAD, text_width(word, 8) + 20
    return [
        f'<rect x="{x:.2f}" y="{top + 14:.2f}" width="24" height="24" rx="5" fill="{fill}" stroke="{INK}"/>',
        text(film, x + 36, top + 31, 11, bold=True),
        f'<rect x="{right - wide:.2f}" y="{top + 14:.2f}" width="{wide:.2f}" height="24" rx="6" fill="{colour}"/>',
        text(word, right - wide + 10, top + 30, 8, colour="#ffffff", bold=True),
    ]


def card(top: float, width: float, height: float, body: list[str]) -> str:
    """Return ``body`` on a card of the picture's width."""
    return (
        f'<rect x="{MARGIN}" y="{top:.2f}" width="{width - 2 * MARGIN:.2f}" height="{height:.2f}" rx="12"'
        f' fill="{PAPER}" stroke="#d5dce2"/>' + "".join(body)
    )
