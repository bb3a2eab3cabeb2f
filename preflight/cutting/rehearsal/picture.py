"""The order of a cut as a picture, film by film as it lies on the machine.

Everything is drawn from our own geometry and lettering: no markup of an uploaded file can reach it.
Pixels throughout; one film is one panel, x across the roll, the feed downwards.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise

import numpy as np
import shapely

from preflight.colour import plain_colour
from preflight.curves import Floats
from preflight.cutting.rehearsal.labels import arranged, ranked
from preflight.cutting.rehearsal.model import FilmRehearsal, Rehearsal, TipError, length_words
from preflight.cutting.rehearsal.text import time_words
from preflight.errors import printable
from preflight.report.canvas import document, png, require_width
from preflight.report.legend import text
from preflight.report.lettering import text_width, wrap
from preflight.report.markers import INK

NARROWEST = 480
MARGIN = 24.0
MOST_NUMBERS = 160
"""So many contours carry their number at most; the rest are dots."""
UP = "#2a64a6"
"""Colour of moves with the knife up."""
WORST = "#b3201f"
_PANEL = "#f5f7f8"
_GREY, _LINE = "#4b5763", "#5d6b78"
_TOP, _SIDE, _LEFT, _BOTTOM = 44.0, 34.0, 64.0, 34.0
_TALLEST = 0.85
"""Height of a film's drawing at most, in widths of the picture."""
_ERROR = 0.12
_NUMBER = 7.6
"""Height of a digit."""
_ARROW = 11.0


def picture_svg(rehearsal: Rehearsal, *, film: str | None = None, width_px: int = 1200) -> str:
    """Return the picture of all films, or of the one named ``film``, as SVG.

    Raises `PreflightError` for a width outside 480 to 4096 px, `KeyError` for an unknown film.
    """
    require_width(width_px, NARROWEST)
    films = rehearsal.films if film is None else (rehearsal.film(film),)
    width, at = float(width_px), MARGIN
    body: list[str] = []
    for number, shown in enumerate(films):
        markup, at = _film(rehearsal, shown, at + (20 if number else 0), width)
        body.append(markup)
    markup, at = _key(films, at + 16, width)
    body.append(markup)
    return document(width, at + MARGIN, "Order of cutting", _told(films), body)


def picture_png(rehearsal: Rehearsal, *, film: str | None = None, width_px: int = 1200) -> bytes:
    """Return the picture as PNG; see `picture_svg`."""
    svg = picture_svg(rehearsal, film=film, width_px=width_px)
    return png(svg)


def _told(films: Sequence[FilmRehearsal]) -> str:
    return "; ".join(
        f"{film.film}: {len(film.contours)} contours, {time_words(film.seconds.total)}" for film in films
    )


def _safe(words: str) -> str:
    return escape(printable(words))


@dataclass(frozen=True, slots=True)
class View:
    """Where the film lies in the picture: px = mm * scale + (x, y)."""

    scale: float
    x: float
    y: float
    width: float
    height: float

    def points(self, way: Floats) -> Floats:
        """Return places on the machine (n, 2) in px."""
        found: Floats = way * self.scale + np.array([self.x, self.y])
        return found


def view_of(film: FilmRehearsal, room: float, tallest: float, x: float, y: float) -> View:
    """Return the view that shows a film as large as ``room`` and ``tallest`` px allow, in the middle."""
    # A single straight line has no width or no length; it is shown all the same.
    wide, long = max(film.laid.width_mm, 1e-3), max(film.laid.length_mm, 1e-3)
    scale = min(room / wide, tallest / long)
    return View(scale, x + (room - wide * scale) / 2, y, wide * scale, long * scale)


