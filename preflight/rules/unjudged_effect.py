"""Effects that change what is seen and have no outline: masks, filters, blending and the like."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.artwork import RemarkKind
from preflight.report.model import Finding, Severity
from preflight.rules.remarks import findings_of
from preflight.rules.rule import Rule

_KINDS = {
    RemarkKind.MASK: (
        "mask",
        "A mask hides or fades a part of this. The knife does not know masks; the part was judged as if it were not "
        "masked.",
    ),
    RemarkKind.FILTER: (
        "filter",
        "An effect (blur, shadow or the like) is laid on this. Film cannot show it; it was judged without the effect.",
    ),
    RemarkKind.BLEND: (
        "blend",
        "This mixes its colour with what lies underneath. Film cannot do that; it was judged in its own colour.",
    ),
    RemarkKind.UNSUPPORTED: (
        "not-understood",
        "Here is something that shows on screen and could not be judged, because it is not drawn as outlines.",
    ),
    RemarkKind.CONDITION: (
        "conditional",
        "Something here shows only under a condition (language, screen, animation). It was judged as first seen.",
    ),
}


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield the reader's remarks on effects."""
    yield from findings_of(RULE, analysis, _KINDS)


RULE = Rule(
    code="unjudged-effect",
    title="Effect that cannot be cut",
    why="Masks, filters and blending are made by the screen from pixels. Film has none of them, so the sign would "
    "look different from the picture.",
    how_measured="Every element with such an effect is reported as the reader meets it.",
    remedy="Remove the effect, or redraw what it shows as solid shapes.",
    cases={
        "mask": Severity.ERROR,
        "filter": Severity.ERROR,
        "blend": Severity.ERROR,
        "not-understood": Severity.ERROR,
        "conditional": Severity.WARNING,
    },
    repairable=False,
    check=check,
)
