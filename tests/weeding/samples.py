"""Films to weed, made of shapes whose figures are known."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import preflight
from preflight.analysis import Analysis
from preflight.films import Film
from preflight.job import Job

ARTWORK = Path(__file__).parents[2] / "examples" / "artwork"


def films_of(
    body: str, job: dict[str, Any] | None = None, width: float = 400, height: float = 200
) -> Analysis:
    """Return the analysis of a drawing of this size (mm) with ``body`` as its content."""
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">{body}</svg>'
    )
    return Analysis(preflight.read(svg.encode()), Job.model_validate(job or {}))


def film_of(body: str, job: dict[str, Any] | None = None, width: float = 400, height: float = 200) -> Film:
    """Return the one film of such a drawing."""
    (film,) = films_of(body, job, width, height).films
    return film


def box(x: float, y: float, width: float, height: float) -> str:
    return f'<rect x="{x}" y="{y}" width="{width}" height="{height}" fill="#1f5b3a"/>'


def ring(x0: float, y0: float, x1: float, y1: float, wall: float) -> str:
    """Return a frame as one path with a hole."""
    i0, j0, i1, j1 = x0 + wall, y0 + wall, x1 - wall, y1 - wall
    return f'<path fill="#1f5b3a" fill-rule="evenodd" d="M{x0} {y0}H{x1}V{y1}H{x0}Z M{i0} {j0}H{i1}V{j1}H{i0}Z"/>'


def example(name: str, job: dict[str, Any] | None = None) -> Analysis:
    """Return the analysis of one of the demo signs."""
    return Analysis(preflight.read((ARTWORK / f"{name}.svg").read_bytes()), Job.model_validate(job or {}))
