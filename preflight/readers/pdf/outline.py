"""Path construction: the operators m l c v y h re (ISO 32000-1, 8.5.2)."""

from __future__ import annotations

import numpy as np

from preflight.curves import Path

Point = tuple[float, float]


class Outline:
    """A path under construction, in user space."""

    __slots__ = ("_at", "_closed", "_controls", "_lines", "_start", "_starts")

    def __init__(self) -> None:
        self._controls: list[tuple[Point, Point, Point, Point]] = []
        self._lines: list[bool] = []
        self._starts: list[int] = []
        self._closed: list[bool] = []
        self._start: Point | None = None
        """Start of a subpath to which nothing has been added yet."""
        self._at: Point | None = None

    @property
    def at(self) -> Point | None:
        """The current point; None: there is none yet."""
        return self._at

    def move(self, x: float, y: float) -> None:
        """Begin a subpath."""
        self._at = self._start = (x, y)

    def line(self, x: float, y: float) -> None:
        """Add a straight segment."""
        assert self._at is not None
        self._add((self._at, self._at, (x, y), (x, y)), line=True)

    def curve(self, one: Point, two: Point, end: Point) -> None:
        """Add a cubic."""
        assert self._at is not None
        self._add((self._at, one, two, end), line=False)

    def close(self) -> None:
        """Close the current subpath; a point alone becomes a dot."""
        if self._start is not None:
            self.line(*self._start)
        if not self._starts or self._closed[-1]:
            return
        first = self._controls[self._starts[-1]][0]
        if self._at is not None and self._at != first:
            self.line(*first)
        self._closed[-1] = True
        self._at = self._start = first

    def rectangle(self, x: float, y: float, width: float, height: float) -> None:
        """Add a closed rectangle."""
        self.move(x, y)
        self.line(x + width, y)
        self.line(x + width, y + height)
        self.line(x, y + height)
        self.close()

    def _add(self, segment: tuple[Point, Point, Point, Point], *, line: bool) -> None:
        if self._start is not None:
            self._starts.append(len(self._controls))
            self._closed.append(False)
            self._start = None
        self._controls.append(segment)
        self._lines.append(line)
        self._at = segment[3]

    def __len__(self) -> int:
        return len(self._controls)

    def path(self) -> Path:
        """Return what was drawn."""
        if not self._controls:
            return Path.empty()
        return Path(
            np.array(self._controls, float),
            np.array(self._lines, bool),
            np.array(self._starts, np.int64),
            np.array(self._closed, bool),
        )
