"""Defects of width: narrow gaps, necks and slivers, each exactly as wide as stated."""

from __future__ import annotations

import cmath
import math

from benchmarks.planting.lettering import Setting
from benchmarks.planting.outline import Contour, Segment, Shape, circle, polygon, rectangle, rounded, sector
from benchmarks.planting.plant import Maker, Plant

GAP = frozenset({"narrow-gap"})
THIN = frozenset({"thin-feature"})
NOT_ONE_LINE = 1.2
"""Widths are at least so many coincidence tolerances: narrower ones are near double cuts."""

NOT_OF_ONE_WIDTH = frozenset({"point", "lens"})
"""Forms whose measured width follows from no one number."""


def _width(s: Setting, limit: float, badness: float) -> tuple[float, float]:
    """Return a width and its badness, not so narrow that both walls are as good as one line."""
    width = max(limit / badness, NOT_ONE_LINE * s.coincidence)
    return width, limit / width


def facing_bars(s: Setting, badness: float) -> Plant:
    """Two straight edges that face each other."""
    gap, badness = _width(s, s.gap, badness)
    wide, high = 0.55 * s.radius, s.radius * s.random.uniform(0.6, 1.2)
    off = (wide + gap) / 2
    shapes = (Shape((rectangle(wide, high, -off),)), Shape((rectangle(wide, high * 0.9, off),)))
    return Plant("straight gap", shapes, badness, GAP, 0)


def slot(s: Setting, badness: float) -> Plant:
    """A slot with square or round ends in a plate."""
    gap, badness = _width(s, s.gap, badness)
    long = max(0.8 * s.radius, 4 * s.gap)
    hole = rounded(long, gap, gap / 2) if s.chance() else rectangle(long, gap)
    return Plant("slot", (Shape((rectangle(1.5 * s.radius, s.radius), hole), evenodd=True),), badness, GAP, 0)


def curved_slot(s: Setting, badness: float) -> Plant:
    """A slot along an arc in a disc."""
    gap, badness = _width(s, s.gap, badness)
    middle = 0.6 * s.radius
    hole = sector(middle - gap / 2, middle + gap / 2, s.random.uniform(0.5, 2.2))
    return Plant("curved slot", (Shape((circle(s.radius), hole.reversed())),), badness, GAP, middle)


def ring_gap(s: Setting, badness: float) -> Plant:
    """A disc in a round hole, all round as far from it."""
    gap, badness = _width(s, s.gap, badness)
    inner = s.radius * s.random.uniform(0.4, 0.65)
    plate = Shape((circle(s.radius), circle(inner).reversed()))
    return Plant("ring-shaped gap", (plate, Shape((circle(inner - gap),))), badness, GAP, inner - gap / 2)


def discs_apart(s: Setting, badness: float) -> Plant:
    """Two discs that nearly touch."""
    gap, badness = _width(s, s.gap, badness)
    one, two = 0.42 * s.radius, 0.42 * s.radius * s.random.uniform(0.5, 1)
    shapes = (Shape((circle(one, -one - gap / 2),)), Shape((circle(two, two + gap / 2),)))
    return Plant("gap between discs", shapes, badness, GAP, 0)


def disc_and_edge(s: Setting, badness: float) -> Plant:
    """A disc that nearly touches a straight edge."""
    gap, badness = _width(s, s.gap, badness)
    radius = s.radius * s.random.uniform(0.25, 0.45)
    high = 0.5 * s.radius
    edge = Shape((rectangle(1.5 * s.radius, high, complex(0, high / 2 + gap / 2)),))
    return Plant(
        "gap of disc and edge",
        (edge, Shape((circle(radius, complex(0, -radius - gap / 2)),))),
        badness,
        GAP,
        0,
    )


def corner_and_edge(s: Setting, badness: float) -> Plant:
    """A corner that nearly touches a straight edge."""
    gap, badness = _width(s, s.gap, badness)
    high, half = 0.5 * s.radius, s.random.uniform(0.5, 0.9)
    long = 0.55 * s.radius
    wide = long * math.tan(half)
    edge = Shape((rectangle(1.6 * s.radius, high, complex(0, high / 2 + gap / 2)),))
    tip = polygon([complex(0, -gap / 2), complex(-wide, -gap / 2 - long), complex(wide, -gap / 2 - long)])
    return Plant("gap of corner and edge", (edge, Shape((tip,))), badness, GAP, 0)


