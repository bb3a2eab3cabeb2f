"""The layout's sentences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from preflight.errors import quoted
from preflight.job import Roll
from preflight.roll.layout.model import (
    FilmLayout,
    LinePanels,
    LineShown,
    PieceShown,
    Taken,
    Use,
    Verdict,
)
from preflight.roll.layout.pieces import Ordered
from preflight.units import format_length

_WAYS: dict[Taken, str] = {
    "as-drawn": "as drawn",
    "quarter": "turned a quarter",
    "any": "turned",
    "nested": "nested by their outlines",
    "boxes": "side by side as boxes",
}


def long_length(mm: float) -> str:
    """Return a length along the roll: m from 1 m on, to the nearest cm, else mm."""
    return f"{mm / 1000:.2f} m" if mm >= 1000 else format_length(round(mm, 1))


def way_words(way: Taken, pieces: Sequence[PieceShown]) -> str:
    """Return how the pieces lie, for instance “turned by 31.2°”."""
    if way == "any":
        turn = next(w.turn_deg for w in pieces[0].ways if w.way == "any")
        return f"turned by {turn:.1f}°"
    return _WAYS[way]


def fits_words(way: Taken, use: Use, pieces: Sequence[PieceShown]) -> str:
    """Return the sentence for a film that fits."""
    copies = sum(piece.copies for piece in pieces)
    what = "One piece" if copies == 1 else f"{copies} pieces"
    left = "" if use.left_mm is None else f"; {long_length(use.left_mm)} is left on the roll"
    return (
        f"{what}, {way_words(way, pieces)}, from {long_length(use.film_length_mm)} of film "
        f"({use.share_used:.0%} of it stays){left}."
    )


def too_large_words(wide: Sequence[PieceShown], roll: Roll, directional: bool) -> str:
    """Return the sentence for pieces that are too wide at every turn allowed, with what helps."""
    worst = min(wide, key=lambda p: p.largest.factor if p.largest else 0.0)
    least = min(way.across_mm for way in worst.ways if way.allowed)
    more = len(wide) - 1
    others = f", and {more} more piece{'s' if more > 1 else ''} too" if more else ""
    turning = _turning(worst, roll, directional)
    scale = _scaled(worst)
    return (
        f"Piece {worst.key} takes at least {format_length(least)} across, with the weed border; the usable width "
        f"is {format_length(roll.usable_width)}{others}.{turning}{scale} At its full size it has to be cut in panels."
    )


def panels_words(panels: LinePanels, order: Sequence[LineShown]) -> str:
    """Return the sentence for one order line that is parted, or cannot be."""
    name = next(quoted(line.name) for line in order if line.number == panels.line)
    if panels.plan is None:
        return f"{name} cannot be cut in panels: {panels.problem}"
    length = panels.plan.film_length_mm
    film = "" if length is None else f" One copy takes {long_length(length)} of film."
    return f"{name} in panels: {panels.plan.reason}{film}"


def _turning(piece: PieceShown, roll: Roll, directional: bool) -> str:
    if directional:
        return " The film has a direction, so nothing may be turned."
    helping = [
        way for way in piece.ways if not way.allowed and way.across_mm <= roll.usable_width and way.fits
    ]
    if helping:
        return f" {_WAYS[helping[0].way].capitalize()} it would fit, which is not allowed here."
    return ""


def _scaled(piece: PieceShown) -> str:
    if piece.largest is None:
        return ""
    return (
        f" It fits up to {piece.largest.factor * 100:.1f} % of its size: {format_length(piece.largest.width_mm)} "
        f"by {format_length(piece.largest.height_mm)}."
    )


def too_short_words(piece: PieceShown, roll: Roll) -> str:
    """Return the sentence for a roll that is too short for even one copy of a piece."""
    narrow = [w for w in piece.ways if w.allowed and w.across_mm <= roll.usable_width + 1e-3]
    need = min(way.along_mm for way in narrow)
    return (
        f"Piece {piece.key} alone needs {long_length(need)} of film, and {long_length(roll.length or 0.0)} is left "
        f"on the roll.{_scaled(piece)} At its full size it needs a new roll or panels."
    )


def roll_short_words(use: Use, roll: Roll) -> str:
    """Return the sentence for an order that is longer than what is left of the roll."""
    return (
        f"The order needs {long_length(use.film_length_mm)} of film, and {long_length(roll.length or 0.0)} is left on "
        "the roll. Take a new roll, or cut fewer copies from this one."
    )


def summary_of(verdict: Verdict, films: Sequence[FilmLayout]) -> str:
    """Return the layout in one sentence."""
    if verdict == "fits":
        lengths = [film.use.film_length_mm for film in films if film.use is not None]
        if len(films) == 1:
            return f"The order fits on {long_length(lengths[0])} of film."
        return f"The order fits: {long_length(sum(lengths))} of film from {len(films)} rolls."
    wrong = [film.film for film in films if film.verdict == verdict]
    names = ", ".join(quoted(name) for name in wrong[:5]) + (" and more" if len(wrong) > 5 else "")
    if verdict == "not-judged":
        return f"Not judged: no roll is stated for {names}."
    return f"The order does not fit: see {names}."


def notes_of(order: Sequence[Ordered], films: Sequence[FilmLayout]) -> tuple[str, ...]:
    """Return what else an operator should know, each thing once."""
    return tuple(dict.fromkeys(_notes(order, films)))


def _notes(order: Sequence[Ordered], films: Sequence[FilmLayout]) -> Iterator[str]:
    parts = any("." in piece.key for film in films for piece in film.pieces)
    for line in order:
        yield from _line_notes(line, parts)
    for shown in films:
        if shown.search is not None and shown.search.ended == "cancelled":
            yield f"{shown.film}: the search was ended early; the layout is the best found until then."
    if any(film.roll and film.roll.gap_mm == 0 and len(film.placements) > 1 for film in films):
        yield "Pieces may touch, since the gap is 0 mm: an edge that two of them share is cut twice."
    elif any(film.roll and film.roll.gap_mm < film.roll.weed_border_mm for film in films):
        yield "Pieces lie nearer to each other than the weed border: the waste between them is thin to pull."
    if parts:
        yield "Parts are laid out one by one: their places to each other are lost and must be measured at fitting."


def _line_notes(line: Ordered, parts: bool) -> Iterator[str]:
    name, analysis = quoted(line.name), line.analysis
    if not analysis.size_stated:
        yield f"{name}: the finished size is not stated, so the file’s own size was laid out."
    if any(text.text.strip() for text in analysis.texts):
        yield f"{name}: some text could not be outlined and is not laid out. Turn it into outlines first."
    if analysis.pictures:
        yield f"{name}: pictures cannot be cut and are not laid out."
    for film in analysis.films:
        if film.region.is_empty:
            yield f"{name}: nothing of the film {quoted(film.name)} would stay, so it is not laid out."
    if line.mirrored:
        yield f"{name}: laid out mirrored, since it goes behind glass and is drawn as it is read."
    if any(meaning.role == "knife" for meaning in analysis.meanings):
        if len(analysis.films) > 1:
            yield f"{name}: which film its knife lines cut is not known, so they are not laid out."
        elif parts:
            yield f"{name}: its knife lines belong to no part, so they are not laid out."
