"""Numbered markers on a picture: which places share one, where its badge stands, what it looks like.

All lengths are pixels of the picture. Nothing here is random: equal input gives equal output.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from preflight.report.lettering import text_path, text_width
from preflight.report.model import Severity

Point = tuple[float, float]
Box = tuple[float, float, float, float]

INK = "#1b2229"
FILLS = {Severity.ERROR: "#b3201f", Severity.WARNING: "#f4b41a", Severity.NOTE: "#2a64a6"}
DIGITS = {Severity.ERROR: "#ffffff", Severity.WARNING: INK, Severity.NOTE: "#ffffff"}

TOGETHER = 40.0
"""Places of one finding nearer than this to its first share one badge."""
BADGES_A_FINDING = 5
BADGES_IN_ALL = 60
"""Beyond these, places get a dot without a badge, so that the artwork can still be seen."""

_DISTANCES = (27.0, 36.0, 48.0, 64.0, 84.0, 110.0, 140.0)
_DIRECTIONS = 16


@dataclass(frozen=True, slots=True)
class Spots:
    """Places of one finding that share a badge; ``number`` is the finding's in the report."""

    number: int
    severity: Severity
    anchors: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Badge:
    """A badge that has found its place; leaders run from ``at`` to every anchor of ``spots``."""

    spots: Spots
    at: Point


def grouped(number: int, severity: Severity, points: Sequence[Point]) -> list[Spots]:
    """Return one finding's places in groups that lie near each other, in the order given."""
    groups: list[list[Point]] = []
    for point in points:
        near = next((g for g in groups if math.dist(g[0], point) < TOGETHER), None)
        if near is None:
            groups.append([point])
        else:
            near.append(point)
    return [Spots(number, severity, tuple(group)) for group in groups]


def chosen(findings: Sequence[Sequence[Spots]]) -> list[Spots]:
    """Return the groups that get a badge: first one of each finding, then more while there is room."""
    rounds = [groups[turn] for turn in range(BADGES_A_FINDING) for groups in findings if turn < len(groups)]
    return sorted(rounds[:BADGES_IN_ALL], key=lambda spots: spots.number)


def radius(number: int) -> float:
    """Return the radius of the badge for ``number``."""
    return 11.5 if number < 10 else 12.5 if number < 100 else 14.5


def arranged(groups: Sequence[Spots], area: Box) -> list[Badge]:
    """Give every group's badge a place inside ``area`` that covers no other badge where there is one."""
    anchors = [point for group in groups for point in group.anchors]
    done: list[Badge] = []
    for group in groups:
        best = min(
            _costed(group, _candidates(group, area), anchors, done, area),
            key=lambda pair: pair[0],
        )
        done.append(Badge(group, best[1]))
    return done


def _candidates(group: Spots, area: Box) -> Iterator[tuple[float, Point]]:
    """Yield (distance, place) around the first anchor: near ones first, starting away from the middle."""
    x, y = group.anchors[0]
    middle = ((area[0] + area[2]) / 2, (area[1] + area[3]) / 2)
    outward = math.atan2(y - middle[1], x - middle[0]) if (x, y) != middle else -math.pi / 4
    for distance in _DISTANCES:
        for step in range(_DIRECTIONS):
            # 0, 1, -1, 2, -2 ... sixteenths away from the preferred direction
            turn = (step + 1) // 2 * (1 if step % 2 else -1)
            angle = outward + turn * 2 * math.pi / _DIRECTIONS
            yield distance + abs(turn) * 1.5, (x + distance * math.cos(angle), y + distance * math.sin(angle))


def _costed(
    group: Spots,
    candidates: Iterator[tuple[float, Point]],
    anchors: list[Point],
    done: list[Badge],
    area: Box,
) -> Iterator[tuple[float, Point]]:
    """Yield (cost, place) until no place further out can cost less."""
    r = radius(group.number)
    least = math.inf
    for way, place in candidates:
        if way > least + _DIRECTIONS:
            return
        cost = way + _outside(place, r, area) + _covering(place, r, anchors, done)
        for badge_ in done:
            if _near_line(badge_.at, group.anchors[0], place) < radius(badge_.spots.number) + 2:
                cost += 25
            cost += sum(25 for a in badge_.spots.anchors if _near_line(place, a, badge_.at) < r + 2)
        least = min(least, cost)
        yield cost, place


def _outside(place: Point, r: float, area: Box) -> float:
    x, y = place
    over = max(area[0] - (x - r), (x + r) - area[2], area[1] - (y - r), (y + r) - area[3], 0.0)
    return 1000 + over if over else 0.0


