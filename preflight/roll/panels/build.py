"""Plan the panels of one film and of a whole sign."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.analysis import Analysis
from preflight.artwork import Artwork, Box, LiveText
from preflight.errors import printable, shortened
from preflight.films import Film
from preflight.geometry.appearance import union
from preflight.job import Job
from preflight.repair.lettering import lettered
from preflight.roll.fit import SLACK
from preflight.roll.panels.marks import mark_places, mark_shape
from preflight.roll.panels.model import (
    MarkShape,
    Panel,
    Panelling,
    PanelMark,
    PanelPlan,
    PanelRoll,
    StackedSeams,
    Verdict,
)
from preflight.roll.panels.options import PanelOptions, Seams
from preflight.roll.panels.parts import Widths
from preflight.roll.panels.told import seams_of
from preflight.roll.panels.view import as_put_up, box_of, crosswise, panel_region
from preflight.roll.panels.ways import Asked, Taken, Way, best_way
from preflight.roll.panels.wording import (
    film_notes,
    panels_words,
    sign_notes,
    small_words,
    stacked_words,
    summary_of,
    whole_words,
)
from preflight.text import FontSource
from preflight.version import __version__


@dataclass(frozen=True, eq=False)
class Planned:
    """A film's plan with the geometry it was made from; ``region`` mm as the sign is put up."""

    plan: PanelPlan
    film: Film
    region: BaseGeometry
    way: Way | None = None
    """None: nothing was judged."""

    def taken(self) -> Taken | None:
        """Return what films above it have to keep away from."""
        through = tuple(seam.position_mm for seam in self.plan.seams if seam.through_film)
        run = self.plan.seams_run
        return Taken(run, through, self.region) if run is not None and through else None


@dataclass(frozen=True, eq=False)
class Panelled:
    """A sign's plan with its geometry, for drawings and files."""

    panelling: Panelling
    artwork: Artwork
    """As read, with its text outlined where that could be done."""
    analysis: Analysis
    films: tuple[Planned, ...]


def panels_for(
    analysis: Analysis, film: Film, *, options: PanelOptions | None = None, taken: Sequence[Taken] = ()
) -> PanelPlan:
    """Return how ``film`` is parted for its roll; one panel where it fits whole.

    ``taken`` are seams of films under it. Lengths mm. Raises `PreflightError` where the roll leaves no room
    for panels.
    """
    return plan_film(analysis, film, options or PanelOptions(), taken).plan


def panels(
    artwork: Artwork,
    job: Job | None = None,
    options: PanelOptions | None = None,
    *,
    fonts: FontSource | None = None,
) -> Panelling:
    """Return how the films of ``artwork`` are parted for their rolls; see `panel_out`."""
    return panel_out(artwork, job, options, fonts=fonts).panelling


def panel_out(
    artwork: Artwork,
    job: Job | None = None,
    options: PanelOptions | None = None,
    *,
    fonts: FontSource | None = None,
) -> Panelled:
    """Return how the films of ``artwork`` are parted, with the geometry.

    Each film by itself, the lowest first. Text is outlined in ``fonts`` and those in the file itself. Raises
    `JobError` where the job's size does not fit the artwork, `PreflightError` where a roll leaves no room.
    """
    job, options = job or Job(), options or PanelOptions()
    if any(isinstance(item, LiveText) for item in artwork.items):
        artwork = lettered(artwork, fonts or FontSource()).artwork
    analysis = Analysis(artwork, job)
    planned = plan_films(analysis, options)
    stacked = tuple(_stacked(planned, options.stagger))
    verdicts = {one.plan.verdict for one in planned}
    verdict: Verdict = "not-judged"
    if verdicts and verdicts != {"not-judged"}:
        verdict = "panels" if "panels" in verdicts else "whole" if verdicts == {"whole"} else "not-judged"
    plans = tuple(one.plan for one in planned)
    shown = Panelling(
        version=__version__,
        verdict=verdict,
        summary=summary_of(verdict, plans),
        options=options,
        width_mm=round(analysis.artwork.width, 3),
        height_mm=round(analysis.artwork.height, 3),
        size_stated=analysis.size_stated,
        mirrored=job.cut_mirrored,
        films=plans,
        stacked=stacked,
        notes=(*(stacked_words(pair) for pair in stacked), *sign_notes(analysis, plans)),
    )
    return Panelled(shown, artwork, analysis, planned)