def ways_of(film: FilmRehearsal, view: View) -> list[Floats]:
    """Return each contour's way in px, without what cannot be seen."""
    sizes = [len(way.x_mm) for way in film.ways]
    owner = np.repeat(np.arange(len(sizes)), sizes)
    x = np.concatenate([np.array(way.x_mm) for way in film.ways])
    y = np.concatenate([np.array(way.y_mm) for way in film.ways])
    lines = np.asarray(shapely.linestrings(view.points(np.stack((x, y), axis=1)), indices=owner))
    plain = shapely.simplify(lines, _ERROR, preserve_topology=False)
    points, index = shapely.get_coordinates(plain, return_index=True)
    bounds = np.searchsorted(index, np.arange(len(sizes) + 1))
    return [points[a:b] for a, b in pairwise(bounds.tolist())]


def _film(rehearsal: Rehearsal, film: FilmRehearsal, top: float, width: float) -> tuple[str, float]:
    """Return one film's head and panel, and their lower edge."""
    out = []
    y = top + 12
    chip = 0.0
    if plain_colour(film.colour):
        out.append(
            f'<rect x="{MARGIN:g}" y="{y - 11:.2f}" width="18" height="13" rx="2" fill="{film.colour}"'
            f' stroke="{_GREY}" stroke-width=".8"/>'
        )
        chip = 26.0
    head = f"{film.film}: {_contours(film)}, about {time_words(film.seconds.total)}"
    for line in wrap(head, 11.5, width - 2 * MARGIN - chip, 1):
        out.append(text(line, MARGIN + chip, y, 11.5, bold=True))
    for line in wrap(_subtitle(rehearsal, film), 8.6, width - 2 * MARGIN, 2):
        y += 18
        out.append(text(line, MARGIN, y, 8.6, colour=_GREY))
    panel = y + 14
    view = view_of(film, width - 2 * MARGIN - _LEFT - _SIDE, width * _TALLEST, MARGIN + _LEFT, panel + _TOP)
    bottom = view.y + view.height + _BOTTOM
    out += [
        f'<rect x="{MARGIN:g}" y="{panel:.2f}" width="{width - 2 * MARGIN:.2f}" height="{bottom - panel:.2f}"'
        f' rx="12" fill="{_PANEL}" stroke="#d5dce2"/>',
        *_sides(film, view),
        *_drawing(film, view),
    ]
    return "".join(out), bottom


def _contours(film: FilmRehearsal) -> str:
    count = len(film.contours)
    return f"{count} contour{'' if count == 1 else 's'}"


def _subtitle(rehearsal: Rehearsal, film: FilmRehearsal) -> str:
    laid = [
        word
        for word, said in (("mirrored", film.laid.mirrored), ("turned a quarter", film.laid.turned))
        if said
    ]
    return (
        f"{printable(rehearsal.title)}, as it lies on the machine, {' and '.join(laid) or 'as drawn'}. Cutting "
        f"{length_words(film.cut_length_mm)}, knife up {length_words(film.travel_mm)}, "
        f"{film.feed.back_moves} moves back along the feed. Test-cut first."
    )


def _sides(film: FilmRehearsal, view: View) -> Iterator[str]:
    """Yield the film's edge lengths, the home corner and the feed's arrow."""
    right, low = view.x + view.width, view.y + view.height
    across = f"{length_words(film.laid.width_mm)} across the roll"
    along = f"{length_words(film.laid.length_mm)} along the feed"
    thin = f'fill="none" stroke="{_LINE}" stroke-width="1"'
    y, x = view.y - 22, view.x - 36
    wide, long = text_width(across, 8.6), text_width(along, 8.6)
    yield f'<path d="M{view.x:.2f} {y:.2f}H{right:.2f}M{view.x:.2f} {y - 4:.2f}v8M{right:.2f} {y - 4:.2f}v8" {thin}/>'
    yield f'<path d="M{x:.2f} {view.y:.2f}V{low:.2f}M{x - 4:.2f} {view.y:.2f}h8M{x - 4:.2f} {low:.2f}h8" {thin}/>'
    middle = max((view.x + right) / 2, view.x + wide / 2)
    yield _plate(middle, y, wide) + text(across, middle - wide / 2, y + 4.3, 8.6)
    if long < view.height - 40:
        centre = (view.y + low) / 2
        yield (
            f'<g transform="rotate(-90 {x:.2f} {centre:.2f})">{_plate(x, centre, long)}'
            f"{text(along, x - long / 2, centre + 4.3, 8.6)}</g>"
        )
    yield (
        f'<path d="M{x:.2f} {low + 9:.2f}l-4.5 -9h9Z" fill="{_LINE}"/>'
        f'<path d="M{view.x - 6:.2f} {view.y - 6:.2f}h5v5h-5Z" fill="{INK}"/>'
    )