def wedge_gap(s: Setting, badness: float) -> Plant:
    """Two straight edges at an angle, nearest at one end."""
    gap, badness = _width(s, s.gap, badness)
    angle = s.random.uniform(math.radians(30), math.radians(70))
    high, wide = 0.5 * s.radius, s.radius * s.random.uniform(0.7, 0.9)
    one = rectangle(2 * wide * 0.8, high, complex(0, high / 2 + gap / 2))
    # The second begins at its nearest corner and leans away from the first.
    two = rectangle(wide * 0.8, high, complex(wide * 0.4, -high / 2)).placed(
        cmath.rect(1, -angle), complex(-0.3 * wide, -gap / 2)
    )
    return Plant(
        "gap of edges at an angle", (Shape((one,)), Shape((two,))), badness, GAP, complex(-0.3 * wide, 0)
    )


def slit_in_comb(s: Setting, badness: float) -> Plant:
    """A slit from outside into a block."""
    gap, badness = _width(s, s.gap, badness)
    a, b = 0.75 * s.radius, 0.6 * s.radius
    deep = max(4 * s.gap, s.random.uniform(0.4, 0.8) * 2 * a)
    points = [complex(a, -b), complex(a, -gap / 2), complex(a - deep, -gap / 2), complex(a - deep, gap / 2),
              complex(a, gap / 2), complex(a, b), complex(-a, b), complex(-a, -b)]  # fmt: skip
    return Plant("slit", (Shape((polygon(points),)),), badness, GAP, complex(a - deep / 2, 0))


def dumbbell(s: Setting, badness: float) -> Plant:
    """Two blocks joined by a bar."""
    wide, badness = _width(s, s.solid, badness)
    half, long = 0.5 * s.radius, s.random.uniform(0.3, 0.8) * s.radius
    a, b, c = 0.85 * s.radius, long / 2, wide / 2
    right = [
        complex(b, -c),
        complex(b, -half),
        complex(a, -half),
        complex(a, half),
        complex(b, half),
        complex(b, c),
    ]
    points = [*right, *(-p for p in right)]
    return Plant("neck between blocks", (Shape((polygon(points),)),), badness, THIN, 0)


def waist(s: Setting, badness: float) -> Plant:
    """A plate with a round bite from either side."""
    wide, badness = _width(s, s.solid, badness)
    a, b = 0.8 * s.radius, 0.55 * s.radius
    bite = b - wide / 2
    # Half circles whose middles lie on the edges, each in two quarters (see `circle`).
    points = (
        Segment(complex(-bite, -b)), Segment(complex(0, -wide / 2), bite, False, False),
        Segment(complex(bite, -b), bite, False, False), Segment(complex(a, -b)), Segment(complex(a, b)),
        Segment(complex(bite, b)), Segment(complex(0, wide / 2), bite, False, False),
        Segment(complex(-bite, b), bite, False, False), Segment(complex(-a, b)), Segment(complex(-a, -b)),
    )  # fmt: skip
    return Plant("round waist", (Shape((Contour(complex(-a, -b), points),)),), badness, THIN, 0)


def bow_tie(s: Setting, badness: float) -> Plant:
    """A plate with a pointed notch from either side."""
    wide, badness = _width(s, s.solid, badness)
    a, b, c = 0.85 * s.radius, 0.5 * s.radius, wide / 2
    spread = s.random.uniform(0.4, 0.8) * b
    points = [complex(-a, -b), complex(-spread, -b), complex(0, -c), complex(spread, -b), complex(a, -b),
              complex(a, b), complex(spread, b), complex(0, c), complex(-spread, b), complex(-a, b)]  # fmt: skip
    return Plant("pinch of notches", (Shape((polygon(points),)),), badness, THIN, 0)


def hole_near_edge(s: Setting, badness: float) -> Plant:
    """A round hole near a straight edge."""
    wide, badness = _width(s, s.solid, badness)
    b = 0.6 * s.radius
    hole = s.random.uniform(s.least_gap, b - s.least_part)
    hole = min(hole, 0.5 * b)
    plate = rectangle(1.5 * s.radius, 2 * b)
    shape = Shape((plate, circle(hole, complex(0, b - wide - hole))), evenodd=True)
    return Plant("hole near an edge", (shape,), badness, THIN, complex(0, b - wide / 2))