def plan_films(analysis: Analysis, options: PanelOptions | None = None) -> tuple[Planned, ...]:
    """Return the plans of all films, each keeping clear of the seams of those under it; see `panel_out`."""
    options, planned = options or PanelOptions(), list[Planned]()
    for film in analysis.films:
        below = [taken for other in planned if (taken := other.taken()) is not None]
        planned.append(plan_film(analysis, film, options, below))
    return tuple(planned)


def plan_film(analysis: Analysis, film: Film, options: PanelOptions, taken: Sequence[Taken]) -> Planned:
    """Return the plan of one film with its geometry; see `panels_for`."""
    region, roll = as_put_up(analysis, film.region), film.roll
    plan = PanelPlan(
        film=printable(shortened(film.name)),
        colour=film.colour,
        kind=film.spec.kind,
        directional=film.spec.directional,
        verdict="not-judged",
        reason="No roll is stated for this film."
        if roll is None
        else "There is nothing to cut from this film.",
    )
    if roll is None or region.is_empty:
        return Planned(plan, film, region)
    shape = mark_shape(film.limits, options.mark_arm) if options.marks else None
    room = roll.usable_width - 2 * roll.weed_border
    x0, y0, x1, y1 = region.bounds
    if min(x1 - x0, y1 - y0) > room + SLACK:
        room -= _spare(analysis, film)
    widths = Widths(room, analysis.job.seam_lap_for(film.spec), shape.span_mm if shape else 0.0)
    asked = Asked(analysis, film, roll, region, widths, options, taken)
    way = best_way(asked)
    made = _Made(asked, way, shape)
    judged = plan.model_copy(update=_judged(asked, way, made, shape))
    notes = (*made.small_pieces(film.limits.island_area.warning), *film_notes(judged, film))
    return Planned(judged.model_copy(update={"notes": notes}), film, region, way)


def _spare(analysis: Analysis, film: Film) -> float:
    """Return how much wider than they are measured here mended contours may be, mm: none where all is straight."""
    curved = film.stroked or any(not analysis.shapes[index].path.lines.all() for index in film.members)
    return 2 * film.flattened if curved else 0.0


def _judged(asked: Asked, way: Way, made: _Made, shape: MarkShape | None) -> dict[str, object]:
    """Return what the plan of a film that was judged says."""
    roll, count = asked.roll, len(way.parting.seams)
    panels_ = made.panels()
    along = sum(panel.along_mm for panel in panels_) + 2 * roll.lead
    through = sum(seam.through_film for seam in made.seams)
    return {
        "verdict": "panels" if count else "whole",
        "reason": panels_words(count + 1, way.run, way.parting.cuts, through)
        if count
        else whole_words(panels_[0].across_mm, roll, turned=way.run == "horizontal"),
        "seams_run": way.run if count else None,
        "lap_mm": asked.widths.lap,
        "order_known": way.order.known or not (through and asked.widths.lap),
        "roll": PanelRoll(
            width_mm=roll.width,
            usable_width_mm=roll.usable_width,
            weed_border_mm=roll.weed_border,
            lead_mm=roll.lead,
            length_mm=roll.length,
        ),
        "mark": shape if count else None,
        "box": box_of(asked.region),
        "panels": panels_,
        "seams": made.seams,
        "film_length_mm": round(along, 3),
        "fits_length": None if roll.length is None else along <= roll.length + SLACK,
    }