def _covering(place: Point, r: float, anchors: list[Point], done: list[Badge]) -> float:
    cost = sum(40.0 for point in anchors if math.dist(point, place) < r + 4)
    for badge in done:
        lap = r + radius(badge.spots.number) + 3 - math.dist(badge.at, place)
        if lap > 0:
            cost += 200 + lap
    return cost


def _near_line(point: Point, start: Point, end: Point) -> float:
    """Return the distance of ``point`` from the straight line between ``start`` and ``end``."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = dx * dx + dy * dy
    t = ((point[0] - start[0]) * dx + (point[1] - start[1]) * dy) / length if length else 0.0
    t = min(max(t, 0.0), 1.0)
    return math.dist(point, (start[0] + t * dx, start[1] + t * dy))


def outline(severity: Severity, at: Point, r: float) -> str:
    """Return path data of a badge: an octagon for an error, a triangle for a warning, a disc for a note."""
    x, y = at
    if severity is Severity.NOTE:
        return f"M{x - r:.2f} {y:.2f}a{r:g} {r:g} 0 1 0 {2 * r:g} 0a{r:g} {r:g} 0 1 0 {-2 * r:g} 0Z"
    if severity is Severity.ERROR:
        corners = [(x + r * 1.06 * math.cos(a), y + r * 1.06 * math.sin(a)) for a in _angles(8, math.pi / 8)]
    else:
        corners = [
            (x + r * 1.62 * math.cos(a), y + r * 0.16 + r * 1.62 * math.sin(a))
            for a in _angles(3, -math.pi / 2)
        ]
    return "M" + "L".join(f"{px:.2f} {py:.2f}" for px, py in corners) + "Z"


def _angles(count: int, first: float) -> list[float]:
    return [first + i * 2 * math.pi / count for i in range(count)]


def badge(number: int, severity: Severity, at: Point) -> str:
    """Return a badge's markup: shape by severity, its number in it."""
    r = radius(number)
    shape = outline(severity, at, r)
    text = str(number)
    size = (9.0 if number < 10 else 8.0) - (0.6 if severity is Severity.WARNING and number > 9 else 0.0)
    drop = 3.0 if severity is Severity.WARNING else 0.0
    label = text_path(text, at[0] - text_width(text, size) / 2, at[1] + size / 2 + drop, size)
    # Where the badge stands and for which finding, so that a page can lay a link over it.
    return (
        f'<g data-finding="{number}" data-x="{at[0]:.2f}" data-y="{at[1]:.2f}">'
        f'<path d="{shape}" fill="{FILLS[severity]}" stroke="#ffffff" stroke-width="5" paint-order="stroke"/>'
        f'<path d="{shape}" fill="{FILLS[severity]}" stroke="{INK}" stroke-width="1.1"/>'
        f'<path d="{label}" fill="none" stroke="{DIGITS[severity]}" stroke-width="1.6"/></g>'
    )


def leaders(badges: Sequence[Badge]) -> str:
    """Return the lines from badges to the spots they mean, to be drawn under all badges."""
    out = []
    for item in badges:
        for x, y in item.spots.anchors:
            line = f"M{item.at[0]:.2f} {item.at[1]:.2f}L{x:.2f} {y:.2f}"
            out.append(f'<path d="{line}" fill="none" stroke="#ffffff" stroke-width="3.6"/>')
            out.append(f'<path d="{line}" fill="none" stroke="{INK}" stroke-width="1.2"/>')
    return "".join(out)


def dot(severity: Severity, at: Point) -> str:
    """Return the mark on the exact spot: a ring (in a group without fill), so that the spot stays in sight."""
    x, y = at
    return (
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="4.2" stroke="#ffffff" stroke-width="4.4"/>'
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="4.2" stroke="{FILLS[severity]}" stroke-width="2.4"/>'
    )


def large(severity: Severity, box: Box) -> str:
    """Return corner brackets round a place that is an extent rather than a spot."""
    x0, y0, x1, y1 = box
    arm = min(26.0, (x1 - x0) / 3, (y1 - y0) / 3)
    corners = ((x0, y0, arm, arm), (x1, y0, -arm, arm), (x1, y1, -arm, -arm), (x0, y1, arm, -arm))
    path = "".join(f"M{x + dx:.2f} {y:.2f}L{x:.2f} {y:.2f}L{x:.2f} {y + dy:.2f}" for x, y, dx, dy in corners)
    return (
        f'<path d="{path}" stroke="#ffffff" stroke-width="5"/>'
        f'<path d="{path}" stroke="{FILLS[severity]}" stroke-width="2.6"/>'
    )
