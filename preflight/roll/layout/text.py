"""The layout as text, for an operator at the machine."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from preflight.roll.layout.model import FilmLayout, Layout, LineShown, PieceShown, Way
from preflight.roll.layout.wording import long_length, panels_words
from preflight.roll.plain import length, wrapped
from preflight.units import Unit

_VERDICTS = {"fits": "FITS", "does-not-fit": "DOES NOT FIT", "not-judged": "NOT JUDGED"}
_WAYS = {"as-drawn": "as drawn", "quarter": "turned a quarter"}
_SHOWN = 12
"""Pieces that are described; the JSON has them all."""


def to_text(layout: Layout, *, unit: Unit = "mm", width: int = 80) -> str:
    """Return ``layout`` in words and figures, lengths in ``unit``, lines at most about ``width`` long."""
    lines = [f"{_VERDICTS[layout.verdict]}  {layout.summary}", ""]
    for line in layout.lines:
        size = f"{length(line.width_mm, unit)} by {length(line.height_mm, unit)}"
        stated = "" if line.size_stated else " (size not stated)"
        lines.append(f"{line.number}  {line.name}: {line.copies} × {size}{stated}")
        if line.largest is not None and line.largest < 1:
            lines.append(
                f"   fits whole up to {line.largest * 100:.1f} % of its size; {line.limiting_film} sets that"
            )
    for film in layout.films:
        lines += ["", *_film(film, layout.lines, unit)]
    if layout.cost is not None and len(layout.films) > 1:
        lines += ["", f"Film of the whole order: {layout.film_area_m2:.3f} m², cost {layout.cost:.2f}"]
    if layout.notes:
        lines += ["", "Worth knowing:", *(f"  - {note}" for note in layout.notes)]
    lines += ["", layout.claim]
    return "\n".join(part for line in lines for part in wrapped(line, width)) + "\n"


def _film(film: FilmLayout, order: Sequence[LineShown], unit: Unit) -> Iterator[str]:
    direction = ", directional" if film.directional else ""
    named = "" if film.film == film.colour else f" ({film.colour})"
    yield f"{film.film}{named}{direction}: {_VERDICTS[film.verdict].lower()}"
    yield f"  {film.reason}"
    yield from (f"  {panels_words(panels, order)}" for panels in film.panels)
    if film.roll is not None:
        roll = film.roll
        yield (
            f"  Roll: {length(roll.width_mm, unit)} wide, {length(roll.usable_width_mm, unit)} of it usable; "
            f"weed border {length(roll.weed_border_mm, unit)}, gap {length(roll.gap_mm, unit)}, lead "
            f"{length(roll.lead_mm, unit)} at both ends"
        )
    if film.use is not None:
        use = film.use
        cost = "" if use.cost is None else f", cost {use.cost:.2f}"
        yield (
            f"  Film: {long_length(use.film_length_mm)} off the roll, {use.film_area_m2:.3f} m²{cost}; waste "
            f"{use.waste_m2:.3f} m² ({1 - use.share_used:.0%})"
        )
        if use.left_mm is not None and use.left_mm >= 0:
            yield f"  Left on the roll afterwards: {long_length(use.left_mm)}"
    for piece in film.pieces[:_SHOWN]:
        yield from _piece(piece, film.roll.usable_width_mm if film.roll else 0.0, unit)
    if len(film.pieces) > _SHOWN:
        yield f"  ... and {len(film.pieces) - _SHOWN} more pieces; the JSON has them all"


def _piece(piece: PieceShown, usable: float, unit: Unit) -> Iterator[str]:
    size = f"{length(piece.width_mm, unit)} by {length(piece.height_mm, unit)}"
    upright = ", stays upright" if piece.upright else ""
    yield f"  Piece {piece.key}: {piece.copies} × {size}{upright}"
    if "." in piece.key:
        return
    for way in piece.ways:
        if way.way == "any" and way.turn_deg % 90 == 0:
            continue  # one of the lines above says it already
        yield f"    {_way(way, usable, unit)}"
    if piece.largest is not None:
        yield (
            f"    largest that fits alone: {piece.largest.factor * 100:.1f} % "
            f"({length(piece.largest.width_mm, unit)} by {length(piece.largest.height_mm, unit)})"
        )


def _way(way: Way, usable: float, unit: Unit) -> str:
    words = f"turned by {way.turn_deg:.1f}°" if way.way == "any" else _WAYS[way.way]
    # What a way takes is rounded to the third place.
    word = "fits" if way.fits else "too wide" if way.across_mm > usable + 1e-3 else "too long"
    allowed = "" if way.allowed else ", not allowed"
    across, along = length(way.across_mm, unit), length(way.along_mm, unit)
    return f"{words + ':':<18} {across} across, {along} along: {word}{allowed}"
