from __future__ import annotations

import io

import numpy as np
import pytest
import resvg_py
import shapely
import svgelements
from lxml import etree
from PIL import Image

from preflight import read
from preflight.curves import Path
from preflight.writers import CutFile, CutFilm, write_svg
from preflight.writers.svg import path_data
from tests.writers.cuts import MADE, assert_same_cut, generated, region, rings

PX = 96 / 25.4
"""px in a mm (CSS Values and Units 4, 6.2)."""
NS = "{http://www.w3.org/2000/svg}"
WITHIN = 0.0015
"""mm: 0.5 um of rounding on both axes, and twice the comparison's flattening."""


def subpaths(path: svgelements.Path) -> list[np.ndarray]:
    """Return the points of svgelements' subpaths, 240 a curve."""
    out: list[np.ndarray] = []
    for part in path.as_subpaths():
        points = []
        for segment in svgelements.Path(part):
            if isinstance(segment, svgelements.CubicBezier):
                points.append(segment.npoint(np.linspace(0, 1, 241))[1:])
            else:
                points.append([(segment.end.x, segment.end.y)])
        out.append(np.concatenate(points))
    return out


def parsed(data: bytes, width: float) -> list[svgelements.Path]:
    """Return svgelements' paths, scaled so that its own width in px is ``width`` mm."""
    drawing = svgelements.SVG.parse(io.BytesIO(data), ppi=96, reify=False)
    assert drawing.width == pytest.approx(width * PX, rel=1e-5)
    scale = svgelements.Matrix.scale(width / drawing.width)
    paths = [element for element in drawing.elements() if isinstance(element, svgelements.Path)]
    return [svgelements.Path(path * scale).reify() for path in paths]


@pytest.mark.parametrize("name", MADE)
def test_another_parser_reads_the_same_cut(name: str) -> None:
    cut = MADE[name]()
    found = parsed(write_svg(cut), cut.width)
    lines = [p for film in cut.films for p in (film.path, film.knife) if p is not None]
    assert len(found) == len(lines)
    for path, meant in zip(found, lines, strict=True):
        assert_same_cut(subpaths(path), meant, WITHIN, closed=bool(meant.closed.all()))


def test_curves_stay_curves_and_lines_lines() -> None:
    cut = generated()
    first = parsed(write_svg(cut), cut.width)[0]
    kinds = [type(segment).__name__ for segment in first]
    assert kinds.count("CubicBezier") == int((~cut.films[0].path.lines).sum())
    assert set(kinds) == {"Move", "CubicBezier", "Close"}


@pytest.mark.parametrize("name", ["generated", "gate-board", "van-door"])
def test_a_renderer_shows_the_films(name: str) -> None:
    """resvg, by pixels whose centre lies at least a pixel and a half from any edge."""
    cut = MADE[name]()
    scale = 1200 / cut.width
    png = resvg_py.svg_to_bytes(
        svg_string=write_svg(cut).decode(), width=1200, dpi=96, skip_system_fonts=True, background="#ffffff"
    )
    shown = np.asarray(Image.open(io.BytesIO(bytes(png))).convert("RGB"))
    y, x = np.mgrid[0 : shown.shape[0], 0 : shown.shape[1]]
    x, y = (x.ravel() + 0.5) / scale, (y.ravel() + 0.5) / scale
    meant = np.full((len(x), 3), 255)
    edge = np.zeros(len(x), bool)
    points = shapely.points(x, y)
    for film in cut.films:
        area = region(rings(film.path))
        shapely.prepare(area)
        meant[shapely.intersects(area, points)] = film.rgb
        lines = [area.boundary]
        if film.knife is not None:
            lines.extend(shapely.LineString(points) for points in rings(film.knife))
        band = shapely.union_all(lines).buffer(1.5 / scale)
        shapely.prepare(band)
        edge |= shapely.intersects(band, points)
    assert edge.mean() < 0.5
    assert (shown.reshape(-1, 3)[~edge] == meant[~edge]).all()


def test_a_group_a_film_with_its_name_and_nothing_else() -> None:
    cut = generated()
    root = etree.fromstring(write_svg(cut))
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("240mm", "150mm", "0 0 240 150")
    assert root.findtext(f"{NS}title") == cut.title
    assert root.findtext(f"{NS}desc") == cut.claim
    groups = root.findall(f"{NS}g")
    titles = [group.findtext(f"{NS}title") for group in groups]
    assert titles == ["Leaf green", "Leaf green: knife lines", "Black"]
    assert [group.get("stroke") for group in groups] == ["none", "#1f5b3a", "none"]
    assert {element.tag for element in root.iter()} == {NS + t for t in ("svg", "title", "desc", "g", "path")}


def test_names_cannot_break_out_of_the_document() -> None:
    name = '</title><script>alert(1)</script>"&\x00\x1b\ufffe'
    data = write_svg(CutFile(10, 10, (CutFilm(name, "#000000", generated().films[1].path),), name, name))
    root = etree.fromstring(data)
    assert not list(root.iter(f"{NS}script"))
    title = root.findtext(f"{NS}g/{NS}title")
    assert title is not None
    assert title.startswith('</title><script>alert(1)</script>"&')


def test_our_own_reader_finds_films_as_layers_at_true_size() -> None:
    cut = generated()
    artwork = read(write_svg(cut))
    assert (artwork.width, artwork.height) == pytest.approx((240, 150))
    assert artwork.layers == ("Leaf green", "Leaf green: knife lines", "Black")
    seen = artwork.appearance()["#000000"]
    assert shapely.symmetric_difference(seen, region(rings(cut.films[1].path))).buffer(-0.002).is_empty


@pytest.mark.parametrize(
    ("points", "data"),
    [
        ([(0, 0), (10, 0), (10, 0.5), (-0.25, 0.0004)], "M0 0H10V.5L-.25 0Z"),
        ([(1.00049, -1.0006), (2, -1.001), (3, 4)], "M1-1.001H2L3 4Z"),
        ([(5000.1234, 0), (1e-9, 2), (0, 3)], "M5000.123 0L0 2V3Z"),
    ],
)
def test_numbers_are_as_short_as_half_a_micrometre_allows(
    points: list[tuple[float, float]], data: str
) -> None:
    assert path_data(Path.polygon(points)) == data


def test_same_cut_same_bytes() -> None:
    assert write_svg(generated()) == write_svg(generated())
