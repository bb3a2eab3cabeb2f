"""Path painting and clipping, and shadings (ISO 32000-1, 8.5.3, 8.5.4 and 8.7.4.2)."""

from __future__ import annotations

from preflight.artwork import Paint, PaintKind, RemarkKind, Shape
from preflight.curves import Path, determinant, largest_stretch
from preflight.readers.pdf.frame import Frame
from preflight.readers.pdf.outline import Outline
from preflight.readers.pdf.state import THINNEST, hidden_by, stroke_of
from preflight.readers.pdf.values import box, entry

PAINTING: dict[str, tuple[bool, str, bool]] = {
    # Whether to close first, the fill rule ("" for no fill), and whether to stroke.
    "S": (False, "", True),
    "s": (True, "", True),
    "f": (False, "nonzero", False),
    "F": (False, "nonzero", False),
    "f*": (False, "evenodd", False),
    "B": (False, "nonzero", True),
    "B*": (False, "evenodd", True),
    "b": (True, "nonzero", True),
    "b*": (True, "evenodd", True),
    "n": (False, "", False),
}


def paint_path(frame: Frame, operator: str) -> None:
    """Paint the current path as ``operator`` says, then clip with it where that was asked for."""
    closing, rule, stroked = PAINTING[operator]
    outline, pending = frame.outline, frame.pending_clip
    frame.outline, frame.pending_clip = Outline(), None
    if closing:
        outline.close()
    frame.scene.budget.spend("path_segments", len(outline))
    path = outline.path()
    matrix = frame.graphics.matrix
    if len(path.controls):
        if not frame.within_reach(path, matrix):
            origin = frame.origin("path")
            frame.scene.say(RemarkKind.BAD_VALUE, "path lies more than 10 km away, left out", origin)
            return
        if rule or stroked or pending is None:
            _shape(frame, path, rule, stroked)
    if pending is not None:
        origin = frame.origin("clip")
        frame.clip(path, matrix, evenodd=pending == "evenodd", drawn=True, origin=origin)


def _shape(frame: Frame, path: Path, rule: str, stroked: bool) -> None:
    graphics = frame.graphics
    origin = frame.origin("path")
    fill = frame.scene.painted(graphics.fill, graphics.fill_alpha) if rule else None
    line = frame.scene.painted(graphics.stroke, graphics.stroke_alpha) if stroked else None
    if fill is None and line is None and (rule or stroked):
        # Painted with the colorant None, which marks nothing.
        rule = ""
    width = graphics.width
    if line is not None and width * largest_stretch(graphics.matrix) < THINNEST:
        frame.scene.say(
            RemarkKind.NOTE, f"lines of width 0, as thin as the machine can, were taken as {THINNEST} mm wide"
        )
        width = THINNEST / max(largest_stretch(graphics.matrix), 1e-12)
    singular = determinant(graphics.matrix) == 0
    seen = any(paint is not None and paint.opacity * graphics.opacity > 0 for paint in (fill, line))
    visible = seen or (fill is None and line is None)
    frame.emit(
        Shape(
            path=path,
            matrix=graphics.matrix,
            origin=origin,
            fill=fill if fill is None or fill.opacity > 0 or not visible else None,
            evenodd=rule == "evenodd",
            stroke=stroke_of(graphics, line, width)
            if line is not None and (line.opacity > 0 or not visible)
            else None,
            opacity=graphics.opacity,
            clips=graphics.clips,
            hidden=hidden_by(frame.shown and not singular, visible),
        )
    )


def paint_shading(frame: Frame, shading: object, called: str) -> None:
    """Paint a shading over all that the clips leave of the page."""
    graphics = frame.graphics
    outline = Outline()
    limits = box(entry(shading, "BBox"))
    matrix = graphics.matrix
    if limits is None:
        limits, matrix = frame.scene.page, (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
    outline.rectangle(limits[0], limits[1], limits[2] - limits[0], limits[3] - limits[1])
    path = outline.path()
    if not frame.within_reach(path, matrix):
        return
    origin = frame.origin("shading")
    frame.emit(
        Shape(
            path=path,
            matrix=matrix,
            origin=origin,
            fill=Paint(PaintKind.GRADIENT, None, graphics.fill_alpha, called),
            opacity=graphics.opacity,
            clips=graphics.clips,
            hidden=hidden_by(frame.shown, graphics.fill_alpha * graphics.opacity > 0),
        )
    )
