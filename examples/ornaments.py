"""Garden ornaments for the examples, each about the origin and in mm."""

from __future__ import annotations

import math

from examples.outlines import Command, Drawing, ellipse, panel, polygon, together


def leaf(length: float, width: float, tip: float = 1.5) -> Drawing:
    """Return a leaf that grows upwards from the origin, with a rounded tip of radius ``tip`` mm."""
    half = width / 2
    commands: tuple[Command, ...] = (
        ("M", ((-tip, 0),)),
        ("C", ((-half * 1.25, -length * 0.3), (-half * 0.9, -length * 0.75), (-tip, -length + tip))),
        ("Q", ((0, -length - tip * 0.4), (tip, -length + tip))),
        ("C", ((half * 0.9, -length * 0.75), (half * 1.25, -length * 0.3), (tip, 0))),
        ("Q", ((0, tip), (-tip, 0))),
        ("Z", ()),
    )
    return Drawing(commands)


def sprig(size: float) -> Drawing:
    """Return three separate leaves fanning out upwards, ``size`` mm tall."""
    middle = leaf(size, size * 0.42).moved(0, -size * 0.06)
    left = leaf(size * 0.72, size * 0.34).turned(-62).moved(-size * 0.1, 0)
    return together([left, middle, left.scaled(-1, 1)])


def sun(radius: float, rays: int = 12) -> Drawing:
    """Return a disc with separate rounded rays; ``radius`` is that of the whole."""
    ray = panel(radius * 0.72, -radius * 0.055, radius * 0.28, radius * 0.11, radius * 0.05)
    return together([ellipse(0, 0, radius * 0.6), *(ray.turned(i * 360 / rays) for i in range(rays))])


def hive(width: float) -> Drawing:
    """Return a straw beehive of four bands, the lowest with a doorway; its foot is on the x axis."""
    band, gap = width * 0.17, width * 0.05
    shares = (1.0, 0.94, 0.76, 0.44)
    parts = []
    for i, share in enumerate(shares):
        bottom = -i * (band + gap)
        parts.append(panel(-width * share / 2, bottom - band, width * share, band, band * 0.48))
    door = ellipse(0, -band / 2, band * 0.32, hole=True)
    return together([*parts, door])


def carrot(length: float) -> Drawing:
    """Return a carrot's root hanging down from the origin."""
    half, tip = length * 0.17, length * 0.02
    return Drawing(
        (
            ("M", ((-half * 0.7, 0),)),
            ("C", ((-half * 1.6, length * 0.2), (-half * 0.6, length * 0.75), (-tip, length - tip))),
            ("Q", ((0, length + tip), (tip, length - tip))),
            ("C", ((half * 0.6, length * 0.75), (half * 1.6, length * 0.2), (half * 0.7, 0))),
            ("Q", ((0, -half * 0.5), (-half * 0.7, 0))),
            ("Z", ()),
        )
    )


def spade(height: float) -> Drawing:
    """Return a garden spade standing on its blade, as one outline; the blade's edge is at the origin."""
    w, blade, shaft, grip = height * 0.26, height * 0.36, height * 0.05, height * 0.16
    x, s, g = w / 2, shaft / 2, grip / 2
    top, neck, r = -height, -blade, height * 0.055
    body: tuple[Command, ...] = (
        ("M", ((-x, neck),)),
        ("L", ((-s, neck),)),
        ("L", ((-s, top + r),)),
        ("L", ((-g, top + r),)),
        ("Q", ((-g - r * 0.6, top + r / 2), (-g, top))),
        ("L", ((g, top),)),
        ("Q", ((g + r * 0.6, top + r / 2), (g, top + r))),
        ("L", ((s, top + r),)),
        ("L", ((s, neck),)),
        ("L", ((x, neck),)),
        ("L", ((x, -blade * 0.4),)),
        ("C", ((x, -blade * 0.1), (x * 0.5, 0), (0, 0))),
        ("C", ((-x * 0.5, 0), (-x, -blade * 0.1), (-x, -blade * 0.4))),
        ("Z", ()),
    )
    return Drawing(body)


def arrow(length: float, height: float) -> Drawing:
    """Return an arrow that points right, its tail's middle at the origin."""
    head, half = height * 0.9, height / 2
    return polygon(
        [
            (0, -half * 0.45),
            (length - head, -half * 0.45),
            (length - head, -half),
            (length, 0),
            (length - head, half),
            (length - head, half * 0.45),
            (0, half * 0.45),
        ]
    )


def bunting(width: float, flags: int, drop: float, sag: float) -> list[Drawing]:
    """Return separate triangular flags along a sagging line from (0, 0) to (width, 0)."""
    step = width / flags
    out = []
    for i in range(flags):
        middle = (i + 0.5) * step
        fall = sag * (1 - (2 * middle / width - 1) ** 2)
        slope = math.degrees(math.atan(-4 * sag / width * (2 * middle / width - 1)))
        half = step * 0.42
        flag = polygon([(-half, 0), (half, 0), (0, drop)])
        out.append(flag.turned(slope).moved(middle, fall))
    return out


def watering_can(size: float) -> Drawing:
    """Return a watering can as open centre-lines, ``size`` mm wide, standing on the x axis."""
    s = size
    return Drawing(
        (
            ("M", ((-0.22 * s, -0.42 * s),)),
            ("L", ((-0.28 * s, 0),)),
            ("L", ((0.2 * s, 0),)),
            ("L", ((0.14 * s, -0.42 * s),)),
            ("Z", ()),
            ("M", ((0.18 * s, -0.12 * s),)),
            ("C", ((0.32 * s, -0.14 * s), (0.34 * s, -0.34 * s), (0.46 * s, -0.46 * s))),
            ("M", ((0.4 * s, -0.5 * s),)),
            ("L", ((0.52 * s, -0.4 * s),)),
            ("M", ((-0.25 * s, -0.1 * s),)),
            ("C", ((-0.6 * s, -0.14 * s), (-0.56 * s, -0.56 * s), (-0.2 * s, -0.42 * s))),
            ("M", ((-0.16 * s, -0.42 * s),)),
            ("C", ((-0.14 * s, -0.62 * s), (0.06 * s, -0.62 * s), (0.08 * s, -0.42 * s))),
        )
    )
