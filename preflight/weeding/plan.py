"""Weeding of one film: pieces, what is fragile, difficulty, hands, weed lines."""

from __future__ import annotations

from collections.abc import Iterator

import shapely
from shapely.geometry.base import BaseGeometry

from preflight.analysis import Analysis
from preflight.artwork import Artwork
from preflight.films import Film
from preflight.geometry.appearance import polygonal
from preflight.geometry.thickness import ThinKind
from preflight.job import FilmKind, Job
from preflight.rules.specks import NOISE, holding, small_counters, small_islands
from preflight.weeding.lines import weed_lines
from preflight.weeding.model import (
    Box,
    Difficulty,
    FilmWeeding,
    Fragile,
    Grade,
    Hands,
    Term,
)

_WEIGHTS: tuple[tuple[str, str, str, float], ...] = (
    ("removed", "pieces of waste to pull off", "pieces", 0.5),
    ("enclosed", "of them enclosed, to be picked out", "pieces", 0.5),
    ("small-holes", "of them small", "pieces", 2.0),
    ("small-pieces", "small pieces that stay", "pieces", 3.0),
    ("narrow-parts", "narrow parts that stay", "places", 2.0),
    ("points", "long points that stay", "places", 1.0),
    ("outline", "outline for each square decimetre that stays, up to 100", "dm/dm²", 0.2),
    ("waste", "waste within the weed border", "dm²", 0.1),
)
"""Key, words, unit and weight of each term."""

_FILM_FACTORS: dict[FilmKind, float] = {
    "cast": 1.2,
    "calendered": 1.0,
    "translucent": 1.0,
    "metallic": 1.1,
    "reflective": 1.2,
    "frosted": 1.0,
    "mask": 0.8,
}
"""Cast film is thin and stretches; metallic and reflective films tear; mask holds together."""

_GRADES: tuple[tuple[float, Grade], ...] = ((25.0, "easy"), (75.0, "moderate"), (200.0, "slow"))
_BASIS = (
    "No published formula for weeding exists. Terms, weights and grades are this tool's own rule of thumb (common "
    "practice, no source): they compare jobs with each other, nothing more."
)
_SECONDS = {"piece": (2.0, 6.0), "care": (5.0, 15.0), "waste": (1.0, 3.0)}
"""Least and most seconds for a piece pulled off, a place to be careful with, a square decimetre of waste."""


def weed(artwork: Artwork, job: Job | None = None) -> tuple[FilmWeeding, ...]:
    """Return what weeding ``artwork``, as read, takes, film by film; films of which nothing stays are left out.

    Raises `JobError` where the job's size does not fit the artwork.
    """
    films = Analysis(artwork, job or Job()).films
    return tuple(weeding_of(film) for film in films if not film.region.is_empty)


def weeding_of(film: Film) -> FilmWeeding:
    """Return what weeding ``film`` takes; lengths mm, areas mm2, at the finished size."""
    surround = film.surround_stays
    frame = None if surround else _frame(film)
    waste = _waste(film, frame)
    parts = [part for part in shapely.get_parts(waste) if part.area > NOISE]
    enclosed = parts if frame is None else [part for part in parts if not _on_edge(part, frame)]
    fragile = tuple(_fragile(film))
    lines = weed_lines(film.region, frame, waste, film.weeding)
    difficulty = _difficulty(film, len(parts), len(enclosed), waste.area, fragile)
    return FilmWeeding(
        film=film.name,
        polarity="surround" if surround else "shapes",
        stays=len(shapely.get_parts(film.region)),
        removed=len(parts),
        enclosed=len(enclosed),
        waste_area=float(waste.area),
        frame=frame,
        fragile=fragile,
        difficulty=difficulty,
        lines=lines,
        line_length=sum(line.length for line in lines),
        hands=_hands(len(parts), len(fragile), waste.area),
    )


def _frame(film: Film) -> Box:
    x0, y0, x1, y1 = film.region.bounds
    border = film.weed_border
    return (x0 - border, y0 - border, x1 + border, y1 + border)


def _waste(film: Film, frame: Box | None) -> BaseGeometry:
    if frame is None:
        return film.shapes_region
    return polygonal(shapely.difference(shapely.box(*frame), film.region))


def _on_edge(part: shapely.Polygon, frame: Box) -> bool:
    return bool(shapely.intersects(part.exterior, shapely.box(*frame).exterior))


def _fragile(film: Film) -> Iterator[Fragile]:
    islands = small_islands(film)
    for speck in islands:
        yield Fragile(what="small-piece", at=speck.point, box=speck.box, size=speck.area)
    told = holding(islands, [part.point for part in film.thin])
    for part, as_island in zip(film.thin, told, strict=True):
        if as_island:
            continue
        if part.kind is ThinKind.SPIKE:
            yield Fragile(what="point", at=part.point, box=part.box, size=part.area)
        else:
            yield Fragile(what="narrow-part", at=part.point, box=part.box, size=part.width)
    for speck in small_counters(film):
        yield Fragile(what="small-hole", at=speck.point, box=speck.box, size=speck.area)


def _difficulty(
    film: Film, removed: int, enclosed: int, waste: float, fragile: tuple[Fragile, ...]
) -> Difficulty:
    def count(what: str) -> int:
        return sum(one.what == what for one in fragile)

    area = film.region.area
    values: dict[str, float] = {
        "removed": removed,
        "enclosed": enclosed,
        "small-holes": count("small-hole"),
        "small-pieces": count("small-piece"),
        "narrow-parts": count("narrow-part"),
        "points": count("point"),
        "outline": min(film.region.length / area * 100, 100.0) if area else 0.0,
        "waste": waste / 1e4,
    }
    terms = tuple(
        Term(
            key=key,
            words=words,
            value=round(values[key], 3),
            unit=unit,
            weight=weight,
            points=round(round(values[key], 3) * weight, 3),
        )
        for key, words, unit, weight in _WEIGHTS
    )
    factor = _FILM_FACTORS[film.spec.kind]
    points = round(sum(term.points for term in terms) * factor, 1)
    return Difficulty(
        terms=terms,
        film_factor=factor,
        points=points,
        grade=next((grade for most, grade in _GRADES if points < most), "hard"),
        complete="narrow parts" not in film.unjudged,
        basis=_BASIS,
    )


def _hands(removed: int, careful: int, waste: float) -> Hands:
    counts = {"piece": removed, "care": careful, "waste": waste / 1e4}
    least, most = (sum(counts[key] * _SECONDS[key][end] for key in counts) for end in (0, 1))
    rates = "; ".join(
        f"{low:g} to {high:g} s for each {words}"
        for (low, high), words in zip(
            _SECONDS.values(),
            ("piece pulled off", "small or narrow place", "square decimetre of waste"),
            strict=True,
        )
    )
    return Hands(
        least=round(least, 1),
        most=round(most, 1),
        basis=f"Rule of thumb (common practice, no source): {rates}. Weed lines and practice change it.",
    )
