"""A hundred reported places of real symbols, each looked at again in pixels, with nothing of the library's geometry.

Outlines come from svgelements; every shape is rasterised for itself at a high zoom by scanlines that
count windings; the union of one colour's shapes is its film. A cut in film has film all round the spot and an
outline through it. A double cut is crossed twice by a short line across. A narrow part has film from end
to end of the reported line, none beyond it, and no other edge of it is nearer to its middle.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import svgelements

import preflight
from preflight.report.model import Finding, Place

FOLDER = Path(__file__).resolve().parents[2].parent / "shared" / "corpus" / "park-symbols"
WIDTH = 300.0
SEED, COUNT = 20_260, 100
FLATTENING = 0.01
"""The report's points lie on flattened outlines, at most this far (mm) from the true ones."""
IN_FILM, DOUBLE = {"overlapping-subpaths", "hidden-cut"}, {"double-cut", "near-double-cut"}
NARROW = {"thin-feature", "narrow-gap"}

pytestmark = [
    pytest.mark.corpus,
    pytest.mark.skipif(
        not FOLDER.is_dir(), reason=f"needs the shared corpus beside the project, {FOLDER.name} is absent"
    ),
]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Outline:
    """The filled outline of one element: edges (n, 4) in mm as x0, y0, x1, y1, each subpath closed."""

    edges: Floats
    evenodd: bool

    def filled(self, xs: Floats, ys: Floats) -> Bools:
        """Return whether each pixel centre of the grid ``ys`` by ``xs`` is filled."""
        x0, y0, x1, y1 = self.edges.T
        winding = np.zeros((len(ys), len(xs)), np.int64)
        for row, y in enumerate(ys):
            up, down = (y0 <= y) & (y < y1), (y1 <= y) & (y < y0)
            for met, sign in ((up, 1), (down, -1)):
                at = x0[met] + (y - y0[met]) / (y1[met] - y0[met]) * (x1[met] - x0[met])
                winding[row] += sign * (len(at) - np.searchsorted(np.sort(at), xs, "right"))
        return np.asarray(winding % 2 != 0 if self.evenodd else winding != 0)

    def distance(self, x: float, y: float) -> Floats:
        """Return the distance of a point from every edge."""
        a, b = self.edges[:, :2], self.edges[:, 2:]
        step = b - a
        size = np.maximum((step * step).sum(axis=1), 1e-18)
        share = np.clip(((np.array([x, y]) - a) * step).sum(axis=1) / size, 0, 1)
        return np.asarray(np.hypot(*(a + share[:, None] * step - (x, y)).T))


def outlines(file: Path) -> dict[str, list[Outline]]:
    """Return the outlines of all filled elements by colour, at the finished size."""
    drawing = svgelements.SVG.parse(str(file), reify=True)
    scale = WIDTH / float(drawing.viewbox.width if drawing.viewbox else drawing.width)
    found: dict[str, list[Outline]] = defaultdict(list)
    for element in drawing.elements():
        if not isinstance(element, svgelements.Shape) or element.fill.value is None:
            continue
        edges = [_edges(sub) for sub in svgelements.Path(element).as_subpaths()]
        edges = [e for e in edges if len(e)]
        if edges:
            rule = element.values.get("fill-rule", "nonzero")
            found[element.fill.hex[:7]].append(Outline(scale * np.concatenate(edges), rule == "evenodd"))
    return found


def _edges(subpath: svgelements.Subpath) -> Floats:
    points: list[tuple[float, float]] = []
    for segment in svgelements.Path(subpath):
        if isinstance(segment, svgelements.Move):
            points.append((segment.end.x, segment.end.y))
        elif isinstance(segment, svgelements.Line | svgelements.Close):
            if segment.end is not None:
                points.append((segment.end.x, segment.end.y))
        else:
            spots = [segment.point(t) for t in np.linspace(0, 1, 161)[1:]]
            points += [(p.x, p.y) for p in spots]
    nodes = np.array(points)
    if len(nodes) < 2:
        return np.zeros((0, 4))
    return np.concatenate((nodes, np.roll(nodes, -1, axis=0)), axis=1)


