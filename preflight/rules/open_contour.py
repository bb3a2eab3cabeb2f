"""Contours of filled shapes whose ends do not meet."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from preflight.analysis import Analysis
from preflight.curves import Floats, Ints
from preflight.errors import LimitError
from preflight.films import Film
from preflight.geometry.chains import MEETING, match_ends
from preflight.report.model import Finding, Place, Severity
from preflight.rules.build import Fault, findings, mm, place
from preflight.rules.rule import Parameter, Rule


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each gap between two ends, and each spot where ends meet and are not joined."""
    for film in analysis.films:
        open_ = _open_contours(analysis, film)
        ends, outward = _ends(analysis, open_)
        meeting = [(m.a, m.b) for m in match_ends(ends, outward, MEETING)]
        notes = [_meeting(analysis, open_, ends, a, b) for a, b in meeting]
        yield from findings(RULE, "ends-meet", analysis, notes, film)
        gaping = np.setdiff1d(np.arange(len(ends)), np.array(meeting, np.int64).ravel())
        gaps = _gaps(analysis, open_, ends, outward, gaping)
        yield from findings(RULE, "gap", analysis, gaps, film)


def _open_contours(analysis: Analysis, film: Film) -> Ints:
    closed = analysis.painting.contours.closed
    long_enough = np.diff(analysis.painting.contours.starts) > 2
    return film.contours[~closed[film.contours] & long_enough[film.contours]]


def _ends(analysis: Analysis, contours: Ints) -> tuple[Floats, Floats]:
    """Return both ends of each contour (2 n, 2), first then last, and the directions out of them."""
    lines = analysis.painting.contours
    ends, outward = np.zeros((2 * len(contours), 2)), np.zeros((2 * len(contours), 2))
    for i, contour in enumerate(contours):
        points = lines[int(contour)]
        ends[2 * i], ends[2 * i + 1] = points[0], points[-1]
        outward[2 * i], outward[2 * i + 1] = points[0] - points[1], points[-1] - points[-2]
    return ends, outward


def _meeting(analysis: Analysis, open_: Ints, ends: Floats, a: int, b: int) -> Fault:
    first, second = int(open_[a // 2]), int(open_[b // 2])
    path = analysis.painting.contours.path
    names = sorted({analysis.shapes[int(path[c])].origin.label for c in (first, second)})
    what = "This outline ends where it began" if first == second else "Two lines end in the same spot here"
    return Fault(
        message=f"{what} but {'is' if first == second else 'are'} not "
        f"{'closed' if first == second else 'joined'}. Most cutters run on there; some leave the last cut hanging.",
        detail=f"Ends coincide without a closing command: {', '.join(names)}.",
        places=(_end_place(analysis, first, ends[a]),),
    )


def _gaps(analysis: Analysis, open_: Ints, ends: Floats, outward: Floats, sides: Ints) -> list[Fault]:
    try:
        matches = match_ends(ends[sides], outward[sides], analysis.job.tolerances.join)
    except LimitError:
        # Too many ends in one spot to say which belong together: each line is told with its own two ends.
        matches = []
    pairs = [(int(sides[m.a]), int(sides[m.b])) for m in matches]
    matched = {end for pair in pairs for end in pair}
    # What found no partner nearby is reported with its own other end, however far.
    left = {int(end) for end in sides} - matched
    pairs += [(2 * i, 2 * i + 1) for i in range(len(open_)) if {2 * i, 2 * i + 1} <= left]
    return [_gap(analysis, open_, ends, a, b) for a, b in sorted(pairs)]


def _gap(analysis: Analysis, open_: Ints, ends: Floats, a: int, b: int) -> Fault:
    size = float(np.hypot(*(ends[a] - ends[b])))
    first, second = int(open_[a // 2]), int(open_[b // 2])
    one = "This outline has a gap" if first == second else "Two lines should meet here and leave a gap"
    origin = analysis.shapes[int(analysis.painting.contours.path[first])].origin
    return Fault(
        message=f"{one} of {mm(size)}. On screen the shape looks filled; the knife leaves the film uncut there, so "
        "the piece does not come away cleanly.",
        detail=f"Open contour of {origin.label}; ends at ({ends[a][0]:.2f}, {ends[a][1]:.2f}) and "
        f"({ends[b][0]:.2f}, {ends[b][1]:.2f}) mm.",
        places=(_end_place(analysis, first, ends[a]), _end_place(analysis, second, ends[b])),
        measured=size,
        unit="mm",
        badness=size,
        repairable=size <= analysis.job.tolerances.join,
    )


def _end_place(analysis: Analysis, contour: int, end: Floats) -> Place:
    x, y = float(end[0]), float(end[1])
    origin = analysis.shapes[int(analysis.painting.contours.path[contour])].origin
    return place((x, y, x, y), (x, y), origin)


RULE = Rule(
    code="open-contour",
    title="Outline is not closed",
    why="The screen fills a shape as if its ends were joined. The knife stops at one end and starts at the "
    "other, and the film between them stays attached.",
    how_measured="For every contour of a filled shape that lacks a closing command, the distance between its ends is "
    "measured; ends of different lines nearer than the join tolerance are taken together. Lines that the job "
    "calls knife lines may be open. Ends within 0.005 mm of each other meet, which is a note.",
    remedy="Join the two ends.",
    cases={"gap": Severity.ERROR, "ends-meet": Severity.NOTE},
    repairable=True,
    check=check,
    parameters=(
        Parameter(
            "tolerances.join",
            "Ends nearer than this are taken as one gap",
            "mm",
            "common practice, no source",
        ),
    ),
)
