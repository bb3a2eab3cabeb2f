"""Work out everything that stands on a job sheet."""

from __future__ import annotations

import numpy as np
import shapely

from preflight.analysis import Analysis
from preflight.artwork import Artwork
from preflight.checking import analysed, judged
from preflight.colour import plain_colour
from preflight.cutting.rehearsal.plan import laid, planned, spots
from preflight.cutting.timing import Machine, machine_of
from preflight.errors import PreflightError
from preflight.films import Film
from preflight.job import Job
from preflight.jobsheet.cautions import cautions_for
from preflight.jobsheet.drawing import drawing_of, outline_of
from preflight.jobsheet.model import (
    Box,
    FilmSheet,
    Hinge,
    JobSheet,
    Placement,
    RollSheet,
    Tape,
    Weeding,
)
from preflight.jobsheet.stacking import laying_of
from preflight.report.model import Report, Severity
from preflight.roll.fit import fit_film
from preflight.roll.panels import PanelPlan, plan_films
from preflight.rules import RULES
from preflight.version import __version__
from preflight.weeding import weeding_of

CLAIM = "Geometry only; test-cut first. Film, blade, force, machine and weather are not known here."

CENTRE_HINGE = 900.0
"""Graphics longer than this (mm) get a centre hinge. Common practice, no source."""


def job_sheet(artwork: Artwork, job: Job | None = None, *, machine: Machine | None = None) -> JobSheet:
    """Return the job sheet of ``artwork``, as read, for ``job`` (stock: ``Job()``).

    ``machine`` is what the cutting time rests on (none: the job's, and the sheet says whether the job or
    stock states it). The same input gives the same sheet. Raises `JobError` where the job's size does not
    fit the artwork, and `PreflightError` where there is no film to cut.
    """
    analysis = analysed(artwork, job or Job())
    return sheet_of(analysis, judged(analysis), machine=machine)


def sheet_of(analysis: Analysis, report: Report, *, machine: Machine | None = None) -> JobSheet:
    """Return the job sheet of what is analysed and judged already; see `job_sheet`."""
    artwork, job = analysis.artwork, analysis.job
    films = [film for film in analysis.films if not film.region.is_empty and film.cut_bounds is not None]
    if not films:
        raise PreflightError(
            "nothing-to-cut",
            "There is nothing to cut from film in this artwork, so there is no job sheet for it.",
            "See the report for what stands in the way.",
        )
    laying = laying_of(analysis)
    box = _box([film.region.bounds for film in films])
    flipped = laying.mirror == "mirror"
    plans = _panels(analysis)
    sheets = tuple(
        _film(analysis, film, machine or machine_of(job.machine), plans.get(film.key), flipped=flipped)
        for film in films
    )
    return JobSheet(
        tool_version=__version__,
        title=artwork.source.name or "Artwork without a name",
        sha256=artwork.source.sha256,
        job_sha256=job.sha256,
        verdict=report.verdict,
        summary=report.summary,
        faults=_faults(report),
        width=analysis.artwork.width,
        height=analysis.artwork.height,
        size_stated=analysis.size_stated,
        scale=analysis.scale,
        drawing=drawing_of(analysis),
        art_box=box,
        use=job.use,
        use_stated=job.stated("use"),
        surface=job.surface,
        place=job.mounting.place,
        substrate=job.mounting.substrate,
        blade_offset=job.blade.offset,
        blade_angle=job.blade.angle,
        offset_stated=job.stated("blade.offset"),
        angle_stated=job.stated("blade.angle"),
        polarity=job.polarity,
        films=sheets,
        loose_lines=analysis.length_of(analysis.loose_contours),
        laying=laying,
        hinge=_hinge(placed(box, analysis, flipped=flipped), analysis, flipped=flipped),
        cautions=cautions_for(analysis),
        time_basis=_time_basis(job, machine),
        claim=CLAIM,
    )


def _faults(report: Report) -> tuple[str, ...]:
    titles = {rule.code: rule.title for rule in RULES}
    errors = [titles[f.code] for f in report.findings if f.severity is Severity.ERROR]
    return tuple(dict.fromkeys(errors))


def _panels(analysis: Analysis) -> dict[str, PanelPlan]:
    """Return the plans of those films that are too wide for their rolls, by the film's key."""
    if all(fit_film(film).case != "panels-needed" for film in analysis.films):
        return {}
    planned = plan_films(analysis)
    return {one.film.key: one.plan for one in planned if one.plan.verdict == "panels"}


def _film(
    analysis: Analysis, film: Film, machine: Machine, panels: PanelPlan | None, *, flipped: bool
) -> FilmSheet:
    job, bounds = analysis.job, film.region.bounds
    roll = _roll(film)
    return FilmSheet(
        name=film.name,
        colour=plain_colour(film.colour),
        kind=film.spec.kind,
        thickness=film.spec.thickness,
        thickness_stated="thickness" in film.spec.model_fields_set,
        kind_stated="kind" in film.spec.model_fields_set,
        directional=film.spec.directional,
        area=float(film.region.area),
        width=bounds[2] - bounds[0],
        height=bounds[3] - bounds[1],
        outline=outline_of(film.region),
        cut_length=float(analysis.painting.lengths[list(film.followed)].sum()),
        contours=len(film.followed_contours),
        cut_seconds=_seconds(
            analysis, film, machine, turned=roll is not None and roll.turned, mirrored=flipped
        ),
        roll=roll,
        panels=panels,
        weeding=_weeding(film, surround=job.polarity == "surround"),
        tape=_tape(film, job.mounting.tape_width, panels),
        placement=placed(_box([bounds]), analysis, flipped=flipped),
        temperature=film.spec.temperature,
    )


