"""Path data to `Path`: the grammar of SVG 2, 9.3.9, with its error handling (9.5.4).

What precedes the first error is kept. A number may end with a bare point, as SVG 1.1's grammar has
it. Arcs become cubics of at most 45 degrees each (SVG 2, appendix B.2 for the centre form).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from preflight.curves import Path

_NUMBER = r"[+-]?+(?:[0-9]++\.?+[0-9]*+|\.[0-9]++)(?:[eE][+-]?+[0-9]++)?+"
_GAP = r"[ \t\r\n\f]*+"
_NUMBERS = re.compile(_NUMBER)
_LEXICAL = re.compile(
    rf"{_GAP}(?:[MmZzLlHhVvCcSsQqTtAa]{_GAP}(?:{_NUMBER}(?:{_GAP}(?:,{_GAP})?+{_NUMBER})*+{_GAP})?+)*+"
)
_COMMANDS = re.compile(r"([MmZzLlHhVvCcSsQqTtAa])([^MmZzLlHhVvCcSsQqTtAa]*)")
_BETWEEN = rf"{_GAP}(?:,{_GAP})?+"
_ARC = re.compile(
    rf"({_NUMBER}){_BETWEEN}({_NUMBER}){_BETWEEN}({_NUMBER}){_BETWEEN}([01]){_BETWEEN}([01]){_BETWEEN}"
    rf"({_NUMBER}){_BETWEEN}({_NUMBER}){_BETWEEN}"
)
_SIZE = {"m": 2, "l": 2, "h": 1, "v": 1, "c": 6, "s": 4, "q": 4, "t": 2, "a": 7, "z": 0}

HUGE = 1e12
"""Coordinates past this are refused as an error in the data: single precision, which the standard
asks for at least, has no detail left there, and products of them would leave double precision."""


@dataclass(frozen=True, slots=True)
class Parsed:
    """Path data's outcome."""

    path: Path
    error: str | None
    """What stopped the reading and at which character (counted from 1); None for valid data."""
    inner: frozenset[int] = frozenset()
    """Segments that end inside an arc: their ends are no vertices of the path data."""
    zero_closes: frozenset[int] = frozenset()
    """Subpaths whose closing command stood at their start already: a vertex without a segment."""


class _Pen:
    """Draws segments. Points are local; all coordinates are finite."""

    __slots__ = (
        "begun",
        "closed",
        "inner",
        "lines",
        "out",
        "pending",
        "starts",
        "sx",
        "sy",
        "x",
        "y",
        "zero_closes",
    )

    def __init__(self) -> None:
        self.out: list[float] = []
        self.lines: list[bool] = []
        self.starts: list[int] = []
        self.closed: list[bool] = []
        self.inner: set[int] = set()
        self.zero_closes: set[int] = set()
        self.x = self.y = self.sx = self.sy = 0.0
        self.pending = False
        self.begun = False

    def move(self, x: float, y: float) -> None:
        self.x = self.sx = x
        self.y = self.sy = y
        self.pending = True
        self.begun = True

    def _start(self) -> None:
        self.starts.append(len(self.lines))
        self.closed.append(False)
        self.sx, self.sy = self.x, self.y
        self.pending = False

    def line(self, x: float, y: float) -> None:
        if self.pending:
            self._start()
        px, py = self.x, self.y
        self.out += (px, py, px, py, x, y, x, y)
        self.lines.append(True)
        self.x, self.y = x, y

    def cubic(  # noqa: PLR0917  (six coordinates are what a cubic has)
        self, x1: float, y1: float, x2: float, y2: float, x: float, y: float
    ) -> None:
        if self.pending:
            self._start()
        self.out += (self.x, self.y, x1, y1, x2, y2, x, y)
        self.lines.append(False)
        self.x, self.y = x, y

    def arc(self, numbers: list[float], large: bool, sweep: bool, x: float, y: float) -> None:
        rx, ry, turn = numbers
        pieces = arc_cubics((self.x, self.y), (rx, ry), turn, large=large, sweep=sweep, end=(x, y))
        if pieces is None:
            if (x, y) != (self.x, self.y):
                self.line(x, y)
            elif self.pending:
                # An arc of no length still is a vertex, and makes the dot that round caps show.
                self.line(x, y)
            return
        for i, piece in enumerate(pieces):
            self.cubic(*piece)
            if i < len(pieces) - 1:
                self.inner.add(len(self.lines) - 1)

    def close(self) -> None:
        if self.pending:
            if not self.begun:
                return
            self.line(self.x, self.y)
        near = 1e-9 * (abs(self.sx) + abs(self.sy) + abs(self.x) + abs(self.y))
        dx, dy = abs(self.x - self.sx), abs(self.y - self.sy)
        if dx <= near and dy <= near:
            # Rounding of relative coordinates must not leave a gap or a stub.
            self.out[-2:] = (self.sx, self.sy)
            if self.lines[-1]:
                self.out[-4:-2] = (self.sx, self.sy)
            self.zero_closes.add(len(self.starts) - 1)
        elif dx or dy:
            self.line(self.sx, self.sy)
        self.closed[-1] = True
        self.x, self.y = self.sx, self.sy
        # What follows a close without a move starts a new subpath at the same point.
        self.pending = True
        self.begun = False

    def path(self) -> Path:
        if not self.lines:
            return Path.empty()
        return Path(
            np.array(self.out).reshape(-1, 4, 2),
            np.array(self.lines),
            np.array(self.starts, np.int64),
            np.array(self.closed),
        )