def _plate(x: float, y: float, wide: float) -> str:
    return f'<rect x="{x - wide / 2 - 5:.2f}" y="{y - 8:.2f}" width="{wide + 10:.2f}" height="16" fill="{_PANEL}"/>'


def _drawing(film: FilmRehearsal, view: View) -> Iterator[str]:
    ways = ways_of(film, view)
    closed = "".join(_data(way) + "Z" for way, cut in zip(ways, film.contours, strict=True) if cut.closed)
    fill = film.colour if _shows(film.colour) else "#8d9aa6"
    if closed:
        yield f'<path d="{closed}" fill="{fill}" fill-opacity=".22" fill-rule="evenodd"/>'
    yield f'<path d="{"".join(_data(way) for way in ways)}" fill="none" stroke="{INK}" stroke-width="1.1"/>'
    yield _travel(ways, view)
    starts = np.array([way[0] for way in ways])
    headings = [math.radians(cut.heading_deg) for cut in film.contours]
    chosen = arranged(
        ranked(len(ways)),
        starts,
        headings,
        size=_NUMBER,
        most=MOST_NUMBERS,
        area=(view.x - 26, view.y - 14, view.x + view.width + 26, view.y + view.height + 26),
    )
    named = {label.index for label in chosen}
    dots = "".join(
        f"M{x - r:.1f} {y:.1f}a{r} {r} 0 1 0 {2 * r} 0a{r} {r} 0 1 0 {-2 * r} 0Z"
        for i, (x, y) in enumerate(starts.tolist())
        for r in ([2.6] if i in named else [1.5])
    )
    yield from _worst(film, view)
    arrows = "".join(_arrow(starts[i], headings[i]) for i in sorted(named))
    yield f'<path d="{arrows}" fill="{INK}" stroke="#ffffff" stroke-width=".8"/>'
    yield f'<path d="{dots}" fill="#ffffff" stroke="{INK}" stroke-width="1.1"/>'
    for label in chosen:
        x, y, wide = label.x, label.y, label.width
        yield (
            f'<rect x="{x - wide / 2 - 2.5:.1f}" y="{y - _NUMBER / 2 - 2.5:.1f}" width="{wide + 5:.1f}"'
            f' height="{_NUMBER + 5:g}" rx="3" fill="#ffffff" fill-opacity=".88"/>'
        )
        yield text(str(label.index + 1), x - wide / 2, y + _NUMBER / 2, _NUMBER, bold=True)


def _shows(colour: str) -> bool:
    """Return whether a colour, thinned, can be told from the panel: light ones cannot."""
    if not plain_colour(colour):
        return False
    return sum(int(colour[i : i + 2], 16) for i in (1, 3, 5)) < 3 * 215


def _data(points: Floats) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points.tolist())


def _travel(ways: Sequence[Floats], view: View) -> str:
    ends = [np.array([view.x, view.y]), *(way[-1] for way in ways[:-1])]
    moves = "".join(
        f"M{a[0]:.1f} {a[1]:.1f}L{way[0][0]:.1f} {way[0][1]:.1f}" for a, way in zip(ends, ways, strict=True)
    )
    return f'<path d="{moves}" fill="none" stroke="{UP}" stroke-width="1.1" stroke-dasharray="5 3.5"/>'


