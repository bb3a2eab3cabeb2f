"""Strokes and spacing of letters against published shares of their height, where the job asks for it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from preflight.analysis import Analysis
from preflight.films import Film
from preflight.lettering import Line
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, counted, findings, mm
from preflight.rules.lettering import asked, indication, line_place
from preflight.rules.rule import Parameter, Rule
from preflight.standards import Share, standards

SAME_MESSAGE = 3.0
"""Lines whose baselines lie farther apart than this many letter heights are taken as separate messages."""

SAME_HEIGHT = 0.1
"""Lines whose heights differ by more than this share are taken as separate messages."""

MARGIN = 1e-3
"""Shares are compared with this much play: flattened outlines are not exact."""


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each line of lettering whose strokes or spacing lie outside the published shares."""
    if not asked(analysis, "accessible-signs"):
        return
    for case, look in (
        ("stroke", _stroke),
        ("proportions", _proportions),
        ("character-spacing", _spacing),
    ):
        faults = [
            _fault(analysis, film, line, measure)
            for film, line in analysis.lettering
            for measure in look(line)
        ]
        yield from findings(RULE, case, analysis, faults)
    yield from findings(RULE, "line-spacing", analysis, _line_spacing(analysis))


def _outside(share: float, allowed: Share) -> bool:
    return share < allowed.least - MARGIN or share > allowed.most + MARGIN


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _range(allowed: Share) -> str:
    return f"{_percent(allowed.least)} to {_percent(allowed.most)}"


@dataclass(frozen=True, slots=True)
class _Measure:
    """A measure as a share of the letter height, the range it was compared with, and what is said about it."""

    share: float
    allowed: Share
    text: str
    detail: str
    severity: Severity


def _fault(analysis: Analysis, film: Film, line: Line, measure: _Measure) -> Fault:
    share, allowed = measure.share, measure.allowed
    return Fault(
        message=f"{measure.text}; {_range(allowed)} is asked for. {indication()}",
        detail=f"{standards().accessible_signs.title}, {allowed.section}: {allowed.of}, {_range(allowed)}. "
        f"{measure.detail}",
        places=(line_place(analysis, film, line, 100 * share),),
        severity=measure.severity,
        measured=100 * share,
        limit=100 * (allowed.least if share < allowed.least else allowed.most),
        unit="%",
        badness=max(allowed.least - share, share - allowed.most),
    )


def _stroke(line: Line) -> Iterator[_Measure]:
    allowed = standards().accessible_signs.shares.stroke
    on_bar = len(line.bars) > 0
    stroke = float(np.median(line.bars)) if on_bar else line.stroke
    if stroke is None or not _outside(stroke / line.height, allowed):
        return
    share = stroke / line.height
    how = (
        "Measured on an upright bar, an I or an l."
        if on_bar
        else "There is no plain upright bar in the line: this is the usual upright stroke of all its letters, and the "
        "standard's I is not known."
    )
    word = "thin" if share < allowed.least else "thick"
    text = (
        f"The strokes of the letters here are {word}: {mm(stroke)}, {_percent(share)} of their height of "
        f"{mm(line.height)}"
    )
    yield _Measure(share, allowed, text, how, Severity.WARNING)


def _proportions(line: Line) -> Iterator[_Measure]:
    allowed = standards().accessible_signs.shares.proportion
    shares = line.rings / line.height
    odd = [float(share) for share in shares if _outside(float(share), allowed)]
    # One ring may be a zero, which is narrower than an O in the same font: all must be odd.
    if not odd or len(odd) < len(shares):
        return
    share = max(odd)
    word = "narrow" if share < allowed.least else "wide"
    text = f"Round letters here are {word}: {_percent(share)} as wide as the letters are high"
    how = "Measured on a round ring; whether it is a capital O or a zero is not known."
    yield _Measure(share, allowed, text, how, Severity.NOTE)