@dataclass(frozen=True)
class Window:
    """A square of pixels round a point of a film."""

    x: float
    y: float
    half: float
    film: Bools

    @classmethod
    def of(cls, shapes: list[Outline], x: float, y: float, half: float, pixels: int = 161) -> Window:
        """Rasterise the union of ``shapes`` within ``half`` mm of a point."""
        step = 2 * half / pixels
        xs: Floats = x - half + (np.arange(pixels, dtype=float) + 0.5) * step
        ys: Floats = y - half + (np.arange(pixels, dtype=float) + 0.5) * step
        film = np.zeros((pixels, pixels), bool)
        for shape in shapes:
            film |= shape.filled(xs, ys)
        return cls(x, y, half, film)

    def nearest(self, film: bool) -> float:
        """Return the distance from the middle to the nearest pixel that is film, or that is not."""
        pixels = len(self.film)
        off = (np.arange(pixels) + 0.5) / pixels * 2 * self.half - self.half
        apart = np.hypot(*np.meshgrid(off, off))
        return float(apart[self.film == film].min(initial=np.inf))

    def at(self, x: float, y: float) -> bool:
        """Return whether the pixel at a point is film."""
        pixels = len(self.film)
        column, row = (
            int((v - w + self.half) / (2 * self.half) * pixels) for v, w in ((x, self.x), (y, self.y))
        )
        return bool(self.film[row, column])


def doubt(finding: Finding, place: Place, shapes: list[Outline]) -> str | None:
    """Return why the pixels do not bear out a place, or None where they do."""
    x, y = place.point
    if finding.code in IN_FILM:
        return _no_cut_in_film(shapes, x, y)
    if finding.code in DOUBLE:
        apart = finding.measured or 0.0 if finding.code == "near-double-cut" else 0.0
        return _not_twice(shapes, x, y, 1.2 * FLATTENING + apart)
    return _not_narrow(shapes, finding, place)


def _no_cut_in_film(shapes: list[Outline], x: float, y: float) -> str | None:
    nearest = min(float(shape.distance(x, y).min()) for shape in shapes)
    if nearest > 1.2 * FLATTENING:
        return f"no outline within {nearest:.4f} mm"
    round_about = Window.of(shapes, x, y, 0.1).nearest(film=False)
    return None if round_about > 2 * FLATTENING else f"not film {round_about:.4f} mm from there"


def _not_twice(shapes: list[Outline], x: float, y: float, reach: float) -> str | None:
    edges = np.concatenate([shape.edges for shape in shapes])
    apart = np.concatenate([shape.distance(x, y) for shape in shapes])
    step = edges[int(apart.argmin()), 2:] - edges[int(apart.argmin()), :2]
    along = step / np.hypot(*step)
    # A line across, slightly off the spot, so that it meets no node exactly.
    middle = np.array([x, y]) + 0.00037 * along
    across = np.array([-along[1], along[0]])
    a, b = ((edges[:, k : k + 2] - middle) @ np.stack((along, across), axis=1) for k in (0, 2))
    met = (a[:, 0] < 0) != (b[:, 0] < 0)
    height = a[met, 1] - a[met, 0] * (b[met, 1] - a[met, 1]) / (b[met, 0] - a[met, 0])
    times = int((np.abs(height) <= reach).sum())
    return None if times >= 2 else f"crossed {times} times within {reach:.3f} mm"


CHORD = re.compile(r"between \((-?[\d.]+), (-?[\d.]+)\) and \((-?[\d.]+), (-?[\d.]+)\)")