def arc_cubics(
    start: tuple[float, float],
    radii: tuple[float, float],
    rotation: float,
    *,
    large: bool,
    sweep: bool,
    end: tuple[float, float],
) -> list[tuple[float, float, float, float, float, float]] | None:
    """Return an elliptical arc as cubics (two controls and the end each), rotation in degrees.

    None where the arc is a straight line or nothing: a radius of zero, or equal ends. Radii too
    small are scaled up. Source: SVG 2, B.2.4 and B.2.5 (SVG 1.1, F.6.5 and F.6.6).
    """
    rx, ry = abs(radii[0]), abs(radii[1])
    x1, y1 = start
    x2, y2 = end
    if rx == 0 or ry == 0 or (x1 == x2 and y1 == y2):
        return None
    phi = math.radians(rotation % 360.0)
    cos, sin = math.cos(phi), math.sin(phi)
    hx, hy = (x1 - x2) / 2, (y1 - y2) / 2
    # Work on the unit circle: divide by the radii first, so that no square overflows.
    ux, uy = (cos * hx + sin * hy) / rx, (cos * hy - sin * hx) / ry
    size = math.hypot(ux, uy)
    if not math.isfinite(size) or size == 0:
        return None
    if size > 1:
        rx, ry = rx * size, ry * size
        ux, uy = ux / size, uy / size
        size = 1.0
    root = math.sqrt(max(1 / (size * size) - 1, 0.0))
    if large == sweep:
        root = -root
    vx, vy = root * uy, -root * ux
    first = math.atan2(uy - vy, ux - vx)
    delta = math.atan2(-uy - vy, -ux - vx) - first
    if sweep and delta < 0:
        delta += 2 * math.pi
    elif not sweep and delta > 0:
        delta -= 2 * math.pi
    cx = cos * vx * rx - sin * vy * ry + (x1 + x2) / 2
    cy = sin * vx * rx + cos * vy * ry + (y1 + y2) / 2
    count = max(1, math.ceil(abs(delta) / (math.pi / 4) - 1e-9))
    step = delta / count
    k = 4 / 3 * math.tan(step / 4)
    pieces = []
    ax, ay, bx, by = cos * rx, sin * rx, -sin * ry, cos * ry
    c0, s0 = math.cos(first), math.sin(first)
    for i in range(1, count + 1):
        c1, s1 = math.cos(first + i * step), math.sin(first + i * step)
        p, q = c0 - k * s0, s0 + k * c0
        r, t = c1 + k * s1, s1 - k * c1
        px, py = (x2, y2) if i == count else (cx + ax * c1 + bx * s1, cy + ay * c1 + by * s1)
        pieces.append(
            (cx + ax * p + bx * q, cy + ay * p + by * q, cx + ax * r + bx * t, cy + ay * r + by * t, px, py)
        )
        c0, s0 = c1, s1
    return pieces


def parse_path(data: str) -> Parsed:
    """Read path data. Never raises: an error is told in the outcome, with what came before it."""
    found = _LEXICAL.match(data)
    end = found.end() if found else 0
    error = None
    if end < len(data):
        error = f"“{_excerpt(data, end)}” at character {end + 1}"
    pen = _Pen()
    control: tuple[str, float, float] = ("", 0.0, 0.0)
    for item in _COMMANDS.finditer(data, 0, end):
        command = item.group(1)
        if not pen.begun and not pen.starts and command not in "Mm":
            error = f"“{command}” at character {item.start() + 1}: path data starts with a move (M)"
            break
        problem, control = _command(pen, command, item.group(2), control)
        if problem:
            error = f"{problem} after “{command}” at character {item.start() + 1}"
            break
    return Parsed(pen.path(), error, frozenset(pen.inner), frozenset(pen.zero_closes))


def _excerpt(data: str, at: int) -> str:
    return data[at : at + 12].split("\n", maxsplit=1)[0] + ("…" if len(data) > at + 12 else "")


