"""Cuts to write, and how they are compared with what an independent reader makes of the file."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import reduce
from pathlib import Path as File

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight import read
from preflight.curves import Path, flatten, lengths
from preflight.writers import CutFile, CutFilm

ARTWORK = File(__file__).parents[2] / "examples" / "artwork"
FINE = 0.0005
"""Chord error of both sides of a comparison, mm."""

CIRCLE = 4 / 3 * np.tan(np.pi / 8)
"""Length of the handles of a quarter circle of radius 1 (standard construction)."""


def circle(x: float, y: float, radius: float, *, hole: bool = False) -> Path:
    """Return a circle of four cubics; as a hole it turns the other way."""
    k = CIRCLE
    quarter = np.array([[1, 0], [1, k], [k, 1], [0, 1]])
    turns = [np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) for a in np.arange(4) * np.pi / 2]
    controls = np.stack([quarter @ turn for turn in turns]).round(12) * radius + (x, y)
    if hole:
        controls = controls[::-1, ::-1]
    return Path(controls, np.zeros(4, bool), np.zeros(1, np.int64), np.ones(1, bool))


def rectangle(x0: float, y0: float, x1: float, y1: float, *, hole: bool = False) -> Path:
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    return Path.polygon(corners[::-1] if hole else corners)


def generated() -> CutFile:
    """Return curves with holes, an island in a hole, mixed straight and curved edges, knife lines."""
    ring = Path.joined([circle(60, 60, 40), circle(60, 60, 25, hole=True), circle(60, 60, 10)])
    frame = Path.joined([rectangle(120, 10, 220, 90), rectangle(130.0625, 20.1, 210, 80, hole=True)])
    arch = np.array(
        [[[20, 140], [20, 110], [70, 110], [70, 140]], [[70, 140], [70, 140], [20, 140], [20, 140]]]
    )
    mixed = Path(arch.astype(float), np.array([False, True]), np.zeros(1, np.int64), np.ones(1, bool))
    weed = Path.joined(
        [
            Path.polygon([(5.0, 5.0), (110.333, 5.0), (110.333, 100.0)], closed=False),
            Path(
                np.array([[[5.0, 5], [0, 50], [10, 90], [5, 100]]]),
                np.zeros(1, bool),
                np.zeros(1, int),
                np.zeros(1, bool),
            ),
        ]
    )
    return CutFile(
        240,
        150,
        (
            CutFilm("Leaf green", "#1f5b3a", Path.joined([ring, mixed]), weed),
            CutFilm("Black", "#000000", frame),
        ),
        "Marrowby Lane & friends <trial>",
        "Geometry only: test-cut first.",
    )


def tiny() -> CutFile:
    """Return contours of 0.1 to 1 mm."""
    parts = [circle(1 + 2 * i, 2, 0.05 * (i + 1)) for i in range(10)]
    return CutFile(22, 4, (CutFilm("Gold", "#c9a227", Path.joined([*parts, rectangle(0.5, 3, 0.6, 3.1)])),))


def wide() -> CutFile:
    """Return a banner 5 m wide, whose far end shows the rounding of single precision."""
    parts = [circle(4900 - 500 * i, 300, 99.9995 - i) for i in range(9)]
    return CutFile(
        5000, 600, (CutFilm("Red", "#c0182b", Path.joined([*parts, rectangle(1, 1, 4999, 40.0005)])),)
    )


def example(name: str) -> CutFile:
    """Return a demo sign's filled shapes, a film for each colour."""
    artwork = read((ARTWORK / f"{name}.svg").read_bytes())
    by_colour: dict[str, list[Path]] = {}
    for shape in artwork.shapes():
        if shape.fill is not None and shape.fill.color is not None:
            by_colour.setdefault(shape.fill.color, []).append(shape.path.mapped(shape.matrix))
    films = tuple(CutFilm(f"Film {c[1:]}", c, Path.joined(paths)) for c, paths in by_colour.items())
    return CutFile(artwork.width, artwork.height, films, name)


MADE: dict[str, Callable[[], CutFile]] = {
    "generated": generated,
    "tiny": tiny,
    "wide": wide,
    "gate-board": lambda: example("gate-board"),
    "van-door": lambda: example("van-door"),
}


def rings(path: Path) -> list[np.ndarray]:
    """Return the path's subpaths as points, flattened finely."""
    flat = flatten([path], FINE)
    return [flat[index] for index in range(len(flat))]


def region(contours: Iterable[np.ndarray]) -> BaseGeometry:
    """Return what closed contours enclose by the even-odd rule (XOR of their insides)."""
    polygons = [shapely.make_valid(shapely.Polygon(points)) for points in contours]
    return reduce(shapely.symmetric_difference, polygons)


def length(contours: Iterable[np.ndarray]) -> float:
    return float(sum(np.hypot(*np.diff(points, axis=0).T).sum() for points in contours))


def assert_same_cut(written: list[np.ndarray], path: Path, within: float, *, closed: bool = True) -> None:
    """Fail where the contours read back stray by more than ``within`` mm from ``path``.

    Nearness of the lines both ways, the regions (their symmetric difference holds no disc of
    radius ``within``) and the number and total length of the contours.
    """
    meant = rings(path)
    assert len(written) == len(meant)
    for one, other in zip(written, meant, strict=True):
        for line, nodes in ((one, other), (other, one)):
            track = shapely.LineString(line)
            shapely.prepare(track)
            assert shapely.dwithin(track, shapely.points(nodes), within).all()
    exact = float(lengths(path).sum())
    corners = sum(len(one) for one in written)
    assert abs(length(written) - exact) <= 2 * within * corners
    assert abs(length(written) - exact) <= 2e-2 * exact
    if closed:
        off = shapely.symmetric_difference(region(written), region(meant))
        assert off.buffer(-within).is_empty
        assert off.area <= within * exact