class _Made:
    """The panels and seams that come of a way."""

    def __init__(self, asked: Asked, way: Way, shape: MarkShape | None) -> None:
        self._border, self._shape, self._way = asked.roll.weed_border, shape, way
        count = way.parting.panels
        self._numbers = list(range(count, 0, -1)) if way.order.reversed else list(range(1, count + 1))
        films = (other for other in asked.analysis.films if other is not asked.film)
        others = crosswise(union(as_put_up(asked.analysis, other.region) for other in films), way.run)
        self._films = [panel_region(way.across, way.parting.seams, place) for place in range(count)]
        self._marks = [
            mark_places(float(u), way.across.region, others, shape, _shared(way, self._films, k))
            if shape is not None and way.parting.marked[k]
            else ()
            for k, u in enumerate(way.parting.seams)
        ]
        self.seams = seams_of(asked, way, self._numbers, self._marks)

    def panels(self) -> tuple[Panel, ...]:
        """Return the panels in the order in which they are put on."""
        found = [self._panel(place) for place in range(len(self._numbers))]
        return tuple(sorted(found, key=lambda panel: panel.number))

    def small_pieces(self, least: float) -> Iterator[str]:
        """Yield a note for each panel on which a seam leaves pieces smaller than ``least`` mm2."""
        seams, half = self._way.parting.seams, self._way.across.widths.lap / 2
        for place, film in enumerate(self._films):
            low = float(seams[place - 1]) - half if place > 0 else -np.inf
            high = float(seams[place]) + half if place < len(seams) else np.inf
            parts = shapely.get_parts(film)
            boxes = shapely.bounds(parts)
            cut = (np.abs(boxes[:, 0] - low) < SLACK) | (np.abs(boxes[:, 2] - high) < SLACK)
            small = int((cut & (shapely.area(parts) < least)).sum())
            if small:
                yield small_words(self._numbers[place], small, least)

    def _panel(self, place: int) -> Panel:
        way, border = self._way, self._border
        across, seams, marked = way.across, way.parting.seams, way.parting.marked
        low, high = across.start, across.end
        if place > 0:
            low = float(across.right_reach(seams[place - 1 : place], marked[place - 1 : place])[0])
        if place < len(seams):
            high = float(across.left_reach(seams[place : place + 1], marked[place : place + 1])[0])
        film = self._films[place]
        half = self._shape.span_mm / 2 if self._shape else 0.0
        spots = [(k, spot) for k in (place - 1, place) if 0 <= k < len(seams) for spot, _ in self._marks[k]]
        v0 = min(film.bounds[1], *(spot - half for _, spot in spots)) if spots else film.bounds[1]
        v1 = max(film.bounds[3], *(spot + half for _, spot in spots)) if spots else film.bounds[3]
        frame = (low - border, v0 - border, high + border, v1 + border)
        return Panel(
            number=self._numbers[place],
            place=place + 1,
            box=box_of(film, way.run),
            area_mm2=round(float(film.area), 3),
            across_mm=round(frame[2] - frame[0], 3),
            along_mm=round(frame[3] - frame[1], 3),
            turn_deg=0 if way.run == "vertical" else 90,
            frame=box_of(shapely.box(*frame), way.run, digits=6),
            marks=tuple(
                PanelMark(seam=k + 1, **_in_file(float(seams[k]), spot, frame, way.run)) for k, spot in spots
            ),
        )


def _shared(way: Way, films: Sequence[BaseGeometry], seam: int) -> tuple[float, float] | None:
    """Return the stretch along a seam that both its panels' films have in common; None where film is crossed."""
    if way.across.meets(way.parting.seams[seam : seam + 1])[0]:
        return None
    (_, a0, _, a1), (_, b0, _, b1) = films[seam].bounds, films[seam + 1].bounds
    return max(a0, b0), min(a1, b1)


def _in_file(u: float, v: float, frame: Box, run: Seams) -> dict[str, float]:
    """Return a place on the sign as it is in the panel's file: turned clockwise where seams are horizontal."""
    x = u - frame[0] if run == "vertical" else frame[2] - u
    return {"x_mm": round(x, 3), "y_mm": round(v - frame[1], 3)}


def _stacked(planned: Sequence[Planned], stagger: float) -> list[StackedSeams]:
    """Return the seams through film, of films that lie on each other there, that could not keep apart."""
    found = []
    for index, upper in enumerate(planned):
        for lower in planned[:index]:
            if upper.plan.seams_run is None or upper.plan.seams_run != lower.plan.seams_run:
                continue
            found += _pairs(lower, upper, stagger)
    return found


def _pairs(lower: Planned, upper: Planned, stagger: float) -> list[StackedSeams]:
    run = upper.plan.seams_run
    assert run is not None, "the caller asked for it"
    both = crosswise(shapely.intersection(lower.region, upper.region), run)
    found = []
    for below in (seam for seam in lower.plan.seams if seam.through_film):
        for above in (seam for seam in upper.plan.seams if seam.through_film):
            apart = abs(below.position_mm - above.position_mm)
            low, high = sorted((below.position_mm, above.position_mm))
            strip = shapely.box(low - 1, -1e6, high + 1, 1e6)
            if apart < stagger - SLACK and shapely.intersection(both, strip).area > 1:
                pair = (lower.plan.film, upper.plan.film)
                found.append(
                    StackedSeams(
                        films=pair, seams=(below.number, above.number), run=run, apart_mm=round(apart, 3)
                    )
                )
    return found
