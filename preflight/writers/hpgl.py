"""HP-GL for production: plain pen moves in plotter units, and nothing that sets force or speed.

A plotter unit is 0.025 mm (HP PCL/PJL reference, table 17-7), so 40 to the millimetre. y runs up.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from preflight.curves import Floats, Path, flatten
from preflight.errors import WriteError, quoted
from preflight.writers.model import CutFile, CutFilm

UNITS_PER_MM = 40
FLATTENING = 0.0125
"""Chord error of flattened curves, mm: half a plotter unit, as much as rounding adds on each axis."""
FARTHEST = 8_388_607
"""Largest coordinate of HP-GL/2, plotter units (2^23 - 1; from memory): 209.7 m."""
SIXTEEN_BIT = 32_767
"""Largest coordinate of older machines, plotter units (from memory): 819 mm."""
_POINTS_A_COMMAND = 100

Origin = Literal["lower-left", "cut-lower-left", "centre"]
"""Where 0, 0 lies: the drawing area's lower left corner, the lower left corner of what is cut, or
the middle of the drawing area."""


def write_hpgl(cut: CutFile, film: str | None = None, *, origin: Origin = "lower-left") -> bytes:
    """Return the film called ``film``, or all films with a pen each, as HP-GL.

    Coordinates are absolute, in plotter units of 0.025 mm, x to the right and y up from ``origin``.
    Curves are flattened within 0.0125 mm and points rounded to the nearest unit. Contours are cut
    in the order of the path and end where they began; then follow the knife lines. A pen is chosen
    only where several films are written. The same ``cut`` gives the same bytes.

    Raises `WriteError` where no film has that name, and where the unit is too coarse for a
    contour or a coordinate too large for HP-GL.
    """
    films = _chosen(cut, film)
    several = len(films) > 1
    out = ["IN;PA;PU;"]
    shift = _shift(cut, films, origin)
    for pen, one in enumerate(films, 1):
        if several:
            out.append(f"SP{pen};")
        for path in (one.path, one.knife):
            if path is not None:
                out.extend(_moves(path, shift, one.name))
    out.append("PU;SP0;")
    return ("\n".join(out) + "\n").encode("ascii")


def _chosen(cut: CutFile, name: str | None) -> tuple[CutFilm, ...]:
    if name is None:
        return cut.films
    films = tuple(film for film in cut.films if film.name == name)
    if not films:
        known = ", ".join(quoted(film.name) for film in cut.films) or "none"
        raise WriteError("film-unknown", f"There is no film {quoted(name)}.", f"Films here: {known}.")
    return films


def _shift(cut: CutFile, films: tuple[CutFilm, ...], origin: Origin) -> tuple[float, float]:
    """Return the point of the drawing (mm, y down) that becomes 0, 0."""
    if origin == "lower-left":
        return 0.0, cut.height
    if origin == "centre":
        return cut.width / 2, cut.height / 2
    paths = [path for film in films for path in (film.path, film.knife) if path is not None and len(path)]
    if not paths:
        return 0.0, cut.height
    bounds = np.array([path.bounds() for path in paths])
    return float(bounds[:, 0].min()), float(bounds[:, 3].max())


def _moves(path: Path, shift: tuple[float, float], name: str) -> list[str]:
    """Return the commands that follow every subpath of ``path``, a line of text each."""
    flat = flatten([path], FLATTENING)
    out = []
    for index in range(len(flat)):
        points = _units(flat[index], shift)
        if abs(points).max() > FARTHEST:
            raise WriteError(
                "too-far",
                f"A point of the film {quoted(name)} lies more than {FARTHEST / UNITS_PER_MM / 1000:.0f} m from "
                "the origin, farther than HP-GL can say.",
                "Split the drawing into panels.",
            )
        kept = np.append(True, (points[1:] != points[:-1]).any(axis=1))
        points = points[kept]
        if len(points) < 2:
            x, y = flat[index][0]
            raise WriteError(
                "too-small",
                f"The film {quoted(name)} has a contour at x {x:.2f} mm, y {y:.2f} mm that is smaller than "
                "HP-GL’s unit of 0.025 mm.",
                "Remove it, or write another format.",
            )
        out.append(_line(points))
    return out


def _units(points: Floats, shift: tuple[float, float]) -> np.ndarray:
    """Return ``points`` (mm, y down) as whole plotter units from the origin, y up."""
    moved = (points - shift) * (UNITS_PER_MM, -UNITS_PER_MM)
    return np.floor(moved + 0.5).astype(np.int64)


def _line(points: np.ndarray) -> str:
    pairs = [f"{x},{y}" for x, y in points.tolist()]
    out = f"PU{pairs[0]};"
    for first in range(1, len(pairs), _POINTS_A_COMMAND):
        out += f"PD{','.join(pairs[first : first + _POINTS_A_COMMAND])};"
    return out + "PU;"
