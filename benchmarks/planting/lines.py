"""Defects of knife lines: overlaps, near-duplicates, hidden shapes and open ends."""

from __future__ import annotations

import cmath
import math

from benchmarks.planting.lettering import LETTERS, Setting, bar, disc
from benchmarks.planting.outline import (
    Contour,
    Segment,
    Shape,
    circle,
    polygon,
    rectangle,
    rounded,
)
from benchmarks.planting.plant import Maker, Plant

OVERLAP = frozenset({"overlapping-subpaths"})
NEAR = frozenset({"near-double-cut"})
HIDDEN = frozenset({"hidden-cut"})
OPEN = frozenset({"open-contour"})
PINCH = frozenset({"thin-feature", "narrow-gap"})


def tip_in_edge(s: Setting, badness: float) -> Plant:
    """A corner that reaches into a bar: the cuts inside add up to ``badness`` times the shortest reported."""
    half = s.random.uniform(0.45, 0.9)
    depth = badness * s.coincidence / (2 * (math.tan(half) + 1 / math.cos(half)))
    high, tall = 0.5 * s.radius, 0.55 * s.radius
    depth = min(depth, 0.4 * high)
    wide = tall * math.tan(half)
    edge = rectangle(1.6 * s.radius, high, complex(0, high / 2))
    corner = polygon([complex(0, depth), complex(-wide, depth - tall), complex(wide, depth - tall)])
    return Plant(
        "tip in an edge", (Shape((edge,)), Shape((corner,))), badness, OVERLAP, complex(0, depth), PINCH
    )


def two_bars(s: Setting, badness: float) -> Plant:
    """A bar whose end reaches into another by ``badness`` times the coincidence tolerance; above 1 only."""
    badness = max(badness, 1.3)
    depth = min(badness * s.coincidence, 0.25 * s.radius)
    width, long = s.random.uniform(s.least_part, 0.5 * s.radius), 0.9 * s.radius
    high = max(s.least_part, 0.35 * s.radius)
    one = rectangle(1.6 * s.radius, high, complex(0, high / 2))
    two = rectangle(width, long, complex(0, depth - long / 2))
    return Plant("bars that overlap", (Shape((one,)), Shape((two,))), badness, OVERLAP, complex(0, depth))


def crossing_bars(s: Setting, badness: float) -> Plant:
    """Two bars right across each other at 40 to 90 degrees."""
    wide = s.random.uniform(s.least_part, 0.5 * s.radius)
    long = 2 * math.sqrt(s.radius**2 - (wide / 2) ** 2) * 0.99
    turn = cmath.rect(1, s.random.uniform(math.radians(40), math.pi / 2))
    one, two = rectangle(long, wide), rectangle(long, wide).placed(turn, 0)
    if s.chance(0.3):
        return Plant("bars that cross, one path", (Shape((one, two)),), max(badness, 10), OVERLAP, 0)
    shapes = (Shape((one,)), Shape((two.reversed() if s.chance() else two,)))
    return Plant("bars that cross", shapes, max(badness, 10), OVERLAP, 0)


def two_discs(s: Setting, badness: float) -> Plant:
    """Two discs that reach into each other by ``badness`` times the coincidence tolerance; above 1 only."""
    badness = max(badness, 1.3)
    radius = 0.48 * s.radius
    depth = min(badness * s.coincidence, 0.5 * radius)
    shift = radius - depth / 2
    shapes = (Shape((circle(radius, -shift),)), Shape((circle(radius, shift),)))
    # Lenses of a few tolerances are near along much of their edges.
    return Plant("discs that overlap", shapes, badness, OVERLAP, 0, PINCH | NEAR)


def bar_through_ring(s: Setting, badness: float) -> Plant:
    """A bar through the middle of a ring."""
    outer = 0.85 * s.radius
    inner = outer - max(s.least_part, 0.25 * outer)
    wide = s.random.uniform(s.least_part, max(inner * 0.7, s.least_part))
    one = Shape((circle(outer), circle(inner).reversed()))
    two = Shape((rectangle(1.9 * s.radius * 0.98, wide),))
    return Plant("bar through a ring", (one, two), max(badness, 10), OVERLAP, (inner + outer) / 2)


def star(s: Setting, badness: float) -> Plant:
    """A star of one line that crosses itself, filled whole."""
    points = [cmath.rect(s.radius, 4 * math.pi * k / 5) for k in range(5)]
    return Plant("outline across itself", (Shape((polygon(points),)),), max(badness, 10), OVERLAP, 0)