def _command(
    pen: _Pen, command: str, text: str, control: tuple[str, float, float]
) -> tuple[str | None, tuple[str, float, float]]:
    """Draw one command with all its repeats; return what was wrong, and the last control point."""
    kind = command.lower()
    relative = command == kind
    if kind == "z":
        pen.close()
        return ("numbers" if text.strip(" \t\r\n\f") else None), ("", 0.0, 0.0)
    if kind == "a":
        return _arcs(pen, text, relative), ("", 0.0, 0.0)
    numbers = list(map(float, _NUMBERS.findall(text)))
    size = _SIZE[kind]
    whole = len(numbers) - len(numbers) % size
    problem = None if numbers and whole == len(numbers) else "missing numbers"
    if numbers and not max(map(abs, numbers)) < HUGE:
        whole = next(i for i, value in enumerate(numbers) if not abs(value) < HUGE) // size * size
        problem = "a number out of range"
    if kind in "ml":
        _lines(pen, numbers, whole, relative, kind == "m")
        return problem, ("", 0.0, 0.0)
    for i in range(0, whole, size):
        control = _DRAW[kind](pen, numbers[i : i + size], relative, control)
    return problem, control


def _lines(pen: _Pen, numbers: list[float], whole: int, relative: bool, moving: bool) -> None:
    for i in range(0, whole, 2):
        x, y = numbers[i], numbers[i + 1]
        if relative:
            x += pen.x
            y += pen.y
        if moving:
            pen.move(x, y)
            moving = False
        else:
            pen.line(x, y)


def _arcs(pen: _Pen, text: str, relative: bool) -> str | None:
    at = len(text) - len(text.lstrip(" \t\r\n\f"))
    drawn = 0
    while at < len(text):
        found = _ARC.match(text, at)
        if not found:
            return "an arc that is not two radii, an angle, two flags (0 or 1) and a point"
        rx, ry, turn, large, sweep, dx, dy = found.groups()
        numbers = [float(rx), float(ry), float(turn)]
        x, y = float(dx), float(dy)
        if not max(abs(x), abs(y), *map(abs, numbers)) < HUGE:
            return "a number out of range"
        if relative:
            x += pen.x
            y += pen.y
        pen.arc(numbers, large == "1", sweep == "1", x, y)
        at = found.end()
        drawn += 1
    return None if drawn else "missing numbers"


_Control = tuple[str, float, float]


def _horizontal(pen: _Pen, n: list[float], relative: bool, _: _Control) -> _Control:
    pen.line(n[0] + pen.x if relative else n[0], pen.y)
    return ("", 0.0, 0.0)


def _vertical(pen: _Pen, n: list[float], relative: bool, _: _Control) -> _Control:
    pen.line(pen.x, n[0] + pen.y if relative else n[0])
    return ("", 0.0, 0.0)


def _cubic(pen: _Pen, n: list[float], relative: bool, _: _Control) -> _Control:
    x1, y1, x2, y2, x, y = n
    if relative:
        px, py = pen.x, pen.y
        x1, y1, x2, y2, x, y = x1 + px, y1 + py, x2 + px, y2 + py, x + px, y + py
    pen.cubic(x1, y1, x2, y2, x, y)
    return ("c", x2, y2)


def _smooth(pen: _Pen, n: list[float], relative: bool, last: _Control) -> _Control:
    px, py = pen.x, pen.y
    x2, y2, x, y = n
    if relative:
        x2, y2, x, y = x2 + px, y2 + py, x + px, y + py
    # Only a cubic before gives a control point to reflect (SVG 2, 9.3.6).
    x1, y1 = (2 * px - last[1], 2 * py - last[2]) if last[0] == "c" else (px, py)
    pen.cubic(x1, y1, x2, y2, x, y)
    return ("c", x2, y2)


def _quadratic(pen: _Pen, n: list[float], relative: bool, _: _Control) -> _Control:
    x1, y1, x, y = n
    if relative:
        px, py = pen.x, pen.y
        x1, y1, x, y = x1 + px, y1 + py, x + px, y + py
    return _raised(pen, x1, y1, x, y)


def _smooth_quadratic(pen: _Pen, n: list[float], relative: bool, last: _Control) -> _Control:
    px, py = pen.x, pen.y
    x, y = (n[0] + px, n[1] + py) if relative else (n[0], n[1])
    x1, y1 = (2 * px - last[1], 2 * py - last[2]) if last[0] == "q" else (px, py)
    return _raised(pen, x1, y1, x, y)


def _raised(pen: _Pen, x1: float, y1: float, x: float, y: float) -> _Control:
    px, py = pen.x, pen.y
    pen.cubic(
        px + (x1 - px) * 2 / 3, py + (y1 - py) * 2 / 3, x + (x1 - x) * 2 / 3, y + (y1 - y) * 2 / 3, x, y
    )
    return ("q", x1, y1)


_DRAW = {
    "h": _horizontal,
    "v": _vertical,
    "c": _cubic,
    "s": _smooth,
    "q": _quadratic,
    "t": _smooth_quadratic,
}
