"""A sign of rectangles whose every figure follows from its sides, and how to make others."""

from __future__ import annotations

from typing import Any

import preflight
from preflight.artwork import Artwork
from preflight.job import Job
from preflight.jobsheet import JobSheet, job_sheet

GREEN, YELLOW = "#1f5b3a", "#f0a71f"

PLAIN = (
    # A bar of 100 by 50, a frame of 80 by 80 with a hole of 40 by 40, and on the bar a bar of 30 by 10.
    f'<path fill="{GREEN}" d="M20 30h100v50h-100z"/>'
    f'<path fill="{GREEN}" fill-rule="evenodd" d="M200 100h80v80h-80z M220 120h40v40h-40z"/>'
    f'<path fill="{YELLOW}" d="M40 40h30v10h-30z"/>'
)


def artwork(body: str = PLAIN, width: float = 400, height: float = 300, name: str = "sign.svg") -> Artwork:
    """Return artwork of ``width`` by ``height`` mm; one user unit is 1 mm."""
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm"'
        f' viewBox="0 0 {width} {height}">{body}</svg>'
    )
    return preflight.read(svg.encode(), name)


def sheet(body: str = PLAIN, job: dict[str, Any] | None = None, **kwargs: Any) -> JobSheet:
    """Return the job sheet of such artwork."""
    return job_sheet(artwork(body, **kwargs), Job.parse(job or {}))


def bar(colour: str, x: float, y: float, width: float, height: float) -> str:
    """Return a filled rectangle."""
    return f'<path fill="{colour}" d="M{x} {y}h{width}v{height}h{-width}z"/>'
