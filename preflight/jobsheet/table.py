"""What a sheet's sections are made of: tables, cells, and figures put into words."""

from __future__ import annotations

from dataclasses import dataclass

from preflight.errors import printable, shortened
from preflight.jobsheet.drawing import Figure
from preflight.jobsheet.model import FilmSheet
from preflight.units import Unit, format_length


@dataclass(frozen=True, slots=True)
class Cell:
    """A table's cell: its lines, and the colour of a swatch before them."""

    lines: tuple[str, ...]
    swatch: str | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """A table; every row has as many cells as the head."""

    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    wide: tuple[str, ...] = ("How it lies", "Apply at")
    """Words of the head whose columns hold sentences."""


@dataclass(frozen=True, slots=True)
class Section:
    """One part of the sheet, in the order of work."""

    title: str
    tables: tuple[Table, ...] = ()
    steps: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()


def named(name: str) -> str:
    """Return a film's name as it fits into a line."""
    return shortened(printable(name))


def both(mm: float) -> str:
    """Return a length in mm and inches."""
    return f"{format_length(mm)} / {format_length(mm, 'in')}"


def sides(width: float, height: float) -> str:
    """Return width by height in mm and in inches."""
    units: tuple[Unit, ...] = ("mm", "in")
    return ", ".join(
        f"{format_length(width, unit, with_unit=False)} × {format_length(height, unit)}" for unit in units
    )


def duration(seconds: float) -> str:
    """Return a time to the nearest second, and to the nearest minute from an hour on."""
    whole = max(1, round(seconds))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60} min"


def film_cell(film: FilmSheet) -> Cell:
    """Return a film's cell: its name, kind and thickness, with a swatch."""
    kind = f"{film.kind}{'' if film.kind_stated else '*'}"
    thick = f"{format_length(film.thickness)}{'' if film.thickness_stated else '*'}"
    turning = ("has a direction: never turn",) if film.directional else ()
    return Cell((named(film.name), f"{kind}, {thick}", *turning), film.colour)


def two_units(mm: float, mark: str = "") -> Cell:
    """Return a length's cell: mm, and inches below."""
    return Cell((format_length(mm) + mark, format_length(mm, "in")))


def star(stated: bool) -> str:
    """Return the mark of a stock value where the job states none."""
    return "" if stated else "*"
