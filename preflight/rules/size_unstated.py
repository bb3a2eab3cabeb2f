"""Artwork that does not say how large it is to become."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.artwork import SizeBasis
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, mm
from preflight.rules.rule import Rule

OTHER_RESOLUTION = 96 / 72
"""Some programs write points and call them px: then everything is a third larger."""


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield one finding where neither the file nor the job states a physical size."""
    if analysis.size_stated:
        return
    artwork = analysis.artwork
    if artwork.size_basis is SizeBasis.NONE:
        case = "no-size"
        message = (
            "The file does not say how large the sign is to be. Narrow parts and the fit on the roll cannot be "
            f"judged reliably; {_size(artwork.width, artwork.height)} was taken for now."
        )
    else:
        case = "pixels-only"
        larger = _size(artwork.width * OTHER_RESOLUTION, artwork.height * OTHER_RESOLUTION)
        message = (
            "The file gives its size in pixels only, which says nothing about the finished sign. At 96 pixels to "
            f"the inch it is {_size(artwork.width, artwork.height)}, which was taken; at 72 it is {larger}."
        )
    fault = Fault(message=message, detail=f"Size basis of the file: {artwork.size_basis}.", places=())
    yield from findings(RULE, case, analysis, [fault])


def _size(width: float, height: float) -> str:
    return f"{mm(width)} by {mm(height)}"


RULE = Rule(
    code="size-unstated",
    title="Finished size is not stated",
    why="Whether a part is too thin, and whether the design fits the roll, depends on how large it is cut.",
    how_measured="Width and height with a physical unit (mm, cm, in, pt ...) count as stated, and so does a finished "
    "size or scale in the job. 96 px to the inch is the standard's value (CSS Values and Units, absolute lengths); "
    "72 is what some programs write. While the size is unstated, what depends on it is a warning at most.",
    remedy="State the finished width or height in the job, or save the file with its size in mm.",
    cases={"no-size": Severity.WARNING, "pixels-only": Severity.WARNING},
    repairable=False,
    check=check,
)
