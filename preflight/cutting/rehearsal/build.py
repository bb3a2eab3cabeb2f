"""Rehearse the cut of an artwork: everything the machine would do, worked out film by film."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from preflight.analysis import Analysis
from preflight.artwork import Artwork
from preflight.curves import Floats, Ints, Matrix, Polylines
from preflight.cutting.rehearsal.model import (
    ContourCut,
    Event,
    Feed,
    Figure,
    FilmRehearsal,
    KnifeWay,
    Laid,
    Rehearsal,
    RehearsalOptions,
    Seconds,
    TipError,
    length_words,
)
from preflight.cutting.rehearsal.plan import Cut, laid, planned, spots
from preflight.cutting.rehearsal.tip import Errors, compensated, lead_lengths, uncompensated
from preflight.cutting.timing import Machine, machine_of
from preflight.errors import PreflightError
from preflight.films import Film
from preflight.job import Job, stock
from preflight.roll.fit import fit_film
from preflight.version import __version__

CLAIM = (
    "A rehearsal from the geometry alone; test-cut first. Machines plan their moves in ways of their own: order, "
    "start points and times at the machine will differ from these."
)
_BACK = 0.025
"""Moves back by less than a step of the machine do not count, mm (HP PCL/PJL reference, table 17-7)."""
_UNITS = {
    "speed": "mm/s",
    "acceleration": "mm/s²",
    "travel_speed": "mm/s",
    "travel_acceleration": "mm/s²",
    "cornering": "mm",
    "drop": "s",
    "lift": "s",
    "feed_window": "mm",
}


def rehearse(artwork: Artwork, job: Job | None = None, options: RehearsalOptions | None = None) -> Rehearsal:
    """Return the rehearsed cut of ``artwork``, as read, for ``job`` (stock: ``Job()``).

    What is rehearsed is the file as it is, faults included: doubled lines are cut twice. The same input
    gives the same rehearsal. Raises `JobError` where the job's size does not fit the artwork, and
    `PreflightError` where there is no film to cut.
    """
    job, options = job or Job(), options or RehearsalOptions()
    analysis = Analysis(artwork, job)
    notes = _Notes(options)
    loose = analysis.loose_contours
    films: list[FilmRehearsal] = []
    for film in analysis.films:
        # With one film only it is plain that lines of no film are cut from it.
        more = loose if len(analysis.films) == 1 else loose[:0]
        contours = np.concatenate((film.followed_contours, more))
        found = _film(analysis, film, contours, options, notes)
        if found is not None:
            films.append(found)
    if not films:
        raise PreflightError(
            "nothing-to-cut",
            "There is nothing to cut from film in this artwork, so there is no cut to rehearse.",
            "Check the artwork first: the report says what stands in the way.",
        )
    if len(analysis.films) > 1 and len(loose):
        notes.add(
            f"{length_words(analysis.length_of(loose))} of knife lines belong to none of the films and are left out."
        )
    return Rehearsal(
        tool_version=__version__,
        title=artwork.source.name or "Artwork without a name",
        sha256=artwork.source.sha256,
        job_sha256=job.sha256,
        size_stated=analysis.size_stated,
        options=options,
        figures=_figures(job),
        films=tuple(films),
        notes=tuple(notes.lines),
        claim=CLAIM,
    )


class _Notes:
    """What a rehearsal takes for granted, in the order in which it came up; each line once."""

    def __init__(self, options: RehearsalOptions) -> None:
        self.lines = [
            "The time is that of a machine which stops at the start and the end of every contour.",
            "Errors of the tip are those of the trailing-blade model: film that holds the tip, a sharp blade and the "
            "blade offset as stated.",
        ]
        if options.entry == "as-left":
            self.lines.append(
                "How the blade stands at the very first contour is not known; it is taken to be turned."
            )

    def add(self, line: str) -> None:
        if line not in self.lines:
            self.lines.append(line)


def _film(
    analysis: Analysis,
    film: Film,
    contours: Ints,
    options: RehearsalOptions,
    notes: _Notes,
) -> FilmRehearsal | None:
    """Return one film's cut; None where there is nothing to cut from it."""
    lines = analysis.painting.contours.take(contours)
    idle = spots(lines) if len(lines) else np.zeros(0, bool)
    if idle.any():
        notes.add(f"{film.name}: {int(idle.sum())} contours are no more than a spot and are left out.")
    contours, lines = contours[~idle], lines.take(np.flatnonzero(~idle))
    if not len(contours):
        return None
    job, machine = analysis.job, machine_of(analysis.job.machine)
    fit = fit_film(film)
    mirrored, turned = analysis.to_be_mirrored, fit.turned
    there, matrix = laid(lines, mirrored=mirrored, turned=turned)
    cut = planned(
        there,
        contours,
        machine,
        window=job.machine.feed_window,
        small_area=film.limits.island_area.warning,
        overcut=job.blade.overcut_length,
        small_first=options.small_parts_first,
    )
    straight = options.entry == "turned"
    offset = job.blade.offset
    shown = _Shown(analysis, cut, matrix)
    leads = shown.leads()
    return FilmRehearsal(
        film=film.name,
        colour=film.colour,
        kind=film.spec.kind,
        laid=_laid(there, matrix, mirrored=mirrored, turned=turned, reason=fit.reason),
        contours=shown.contours(leads, machine),
        ways=_ways(cut),
        events=_events(cut, machine),
        seconds=_seconds(cut, machine),
        cut_length_mm=_mm(float(cut.own.sum())),
        overcut_mm=_mm(float(cut.overcut.sum())),
        travel_mm=_mm(float(cut.travel.sum())),
        file_order_travel_mm=_mm(cut.file_order_travel),
        feed=_feed(cut, job.machine.feed_window),
        compensated=shown.error(compensated(cut.lines, offset, turned=straight)),
        uncompensated=shown.error(uncompensated(cut.lines, offset, turned=straight)),
        leads_covered=int((leads[1:] <= cut.overcut[1:]).sum()),
    )


