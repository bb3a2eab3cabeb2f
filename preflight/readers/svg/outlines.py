"""Outlines of the basic shapes and paths (SVG 2, chapters 9 and 10)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
import tinycss2
from lxml import etree

from preflight.curves import Path
from preflight.readers.svg.pathdata import HUGE, Parsed, parse_path
from preflight.readers.svg.style import Style
from preflight.readers.svg.values import NUMBER, Measure, length
from preflight.readers.svg.viewport import rectangle

SHAPES = frozenset(("path", "rect", "circle", "ellipse", "line", "polyline", "polygon"))

_KAPPA = 4 / 3 * math.tan(math.pi / 16)
"""Control length of a cubic for an eighth of the unit circle."""

_POINTS = re.compile(NUMBER)
_POINTS_LEXICAL = re.compile(rf"[\s]*+(?:{NUMBER}(?:\s*+(?:,\s*+)?+{NUMBER})*+)?+\s*+")


@dataclass(slots=True)
class Outline:
    """A shape's outline in its own coordinates."""

    path: Path
    inner: frozenset[int] = frozenset()
    """Segments whose ends are no vertices (see `Parsed`)."""
    zero_closes: frozenset[int] = frozenset()
    errors: tuple[tuple[str, str], ...] = ()
    """Faults met: ``path`` or ``value``, and what."""

    @property
    def reach(self) -> float:
        """The largest absolute coordinate."""
        controls = self.path.controls
        if not len(controls):
            return 0.0
        if len(controls) < 64:
            return max(map(abs, controls.ravel().tolist()))  # quicker than array calls while short
        return float(np.abs(controls).max())


NOTHING = Outline(Path.empty())


def geometry(
    element: etree._Element, style: Style, measure: Measure, name: str, axis: str
) -> tuple[float | None, bool]:
    """Return a geometry property in px and whether its value was readable.

    None where it is unset, ``auto`` or unreadable. A style sheet's value comes before the
    attribute's (SVG 2, 7.4).
    """
    text = style.own.get(name) if style.own else None
    if text is None:
        text = element.get(name)
        if text is None:
            return None, True
    value = length(text, measure, axis)
    if value is None:
        return None, text.strip().lower() in ("auto", "")
    return (value, True) if abs(value) < HUGE else (None, False)


def outline(element: etree._Element, local: str, style: Style, measure: Measure) -> Outline:
    """Return the outline of a shape element; an empty one where it does not show."""
    if local == "path":
        return _path(element, style)
    errors: list[tuple[str, str]] = []
    inner, zero_closes = frozenset[int](), frozenset[int]()

    def read(name: str, axis: str) -> float | None:
        value, good = geometry(element, style, measure, name, axis)
        if not good:
            errors.append(("value", f"{name} of {local}"))
            return None
        return value

    if local == "rect":
        corner, size = (
            (read("x", "x") or 0.0, read("y", "y") or 0.0),
            (read("width", "x"), read("height", "y")),
        )
        path, inner = _rect(corner, size, *_pair(read("rx", "x"), read("ry", "y")))
        zero_closes = frozenset((0,)) if inner else zero_closes
    elif local == "circle":
        r = read("r", "o")
        path = _ellipse(read("cx", "x") or 0.0, read("cy", "y") or 0.0, r, r)
        inner, zero_closes = _QUARTERS, frozenset((0,))
    elif local == "ellipse":
        path = _ellipse(
            read("cx", "x") or 0.0, read("cy", "y") or 0.0, *_pair(read("rx", "x"), read("ry", "y"))
        )
        inner, zero_closes = _QUARTERS, frozenset((0,))
    elif local == "line":
        ends = [
            (read("x1", "x") or 0.0, read("y1", "y") or 0.0),
            (read("x2", "x") or 0.0, read("y2", "y") or 0.0),
        ]
        path = Path.polygon(ends, closed=False)
    else:
        return _points(element.get("points") or "", closed=local == "polygon")
    return Outline(path, inner, zero_closes, tuple(errors))


def _path(element: etree._Element, style: Style) -> Outline:
    data = element.get("d")
    if style.own and "d" in style.own:
        data = _css_path(style.own["d"], data)
    if not data or data.strip() == "none":
        return NOTHING
    parsed: Parsed = parse_path(data)
    errors = (("path", parsed.error),) if parsed.error else ()
    return Outline(parsed.path, parsed.inner, parsed.zero_closes, errors)


def _css_path(text: str, attribute: str | None) -> str | None:
    """Return the data of a ``d: path("...")`` property; the attribute's where it is malformed."""
    if text.lower() == "none":
        return None
    for token in tinycss2.parse_component_value_list(text):
        if token.type == "function" and token.lower_name == "path":
            strings = [t.value for t in token.arguments if t.type == "string"]
            if len(strings) == 1:
                return str(strings[0])
    return attribute


