"""Lay out an order, film by film."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.errors import PreflightError, printable, shortened
from preflight.films import Film
from preflight.job import Job, Roll
from preflight.roll.layout.model import (
    FilmLayout,
    Layout,
    LineShown,
    PieceShown,
    Placed,
    RollShown,
    Search,
    Taken,
    Use,
    Verdict,
)
from preflight.roll.layout.options import LayoutOptions, OrderLine, Turns
from preflight.roll.layout.parted import with_panels
from preflight.roll.layout.pieces import Cut, Ordered, ordered, pieces_of
from preflight.roll.layout.ways import best_way, inner_width, is_too_wide, largest_of, ways_of
from preflight.roll.layout.wording import (
    fits_words,
    notes_of,
    roll_short_words,
    summary_of,
    too_large_words,
    too_short_words,
)
from preflight.roll.nesting import Nesting, Piece, Placement, Strip, nest
from preflight.roll.nesting.model import QUARTERS, UPRIGHT, Asked, Told, placed, polygons_of
from preflight.text import FontSource
from preflight.version import __version__

_TURNS: dict[Turns, tuple[float, ...] | None] = {"as-drawn": UPRIGHT, "quarter": QUARTERS, "any": None}


@dataclass(frozen=True, eq=False)
class Laid:
    """A layout with the geometry it was made from, for pictures and files."""

    layout: Layout
    lines: tuple[Ordered, ...]
    pieces: Mapping[str, tuple[Cut, ...]]
    """By the key of their film, in the order of `Layout.films`."""

    def film(self, key: str) -> Film:
        """Return a film as the first order line has it that is cut from it."""
        return self.pieces[key][0].film


def layout(
    lines: Sequence[OrderLine],
    job: Job | None = None,
    options: LayoutOptions | None = None,
    *,
    fonts: FontSource | None = None,
    told: Told | None = None,
    asked: Asked | None = None,
    isolated: bool = True,
) -> Layout:
    """Return how the order ``lines`` lies on the job's rolls; see `lay_out`."""
    return lay_out(lines, job, options, fonts=fonts, told=told, asked=asked, isolated=isolated).layout


def lay_out(
    lines: Sequence[OrderLine],
    job: Job | None = None,
    options: LayoutOptions | None = None,
    *,
    fonts: FontSource | None = None,
    told: Told | None = None,
    asked: Asked | None = None,
    isolated: bool = True,
) -> Laid:
    """Return how the order ``lines`` lies on the job's rolls, with its geometry.

    One piece in one copy is laid the way that takes the least film; several are nested, which with
    irregular outlines takes up to ``options.seconds``. Text is outlined in ``fonts`` and those in the
    file itself. ``told``, ``asked`` and ``isolated`` are those of
    `preflight.roll.nesting.nest`. Raises `JobError` where the job's size does not fit an artwork, and
    `PreflightError` (`NestingError` among them) where the order cannot be laid out as asked.
    """
    job, options = job or Job(), options or LayoutOptions()
    order = ordered(lines, job, options, fonts)
    pieces = {key: tuple(cuts) for key, cuts in pieces_of(order, options).items()}
    if not pieces:
        raise PreflightError(
            "nothing-to-cut",
            "There is nothing to cut: no film was found in the artwork.",
            "State colours as films in the job, or draw shapes; live text has to be outlined first.",
        )
    rolls = {key: job.roll_for(cuts[0].film.spec) for key, cuts in pieces.items()}
    searched = sum(1 for key, cuts in pieces.items() if rolls[key] and _many(cuts) and options.nest)
    share = options.seconds / max(searched, 1)
    films = tuple(
        _film(cuts, roll, options, share, (told, asked, isolated))
        if (roll := rolls[key]) is not None
        else _unjudged(cuts)
        for key, cuts in pieces.items()
    )
    films = with_panels(films, pieces, options)
    return Laid(_shown(order, films, options), order, pieces)


def _many(cuts: Sequence[Cut]) -> bool:
    return sum(cut.line.copies for cut in cuts) > 1


