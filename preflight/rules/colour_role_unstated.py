"""Colours that may be film or bare substrate, and shapes that may be film or background."""

from __future__ import annotations

from collections.abc import Iterator

from shapely.geometry.base import BaseGeometry

from preflight.analysis import Analysis
from preflight.geometry.appearance import PaintedLayer, Part
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, findings, place
from preflight.rules.rule import Rule

COVERS = 0.995
"""A shape over at least this part of the drawing area covers all of it."""

WHITE = 250
"""White is each channel at this or more, of 255."""


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield one finding for white, and one for each colour that covers the whole drawing area."""
    white: dict[str, Fault] = {}
    covering: list[Fault] = []
    frame = analysis.frame
    for layer, meaning in zip(analysis.painting.layers, analysis.meanings, strict=True):
        colour = layer.paint.color
        if meaning.role != "film" or meaning.stated or colour is None or layer.region.is_empty:
            continue
        origin = analysis.shapes[layer.shape].origin
        inside = _area_inside(layer, frame)
        if inside >= COVERS * frame.area:
            covering.append(
                Fault(
                    message=f"A shape in {colour} covers the whole drawing area. If it only stands for the board or "
                    "the window, it must not be cut; if it is film, the whole area is covered with it. It was taken "
                    "as film.",
                    detail=f"{origin.label} covers {inside / frame.area:.1%} of the drawing area.",
                    places=(place(layer.region.bounds, None, origin),),
                )
            )
        elif is_white(colour) and colour not in white:
            white[colour] = Fault(
                message=f"White ({colour}) may be white film, or it may stand for the bare board or glass showing "
                "through. As film it is cut and laid on; as bare surface it is a hole in the colours below. It was "
                "taken as film.",
                detail=f'First met at {origin.label}. State colours."{colour}" = "film" or "substrate" in the job.',
                places=(place(layer.region.bounds, None, origin),),
            )
    yield from findings(RULE, "covers-everything", analysis, covering)
    yield from findings(RULE, "white", analysis, white.values())


def _area_inside(layer: PaintedLayer, frame: BaseGeometry) -> float:
    """Return the area of a fill inside ``frame`` in mm2, or 0 where it can cover most of it in no way."""
    x0, y0, x1, y1 = layer.region.bounds
    if layer.part is not Part.FILL or (x1 - x0) * (y1 - y0) < COVERS * frame.area:
        return 0.0
    return float(layer.region.intersection(frame).area)


def is_white(colour: str) -> bool:
    """Return whether ``#rrggbb`` is white or so near that no film tells the two apart."""
    return all(int(colour[i : i + 2], 16) >= WHITE for i in (1, 3, 5))


RULE = Rule(
    code="colour-role-unstated",
    title="Film or bare surface?",
    why="On screen, white film and the bare board look alike, and a coloured board is often drawn as a big "
    "rectangle. Taken wrongly, the sign gets a sheet of film too many or a hole that should be white.",
    how_measured="White with no role in the job, and any shape with no role that covers at least 99.5 % of the drawing "
    "area, are reported. Nothing is chosen silently: they are taken as film, and the report says so.",
    remedy="State in the job what the colour or the layer stands for: film, substrate, knife line or guide.",
    cases={"covers-everything": Severity.WARNING, "white": Severity.WARNING},
    repairable=False,
    check=check,
)
