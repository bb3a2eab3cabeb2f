"""Layouts as files for production and as pictures."""

from __future__ import annotations

import io
import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from lxml import etree
from PIL import Image

import preflight
from preflight import Job, LayoutOptions, OrderLine
from preflight.errors import PreflightError
from preflight.roll.layout import Laid, lay_out
from preflight.roll.layout.cut import cut_files
from preflight.roll.layout.drawing import round_step
from preflight.roll.layout.picture import layout_png, layout_svg
from preflight.writers import WRITERS, Writer, write_svg
from tests.roll.test_layout import drawing, job, plate

ARTWORK = Path(__file__).resolve().parents[2] / "examples" / "artwork"
ELL = '<path d="M0 0H300V60H60V200H0Z" fill="#b01020"/>'


def stands(svg: bytes) -> list[shapely.Polygon]:
    """Return the separate parts that a written file shows, as our reader understands it."""
    region = shapely.union_all(list(preflight.read(svg).appearance().values()))
    return [part for part in shapely.get_parts(region) if part.area > 0]


def test_every_copy_is_in_the_file_where_the_layout_puts_it() -> None:
    laid = lay_out([OrderLine(drawing(300, 200, ELL), 3)], job(), LayoutOptions(turns="any", seconds=2))
    (file,) = cut_files(laid, "order")
    assert file.proved
    (film,) = laid.layout.films
    assert film.use is not None
    assert (file.file.width, file.file.height) == (610, film.use.film_length_mm)
    parts = stands(write_svg(file.file))
    assert len(parts) == 3
    assert sum(part.area for part in parts) == pytest.approx(3 * (300 * 60 + 60 * 140), rel=1e-5)
    boxes = sorted(part.bounds for part in parts)
    for box, place in zip(boxes, sorted(p.box for p in film.placements), strict=True):
        assert box == pytest.approx(place, abs=5e-3)
    assert min(a.distance(b) for i, a in enumerate(parts) for b in parts[:i]) >= 5 - 5e-3


def test_parts_keep_their_holes_and_curves() -> None:
    rings = "".join(
        f'<path d="M{x} 50a40 40 0 1 0 80 0a40 40 0 1 0 -80 0M{x + 20} 50a20 20 0 1 0 40 0a20 20 0 1 0 -40 0" '
        'fill-rule="evenodd"/>'
        for x in (5, 105, 205)
    )
    laid = lay_out([OrderLine(drawing(300, 100, rings), 2)], job(), LayoutOptions(spread="parts", nest=False))
    (file,) = cut_files(laid)
    parts = stands(write_svg(file.file))
    assert len(parts) == 6
    assert all(len(part.interiors) == 1 for part in parts)
    for part in parts:
        assert part.area == pytest.approx(math.pi * (40**2 - 20**2), rel=2e-3)
    assert not file.file.films[0].path.lines.all()


def test_overlaps_are_united_before_they_are_copied() -> None:
    body = '<rect width="80" height="40"/><rect x="40" width="80" height="40"/>'
    laid = lay_out([OrderLine(drawing(120, 40, body), 4)], job(), LayoutOptions(nest=False))
    (file,) = cut_files(laid)
    assert len(file.file.films[0].path) == 4


def test_lines_for_the_knife_go_with_their_piece() -> None:
    body = '<rect width="100" height="60"/><path d="M10 30H90" stroke="#ff0000" fill="none"/>'
    laid = lay_out([OrderLine(drawing(100, 60, body), 2)], job(colours={"#ff0000": "knife"}))
    (file,) = cut_files(laid)
    knife = file.file.films[0].knife
    assert knife is not None
    assert len(knife) == 2


def test_second_surface_is_cut_mirrored_once() -> None:
    laid = lay_out(
        [OrderLine(drawing(300, 200, ELL))], job(surface="second"), LayoutOptions(turns="as-drawn")
    )
    (part,) = stands(write_svg(cut_files(laid)[0].file))
    x0, _, x1, y1 = part.bounds
    assert part.covers(shapely.Point(x1 - 30, y1 - 20))
    assert not part.covers(shapely.Point(x0 + 30, y1 - 20))


