"""viewBox, preserveAspectRatio, and the rectangles they fit (SVG 2, 8.2, 8.6 and 8.7)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from preflight.curves import IDENTITY, Matrix, Path
from preflight.readers.svg.values import NUMBER

_VIEWBOX = re.compile(
    rf"\s*+({NUMBER})(?:\s*+,\s*+|\s++|(?=[-+.]))({NUMBER})(?:\s*+,\s*+|\s++|(?=[-+.]))({NUMBER})"
    rf"(?:\s*+,\s*+|\s++|(?=[-+.]))({NUMBER})\s*+\Z"
)
_ALIGN = re.compile(r"x(Min|Mid|Max)Y(Min|Mid|Max)\Z")
_SHARE = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}


@dataclass(frozen=True, slots=True)
class ViewBox:
    """A viewBox in user units; width and height are 0 or more."""

    x: float
    y: float
    width: float
    height: float


def view_box(text: str | None) -> ViewBox | None:
    """Return a viewBox; None where it is missing, malformed or negative."""
    found = _VIEWBOX.match(text) if text else None
    if not found:
        return None
    x, y, width, height = (float(v) for v in found.groups())
    if not all(map(math.isfinite, (x, y, width, height))) or width < 0 or height < 0:
        return None
    return ViewBox(x, y, width, height)


def fit(box: ViewBox, aspect: str | None, width: float, height: float) -> Matrix:
    """Return the map from ``box`` to a rectangle at the origin, ``width`` by ``height``.

    ``aspect`` is preserveAspectRatio; a malformed one counts as ``xMidYMid meet``.
    """
    sx, sy = width / box.width, height / box.height
    words = (aspect or "").split()
    if words[:1] == ["defer"]:
        words = words[1:]
    align = words[0] if words else "xMidYMid"
    if align == "none":
        return (sx, 0.0, 0.0, sy, -box.x * sx, -box.y * sy)
    found = _ALIGN.match(align)
    across, down = found.groups() if found else ("Mid", "Mid")
    slicing = bool(found) and len(words) > 1 and words[1] == "slice"
    scale = max(sx, sy) if slicing else min(sx, sy)
    dx = (width - box.width * scale) * _SHARE[across] - box.x * scale
    dy = (height - box.height * scale) * _SHARE[down] - box.y * scale
    return (scale, 0.0, 0.0, scale, dx, dy)


def fit_or_identity(box: ViewBox | None, aspect: str | None, width: float, height: float) -> Matrix | None:
    """As `fit`; identity without a viewBox, None where nothing can show (an empty or senseless one)."""
    if box is None:
        return IDENTITY
    if box.width <= 0 or box.height <= 0:
        return None
    if not (max(width, height) < 1e12 * min(box.width, box.height) and max(abs(box.x), abs(box.y)) < 1e12):
        return None
    return fit(box, aspect, width, height)


_LINES, _START, _CLOSED = np.ones(4, bool), np.zeros(1, np.int64), np.ones(1, bool)
for _shared in (_LINES, _START, _CLOSED):
    _shared.setflags(write=False)


def rectangle(x: float, y: float, width: float, height: float) -> Path:
    """Return a closed rectangle."""
    right, bottom = x + width, y + height
    flat = (
        x, y, x, y, right, y, right, y,
        right, y, right, y, right, bottom, right, bottom,
        right, bottom, right, bottom, x, bottom, x, bottom,
        x, bottom, x, bottom, x, y, x, y,
    )  # fmt: skip
    return Path(np.array(flat, float).reshape(4, 4, 2), _LINES, _START, _CLOSED)