def _roll(film: Film) -> RollSheet | None:
    roll, fit = film.roll, fit_film(film)
    if roll is None or fit.across is None or fit.along is None or fit.usable is None:
        return None
    return RollSheet(
        width=roll.width,
        margin=roll.margin,
        machine_width=roll.machine_width,
        usable_width=fit.usable,
        weed_border=roll.weed_border,
        lead=roll.lead,
        left_on_roll=roll.length,
        fits=fit.answer in ("fits", "fits-turned"),
        turned=fit.turned,
        across=fit.across,
        along=fit.along,
        reason=fit.reason,
        margin_stated="margin" in roll.model_fields_set,
        weed_border_stated="weed_border" in roll.model_fields_set,
        lead_stated="lead" in roll.model_fields_set,
    )


def _weeding(film: Film, *, surround: bool) -> Weeding:
    stays = shapely.get_parts(film.region)
    holes = int(shapely.get_num_interior_rings(stays).sum())
    # With the shapes weeded out each of them is one piece; else the sheet around is one more than the holes.
    removed = len(shapely.get_parts(film.shapes_region)) if surround else holes + 1
    narrow = [part for part in film.thin if part.kind != "spike"]
    judged = "narrow parts" not in film.unjudged
    told = weeding_of(film)
    return Weeding(
        stays=len(stays),
        removed=removed,
        holes=holes,
        small_stays=sum(one.what == "small-piece" for one in told.fragile),
        small_removed=sum(one.what == "small-hole" for one in told.fragile),
        small_area=film.limits.island_area.warning,
        smallest=_sides(stays[int(np.argmin(shapely.area(stays)))]),
        narrow=len(narrow) if judged else None,
        narrowest=min((part.width for part in narrow), default=None) if judged else None,
        difficulty=told.difficulty,
        hands=told.hands,
        frame=told.frame,
        lines=told.lines,
        weed_lines=len(told.lines),
        weed_lines_length=told.line_length,
    )


def _sides(piece: shapely.Geometry) -> tuple[float, float] | None:
    corners = shapely.get_coordinates(shapely.oriented_envelope(piece))
    if len(corners) < 4:
        return None
    short, long = sorted(np.hypot(*(corners[1:3] - corners[:2]).T).tolist())
    return short, long


def _tape(film: Film, at_hand: float | None, panels: PanelPlan | None) -> Tape:
    covered = [film.region.bounds] if panels is None else [panel.box for panel in panels.panels]
    sides = np.sort([(x1 - x0, y1 - y0) for x0, y0, x1, y1 in covered], axis=1)
    short, long = sides.max(axis=0).tolist()
    boxes = shapely.bounds(shapely.get_parts(film.region))
    sizes = boxes[:, 2:] - boxes[:, :2]
    # The piece whose shorter side is longest: it is what the narrowest tape has to span.
    wide, high = sizes[int(np.argmax(sizes.min(axis=1)))].tolist()
    return Tape(
        width=short,
        length=long,
        widest_piece=(wide, high),
        at_hand=at_hand,
        one_sheet=None if at_hand is None else at_hand >= short - 1e-6,
    )


def placed(box: Box, analysis: Analysis, *, flipped: bool) -> Placement:
    """Return how far ``box`` lies from the drawing area's edges, seen from where the film is applied."""
    left, right = box[0], analysis.artwork.width - box[2]
    if flipped:
        left, right = right, left
    return Placement(left=left, right=right, top=box[1], bottom=analysis.artwork.height - box[3])


def _hinge(place: Placement, analysis: Analysis, *, flipped: bool) -> Hinge:
    width, height = analysis.artwork.width, analysis.artwork.height
    right, bottom, middle = width - place.right, height - place.bottom, (place.left + width - place.right) / 2
    top = ((place.left, place.top), (right, place.top))
    if right - place.left > CENTRE_HINGE:
        marks = (*top, (middle, place.top), (middle, bottom))
        return Hinge(edge="centre", position=middle, marks=marks, flipped=flipped)
    return Hinge(edge="top", position=place.top, marks=(*top, (middle, place.top)), flipped=flipped)


def _box(boxes: list[tuple[float, float, float, float]]) -> Box:
    x0, y0, x1, y1 = np.array(boxes).T
    return float(x0.min()), float(y0.min()), float(x1.max()), float(y1.max())


def _seconds(
    analysis: Analysis, film: Film, machine: Machine, *, turned: bool, mirrored: bool
) -> float | None:
    """Return the time to cut a film, s; None where its lines are no more than spots."""
    job, contours = analysis.job, film.followed_contours
    lines = analysis.painting.contours.take(contours)
    kept = np.flatnonzero(~spots(lines))
    if not len(kept):
        return None
    there, _ = laid(lines.take(kept), mirrored=mirrored, turned=turned)
    cut = planned(
        there,
        contours[kept],
        machine,
        window=job.machine.feed_window,
        small_area=film.limits.island_area.warning,
        overcut=job.blade.overcut_length,
        small_first=True,
    )
    return cut.seconds(machine)


def _time_basis(job: Job, machine: Machine | None) -> str:
    taken = machine or machine_of(job.machine)
    speed = f"{taken.speed:g} mm/s ({_basis(job, machine, 'speed')})"
    acceleration = f"{taken.acceleration:g} mm/s² ({_basis(job, machine, 'acceleration')})"
    return (
        f"estimate for {speed} and {acceleration}; machines differ. Loading, weeding and taping are not in it"
    )


def _basis(job: Job, machine: Machine | None, name: str) -> str:
    stated = machine is not None or job.stated(f"machine.{name}")
    return "as stated" if stated else "common practice, no source"