def two_holes(s: Setting, badness: float) -> Plant:
    """Two round holes near each other."""
    wide, badness = _width(s, s.solid, badness)
    hole = s.radius * s.random.uniform(0.15, 0.28)
    off = hole + wide / 2
    shape = Shape((circle(s.radius), circle(hole, -off).reversed(), circle(hole, off).reversed()))
    return Plant("wall between holes", (shape,), badness, THIN, 0)


def lopsided_ring(s: Setting, badness: float) -> Plant:
    """A ring whose hole is off its middle."""
    wide, badness = _width(s, s.solid, badness)
    outer = 0.95 * s.radius
    hole = 0.5 * outer
    shape = Shape((circle(outer), circle(hole, outer - wide - hole)), evenodd=True)
    return Plant("lopsided ring", (shape,), badness, THIN, outer - wide / 2)


def curved_neck(s: Setting, badness: float) -> Plant:
    """An arch that joins two discs, of one outline: inner and outer wall are arcs of one centre."""
    wide, badness = _width(s, s.solid, badness)
    middle, end = 0.6 * s.radius, 0.35 * s.radius
    inner, outer = middle - wide / 2, middle + wide / 2
    half = s.random.uniform(1.1, 1.6)

    # Where the walls meet the circles round the arch's ends.
    def meets(radius: float) -> float:
        return half - math.acos((radius**2 + middle**2 - end**2) / (2 * radius * middle))

    a, b = meets(outer), meets(inner)
    points = [cmath.rect(outer, -a), cmath.rect(outer, a), cmath.rect(inner, b), cmath.rect(inner, -b)]
    segments = (Segment(points[1], outer, False, True), Segment(points[2], end, True, True),
                Segment(points[3], inner, False, False), Segment(points[0], end, True, True))  # fmt: skip
    return Plant("curved neck", (Shape((Contour(points[0], segments),)),), badness, THIN, middle)


def thin_tooth(s: Setting, badness: float) -> Plant:
    """A straight limb on a block."""
    wide, badness = _width(s, s.solid, badness)
    long = max(4 * s.solid, s.random.uniform(0.5, 1.0) * s.radius)
    a, b, c = 0.7 * s.radius, 0.5 * s.radius, wide / 2
    limb = [complex(0, -c), complex(long * 0.95, -c), complex(long * 0.95, c), complex(0, c)]
    points = [complex(0, -b), *limb, complex(0, b), complex(-a, b), complex(-a, -b)]
    return Plant(
        "thin limb",
        (Shape((polygon([p - 0.2 * a for p in points]),)),),
        badness,
        THIN,
        complex(long / 2 - 0.2 * a, 0),
    )


def tapered_neck(s: Setting, badness: float) -> Plant:
    """Two blocks joined by a bar that narrows to one end."""
    wide, badness = _width(s, s.solid, badness)
    half, long = 0.5 * s.radius, s.random.uniform(0.3, 0.8) * s.radius
    a, b, c = 0.85 * s.radius, long / 2, wide / 2
    d = min(c + long * s.random.uniform(0.1, 0.5), 0.9 * half)
    points = [
        complex(b, -c), complex(b, -half), complex(a, -half), complex(a, half), complex(b, half), complex(b, c),
        complex(-b, d), complex(-b, half), complex(-a, half), complex(-a, -half), complex(-b, -half), complex(-b, -d),
    ]  # fmt: skip
    return Plant("tapered neck", (Shape((polygon(points),)),), badness, THIN, b)