def chain(s: Setting, badness: float) -> Plant:
    """Two rings that run through each other, as joined script letters do."""
    outer = 0.6 * s.radius
    inner = outer - max(s.least_part, 0.3 * outer)
    off = 0.5 * (outer + inner) / 2
    one, two = (Shape((circle(outer, x), circle(inner, x).reversed())) for x in (-off, off))
    # Where the counters meet the rings, points of waste and film are left.
    return Plant(
        "rings through each other", (one, two), max(badness, 10), OVERLAP, complex(0, 0.8 * outer), PINCH
    )


def copy_inside(s: Setting, badness: float) -> Plant:
    """An outline and the same one set off inwards by the coincidence tolerance over ``badness``."""
    off = s.coincidence / badness
    if s.chance():
        radius, start = s.radius * s.random.uniform(0.6, 1), s.random.uniform(0, 6)
        one, two = circle(radius), circle(radius - off, 0, start)
        spot = complex(radius, 0)
    else:
        width, height = 1.6 * s.radius, s.radius * s.random.uniform(0.5, 1)
        radius = height * s.random.uniform(0.2, 0.5)
        one = rounded(width, height, radius)
        two = rounded(width - 2 * off, height - 2 * off, radius - off)
        two = two.from_segment(int(s.random.integers(8)))
        spot = complex(0, height / 2)
    if s.chance():
        two = two.reversed()
    pair = [Shape((one,)), Shape((two,))]
    if s.chance():
        pair.reverse()
    return Plant("copy set off inwards", tuple(pair), badness, NEAR, spot, HIDDEN)


def copy_moved(s: Setting, badness: float) -> Plant:
    """A shape and its copy moved by the tolerance over ``badness``; above 1 only, for parts stay near in any case."""
    badness = max(badness, 1.15)
    maker = LETTERS[int(s.random.integers(len(LETTERS)))]
    shapes = maker(s)
    shift = cmath.rect(s.coincidence / badness, s.random.uniform(0, 2 * math.pi))
    copies = [shape.placed(1, shift) for shape in shapes]
    first = shapes[0].contours[0]
    # What moves along an edge coincides with it exactly.
    return Plant(
        "copy moved",
        (*shapes, *copies),
        badness,
        NEAR,
        (first.start + first.segments[0].end) / 2,
        frozenset({"double-cut"}),
    )


def edge_to_edge(s: Setting, badness: float) -> Plant:
    """Two straight edges that face each other at the coincidence tolerance over ``badness``, or overlap by it."""
    off = s.coincidence / badness
    high = s.radius * s.random.uniform(0.5, 1.2)
    low = max(0.6 * high, 2 * s.least_part)
    wide = 0.6 * s.radius
    side = 1 if s.chance() else -1
    one = rectangle(wide, high, complex(-wide / 2, 0))
    two = rectangle(wide, low, complex(wide / 2 + side * off, s.random.uniform(-0.5, 0.5) * (high - low)))
    follows = frozenset({"narrow-gap"}) if side > 0 else OVERLAP
    name = "edges with a gap" if side > 0 else "edges that overlap"
    return Plant(
        name, (Shape((one,)), Shape((two,))), badness, NEAR, complex(0, two.start.imag + low / 2), follows
    )


def disc_in_socket(s: Setting, badness: float) -> Plant:
    """A disc in a round hole that is larger by the coincidence tolerance over ``badness``."""
    off = s.coincidence / badness
    inner = s.radius * s.random.uniform(0.4, 0.6)
    plate = Shape((circle(s.radius), circle(inner).reversed()))
    plug = Shape((circle(inner - off, 0, s.random.uniform(0, 6)),))
    return Plant("disc in a socket", (plate, plug), badness, NEAR, inner, frozenset({"narrow-gap"}))


def hidden(s: Setting, badness: float) -> Plant:
    """A small shape inside a plate; as a hole it is none: above 1 it is drawn as a shape, else as a hole."""
    bad = badness > 1
    plate = circle(s.radius)
    inside = Setting(0.35 * s.radius, s.solid, s.gap, s.coincidence, s.random)
    if bad and s.chance(0.3):
        # A hidden shape has no least size.
        [small] = disc(
            Setting(s.between(5 * s.coincidence, 0.3 * s.radius), s.solid, s.gap, s.coincidence, s.random)
        )
    else:
        [small] = bar(inside) if s.chance() else disc(inside)
    shift = cmath.rect(s.random.uniform(0, 0.4) * s.radius, s.random.uniform(0, 2 * math.pi))
    contour = small.placed(cmath.rect(1, s.random.uniform(0, 6)), shift).contours[0]
    spot = (contour.start + contour.segments[0].end) / 2 if contour.segments[0].radius == 0 else contour.start
    badness = 10.0 if bad else 0.1
    if not bad:
        evenodd = s.chance()
        hole = contour if evenodd else contour.reversed()
        return Plant("hole", (Shape((plate, hole), evenodd),), badness, HIDDEN, spot)
    if s.chance():
        return Plant("hidden contour", (Shape((plate, contour)),), badness, HIDDEN, spot)
    pair = [Shape((plate,)), Shape((contour,))]
    return Plant("hidden shape", tuple(pair if s.chance() else pair[::-1]), badness, HIDDEN, spot)