class _Shown:
    """A cut's contours and errors in the terms of the model."""

    def __init__(self, analysis: Analysis, cut: Cut, matrix: Matrix) -> None:
        self.cut = cut
        self.blade = analysis.job.blade
        a, b, c, d, e, f = matrix
        self.back = np.linalg.inv(np.array([[a, b], [c, d]]))
        self.moved = np.array([e, f])
        points, first, last = cut.lines.points, cut.lines.starts[:-1], cut.lines.starts[1:] - 1
        self.out = _heading(points[first + 1] - points[first])
        self.end = _heading(points[last] - points[last - 1])

    def artwork(self, points: Floats) -> Floats:
        """Return places (n, 2) on the machine as places on the artwork."""
        found: Floats = (points - self.moved) @ self.back
        return found

    def turns(self) -> Floats:
        """Return how far the blade has to turn before each contour but the first (k - 1,), radians."""
        turn: Floats = np.remainder(self.out[1:] - self.end[:-1] + np.pi, 2 * np.pi) - np.pi
        return turn

    def leads(self) -> Floats:
        """Return the lead (k,) of each contour, mm; that of the first is not known and infinite."""
        tolerance = self.blade.corner_tolerance
        return np.concatenate(([np.inf], lead_lengths(self.turns(), self.blade.offset, tolerance)))

    def contours(self, leads: Floats, machine: Machine) -> tuple[ContourCut, ...]:
        cut, order = self.cut, self.cut.order
        number = np.zeros(len(order.contours), np.int64)
        number[order.contours] = np.arange(1, len(number) + 1)
        around = order.parent[order.contours]
        inside = np.where(around >= 0, number[around], 0).tolist()
        starts = np.round(self.artwork(cut.lines.points[cut.lines.starts[:-1]]), 3).tolist()
        turn = np.round(np.degrees(self.turns()), 2).tolist()
        knife = machine.drop + machine.lift
        ends = cut.begin + cut.moving + cut.motion.duration + knife
        closed = cut.overcut > 0 if self.blade.overcut_length > 0 else _closed(cut)
        rows = zip(
            cut.drawn.tolist(),
            closed.tolist(),
            inside,
            cut.small.tolist(),
            starts,
            order.backward.tolist(),
            np.round(cut.own, 4).tolist(),
            np.round(cut.overcut, 4).tolist(),
            np.round(cut.travel, 4).tolist(),
            np.round(np.degrees(self.out), 2).tolist(),
            [None, *turn],
            [None, *np.round(leads[1:], 4).tolist()],
            np.round(cut.begin, 6).tolist(),
            np.round(ends, 6).tolist(),
            np.round(cut.moving, 6).tolist(),
            np.round(cut.motion.duration, 6).tolist(),
            strict=True,
        )
        return tuple(
            ContourCut(
                number=n, contour=row[0], closed=row[1], inside=row[2] or None, small=row[3],
                start=(row[4][0], row[4][1]), backward=row[5], length_mm=row[6], overcut_mm=row[7],
                travel_mm=row[8], heading_deg=row[9], turn_deg=row[10], lead_mm=row[11], begin_s=row[12],
                end_s=row[13], travelling_s=row[14], cutting_s=row[15], knife_s=round(knife, 6),
            )
            for n, row in enumerate(rows, 1)
        )  # fmt: skip

    def error(self, found: Errors) -> TipError:
        at = None if found.at is None else np.round(self.artwork(np.array([found.at])), 3)[0].tolist()
        return TipError(
            largest_mm=_mm(found.largest),
            mean_mm=round(found.mean, 6),
            at=None if at is None else (at[0], at[1]),
            contour=None if found.contour is None else found.contour + 1,
            entry_mm=_mm(found.entry),
            entry_contour=None if found.entry_contour is None else found.entry_contour + 1,
        )