def wavy_strip(s: Setting, badness: float) -> Plant:
    """A strip of constant width along an S of two half circles."""
    middle = 0.42 * s.radius
    wide, badness = _width(s, s.solid, max(badness, s.solid / (2 * (middle - s.least_gap)), 0.35))
    inner, outer = middle - wide / 2, middle + wide / 2
    quarters = [
        *((-middle, outer, k, True) for k in (3, 4)), *((middle, inner, k, False) for k in (1, 0)),
        *((middle, outer, k, True) for k in (0, 1, 2)), *((-middle, inner, k, False) for k in (4, 3, 2)),
    ]  # fmt: skip
    nodes = [(x + cmath.rect(r, k * math.pi / 2), r, sweep) for x, r, k, sweep in quarters]
    start = complex(-middle - outer, 0)
    segments, last = [], start
    for k, (end, radius, sweep) in enumerate(nodes):
        # The fifth and the eighth lie straight across or on from the one before.
        straight = k in (4, 7)
        if abs(end - last) > 1e-9:
            segments.append(Segment(end) if straight else Segment(end, radius, False, sweep))
        last = end
    return Plant(
        "wavy strip",
        (Shape((Contour(start, (*segments, Segment(start))),)),),
        badness,
        THIN,
        complex(-middle, -middle),
    )


def lens(s: Setting, badness: float) -> Plant:
    """A lens, nowhere wider than the limit over ``badness``; above 1 only, for its ends are points in any case."""
    wide, badness = _width(s, s.solid, max(badness, 1.15))
    a = max(0.9 * s.radius, 3 * wide)
    radius = (a * a + (wide / 2) ** 2) / wide
    contour = Contour(
        complex(-a, 0),
        (Segment(complex(a, 0), radius, False, True), Segment(complex(-a, 0), radius, False, True)),
    )
    return Plant("lens", (Shape((contour,)),), badness, THIN, 0, frozenset({"near-double-cut"}))


def point(s: Setting, badness: float) -> Plant:
    """A point on a plate that reaches ``badness`` times as far past a disc of the limit as a quiet one may."""
    badness = min(badness, 6.0)
    # The tip of a corner of angle a reaches 1 / sin(a / 2) - 1 radii; four are quiet.
    half = math.asin(1 / (4 * badness + 1))
    high = 0.5 * s.radius
    long = min(1.1 * s.radius, high / math.tan(half))
    if long * math.tan(half) < 1.2 * s.solid:
        return point(s, badness * 0.7)
    foot, spread = -0.35 * s.radius, long * math.tan(half)
    back = foot - 0.3 * s.radius
    tip_and_sides = [complex(foot, -spread), complex(foot + long, 0), complex(foot, spread)]
    points = [
        *tip_and_sides,
        complex(foot, high),
        complex(back, high),
        complex(back, -high),
        complex(foot, -high),
    ]
    tip = complex(foot + long - 0.3 * s.solid, 0)
    return Plant("point", (Shape((polygon(points),)),), badness, THIN, tip)


def strip(s: Setting, badness: float) -> Plant:
    """A straight strip with square or round ends."""
    wide, badness = _width(s, s.solid, badness)
    long = max(1.6 * s.radius, 5 * wide)
    contour = rounded(long, wide, wide / 2) if s.chance() else rectangle(long, wide)
    return Plant("strip", (Shape((contour,)),), badness, THIN, 0)


def thin_ring(s: Setting, badness: float) -> Plant:
    """A ring as wide all round."""
    wide, badness = _width(s, s.solid, badness)
    outer = s.radius * s.random.uniform(0.6, 1)
    return Plant(
        "thin ring",
        (Shape((circle(outer), circle(outer - wide).reversed())),),
        badness,
        THIN,
        outer - wide / 2,
    )


def curved_strip(s: Setting, badness: float) -> Plant:
    """A strip along an arc."""
    wide, badness = _width(s, s.solid, badness)
    outer = 0.95 * s.radius
    contour = sector(outer - wide, outer, s.random.uniform(0.8, 2.6))
    return Plant("curved strip", (Shape((contour,)),), badness, THIN, outer - wide / 2)


KINDS: dict[str, tuple[Maker, ...]] = {
    "gap": (
        facing_bars, slot, curved_slot, ring_gap, discs_apart, disc_and_edge, corner_and_edge, wedge_gap,
        slit_in_comb,
    ),
    "neck": (
        dumbbell, waist, bow_tie, hole_near_edge, two_holes, lopsided_ring, curved_neck, thin_tooth,
        tapered_neck, point,
    ),
    "sliver": (strip, thin_ring, curved_strip, wavy_strip, lens),
}  # fmt: skip
MOST: dict[str, float] = {"gap": 12.0, "neck": 25.0, "sliver": 25.0}
"""Up to which badness a kind is drawn."""