def _spacing(line: Line) -> Iterator[_Measure]:
    allowed = standards().accessible_signs.shares.character_spacing
    shares = line.gaps / line.height
    tight = int((shares < allowed.least - MARGIN).sum())
    middle, least = float(np.median(shares)), float(shares.min())
    closest = mm(float(line.gaps.min()))
    detail = (
        f"Median {_percent(middle)} of {counted(len(shares), 'gap')}, word spaces among them; narrowest {closest} "
        f"({_percent(least)})."
    )
    if _outside(middle, allowed):
        word = "close together" if middle < allowed.least else "far apart"
        text = f"The letters here stand {word}: the usual space between them is {_percent(middle)} of their height"
        yield _Measure(middle, allowed, text, detail, Severity.WARNING)
    elif tight:
        stand = (
            f"{counted(tight, 'pair')} of letters here {'stands' if tight == 1 else 'stand'} close together"
        )
        text = f"{stand}: the closest {closest} apart, {_percent(least)} of the letters' height"
        yield _Measure(least, allowed, text, detail, Severity.NOTE)


def _line_spacing(analysis: Analysis) -> Iterator[Fault]:
    allowed = standards().accessible_signs.shares.line_spacing
    lines = sorted(analysis.lettering, key=lambda pair: (pair[1].baseline, pair[1].box))
    for index, (film, upper) in enumerate(lines):
        below = next((lower for _, lower in lines[index + 1 :] if _follows(upper, lower)), None)
        if below is None:
            continue
        step = below.baseline - upper.baseline
        share = step / max(upper.height, below.height)
        if not _outside(share, allowed):
            continue
        close = share < allowed.least
        text = (
            f"This line stands {'close to' if close else 'far from'} the one below it: {mm(step)} from baseline to "
            f"baseline, {_percent(share)} of the letters' height"
        )
        how = "Lines of one height, one above the other, were taken as one message; whether they are is not known."
        severity = Severity.WARNING if close else Severity.NOTE
        yield _fault(analysis, film, upper, _Measure(share, allowed, text, how, severity))


def _follows(upper: Line, lower: Line) -> bool:
    """Return whether ``lower`` stands under ``upper`` as the next line of a message."""
    step = lower.baseline - upper.baseline
    alike = abs(upper.height - lower.height) <= SAME_HEIGHT * max(upper.height, lower.height)
    lap = min(upper.box[2], lower.box[2]) - max(upper.box[0], lower.box[0])
    return alike and lap > 0 and 0.5 * upper.height < step <= SAME_MESSAGE * upper.height


RULE = Rule(
    code="letter-shape",
    title="Strokes or spacing of letters outside published shares",
    why="Strokes that are too thin or too thick, and letters too close together or too far apart, are hard to read "
    "for everybody and unreadable for some.",
    how_measured="Only where the job asks for accessible-signs. On each line of lettering found in the outlines: the "
    "stroke of an upright bar (without one, the usual upright stroke of all letters), the width of round rings, the "
    "shortest distance between neighbours, and the step to the next line of the same height below. Which letter is an "
    "I or an O is not known, nor which space parts words, so wide spaces count only where most of them are wide. Every "
    "result is an indication in the terms of one country, never a verdict of compliance.",
    remedy="Choose a plain font of medium weight, and set it with the font's own spacing or a little more.",
    cases={
        "stroke": Severity.WARNING,
        "proportions": Severity.NOTE,
        "character-spacing": Severity.WARNING,
        "line-spacing": Severity.WARNING,
    },
    repairable=False,
    check=check,
    parameters=tuple(
        Parameter(
            "lettering.standards",
            f"{share.of}: {_range(share)}",
            "%",
            f"2010 ADA Standards for Accessible Design (United States), {share.section}",
        )
        for share in (
            standards().accessible_signs.shares.stroke,
            standards().accessible_signs.shares.proportion,
            standards().accessible_signs.shares.character_spacing,
            standards().accessible_signs.shares.line_spacing,
        )
    ),
)
