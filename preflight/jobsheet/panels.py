"""Panels in words: what each one takes of the roll, and how they go on."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.jobsheet.figures import assembly_figures
from preflight.jobsheet.model import FilmSheet, JobSheet
from preflight.jobsheet.table import Cell, Section, Table, both, film_cell, named, sides, two_units


def in_panels(sheet: JobSheet) -> tuple[Section, ...]:
    """Return the section on panels, where a film is cut in some."""
    films = [film for film in sheet.films if film.panels is not None]
    if not films:
        return ()
    steps = (
        "Every panel is there, numbered, and cut from one batch of film†.",
        "Put the panels on in the order of their numbers. Lay the marks of each on those of the one before; take the "
        "marks off afterwards.",
    )
    notes = (
        *(note for film in films for note in _notes(film)),
        "The assembly drawing and a file for each panel come with the panels themselves.",
    )
    figures = assembly_figures(sheet)
    return (Section("Panels", (_panels(films), _seams(films)), steps, notes, figures),)


def _panels(films: list[FilmSheet]) -> Table:
    rows = []
    for film in films:
        assert film.panels is not None
        for panel in film.panels.panels:
            x0, y0, x1, y1 = panel.box
            rows.append(
                (
                    film_cell(film),
                    Cell((f"{panel.number} of {len(film.panels.panels)}",)),
                    Cell(tuple(sides(x1 - x0, y1 - y0).split(", "))),
                    two_units(panel.across_mm),
                    two_units(panel.along_mm),
                    Cell(("turned a quarter" if panel.turn_deg else "as drawn",)),
                )
            )
    head = ("Film", "Panel", "Its film", "Across the roll", "Along it", "How it lies")
    return Table(head, tuple(rows), ("Its film",))


def _seams(films: list[FilmSheet]) -> Table:
    rows = []
    for film in films:
        assert film.panels is not None
        edge = "from the left" if film.panels.seams_run == "vertical" else "from the top"
        for seam in film.panels.seams:
            lap = Cell((both(seam.lap_mm),)) if seam.lap_mm else Cell(("none",))
            known = film.panels.order_known or not seam.through_film
            head = "through film" if seam.through_film else "in a gap"
            rows.append(
                (
                    film_cell(film),
                    Cell((str(seam.number), f"panels {seam.panels[0]} and {seam.panels[1]}")),
                    Cell((both(seam.position_mm), edge)),
                    lap,
                    Cell((head if known else "NOT KNOWN", seam.order)),
                )
            )
    return Table(
        ("Film", "Seam", "Where", "Lap", "Which goes first"), tuple(rows), ("Where", "Which goes first")
    )


def _notes(film: FilmSheet) -> Iterator[str]:
    assert film.panels is not None
    yield f"{named(film.name)}: {film.panels.reason}"
    if film.panels.fits_length is False:
        yield f"{named(film.name)}: NOT ENOUGH FILM is left on the roll for all panels."
