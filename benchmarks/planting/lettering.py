"""Clean letter-like shapes: everything in them is clearly wider than the limits."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from benchmarks.planting.outline import (
    Shape,
    blob,
    circle,
    polygon,
    rectangle,
    rounded,
    sector,
)

CLEAR = 1.5
"""Parts and gaps that are to be clean are at least so many times as wide as the limit."""


@dataclass(frozen=True, slots=True)
class Setting:
    """What a shape is made for: it lies within ``radius`` of its middle; limits in mm."""

    radius: float
    solid: float
    gap: float
    coincidence: float
    random: np.random.Generator

    def between(self, low: float, high: float) -> float:
        """Return a number between ``low`` and ``high``, evenly spread over their logarithms."""
        if high <= low:
            return low
        return float(np.exp(self.random.uniform(np.log(low), np.log(high))))

    @property
    def least_part(self) -> float:
        """A width of film that is clearly wide enough."""
        return CLEAR * self.solid

    @property
    def least_gap(self) -> float:
        """A gap that is clearly wide enough."""
        return CLEAR * self.gap

    def chance(self, share: float = 0.5) -> bool:
        """Return True in this share of the calls."""
        return bool(self.random.random() < share)


def bar(s: Setting) -> list[Shape]:
    """A rectangle."""
    angle = s.random.uniform(0.15, math.pi / 4)
    width = max(2 * s.radius * math.sin(angle), s.least_part)
    return [Shape((rectangle(2 * s.radius * math.cos(angle) * 0.99, width * 0.99),))]


def disc(s: Setting) -> list[Shape]:
    """A disc."""
    return [Shape((circle(s.radius * s.random.uniform(0.5, 1), 0, s.random.uniform(0, 6)),))]


def ring(s: Setting) -> list[Shape]:
    """A ring, by fill rule or by direction."""
    outer = s.radius * s.random.uniform(0.8, 1)
    inner = s.between(s.least_gap, outer - s.least_part)
    hole = circle(inner)
    if s.chance():
        return [Shape((circle(outer), hole), evenodd=True)]
    return [Shape((circle(outer), hole.reversed()))]


def comb(s: Setting) -> list[Shape]:
    """A spine with teeth, as an E has."""
    height = 1.2 * s.radius
    most = int((height + s.least_gap) / (s.least_part + s.least_gap))
    teeth = int(s.random.integers(1, max(min(most, 6), 1) + 1))
    spare = height - teeth * s.least_part - (teeth - 1) * s.least_gap
    tooth = s.least_part + spare * 0.5 / teeth
    gap = s.least_gap + (spare * 0.5 / (teeth - 1) if teeth > 1 else 0)
    spine, width = s.least_part * s.random.uniform(1, 1.3), 1.4 * s.radius
    x0, x1, x2 = -width / 2, -width / 2 + spine, width / 2
    y = -(teeth * tooth + (teeth - 1) * gap) / 2
    top, points = y, []
    for k in range(teeth):
        points += [complex(x2, y), complex(x2, y + tooth)]
        y += tooth
        if k < teeth - 1:
            points += [complex(x1, y), complex(x1, y + gap)]
            y += gap
    return [Shape((polygon([complex(x0, top), *points, complex(x0, y)]),))]


def lump(s: Setting) -> list[Shape]:
    """A smooth blob."""
    return [Shape((blob(s.radius, s.random),))]


def lozenge(s: Setting) -> list[Shape]:
    """A polygon whose corners are no sharper than 40 degrees."""
    count = int(s.random.integers(3, 8))
    angles = np.arange(count) * 2 * np.pi / count + s.random.uniform(-0.12, 0.12, count)
    radii = s.radius * s.random.uniform(0.85, 1, count)
    return [Shape((polygon([cmath.rect(float(r), float(a)) for r, a in zip(radii, angles, strict=True)]),))]


def arch(s: Setting) -> list[Shape]:
    """A piece of a ring, as a C has."""
    outer = s.radius
    inner = s.random.uniform(0.4, 1) * (outer - s.least_part)
    half = s.random.uniform(0.6, math.pi - max(0.3, math.asin(min(s.least_gap / inner, 1))))
    return [Shape((sector(inner, outer, half),))]


def pill(s: Setting) -> list[Shape]:
    """A rectangle with round corners or ends, perhaps with two round counters as a B has."""
    width, height = 1.7 * s.radius, 1.0 * s.radius
    outline = rounded(width, height, height * s.random.uniform(0.1, 0.5))
    room = min(height, width / 2) - 2 * s.least_part
    if room < 2 * s.least_gap or s.chance():
        return [Shape((outline,))]
    hole = s.random.uniform(s.least_gap, room) / 2
    return [Shape((outline, circle(hole, -width / 4), circle(hole, width / 4)), evenodd=True)]


def target(s: Setting) -> list[Shape]:
    """A ring with a separate disc in its middle."""
    outer = s.radius
    inner = outer - s.least_part
    middle = inner - s.least_gap
    if middle < s.least_part:
        return ring(s)
    return [
        Shape((circle(outer), circle(inner).reversed())),
        Shape((circle(s.random.uniform(s.least_part, middle)),)),
    ]


def cross(s: Setting) -> list[Shape]:
    """A plus sign of one outline."""
    a = s.radius * 0.89
    b = s.random.uniform(s.least_part / 2, a * 0.5)
    quarter = [complex(a, -b), complex(a, b), complex(b, b)]
    return [Shape((polygon([p * 1j**k for k in range(4) for p in quarter]),))]


LETTERS: tuple[Callable[[Setting], list[Shape]], ...] = (
    bar, disc, ring, comb, lump, lozenge, arch, pill, target, cross,
)  # fmt: skip
