"""What the rules on lettering have in common: which sets the job asks for, and what stays unknown."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from preflight.analysis import Analysis
from preflight.artwork import LiveText
from preflight.films import Film
from preflight.lettering import Line
from preflight.report.model import Place
from preflight.rules.build import place
from preflight.rules.origin import origin_at
from preflight.standards import INDICATION, standards
from preflight.units import format_length

StandardSet = Literal["accessible-signs", "legibility"]


def asked(analysis: Analysis, name: StandardSet) -> bool:
    """Return whether the job asks for a set of published values."""
    return name in analysis.job.lettering.standards


def indication() -> str:
    """Return the sentence that every finding of these rules ends with."""
    return INDICATION.format(country=standards().accessible_signs.country)


def inches(mm: float) -> str:
    """Return a length as the standards print it beside mm."""
    return format_length(mm, "in")


def far(mm: float) -> str:
    """Return a viewing distance in metres and feet."""
    return f"{format_length(mm, 'm')} ({format_length(mm, 'ft')})"


def baseline_above_floor(analysis: Analysis, y: float) -> float | None:
    """Return the height in mm above the floor of a baseline at ``y``; None: the job does not state it.

    The job states that of the lowest line; the others follow from the artwork.
    """
    stated = analysis.job.lettering.baseline_height
    if stated is None:
        return None
    baselines = [line.baseline for _, line in analysis.lettering]
    baselines += [text.position[1] for text in analysis.texts if text.text.strip()]
    return stated + max(baselines, default=y) - y


def line_place(analysis: Analysis, film: Film, line: Line, measured: float | None) -> Place:
    """Return where a line of lettering is; the spot to look at is its first letter."""
    x0, y0, x1, y1 = line.pieces[0].bounds
    spot = ((x0 + x1) / 2, (y0 + y1) / 2)
    return place(line.box, spot, origin_at(analysis, film, spot), measured)


def text_place(text: LiveText, measured: float) -> Place:
    """Return where a live text is."""
    x, y = text.position
    return place(text.box or (x, y - text.size, x + text.size, y), None, text.origin, measured)


def not_judged(analysis: Analysis) -> Iterator[str]:
    """Yield what the sets that the job asks for would need to know, and what was not looked at."""
    settings = analysis.job.lettering
    if not settings.standards:
        return
    if not analysis.size_stated:
        yield "Letter heights: the finished size is not stated."
    if settings.viewing_distance is None:
        yield "Letter heights for the viewing distance: lettering.viewing_distance is not stated."
    if asked(analysis, "accessible-signs"):
        if settings.baseline_height is None:
            yield "Letter heights by accessibility values: lettering.baseline_height is not stated."
        if analysis.job.ground_colour is None:
            yield "Contrast with the sign's own surface: substrate_colour is not stated."
        yield (
            "Of accessibility: glare, style of the letters, raised characters and braille, and where the sign hangs. "
            "Which letter an outline is, is not known."
        )
    if not analysis.lettering:
        yield (
            "Measures of lettering: no level line of separate letters was found in the outlines. Letters that touch, "
            "single ones, and lettering on a curve or at an angle are not measured."
        )
    if any(text.text.strip() for text in analysis.texts):
        yield "Heights and strokes of live text: only its em size is known until it is turned into outlines."
