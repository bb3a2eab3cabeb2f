"""Weeding in words."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.jobsheet.figures import weed_figures
from preflight.jobsheet.model import JobSheet
from preflight.jobsheet.table import Cell, Section, Table, film_cell
from preflight.units import MM_PER, format_length

_TERMS = {
    "removed": "Pulled off",
    "enclosed": "Picked out",
    "small-holes": "Small ones of them",
    "small-pieces": "Small, stay",
    "narrow-parts": "Narrow, stay",
    "points": "Long points",
    "outline": "Outline, dm/dm²",
    "waste": "Waste, dm²",
}
"""Heads of the difficulty's terms."""


def weed(sheet: JobSheet) -> Section:
    """Return the section on weeding: what comes off, what needs care, how hard it is."""
    return Section(
        "3  Weed",
        (_pieces(sheet), _difficulty(sheet)),
        tuple(_steps(sheet)),
        tuple(_notes(sheet)),
        weed_figures(sheet),
    )


def _pieces(sheet: JobSheet) -> Table:
    head = (
        "Film",
        "Pieces that stay",
        "Pieces to pull off",
        "Small pieces",
        "Narrow places",
        "Smallest that stays",
    )
    rows = []
    for film in sheet.films:
        weeding = film.weeding
        enclosed = f"{weeding.holes} of them enclosed" if weeding.holes else "none enclosed"
        small = f"{weeding.small_stays} stay, {weeding.small_removed} come off"
        narrow = "not judged" if weeding.narrow is None else str(weeding.narrow)
        narrowest = () if weeding.narrowest is None else (f"down to {format_length(weeding.narrowest)}",)
        smallest = (
            ("unknown",)
            if weeding.smallest is None
            else (" × ".join(format_length(side, with_unit=False) for side in weeding.smallest) + " mm",)
        )
        rows.append(
            (
                film_cell(film),
                Cell((str(weeding.stays),)),
                Cell((str(weeding.removed), enclosed)),
                Cell((small, f"under {weeding.small_area:g} mm²")),
                Cell((narrow, *narrowest)),
                Cell(smallest),
            )
        )
    return Table(head, tuple(rows))


def _difficulty(sheet: JobSheet) -> Table:
    shown = {term.key for film in sheet.films for term in film.weeding.difficulty.terms if term.value}
    rows = []
    for film in sheet.films:
        hard, hands = film.weeding.difficulty, film.weeding.hands
        factor = f"sum × {hard.film_factor:g} for the film"
        whole = () if hard.complete else ("narrow parts could not be judged",)
        terms = [term for term in hard.terms if term.key in shown]
        rows.append(
            (
                film_cell(film),
                Cell((f"{hard.grade}†", f"{hard.points:g} points", factor, *whole)),
                Cell((f"{_minutes(hands.least)} to {_minutes(hands.most)} min†",)),
                *(Cell((f"{term.points:.1f}", f"{term.value:.4g} × {term.weight:g}")) for term in terms),
            )
        )
    heads = [_TERMS[term.key] for term in sheet.films[0].weeding.difficulty.terms if term.key in shown]
    return Table(("Film", "How hard", "Hands", *heads), tuple(rows), ("How hard", "Hands"))


def _minutes(seconds: float) -> str:
    """Return a rule of thumb's time to the half minute."""
    return f"{max(1, round(seconds / 30)) / 2:g}"


def _steps(sheet: JobSheet) -> Iterator[str]:
    lines = sum(film.weeding.weed_lines for film in sheet.films)
    if lines:
        length = sum(film.weeding.weed_lines_length for film in sheet.films)
        metres, feet = length / MM_PER["m"], length / MM_PER["ft"]
        cuts = "1 cut" if lines == 1 else f"{lines} cuts"
        yield (
            f"Weed lines, if wanted: {cuts} in the waste, {metres:.1f} m / {feet:.0f} ft in all, part it into pieces "
            "that a hand pulls off at once†. None comes near film that stays. A repair writes them where asked to."
        )
    yield "Pull the waste off slowly at a flat angle, starting at a corner†. Hold small and narrow pieces down."
    yield "Pick out the enclosed pieces, and compare with the picture: nothing missing, nothing left in."


def _notes(sheet: JobSheet) -> Iterator[str]:
    for basis in dict.fromkeys(film.weeding.difficulty.basis for film in sheet.films):
        yield f"How hard: {basis}"
    for basis in dict.fromkeys(film.weeding.hands.basis for film in sheet.films):
        yield f"Hands: {basis}"