def _shown(order: Sequence[Ordered], films: tuple[FilmLayout, ...], options: LayoutOptions) -> Layout:
    verdicts = {film.verdict for film in films}
    verdict: Verdict = (
        "does-not-fit" if "does-not-fit" in verdicts else "not-judged" if "not-judged" in verdicts else "fits"
    )
    uses = [film.use for film in films]
    costs = [None if use is None else use.cost for use in uses]
    return Layout(
        version=__version__,
        verdict=verdict,
        summary=summary_of(verdict, films),
        options=options,
        lines=tuple(_line(line, films) for line in order),
        films=films,
        film_area_m2=_total([None if use is None else use.film_area_m2 for use in uses], 6),
        cost=_total(costs, 2),
        notes=notes_of(order, films),
    )


def _total(parts: Sequence[float | None], digits: int) -> float | None:
    known = [part for part in parts if part is not None]
    return round(sum(known), digits) if len(known) == len(parts) else None


def _line(line: Ordered, films: Sequence[FilmLayout]) -> LineShown:
    least: tuple[float, str] | None = None
    known = True
    for film in films:
        for piece in film.pieces:
            if piece.line != line.number:
                continue
            if piece.largest is None:
                known = False
            elif least is None or piece.largest.factor < least[0]:
                least = piece.largest.factor, film.film
    artwork = line.analysis.artwork
    return LineShown(
        number=line.number,
        name=line.name,
        copies=line.copies,
        width_mm=round(artwork.width, 3),
        height_mm=round(artwork.height, 3),
        size_stated=line.analysis.size_stated,
        mirrored=line.mirrored,
        largest=least[0] if least and known else None,
        limiting_film=least[1] if least and known else None,
    )


def _piece(cut: Cut, roll: Roll | None, options: LayoutOptions) -> PieceShown:
    x0, y0, x1, y1 = cut.region.bounds
    turns: Turns = "as-drawn" if cut.upright else options.turns
    points = cut.points
    return PieceShown(
        key=cut.key,
        line=cut.line.number,
        copies=cut.line.copies,
        width_mm=round(x1 - x0, 3),
        height_mm=round(y1 - y0, 3),
        area_m2=round(cut.area / 1e6, 9),
        upright=cut.upright,
        ways=ways_of(points, roll, turns) if roll is not None else (),
        largest=largest_of(points, roll, turns) if roll is not None else None,
    )


def _named(cuts: Sequence[Cut]) -> tuple[str, str, bool]:
    film = cuts[0].film
    return printable(shortened(film.name)), film.colour, film.spec.directional


def _unjudged(cuts: Sequence[Cut]) -> FilmLayout:
    name, colour, directional = _named(cuts)
    return FilmLayout(
        film=name,
        colour=colour,
        directional=directional,
        verdict="not-judged",
        reason="No roll is stated for this film.",
        pieces=tuple(_piece(cut, None, LayoutOptions()) for cut in cuts),
    )


def _film(
    cuts: Sequence[Cut],
    roll: Roll,
    options: LayoutOptions,
    seconds: float,
    controls: tuple[Told | None, Asked | None, bool],
) -> FilmLayout:
    name, colour, directional = _named(cuts)
    price = cuts[0].film.spec.price
    gap = roll.weed_border if options.gap is None else options.gap
    pieces = tuple(_piece(cut, roll, options) for cut in cuts)
    shown = FilmLayout(
        film=name,
        colour=colour,
        directional=directional,
        verdict="does-not-fit",
        reason="",
        roll=_roll(roll, gap, price),
        pieces=pieces,
    )
    wide = [piece for piece in pieces if is_too_wide(piece, roll.usable_width)]
    if wide:
        reason = too_large_words(wide, roll, directional)
        return shown.model_copy(update={"reason": reason, "panels_needed": True})
    short = [p for p in pieces if best_way(p.ways) is None]
    if short:
        return shown.model_copy(update={"reason": too_short_words(short[0], roll)})
    strip = Strip(
        width=inner_width(roll),
        gap=gap,
        roll_width=roll.width,
        lead=roll.weed_border + roll.lead,
        directional=directional,
        price=price,
        length=roll.length,
    )
    if _many(cuts):
        found = _nested(cuts, strip, options, seconds, controls)
        way: Taken = "boxes" if found.engine == "rectangles" else "nested"
        search = Search(engine=found.engine, ended=found.ended)
    else:
        found, way = _alone(cuts[0], pieces[0], strip)
        search = None
    use = _use(found, sum(cut.area * cut.line.copies for cut in cuts))
    fits = found.fits_roll is not False
    return shown.model_copy(
        update={
            "verdict": "fits" if fits else "does-not-fit",
            "reason": fits_words(way, use, pieces) if fits else roll_short_words(use, roll),
            "way": way,
            "placements": _placed(cuts, found, roll),
            "use": use,
            "search": search,
        }
    )