def _closed(cut: Cut) -> np.ndarray:
    points, first, last = cut.lines.points, cut.lines.starts[:-1], cut.lines.starts[1:] - 1
    found: np.ndarray = np.abs(points[first] - points[last]).max(axis=1) <= 1e-9
    return found


def _heading(step: Floats) -> Floats:
    heading: Floats = np.arctan2(step[:, 1], step[:, 0])
    return heading


def _mm(value: float) -> float:
    return round(value, 4)


def _laid(lines: Polylines, matrix: Matrix, *, mirrored: bool, turned: bool, reason: str) -> Laid:
    width, length = lines.points.max(axis=0).tolist()
    return Laid(
        width_mm=_mm(width),
        length_mm=_mm(length),
        mirrored=mirrored,
        turned=turned,
        matrix=matrix,
        fit=reason,
    )


def _ways(cut: Cut) -> tuple[KnifeWay, ...]:
    points, times = np.round(cut.lines.points, 5), np.round(cut.motion.time, 7)
    xs, ys, ts, vs = (
        points[:, 0].tolist(),
        points[:, 1].tolist(),
        times.tolist(),
        np.round(cut.motion.speed, 5).tolist(),
    )
    bounds = cut.lines.starts.tolist()
    # What is built here is of the right types already; validating a million numbers takes longer than the rest.
    return tuple(
        KnifeWay.model_construct(
            x_mm=tuple(xs[a:b]), y_mm=tuple(ys[a:b]), time_s=tuple(ts[a:b]), speed=tuple(vs[a:b])
        )
        for a, b in pairwise(bounds)
    )


def _events(cut: Cut, machine: Machine) -> tuple[Event, ...]:
    there = cut.begin + cut.moving
    down = there + machine.drop
    up = down + cut.motion.duration
    moments = np.round(np.stack((cut.begin, there, down, up, up + machine.lift), axis=1), 6).tolist()
    travel, length = np.round(cut.travel, 4).tolist(), np.round(cut.own + cut.overcut, 4).tolist()
    made = Event.model_construct
    events: list[Event] = []
    for number, (at, way, long) in enumerate(zip(moments, travel, length, strict=True), 1):
        if at[1] > at[0]:
            events.append(made(kind="travel", start_s=at[0], end_s=at[1], contour=number, length_mm=way))
        events += (
            made(kind="lower", start_s=at[1], end_s=at[2], contour=number, length_mm=0.0),
            made(kind="cut", start_s=at[2], end_s=at[3], contour=number, length_mm=long),
            made(kind="lift", start_s=at[3], end_s=at[4], contour=number, length_mm=0.0),
        )
    return tuple(events)


def _seconds(cut: Cut, machine: Machine) -> Seconds:
    cutting, moving = float(cut.motion.duration.sum()), float(cut.moving.sum())
    knife = len(cut.own) * (machine.drop + machine.lift)
    return Seconds(
        cutting=round(cutting, 6),
        travelling=round(moving, 6),
        knife=round(knife, 6),
        total=round(cut.seconds(machine), 6),
    )


def _feed(cut: Cut, window: float) -> Feed:
    y, starts = cut.lines.points[:, 1], cut.lines.starts
    step = np.diff(y, prepend=0.0)
    first = starts[:-1]
    moves = -step[first]
    down = step.copy()
    down[first] = 0.0
    return Feed(
        window_mm=window,
        back_moves=int((moves > _BACK).sum()),
        back_mm=_mm(float(np.maximum(moves, 0.0).sum())),
        cutting_back_mm=_mm(float(np.maximum(-down, 0.0).sum())),
        farthest_back_mm=_mm(float((np.maximum.accumulate(np.maximum(y, 0.0)) - y).max())),
    )


def _figures(job: Job) -> tuple[Figure, ...]:
    known = stock()
    figures = [
        Figure(
            name=name,
            value=getattr(job.machine, name),
            unit=unit,
            stated=job.stated(f"machine.{name}"),
            source="the job" if job.stated(f"machine.{name}") else getattr(known.machine, name).source,
        )
        for name, unit in _UNITS.items()
    ]
    blade = (
        ("blade_offset", "offset", job.blade.offset, known.blade.offset),
        ("overcut", "overcut", job.blade.overcut_length, known.blade.overcut),
        ("corner_tolerance", "corner_tolerance", job.blade.corner_tolerance, known.blade.corner_tolerance),
    )
    for name, setting, value, entry in blade:
        stated = job.stated(f"blade.{setting}")
        figures.append(
            Figure(
                name=name, value=value, unit="mm", stated=stated, source="the job" if stated else entry.source
            )
        )
    return tuple(figures)
