"""Small drawings beside the steps: weed lines of each film, and how panels are put together.

Drawn like the sheet's picture, from our own geometry alone, in mm on the sheet at a round scale.
"""

from __future__ import annotations

from collections.abc import Iterator

from preflight.errors import printable, shortened
from preflight.jobsheet.drawing import (
    BARE,
    INK,
    LINE,
    MARK,
    Figure,
    Fill,
    Stroke,
    Words,
    ratio_text,
    round_ratio,
)
from preflight.jobsheet.model import Box, FilmSheet, JobSheet
from preflight.roll.panels import PanelPlan, Seam
from preflight.units import format_length

MOST = 6
"""So many films are drawn."""
_SMALL = (80.0, 58.0)
"""Room for one film's weed lines, mm."""
_WIDE = (140.0, 80.0)
"""Room for an assembly, mm."""
_HEAD, _EDGE = 5.0, 1.0
_UNKNOWN = "#7d8791"
"""Of film that is painted with no plain colour."""
_LAP = "#f4b41a"
_BESIDE, _WORDS = 9.0, 26.0
"""Room for a panel's number, and for the place of a seam, mm."""
_OCTAGON = (
    (-1.2, -2.8),
    (1.2, -2.8),
    (2.8, -1.2),
    (2.8, 1.2),
    (1.2, 2.8),
    (-1.2, 2.8),
    (-2.8, 1.2),
    (-2.8, -1.2),
)
_Item = Fill | Stroke | Words


def weed_figures(sheet: JobSheet) -> tuple[Figure, ...]:
    """Return a drawing of each film that has weed lines, in the order of the films, at most six."""
    films = [film for film in sheet.films if film.weeding.lines]
    return tuple(_weeding(film) for film in films[:MOST])


def assembly_figures(sheet: JobSheet) -> tuple[Figure, ...]:
    """Return a drawing of each film that is cut in panels, as it is put up, at most six."""
    films = [film for film in sheet.films if film.panels is not None]
    return tuple(_assembly(film, film.panels, sheet) for film in films[:MOST] if film.panels)


def _weeding(film: FilmSheet) -> Figure:
    box = film.weeding.frame or _bounds(film)
    view = _View(box, _SMALL, left=_EDGE, right=_EDGE, bottom=_EDGE)
    items: list[_Item] = [_title(film, view)]
    items.append(Fill((view.ring(box),), BARE, edge=LINE if film.weeding.frame else None))
    items.append(_film(film, view))
    items += [Stroke((view.at(*line.start), view.at(*line.end)), MARK, 0.3) for line in film.weeding.lines]
    return view.figure(items)


def _assembly(film: FilmSheet, plan: PanelPlan, sheet: JobSheet) -> Figure:
    mirrored = sheet.width if sheet.hinge.flipped else None
    box = plan.box or _bounds(film, mirrored)
    upright = plan.seams_run == "vertical"
    # Numbers and places stand beside the graphic, where they hide nothing of it.
    view = _View(
        box,
        _WIDE,
        left=_EDGE if upright else _BESIDE,
        right=_EDGE if upright else _WORDS,
        bottom=_BESIDE + 4 if upright else 3.5,
    )
    items: list[_Item] = [_title(film, view), Fill((view.ring(box),), BARE), _film(film, view, mirrored)]
    for seam in plan.seams:
        items += _seam(seam, box, view, upright=upright)
    for panel in plan.panels:
        x0, y0, x1, y1 = panel.box
        x, y = view.at((x0 + x1) / 2, box[3]) if upright else view.at(box[0], (y0 + y1) / 2)
        x, y = (x, y + 4.5) if upright else (x - 4.5, max(y, _HEAD + 3.0))
        disc = tuple((x + dx, y + dy) for dx, dy in _OCTAGON)
        items += [
            Fill((disc,), "#ffffff", edge=INK, edge_width=0.2),
            Words(str(panel.number), x, y + 1.2, 3.4),
        ]
    return view.figure(items)


def _seam(seam: Seam, box: Box, view: _View, *, upright: bool) -> Iterator[_Item]:
    """Yield a seam across the whole graphic: its lap as a band, its line, its marks, and where it lies."""
    half = seam.lap_mm / 2

    def along(u: float) -> tuple[tuple[float, float], tuple[float, float]]:
        return (
            (view.at(u, box[1]), view.at(u, box[3])) if upright else (view.at(box[0], u), view.at(box[2], u))
        )

    if half:
        low, high = along(seam.position_mm - half), along(seam.position_mm + half)
        yield Fill(((low[0], low[1], high[1], high[0]),), _LAP)
    start, end = along(seam.position_mm)
    yield Stroke((start, end), MARK, 0.35, dashed=True)
    for mark in seam.marks:
        x, y = view.at(mark.x_mm, mark.y_mm)
        yield Stroke(((x - 1.0, y), (x + 1.0, y)), INK, 0.3)
        yield Stroke(((x, y - 1.0), (x, y + 1.0)), INK, 0.3)
    words = f"seam {seam.number}: {format_length(seam.position_mm)}"
    if upright:
        yield Words(words, end[0], end[1] + 11.0, 2.2, colour=MARK)
    else:
        yield Words(words, end[0] + 1.0, end[1] + 0.8, 2.2, anchor="start", colour=MARK)


class _View:
    """Where the sign's places (mm) lie on the drawing, at the round scale at which ``box`` fits the room."""

    def __init__(
        self, box: Box, room: tuple[float, float], *, left: float, right: float, bottom: float
    ) -> None:
        self._box, self._left, self._right, self._bottom = box, left, right, bottom
        self.ratio = round_ratio(box[2] - box[0], box[3] - box[1], room)

    def at(self, x: float, y: float) -> tuple[float, float]:
        return (x - self._box[0]) / self.ratio + self._left, (y - self._box[1]) / self.ratio + _HEAD

    def ring(self, box: Box) -> tuple[tuple[float, float], ...]:
        x0, y0, x1, y1 = box
        return (self.at(x0, y0), self.at(x1, y0), self.at(x1, y1), self.at(x0, y1))

    def figure(self, items: list[_Item]) -> Figure:
        x, y = self.at(self._box[2], self._box[3])
        return Figure(max(x + self._right, 40.0), y + self._bottom, tuple(items), self._left, _HEAD)


def _title(film: FilmSheet, view: _View) -> Words:
    words = f"{shortened(printable(film.name))}, {ratio_text(view.ratio)}"
    return Words(words, _EDGE, 3.2, 2.6, anchor="start")


def _film(film: FilmSheet, view: _View, mirrored: float | None = None) -> Fill:
    """Return what stays of a film; mirrored in the drawing area where its width is given."""
    rings = tuple(
        tuple(view.at(x if mirrored is None else mirrored - x, y) for x, y in ring) for ring in film.outline
    )
    return Fill(rings, film.colour or _UNKNOWN, edge=LINE, edge_width=0.04)


def _bounds(film: FilmSheet, mirrored: float | None = None) -> Box:
    xs = [x if mirrored is None else mirrored - x for ring in film.outline for x, _ in ring]
    ys = [y for ring in film.outline for _, y in ring]
    return min(xs), min(ys), max(xs), max(ys)