def _nested(
    cuts: Sequence[Cut],
    strip: Strip,
    options: LayoutOptions,
    seconds: float,
    controls: tuple[Told | None, Asked | None, bool],
) -> Nesting:
    told, asked, isolated = controls
    pieces = [
        Piece(
            cut.key, _kept(cut, options), cut.line.copies, UPRIGHT if cut.upright else _TURNS[options.turns]
        )
        for cut in cuts
    ]
    return nest(
        pieces,
        strip,
        seconds=max(seconds, 2.0),
        seed=options.seed,
        holes=options.fill_holes,
        engine="auto" if options.nest else "rectangles",
        told=told,
        asked=asked,
        workers=None if isolated else 1,  # a process that may start no other has its share of time to keep to
        isolated=isolated,
    )


def _kept(cut: Cut, options: LayoutOptions) -> BaseGeometry:
    """Return the room that one copy keeps to itself.

    Lettering is taped and lifted as one sheet, so nothing else may lie between its parts; it keeps its
    convex hull. What is one part anyway may be reached into.
    """
    if options.interlock or options.fill_holes or len(polygons_of(cut.region)) < 2:
        return cut.region
    return shapely.convex_hull(cut.region)


def _alone(cut: Cut, piece: PieceShown, strip: Strip) -> tuple[Nesting, Taken]:
    way = best_way(piece.ways)
    assert way is not None, "pieces without one are told of before"
    x0, y0, x1, y1 = placed(cut.region, way.turn_deg, 0, 0).bounds
    # In the middle where it is as wide as the strip: what rounding leaves over is shared by both sides.
    aside = min(strip.width - (x1 - x0), 0.0) / 2
    spot = Placement(cut.key, way.turn_deg, aside - x0, -y0)
    return Nesting((spot,), y1 - y0, float(cut.area), strip, "rectangles"), way.way


def _placed(cuts: Sequence[Cut], found: Nesting, roll: Roll) -> tuple[Placed, ...]:
    known = {cut.key: cut for cut in cuts}
    dx, dy = roll.margin + roll.weed_border, roll.lead + roll.weed_border
    shown = []
    for place in found.placements:
        x, y = place.x + dx, place.y + dy
        box = placed(known[place.key].region, place.turn, x, y).bounds
        x0, y0, x1, y1 = (round(float(value), 3) for value in box)
        shown.append(
            Placed(
                piece=place.key,
                turn_deg=round(place.turn % 360, 9) % 360,
                x_mm=round(x, 6),
                y_mm=round(y, 6),
                box=(x0, y0, x1, y1),
            )
        )
    return tuple(shown)


def _roll(roll: Roll, gap: float, price: float | None) -> RollShown:
    return RollShown(
        width_mm=roll.width,
        usable_width_mm=roll.usable_width,
        margin_mm=roll.margin,
        weed_border_mm=roll.weed_border,
        gap_mm=gap,
        lead_mm=roll.lead,
        length_mm=roll.length,
        price=price,
    )


def _use(found: Nesting, area: float) -> Use:
    left = None if found.strip.length is None else found.strip.length - found.film_length
    return Use(
        cut_length_mm=round(found.length, 3),
        film_length_mm=round(found.film_length, 3),
        film_area_m2=round(found.film_area / 1e6, 6),
        pieces_area_m2=round(area / 1e6, 6),
        waste_m2=round((found.film_area - area) / 1e6, 6),
        share_used=round(float(np.clip(area / found.film_area, 0, 1)), 6),
        cost=None if found.cost is None else round(found.cost, 2),
        left_mm=None if left is None else round(left, 3),
    )
