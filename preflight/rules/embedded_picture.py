"""Pixel pictures: a knife has nothing to follow in them."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.artwork import Picture
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, place
from preflight.rules.rule import Rule


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each picture that is seen; in print-and-cut work only those that are not in the file."""
    embedded = [_fault(p) for p in analysis.pictures if p.embedded]
    if analysis.job.method != "print-and-cut":
        yield from findings(RULE, "embedded", analysis, embedded)
    linked = [_fault(p) for p in analysis.pictures if not p.embedded]
    yield from findings(RULE, "linked", analysis, linked)


def _fault(picture: Picture) -> Fault:
    x0, y0, x1, y1 = picture.box
    size = f"{x1 - x0:.0f} mm wide, {y1 - y0:.0f} mm high"
    if picture.embedded:
        message = "Here is a photo or pixel picture. It has no outlines, so there is nothing for the knife to follow."
        detail = f"{picture.media_type or 'Picture'}, {picture.size_bytes} bytes; {size}."
    else:
        message = "Here the file only links to a picture that was not sent with it, so nobody can see it."
        detail = f"Link “{picture.reference}”; {size}. Links are never followed."
    return Fault(
        message=message,
        detail=detail,
        places=(place(picture.box, None, picture.origin),),
        badness=abs((x1 - x0) * (y1 - y0)),
    )


RULE = Rule(
    code="embedded-picture",
    title="Picture made of pixels",
    why="A knife follows outlines; a photo, scan or screenshot has none.",
    how_measured="Every image element that is seen is reported, whether its data is in the file or only linked.",
    remedy="Draw or trace the picture as solid shapes, or order it as print-and-cut.",
    cases={"embedded": Severity.ERROR, "linked": Severity.ERROR},
    repairable=False,
    check=check,
)