def _not_narrow(shapes: list[Outline], finding: Finding, place: Place) -> str | None:
    chord = CHORD.search(finding.detail)
    assert chord is not None, finding.detail
    assert place.measured is not None
    width, inside = place.measured, finding.code == "thin-feature"
    # The report's coordinates have two digits: each end may be 0.007 mm off.
    slack = 2 * FLATTENING + 0.007
    window = Window.of(shapes, *place.point, 0.75 * width + 4 * slack)
    if width < slack:
        # Edges that all but touch: in a point, or for some way.
        pinch = _no_pinch(window, 3 * slack)
        return pinch if pinch and _not_twice(shapes, *place.point, reach=slack) else None
    pixel = 2 * window.half / len(window.film)
    ends = np.array([float(v) for v in chord.groups()]).reshape(2, 2)
    if abs(np.hypot(*(ends[1] - ends[0])) - width) > slack:
        return f"the line across is not {width} mm long"
    middle, half = ends.mean(axis=0), (ends[1] - ends[0]) / 2
    unit = half / np.hypot(*half)
    inner = max(np.hypot(*half) - slack, 0.0)
    for share in np.linspace(-1, 1, 41):
        if window.at(*(middle + share * inner * unit)) is not inside:
            return f"an edge within the line, {share * inner:.3f} mm from its middle"
    for sign in (-1, 1):
        if window.at(*(middle + sign * (np.hypot(*half) + slack + pixel) * unit)) is inside:
            return "no edge at an end of the line"
    nearest = window.nearest(film=not inside)
    if abs(nearest - width / 2) > slack + pixel:
        return f"the nearest edge is {nearest:.4f} mm from the middle of a line of {width} mm"
    return None


def _no_pinch(window: Window, radius: float) -> str | None:
    """Two edges that touch in a point: going round it one meets film twice and the open twice."""
    turn = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    round_about = [window.at(window.x + radius * np.cos(a), window.y + radius * np.sin(a)) for a in turn]
    changes = int((np.array(round_about) != np.roll(round_about, 1)).sum())
    return None if changes >= 4 else f"film and open change {changes} times round the spot"


@dataclass(frozen=True)
class Case:
    """One reported place."""

    file: str
    finding: Finding
    place: Place
    shapes: list[Outline]

    def __str__(self) -> str:
        return f"{self.file}: {self.finding.code}/{self.finding.case} at {self.place.point}"


@pytest.fixture(scope="module")
def reported() -> list[Case]:
    job = preflight.Job.parse(f"size.width = {WIDTH}", "toml")
    cases = []
    for file in sorted(FOLDER.rglob("*.svg")):
        report = preflight.check(preflight.read(file.read_bytes()), job)
        wanted = [f for f in report.findings if f.code in IN_FILM | DOUBLE | NARROW and f.case != "spike"]
        if wanted:
            films = outlines(file)
            cases += [Case(file.name, f, place, films[f.film or ""]) for f in wanted for place in f.places]
    return cases


@pytest.fixture(scope="module")
def chosen(reported: list[Case]) -> list[Case]:
    numbers = np.random.default_rng(SEED).permutation(len(reported))[:COUNT]
    return [reported[k] for k in numbers]


def test_a_hundred_places_of_every_kind_are_there(chosen: list[Case]) -> None:
    assert len(chosen) == COUNT
    assert {case.finding.code for case in chosen} == IN_FILM | DOUBLE | NARROW


def test_each_place_is_borne_out_by_the_pixels(chosen: list[Case]) -> None:
    doubts = {str(case): doubt(case.finding, case.place, case.shapes) for case in chosen}
    assert {case: why for case, why in doubts.items() if why} == {}


def test_the_same_places_a_little_off_are_not(chosen: list[Case]) -> None:
    shift = np.tile([0.21, -0.34], 2)
    refused = 0
    for case in chosen:
        moved = [Outline(shape.edges + shift, shape.evenodd) for shape in case.shapes]
        refused += doubt(case.finding, case.place, moved) is not None
    assert refused >= 0.9 * len(chosen)
