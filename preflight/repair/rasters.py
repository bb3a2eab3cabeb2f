"""An independent look: both artworks painted by another program's rasteriser and compared pixel by pixel.

Nothing of this library's geometry takes part. The shapes' own paths, strokes and clips are handed over
as plain markup of our own making; curves, stroke outlines and fill rules are worked out there.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import resvg_py

from preflight.artwork import Artwork, Clip, Paint, PaintKind, Shape
from preflight.curves import Matrix, Path
from preflight.job import Job

PIXELS = 1600
"""Pixels along the longer side."""

BACKGROUND = "#fefdfc"
"""Stands for what is not film. Film of just this colour would not be told apart from it."""

Image8 = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class RasterDifference:
    """How far two pictures differ: ``area`` in mm2, ``thickness`` in mm (0: nowhere thicker than a pixel)."""

    pixels: int
    area: float
    thickness: float


def compare(before: Artwork, after: Artwork, job: Job, *, before_matrix: Matrix) -> RasterDifference:
    """Return how the films of ``after`` differ in a picture from those of ``before``.

    ``before_matrix`` maps the earlier artwork's mm onto the later one's, where it was turned or mirrored.
    """
    scale = PIXELS / max(after.width, after.height)
    size = (max(round(after.width * scale), 1), max(round(after.height * scale), 1))
    one = _painted(before, job, size, scale, before_matrix)
    other = _painted(after, job, size, scale, (1.0, 0.0, 0.0, 1.0, 0.0, 0.0))
    apart = (np.abs(one.astype(int) - other.astype(int)) > 1).any(axis=2)
    # Edges fall on one side or the other of a pixel's middle: a single row of pixels proves nothing.
    core = _eroded(apart)
    steps = 0
    left = core
    while left.any():
        steps += 1
        left = _eroded(left)
    thickness = (2 * steps + 1) / scale if steps else 0.0
    return RasterDifference(PIXELS, float(core.sum() / scale**2), thickness)


def _eroded(mask: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    padded = np.pad(mask, 1)
    result = mask.copy()
    for dy in (0, 1, 2):
        for dx in (0, 1, 2):
            result &= padded[dy : dy + mask.shape[0], dx : dx + mask.shape[1]]
    return result


def _painted(artwork: Artwork, job: Job, size: tuple[int, int], scale: float, matrix: Matrix) -> Image8:
    from PIL import Image  # noqa: PLC0415  (only repairs look at pixels; checks must not wait for it)

    markup = _markup(artwork, job, size, scale, matrix)
    png = resvg_py.svg_to_bytes(
        svg_string=markup,
        width=size[0],
        height=size[1],
        shape_rendering="crisp_edges",
        skip_system_fonts=True,
    )
    return np.asarray(Image.open(io.BytesIO(bytes(png))).convert("RGB"))


def _markup(artwork: Artwork, job: Job, size: tuple[int, int], scale: float, matrix: Matrix) -> str:
    definitions: list[str] = []
    body = []
    for shape in artwork.shapes():
        body.append(_shape(shape, job, definitions))
    a, b, c, d, e, f = (value * scale for value in matrix)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size[0]}" height="{size[1]}" '
        f'shape-rendering="crispEdges"><rect width="100%" height="100%" fill="{BACKGROUND}"/>'
        f"<defs>{''.join(definitions)}</defs>"
        f'<g transform="matrix({a} {b} {c} {d} {e} {f})">{"".join(body)}</g></svg>'
    )


def _shape(shape: Shape, job: Job, definitions: list[str]) -> str:
    fill, stroke = _colour(shape.fill, shape, job), None
    attributes = [f'd="{_data(shape.path)}"', f'transform="matrix({" ".join(map(repr, shape.matrix))})"']
    attributes.append(f'fill="{fill or "none"}" fill-rule="{"evenodd" if shape.evenodd else "nonzero"}"')
    if shape.stroke is not None:
        stroke = _colour(shape.stroke.paint, shape, job)
        s = shape.stroke
        attributes.append(
            f'stroke="{stroke or "none"}" stroke-width="{s.width!r}" stroke-linecap="{s.cap}" '
            f'stroke-linejoin="{s.join}" stroke-miterlimit="{s.miter_limit!r}" '
            f'stroke-dasharray="{" ".join(map(repr, s.dashes)) or "none"}" stroke-dashoffset="{s.dash_offset!r}"'
        )
    if shape.stroke_first:
        attributes.append('paint-order="stroke"')
    if fill is None and stroke is None:
        return ""
    drawn = f"<path {' '.join(attributes)}/>"
    for clip in shape.clips:
        drawn = f'<g clip-path="url(#{_clip(clip, definitions)})">{drawn}</g>'
    return drawn


def _clip(clip: Clip, definitions: list[str]) -> str:
    name = f"c{len(definitions)}"
    definitions.append("")
    parts = []
    for part in clip.parts:
        inner = "".join(f' clip-path="url(#{_clip(c, definitions)})"' for c in part.clips[:1])
        parts.append(
            f'<path d="{_data(part.path)}" transform="matrix({" ".join(map(repr, part.matrix))})" '
            f'clip-rule="{"evenodd" if part.evenodd else "nonzero"}"{inner}/>'
        )
    outer = "".join(f' clip-path="url(#{_clip(c, definitions)})"' for c in clip.clips[:1])
    definitions[int(name[1:])] = f'<clipPath id="{name}"{outer}>{"".join(parts)}</clipPath>'
    return name


def _colour(paint: Paint | None, shape: Shape, job: Job) -> str | None:
    """Return what a paint comes to on the sign: a film's colour, the background for the substrate, or nothing."""
    if paint is None or paint.kind is not PaintKind.SOLID or paint.opacity * shape.opacity == 0:
        return None
    role = job.role_of(paint.color, shape.origin.layer)
    if role is None or role.role == "film":
        return paint.color if role is None or role.film is None else _film_colour(role.film, job, paint)
    return BACKGROUND if role.role == "substrate" else None


def _film_colour(film: str, job: Job, paint: Paint) -> str | None:
    """Return one colour for all that is cut from a named film: the first the job gives it."""
    return next((colour for colour, role in job.colours.items() if role.film == film), paint.color)


def _data(path: Path) -> str:
    parts = []
    for index, (start, end) in enumerate(zip(path.starts, path.ends, strict=True)):
        x, y = path.controls[start, 0]
        parts.append(f"M{x!r} {y!r}".replace("np.float64(", "").replace(")", ""))
        for k in range(start, end):
            values = path.controls[k, 3:] if path.lines[k] else path.controls[k, 1:]
            parts.append(("L" if path.lines[k] else "C") + " ".join(map(repr, values.ravel().tolist())))
        if path.closed[index]:
            parts.append("Z")
    return "".join(parts)
