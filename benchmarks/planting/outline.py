"""Outlines made of straight lines, circular arcs and cubics, whose widths and gaps are known exactly.

Points are complex numbers in mm, so that turning and moving are one multiplication and one addition.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Segment:
    """A straight line to ``end``; an arc of ``radius`` (flags as in path data); a cubic by its ``handles``."""

    end: complex
    radius: float = 0.0
    large: bool = False
    sweep: bool = False
    handles: tuple[complex, complex] | None = None


@dataclass(frozen=True, slots=True)
class Contour:
    """A run of segments from ``start``; a closed one ends with a closing command."""

    start: complex
    segments: tuple[Segment, ...]
    closed: bool = True

    def placed(self, turn: complex, shift: complex) -> Contour:
        """Return the contour turned and enlarged by ``turn``, then moved."""
        return Contour(
            self.start * turn + shift,
            tuple(
                Segment(
                    s.end * turn + shift,
                    s.radius * abs(turn),
                    s.large,
                    s.sweep,
                    None if s.handles is None else (s.handles[0] * turn + shift, s.handles[1] * turn + shift),
                )
                for s in self.segments
            ),
            self.closed,
        )

    def reversed(self) -> Contour:
        """Return the same contour drawn the other way round."""
        ends = [self.start, *(s.end for s in self.segments)]
        back = [
            Segment(begin, s.radius, s.large, not s.sweep, None if s.handles is None else s.handles[::-1])
            for begin, s in zip(ends[:-1], self.segments, strict=True)
        ]
        return Contour(ends[-1], tuple(back[::-1]), self.closed)

    def from_segment(self, index: int) -> Contour:
        """Return the same closed contour begun at another of its nodes."""
        at = index % len(self.segments)
        if at == 0:
            return self
        return Contour(self.segments[at - 1].end, (*self.segments[at:], *self.segments[:at]), self.closed)

    def data(self) -> str:
        """Return the path data, to a hundredth of a micrometre."""
        parts = [f"M{_xy(self.start)}"]
        for s in self.segments:
            if s.handles is not None:
                parts.append(f"C{_xy(s.handles[0])} {_xy(s.handles[1])} {_xy(s.end)}")
            elif s.radius:
                parts.append(f"A{s.radius:.5f} {s.radius:.5f} 0 {s.large:d} {s.sweep:d} {_xy(s.end)}")
            else:
                parts.append(f"L{_xy(s.end)}")
        return "".join(parts) + ("Z" if self.closed else "")


@dataclass(frozen=True, slots=True)
class Shape:
    """One path element: contours with a fill rule."""

    contours: tuple[Contour, ...]
    evenodd: bool = False

    def placed(self, turn: complex, shift: complex) -> Shape:
        """Return the shape turned, then moved."""
        return Shape(tuple(c.placed(turn, shift) for c in self.contours), self.evenodd)

    def enlarged(self, factor: float) -> Shape:
        """Return the shape enlarged about the origin."""
        return self.placed(factor, 0)

    def data(self) -> str:
        """Return the path data of all contours."""
        return "".join(contour.data() for contour in self.contours)


def _xy(point: complex) -> str:
    return f"{point.real:.5f},{point.imag:.5f}"


def polygon(points: Sequence[complex]) -> Contour:
    """Return a closed contour of straight lines."""
    return Contour(points[0], tuple(Segment(p) for p in (*points[1:], points[0])))


def rectangle(width: float, height: float, centre: complex = 0) -> Contour:
    """Return a rectangle round ``centre``."""
    a, b = width / 2, height / 2
    return polygon([centre + p for p in (complex(-a, -b), complex(a, -b), complex(a, b), complex(-a, b))])


def circle(radius: float, centre: complex = 0, start: float = 0.0) -> Contour:
    """Return a circle of three arcs, begun at angle ``start`` in radians.

    Not of two: where an arc's chord is its diameter, a rounded digit moves its middle by far more.
    """
    nodes = [centre + cmath.rect(radius, start + k * 2 * math.pi / 3) for k in range(3)]
    return Contour(nodes[0], tuple(Segment(nodes[k % 3], radius, False, True) for k in (1, 2, 3)))


def rounded(width: float, height: float, radius: float, centre: complex = 0) -> Contour:
    """Return a rectangle with round corners; with half the lesser side as radius, a stadium."""
    a, b, r = width / 2, height / 2, radius
    nodes = [
        complex(-a + r, -b), complex(a - r, -b), complex(a, -b + r), complex(a, b - r),
        complex(a - r, b), complex(-a + r, b), complex(-a, b - r), complex(-a, -b + r),
    ]  # fmt: skip
    segments = []
    for k in range(8):
        end = centre + nodes[(k + 1) % 8]
        segments.append(Segment(end) if k % 2 == 0 else Segment(end, r, False, True))
    return Contour(centre + nodes[0], tuple(segments))


def sector(inner: float, outer: float, half_angle: float, centre: complex = 0) -> Contour:
    """Return a piece of a ring from ``-half_angle`` to ``half_angle`` (radians) with straight ends."""
    large = half_angle > math.pi / 2
    a, b = centre + cmath.rect(outer, -half_angle), centre + cmath.rect(outer, half_angle)
    c, d = centre + cmath.rect(inner, half_angle), centre + cmath.rect(inner, -half_angle)
    return Contour(
        a, (Segment(b, outer, large, True), Segment(c), Segment(d, inner, large, False), Segment(a))
    )


def blob(radius: float, random: np.random.Generator) -> Contour:
    """Return a smooth closed curve between 0.6 and 1 of ``radius`` from its middle, without tight bends."""
    count = 12
    angles = np.arange(count) * 2 * np.pi / count
    waves = [(k, random.uniform(-0.06, 0.06), random.uniform(0, 2 * np.pi)) for k in (2, 3)]
    radii = 0.85 * radius + radius * np.sum([a * np.cos(k * angles + p) for k, a, p in waves], axis=0)
    nodes = [cmath.rect(float(r), float(t)) for r, t in zip(radii, angles, strict=True)]
    tangents = [(nodes[(k + 1) % count] - nodes[k - 1]) / 6 for k in range(count)]
    segments = [
        Segment(
            nodes[(k + 1) % count],
            handles=(nodes[k] + tangents[k], nodes[(k + 1) % count] - tangents[(k + 1) % count]),
        )
        for k in range(count)
    ]
    return Contour(nodes[0], tuple(segments))