def test_what_is_not_proved_is_told() -> None:
    source = preflight.read((ARTWORK / "gradient.svg").read_bytes(), "gradient.svg")
    laid = lay_out([OrderLine(source)], job({"width": 2000}))
    assert not any(file.proved for file in cut_files(laid))
    assert "NOT PROVED" in cut_files(laid)[0].file.claim


def test_nothing_laid_nothing_written() -> None:
    laid = lay_out([OrderLine(plate(900, 900))], job())
    with pytest.raises(PreflightError, match="nothing to write"):
        cut_files(laid)


@pytest.mark.parametrize("writer", WRITERS, ids=lambda writer: writer.word)
def test_every_form_of_file_takes_a_layout(writer: Writer) -> None:
    laid = lay_out([OrderLine(drawing(300, 200, ELL), 2)], job(), LayoutOptions(nest=False))
    assert len(writer.write(cut_files(laid, "order")[0].file)) > 100


def outline_of_roll(svg: str) -> tuple[float, float, float, float]:
    """Return the roll's rectangle in the picture, px: x, y, width, height."""
    rects = etree.fromstring(svg.encode()).iter("{*}rect")
    found = next(rect for rect in rects if rect.get("stroke-width") == "1.2")
    x, y, width, height = (float(found.attrib[key]) for key in ("x", "y", "width", "height"))
    return x, y, width, height


def pixels(laid: Laid) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(layout_png(laid))).convert("RGB")).astype(int)


def test_the_picture_shows_the_piece_turned_a_quarter_and_not_mirrored() -> None:
    laid = lay_out([OrderLine(drawing(300, 200, ELL))], job(), LayoutOptions(turns="as-drawn"))
    x, y, width, height = outline_of_roll(layout_svg(laid))
    scale = height / 610
    assert width == pytest.approx(250 * scale, abs=0.1)
    shown = pixels(laid)

    def at(across: float, along: float) -> list[int]:
        return list(shown[round(y + (610 - across) * scale), round(x + along * scale)])

    red = [0xB0, 0x10, 0x20]
    assert at(15 + 200, 25 + 30) == red  # the upper bar
    assert at(15 + 20, 25 + 180) == red  # the upright on the left
    assert at(15 + 200, 25 + 130) == [255, 255, 255]  # beside it
    covered = int((np.abs(shown - red).max(axis=2) == 0).sum())
    # Film and swatch, less what the outline takes: a pixel all around at most, and the badge.
    piece = (300 * 60 + 60 * 140) * scale**2
    assert piece - 1000 * scale - 400 < covered < piece + 24 * 24


def test_a_long_order_breaks_into_rows() -> None:
    laid = lay_out([OrderLine(plate(500, 400), 12)], job(), LayoutOptions(nest=False))
    svg = layout_svg(laid)
    assert svg.count('stroke-width="1.2"') > 1
    etree.fromstring(svg.encode())


def test_a_piece_that_is_too_large_sticks_out() -> None:
    svg = layout_svg(lay_out([OrderLine(plate(900, 800))], job()))
    assert "#b3201f" in svg
    etree.fromstring(svg.encode())
    preflight_unjudged = layout_svg(lay_out([OrderLine(plate(900, 800))], Job()))
    etree.fromstring(preflight_unjudged.encode())


def test_no_text_of_the_order_gets_into_the_picture_as_markup() -> None:
    evil = '"/><script>alert(1)</script><x y="\x07\u202e'
    order = [OrderLine(plate(100, 100), 1, evil)]
    stated = job(film={"name": "<script>2</script>"})
    svg = layout_svg(lay_out(order, stated))
    tree = etree.fromstring(svg.encode())
    tags = {etree.QName(element).localname for element in tree.iter()}
    assert tags <= {"svg", "title", "desc", "defs", "pattern", "path", "rect", "g"}
    assert not [name for element in tree.iter() for name in element.attrib if str(name).startswith("on")]


def test_widths_of_a_picture_are_bounded() -> None:
    with pytest.raises(PreflightError, match="640"):
        layout_svg(lay_out([OrderLine(plate(100, 100))], job()), width_px=100)


@pytest.mark.parametrize(("about", "step"), [(0.9, 1), (1, 1), (1.1, 2), (3, 5), (60, 100), (0.02, 0.02)])
def test_ruler_steps_are_round(about: float, step: float) -> None:
    assert round_step(about) == pytest.approx(step)
