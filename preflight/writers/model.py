"""What goes to production: films with closed contours and knife lines, ready to be written."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from preflight.curves import Path
from preflight.errors import WriteError, quoted

CLOSED_WITHIN = 1e-3
"""A contour counts as closed where its ends lie this near, mm: what writing rounds away anyway."""
_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")


@dataclass(frozen=True, eq=False)
class CutFilm:
    """One film's cut. Lengths are mm, y down, from the drawing area's top left.

    Raises `WriteError` for a name or colour that cannot be written, a contour that is not closed
    and a coordinate that is no number.
    """

    name: str
    """What the film is called; it names the layer."""
    colour: str
    """``#rrggbb``."""
    path: Path
    """Closed contours only, turned so that the nonzero and the even-odd fill rule agree."""
    knife: Path | None = None
    """Lines the knife follows as they are drawn, open or closed: weed lines, slits."""

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise WriteError("film-name", "A film to be written has no name.", "Give every film a name.")
        if not _COLOUR.fullmatch(self.colour):
            raise WriteError(
                "film-colour",
                f"The colour {quoted(self.colour)} of the film {quoted(self.name)} is not of the form #rrggbb.",
                "Give the colour as six hexadecimal digits, for instance #1a7f37.",
            )
        for path in (self.path, *([self.knife] if self.knife is not None else [])):
            if not np.isfinite(path.controls).all():
                raise WriteError(
                    "not-a-number",
                    f"The film {quoted(self.name)} has a coordinate that is no number.",
                    "Repair the artwork before writing it.",
                )
        self._require_closed()

    def _require_closed(self) -> None:
        path = self.path
        if not len(path):
            return
        first, last = path.controls[path.starts, 0], path.controls[path.ends - 1, 3]
        gaps = np.hypot(*(last - first).T)
        open_ones = np.flatnonzero(~path.closed | (gaps > CLOSED_WITHIN))
        if len(open_ones):
            x, y = first[open_ones[0]]
            raise WriteError(
                "contour-open",
                f"A contour of the film {quoted(self.name)} that starts at x {x:.2f} mm, y {y:.2f} mm is not closed.",
                "Close it, or give it as a knife line.",
            )

    @property
    def rgb(self) -> tuple[int, int, int]:
        """The colour's red, green and blue, 0 to 255 each."""
        return (int(self.colour[1:3], 16), int(self.colour[3:5], 16), int(self.colour[5:7], 16))


@dataclass(frozen=True, eq=False)
class CutFile:
    """All films of one drawing. Raises `WriteError` for a size that is none and for equal names."""

    width: float
    """Width of the drawing area, mm."""
    height: float
    films: tuple[CutFilm, ...]
    title: str = ""
    claim: str = ""
    """What the file does and does not promise, for its description."""

    def __post_init__(self) -> None:
        if not (0 < self.width < np.inf and 0 < self.height < np.inf):
            raise WriteError(
                "drawing-area",
                f"A drawing area of {self.width:g} by {self.height:g} mm cannot be written.",
                "Give a width and a height above 0 mm.",
            )
        names = [film.name for film in self.films]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise WriteError(
                "film-name",
                f"Two films are called {quoted(twice)}, so their layers could not be told apart.",
                "Give every film a name of its own.",
            )
