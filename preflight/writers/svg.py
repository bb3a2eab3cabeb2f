"""SVG for production: one named group a film, contours only, millimetres.

Coordinates are absolute: a program that reads them in single precision then errs by its own
rounding only, where relative ones would add up over a long contour.
"""

from __future__ import annotations

from html import escape

from preflight.curves import Path
from preflight.errors import printable
from preflight.writers.model import CutFile, CutFilm
from preflight.writers.steps import decimal, steps

KNIFE_LINE_WIDTH = 0.1
"""mm; knife lines are open and have no fill, so they need a stroke to be seen."""


def write_svg(cut: CutFile) -> bytes:
    """Return ``cut`` as an SVG document in UTF-8, 1 user unit = 1 mm.

    Every film is a group at the top of the drawing, titled with the film's name, that holds one
    path: curves as cubic Beziers, straight segments as lines, filled with the film's colour and
    not stroked. Knife lines, where there are some, follow in a group of their own, stroked.
    Coordinates are rounded to 1 um. The same ``cut`` gives the same bytes.
    """
    width, height = (decimal(round(side * 1000)) for side in (cut.width, cut.height))
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm"'
        f' viewBox="0 0 {width} {height}">'
    ]
    if cut.title:
        parts.append(f"<title>{_text(cut.title)}</title>")
    if cut.claim:
        parts.append(f"<desc>{_text(cut.claim)}</desc>")
    for number, film in enumerate(cut.films, 1):
        parts.extend(_film(number, film))
    parts.append("</svg>")
    return ("\n".join(parts) + "\n").encode("utf-8")


def _film(number: int, film: CutFilm) -> list[str]:
    colour, name = film.colour.lower(), _text(film.name)
    out = [f'<g id="film-{number}" fill="{colour}" fill-rule="evenodd" stroke="none"><title>{name}</title>']
    if len(film.path):
        out.append(f'<path d="{path_data(film.path)}"/>')
    out.append("</g>")
    if film.knife is not None and len(film.knife):
        out.append(
            f'<g id="film-{number}-knife" fill="none" stroke="{colour}" stroke-width="{KNIFE_LINE_WIDTH:g}">'
            f'<title>{name}: knife lines</title>\n<path d="{path_data(film.knife)}"/>\n</g>'
        )
    return out


def _text(words: str) -> str:
    """Return ``words`` escaped and without the characters that XML 1.0 does not allow."""
    return escape(printable(words))


def path_data(path: Path) -> str:
    """Return ``path`` (mm) as SVG path data with absolute commands, rounded to 1 um."""
    out: list[str] = []
    at = (0, 0)
    for kind, values in steps(path):
        if kind == "close":
            out.append("Z")
            continue
        x, y = values[-2:]
        if kind == "line" and x == at[0] and y != at[1]:
            out.append("V" + decimal(y))
        elif kind == "line" and y == at[1] and x != at[0]:
            out.append("H" + decimal(x))
        else:
            out.append({"move": "M", "line": "L", "curve": "C"}[kind] + _numbers(values))
        at = (x, y)
    return "".join(out)


def _numbers(values: tuple[int, ...]) -> str:
    """Return the numbers with a space between them where their signs do not part them already."""
    words = [decimal(value) for value in values]
    return words[0] + "".join(word if word.startswith("-") else " " + word for word in words[1:])