def _arrow(at: Floats, heading: float) -> str:
    """Return an arrowhead a little way along the cut from its start."""
    cos, sin = math.cos(heading), math.sin(heading)
    tip = (at[0] + (_ARROW + 3) * cos, at[1] + (_ARROW + 3) * sin)
    back = (tip[0] - 8 * cos, tip[1] - 8 * sin)
    return (
        f"M{tip[0]:.1f} {tip[1]:.1f}L{back[0] - 3.4 * sin:.1f} {back[1] + 3.4 * cos:.1f}"
        f"L{back[0] + 3.4 * sin:.1f} {back[1] - 3.4 * cos:.1f}Z"
    )


def _worst(film: FilmRehearsal, view: View) -> Iterator[str]:
    """Yield a ring where the tip errs most with the offset made up for, if it errs at all."""
    at = film.compensated.at
    if at is None:
        return
    a, b, c, d, e, f = film.laid.matrix
    x, y = view.points(np.array([[a * at[0] + c * at[1] + e, b * at[0] + d * at[1] + f]]))[0].tolist()
    yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="9" fill="none" stroke="#ffffff" stroke-width="4"/>'
    yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="9" fill="none" stroke="{WORST}" stroke-width="2"/>'


def _key(films: Sequence[FilmRehearsal], y: float, width: float) -> tuple[str, float]:
    """Return what the marks mean; entries wrap to the width."""
    errors = [film.compensated for film in films if film.compensated.at is not None]
    numbered = any(len(film.contours) > MOST_NUMBERS for film in films)
    items = [
        ("number", "order of cutting" + (" (not every contour carries its number)" if numbered else "")),
        ("start", "start of a contour"),
        ("arrow", "direction of the cut"),
        ("up", "knife up"),
        ("home", "corner where the machine begins"),
        ("feed", "the film is fed this way"),
    ]
    if errors:
        items.append(("worst", _worst_words(errors)))
    out = [f'<path d="M{MARGIN:g} {y:.2f}h{width - 2 * MARGIN:.2f}" stroke="#d5dce2" fill="none"/>']
    x, line = MARGIN, y + 24
    for kind, words in items:
        wide = 32 + text_width(words, 8.6) + 26
        if x > MARGIN and x + wide - 26 > width - MARGIN:
            x, line = MARGIN, line + 24
        out.append(_sample(kind, x, line))
        out.append(text(words, x + 32, line + 4, 8.6, colour=_GREY))
        x += wide
    return "".join(out), line + 12


def _worst_words(errors: Sequence[TipError]) -> str:
    largest = max(error.largest_mm for error in errors)
    return f"where the tip strays most although the offset is made up for ({largest:.2f} mm)"


def _sample(kind: str, x: float, y: float) -> str:
    samples = {
        "number": text("12", x + 4, y + _NUMBER / 2, _NUMBER, bold=True),
        "start": f'<circle cx="{x + 11:.1f}" cy="{y:.1f}" r="2.6" fill="#ffffff" stroke="{INK}" stroke-width="1.1"/>',
        "arrow": f'<path d="{_arrow(np.array([x, y]), 0.0)}" fill="{INK}"/>',
        "up": f'<path d="M{x:.1f} {y:.1f}h24" stroke="{UP}" stroke-width="1.1" stroke-dasharray="5 3.5" fill="none"/>',
        "home": f'<path d="M{x + 8:.1f} {y - 2.5:.1f}h5v5h-5Z" fill="{INK}"/>',
        "feed": f'<path d="M{x + 11:.1f} {y + 5:.1f}l-4.5 -9h9Z" fill="{_LINE}"/>',
        "worst": f'<circle cx="{x + 11:.1f}" cy="{y:.1f}" r="7" fill="none" stroke="{WORST}" stroke-width="2"/>',
    }
    return samples[kind]