def hidden_in_two(s: Setting, badness: float) -> Plant:
    """A ring or bar hidden in what two overlapping plates cover, across neither of their outlines."""
    plate = rectangle(1.2 * s.radius, 1.1 * s.radius, -0.2 * s.radius)
    other = rectangle(0.7 * s.radius, 0.9 * s.radius, complex(0.45 * s.radius, 0))
    middle = complex(-0.4 * s.radius, s.random.uniform(-0.2, 0.2) * s.radius)
    small = (
        circle(0.2 * s.radius, middle) if s.chance() else rectangle(0.3 * s.radius, 0.15 * s.radius, middle)
    )
    shapes = (Shape((plate,)), Shape((other,)), Shape((small,)))
    return Plant("hidden beside an overlap", shapes, max(badness, 10.0), HIDDEN, middle, OVERLAP)


ENDS_MEET = 0.005
"""Ends nearer than this (mm) meet, as the rule on open contours says."""


def gap_in_edge(s: Setting, badness: float) -> Plant:
    """A straight edge with a gap of ``badness`` times the distance at which ends meet."""
    size = badness * ENDS_MEET
    corners = list(rectangle(1.5 * s.radius, 1.1 * s.radius).segments)
    middle = corners[3].end + s.random.uniform(0.25, 0.6) * (corners[0].end - corners[3].end)
    ahead = (corners[0].end - corners[3].end) / abs(corners[0].end - corners[3].end)
    points = [middle + size * ahead, *(c.end for c in corners), middle]
    contour = Contour(points[0], tuple(Segment(p) for p in points[1:]), closed=False)
    return Plant("gap in an edge", (Shape((contour,)),), badness, OPEN, middle, frozenset({"result-differs"}))


def gap_in_arc(s: Setting, badness: float) -> Plant:
    """A circle with a gap of ``badness`` times the distance at which ends meet."""
    size = badness * ENDS_MEET
    radius = s.radius * s.random.uniform(0.6, 1)
    angle = 2 * math.asin(size / 2 / radius)
    begin, end = cmath.rect(radius, angle), complex(radius, 0)
    back = -cmath.rect(radius, angle / 2)
    contour = Contour(
        begin, (Segment(back, radius, False, True), Segment(end, radius, False, True)), closed=False
    )
    return Plant("gap in an arc", (Shape((contour,)),), badness, OPEN, end, frozenset({"result-differs"}))


def two_lines(s: Setting, badness: float) -> Plant:
    """An outline drawn as two open lines whose ends lie apart by ``badness`` times the distance at which ends meet."""
    size = badness * ENDS_MEET
    a, b = 0.75 * s.radius, 0.55 * s.radius
    upper = [complex(-a, -size / 2), complex(-a, -b), complex(a, -b), complex(a, -size / 2)]
    lower = [complex(a, size / 2), complex(a, b), complex(-a, b), complex(-a, size / 2)]
    if s.chance():
        lower.reverse()
    contours = tuple(Contour(p[0], tuple(Segment(q) for q in p[1:]), closed=False) for p in (upper, lower))
    # Each is filled to its own chord, with the gap between them; no knife follows the chords.
    follows = frozenset({"result-differs", "narrow-gap"})
    return Plant("outline of two lines", (Shape(contours),), badness, OPEN, upper[-1], follows)


KINDS: dict[str, tuple[Maker, ...]] = {
    "overlap": (tip_in_edge, two_bars, crossing_bars, two_discs, bar_through_ring, star, chain),
    "near-duplicate": (copy_inside, copy_moved, edge_to_edge, disc_in_socket),
    "hidden-shape": (hidden, hidden, hidden_in_two),
    "open-end": (gap_in_edge, gap_in_arc, two_lines),
}
MOST: dict[str, float] = {"overlap": 200.0, "near-duplicate": 20.0, "hidden-shape": 10.0, "open-end": 600.0}
"""Up to which badness a kind is drawn."""