def _pair(rx: float | None, ry: float | None) -> tuple[float | None, float | None]:
    """Return both radii where one may be automatic; a negative one counts as unset (SVG 2, 10.3)."""
    rx = None if rx is not None and rx < 0 else rx
    ry = None if ry is not None and ry < 0 else ry
    return (ry if rx is None else rx), (rx if ry is None else ry)


def _rect(
    corner: tuple[float, float],
    size: tuple[float | None, float | None],
    rx: float | None,
    ry: float | None,
) -> tuple[Path, frozenset[int]]:
    """Return a rectangle and the segments that end inside its rounded corners."""
    (x, y), (width, height) = corner, size
    if width is None or height is None or width <= 0 or height <= 0:
        return Path.empty(), frozenset()
    # Clamped one by one, not in proportion (SVG 2, 10.2).
    a, b = min(rx or 0.0, width / 2), min(ry or 0.0, height / 2)
    if a <= 0 or b <= 0:
        return rectangle(x, y, width, height), frozenset()
    points: list[list[tuple[float, float]]] = []
    lines: list[bool] = []
    inner: set[int] = set()
    right, bottom = x + width, y + height

    def line(start: tuple[float, float], end: tuple[float, float]) -> None:
        if start != end:
            points.append([start, start, end, end])
            lines.append(True)

    def turn(cx: float, cy: float, eighth: int) -> None:
        inner.add(len(points))
        for segment in _EIGHTHS[eighth : eighth + 2]:
            points.append([(cx + a * px, cy + b * py) for px, py in segment])
            lines.append(False)

    line((x + a, y), (right - a, y))
    turn(right - a, y + b, 6)
    line((right, y + b), (right, bottom - b))
    turn(right - a, bottom - b, 0)
    line((right - a, bottom), (x + a, bottom))
    turn(x + a, bottom - b, 2)
    line((x, bottom - b), (x, y + b))
    turn(x + a, y + b, 4)
    return _closed(points, lines), frozenset(inner)


def _closed(points: list[list[tuple[float, float]]], lines: list[bool]) -> Path:
    controls = np.array(points)
    # Corners meet exactly, whatever rounding says.
    controls[:, 0] = np.roll(controls[:, 3], 1, axis=0)
    return Path(controls, np.array(lines), np.zeros(1, np.int64), np.array([True]))


def _eighths() -> list[list[tuple[float, float]]]:
    """Return the unit circle as eight cubics, clockwise as seen with y down, from (1, 0)."""
    found = []
    half = 0.7071067811865476
    nodes = [
        (1.0, 0.0),
        (half, half),
        (0.0, 1.0),
        (-half, half),
        (-1.0, 0.0),
        (-half, -half),
        (0.0, -1.0),
        (half, -half),
    ]
    for (ax, ay), (bx, by) in zip(nodes, nodes[1:] + nodes[:1], strict=True):
        k = _KAPPA
        found.append([(ax, ay), (ax - k * ay, ay + k * ax), (bx + k * by, by - k * bx), (bx, by)])
    return found


_EIGHTHS = _eighths()
_CIRCLE = np.array(_EIGHTHS)
_QUARTERS = frozenset((0, 2, 4, 6))
"""Circles count as four arcs (SVG 2, 10.3): the eighths between are no vertices."""


def _ellipse(cx: float, cy: float, rx: float | None, ry: float | None) -> Path:
    if rx is None or ry is None or rx <= 0 or ry <= 0:
        return Path.empty()
    controls = _CIRCLE * (rx, ry) + (cx, cy)
    return Path(controls, np.zeros(8, bool), np.zeros(1, np.int64), np.array([True]))


def _points(text: str, *, closed: bool) -> Outline:
    found = _POINTS_LEXICAL.match(text)
    end = found.end() if found else 0
    errors: list[tuple[str, str]] = []
    numbers = [float(v) for v in _POINTS.findall(text[:end])]
    if end < len(text):
        errors.append(("path", f"points stop being numbers at character {end + 1}"))
    good = next((i for i, v in enumerate(numbers) if not abs(v) < HUGE), len(numbers))
    if good < len(numbers):
        errors.append(("path", "a point out of range"))
    elif good % 2:
        errors.append(("path", "points have an odd number of coordinates"))
    numbers = numbers[: good - good % 2]
    if len(numbers) < 4:
        return Outline(Path.empty(), errors=tuple(errors))
    nodes = np.array(numbers).reshape(-1, 2)
    if closed and len(nodes) > 1 and (nodes[0] == nodes[-1]).all():
        nodes = nodes[:-1] if len(nodes) > 2 else nodes
    return Outline(Path.polygon(nodes, closed=closed), errors=tuple(errors))
