"""What PDFium makes of a page: its path objects' contours, in mm of the page, y down."""

from __future__ import annotations

import ctypes
from dataclasses import dataclass

import numpy as np
import pypdfium2
from pypdfium2 import raw

MM_PER_POINT = 25.4 / 72
"""CSS Values and Units 4, 6.2, and ISO 32000-1, 8.3.2.3."""


@dataclass(frozen=True)
class Drawn:
    """One path object."""

    contours: list[np.ndarray]
    closed: list[bool]
    filled: bool
    stroked: bool
    fill: tuple[int, int, int]
    stroke_width: float
    curves: int


def drawn(data: bytes, *, unit: float = 1.0, samples: int = 240) -> tuple[float, float, list[Drawn]]:
    """Return the first page's width and height in mm and its path objects, ``samples`` points a curve.

    ``unit`` is the page's user unit in points, which PDFium itself passes over.
    """
    document = pypdfium2.PdfDocument(data)
    page = document[0]
    width, height = (side * MM_PER_POINT * unit for side in page.get_size())
    found = []
    for index in range(raw.FPDFPage_CountObjects(page)):
        item = raw.FPDFPage_GetObject(page, index)
        assert raw.FPDFPageObj_GetType(item) == raw.FPDF_PAGEOBJ_PATH
        found.append(_path(item, height, MM_PER_POINT * unit, samples))
    return width, height, found


def _path(item: raw.FPDF_PAGEOBJECT, height: float, scale: float, samples: int) -> Drawn:
    matrix = raw.FS_MATRIX()
    assert raw.FPDFPageObj_GetMatrix(item, matrix)
    contours: list[list[tuple[float, float]]] = []
    closed: list[bool] = []
    curves = 0
    waiting: list[tuple[float, float]] = []
    for index in range(raw.FPDFPath_CountSegments(item)):
        segment = raw.FPDFPath_GetPathSegment(item, index)
        x, y = ctypes.c_float(), ctypes.c_float()
        assert raw.FPDFPathSegment_GetPoint(segment, x, y)
        at = (
            matrix.a * x.value + matrix.c * y.value + matrix.e,
            matrix.b * x.value + matrix.d * y.value + matrix.f,
        )
        kind = raw.FPDFPathSegment_GetType(segment)
        if kind == raw.FPDF_SEGMENT_MOVETO:
            contours.append([at])
            closed.append(False)
        elif kind == raw.FPDF_SEGMENT_LINETO:
            contours[-1].append(at)
        else:
            waiting.append(at)
            if len(waiting) == 3:
                curves += 1
                contours[-1].extend(_curve(contours[-1][-1], waiting, samples))
                waiting = []
        if raw.FPDFPathSegment_GetClose(segment):
            closed[-1] = True
            contours[-1].append(contours[-1][0])
    mode, stroke = ctypes.c_int(), raw.FPDF_BOOL()
    assert raw.FPDFPath_GetDrawMode(item, mode, stroke)
    channels = [ctypes.c_uint() for _ in range(4)]
    raw.FPDFPageObj_GetFillColor(item, *channels)
    line = ctypes.c_float()
    raw.FPDFPageObj_GetStrokeWidth(item, line)
    flipped = [np.array(points) * (scale, -scale) + (0, height) for points in contours]
    red, green, blue = (channel.value for channel in channels[:3])
    return Drawn(flipped, closed, mode.value != 0, bool(stroke.value), (red, green, blue), line.value, curves)


def _curve(
    start: tuple[float, float], rest: list[tuple[float, float]], samples: int
) -> list[tuple[float, float]]:
    t = np.linspace(0, 1, samples + 1)[1:, None]
    p0, p1, p2, p3 = (np.array(point) for point in (start, *rest))
    points = (1 - t) ** 3 * p0 + 3 * (1 - t) ** 2 * t * p1 + 3 * (1 - t) * t**2 * p2 + t**3 * p3
    return [(float(x), float(y)) for x, y in points]
