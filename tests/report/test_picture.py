"""The overlay picture: read back with an XML parser and looked at pixel by pixel."""

from __future__ import annotations

import io
import math
import re
from pathlib import Path as FilePath

import numpy as np
import pytest
import shapely
from lxml import etree
from PIL import Image

from preflight.artwork import Artwork, LiveText, Origin, Paint, PaintKind, Picture, Shape
from preflight.curves import flatten
from preflight.errors import PreflightError
from preflight.readers import read
from preflight.report.model import Severity
from preflight.report.picture import picture_png, picture_svg
from tests.report.pictures import GREEN, RED, WHITE, artwork, block, finding, report

ALLOWED = {"svg", "title", "desc", "defs", "pattern", "g", "path", "rect", "circle"}
CORPUS = FilePath(__file__).parents[3] / "shared" / "corpus" / "road-signs"


def parsed(svg: str) -> etree._Element:
    return etree.fromstring(svg.encode())


def found(root: etree._Element, tag: str, **attributes: str) -> list[etree._Element]:
    """The elements called ``tag`` with these attributes."""
    return [
        element
        for element in root.iter("{http://www.w3.org/2000/svg}" + tag)
        if all(element.get(name) == value for name, value in attributes.items())
    ]


def number(element: etree._Element, name: str) -> float:
    """A number among an element's attributes."""
    return float(element.attrib[name])


def frame(root: etree._Element) -> tuple[float, float, float, float]:
    """The drawing area's x, y, width and height in px."""
    (area,) = found(root, "rect", fill="url(#ground)")
    return number(area, "x"), number(area, "y"), number(area, "width"), number(area, "height")


def spots(root: etree._Element) -> set[tuple[float, float]]:
    """The middles of the rings on the exact spots."""
    return {(number(ring, "cx"), number(ring, "cy")) for ring in found(root, "circle")}


@pytest.mark.parametrize("scale", [1.0, 2.5])
def test_rings_stand_where_the_report_says(scale: float) -> None:
    # 300 x 200 mm in the file; places are at the finished size.
    art = artwork(block(30, 30, 240, 140, RED))
    where = [(60.0 * scale, 50.0 * scale), (240.0 * scale, 150.0 * scale)]
    root = parsed(picture_svg(art, report(art, [finding(Severity.ERROR, *where)], scale=scale)))
    x, y, width, height = frame(root)
    assert width / height == pytest.approx(1.5, abs=1e-3)
    expected = [
        (x + width * 60 / 300, y + height * 50 / 200),
        (x + width * 240 / 300, y + height * 150 / 200),
    ]
    got = sorted(spots(root))
    assert len(got) == 2
    for (gx, gy), (ex, ey) in zip(got, expected, strict=True):
        assert math.hypot(gx - ex, gy - ey) < 0.05


def test_pixels_have_the_films_colours_and_white_differs_from_the_ground() -> None:
    art = artwork(block(0, 0, 150, 100, RED), block(150, 100, 150, 100, WHITE), block(60, 40, 30, 20, GREEN))
    done = report(art)
    x, y, width, height = frame(parsed(picture_svg(art, done)))
    image = Image.open(io.BytesIO(picture_png(art, done))).convert("RGB")
    assert image.width == 1200

    def colour(mm_x: float, mm_y: float) -> str:
        pixel = image.getpixel((round(x + width * mm_x / 300), round(y + height * mm_y / 200)))
        assert isinstance(pixel, tuple)
        return "#{:02x}{:02x}{:02x}".format(*pixel)

    assert colour(20, 20) == RED
    assert colour(75, 50) == GREEN
    assert colour(225, 150) == WHITE
    assert colour(225, 50) not in (WHITE, RED, GREEN)


def test_abutting_colours_show_no_ground_between_them() -> None:
    art = artwork(block(0, 0, 150.31, 200, "#000000"), block(150.31, 0, 149.69, 200, "#000001"))
    done = report(art)
    x, y, width, height = frame(parsed(picture_svg(art, done)))
    image = Image.open(io.BytesIO(picture_png(art, done))).convert("L")
    # The knife's line lies on the seam with a light edge; beside that edge all must be black.
    seam = x + width * 150.31 / 300
    row = round(y + height / 2)
    values = [image.getpixel((round(seam) + step, row)) for step in (-4, -3, -2, 2, 3, 4)]
    assert values == [0] * 6


def test_equal_input_gives_equal_bytes() -> None:
    art = artwork(block(30, 30, 240, 140, RED))
    done = report(art, [finding(Severity.ERROR, (40, 40), (200, 100)), finding(Severity.NOTE, (40, 40))])
    assert picture_svg(art, done) == picture_svg(art, done)
    assert picture_png(art, done) == picture_png(art, done)


HOSTILE = '</title><script>alert(1)</script>"\'><image href="http://x.example/"/>\x00\x0b\ud800&#x41;'


def test_nothing_of_the_upload_reaches_the_markup() -> None:
    origin = Origin("text", "/svg/text[1]", 3, HOSTILE, HOSTILE)
    art = artwork(
        block(30, 30, 240, 140, RED),
        LiveText(
            HOSTILE, (HOSTILE,), 20, (40, 60), origin, Paint(PaintKind.SOLID, RED), box=(40, 40, 120, 64)
        ),
        Picture((150, 40, 220, 90), origin, embedded=False, reference=HOSTILE),
        block(50, 90, 20, 20, 'red"/><script/>'),
    )
    done = report(
        art, [finding(Severity.ERROR, (40, 40), message=HOSTILE, code=HOSTILE)], summary=HOSTILE, name=HOSTILE
    )
    root = parsed(picture_svg(art, done))
    assert {etree.QName(element).localname for element in root.iter()} <= ALLOWED
    for element in root.iter():
        for name, value in element.attrib.items():
            assert not str(name).startswith("on")
            assert "href" not in str(name)
            assert "script" not in str(value)
            assert re.fullmatch(r"url\(#(ground|hatch)\)", str(value)) or "url" not in str(value)


def test_words_are_drawn_and_not_set_in_a_font() -> None:
    art = artwork(block(30, 30, 240, 140, RED))
    svg = picture_svg(art, report(art, [finding(Severity.WARNING, (40, 40))]))
    assert "<text" not in svg
    assert "font" not in svg


def test_what_is_no_films_colour_is_hatched() -> None:
    origin = Origin("text", "/svg/text[1]")
    text = LiveText("Plot 12", ("Any",), 20, (40, 60), origin, box=(40, 40, 120, 64))
    plain = artwork(block(30, 100, 240, 60, RED))
    both = artwork(block(30, 100, 240, 60, RED), text)
    assert not found(parsed(picture_svg(plain, report(plain))), "rect", fill="url(#hatch)")
    root = parsed(picture_svg(both, report(both)))
    (box,) = found(root, "rect", fill="url(#hatch)")
    x, _, width, _ = frame(root)
    assert number(box, "x") == pytest.approx(x + width * 40 / 300, abs=0.05)
    assert number(box, "width") == pytest.approx(width * 80 / 300, abs=0.05)


def test_the_scale_bar_is_a_round_length() -> None:
    # 300 mm wide: a sixth is 50 mm, itself one of 1, 2, 5 times a power of ten.
    art = artwork(block(30, 30, 240, 140, RED))
    root = parsed(picture_svg(art, report(art)))
    _, _, width, _ = frame(root)
    bars = found(root, "rect", height="8.00", fill="none")
    assert [number(bar, "width") for bar in bars] == [pytest.approx(width * 50 / 300, abs=0.05)]


def test_artwork_beside_the_drawing_area_is_shown() -> None:
    art = artwork(block(-60, 30, 100, 60, RED))
    root = parsed(picture_svg(art, report(art, [finding(Severity.ERROR, (-60, 30))])))
    x, _, _, _ = frame(root)
    ((spot_x, _),) = spots(root)
    assert 0 < spot_x < x


@pytest.mark.parametrize("size", [(3000.0, 20.0), (20.0, 3000.0), (0.5, 0.5), (1.0, 1e-9)])
def test_any_proportions_make_a_picture(size: tuple[float, float]) -> None:
    art = artwork(block(0, 0, size[0], size[1], RED), width=size[0], height=size[1])
    image = Image.open(
        io.BytesIO(picture_png(art, report(art, [finding(Severity.NOTE, (0, 0))]), width_px=600))
    )
    assert image.width == 600
    assert image.height < 1200


def test_an_empty_sheet_makes_a_picture() -> None:
    art = artwork()
    root = parsed(picture_svg(art, report(art, [finding(Severity.ERROR)])))
    assert not spots(root)


@pytest.mark.parametrize("width", [0, -5, 479, 4097])
def test_a_width_out_of_range_is_refused_in_words(width: int) -> None:
    art = artwork(block(30, 30, 240, 140, RED))
    with pytest.raises(PreflightError, match=f"{width} px wide") as caught:
        picture_svg(art, report(art), width_px=width)
    assert "480" in caught.value.advice


def _signs() -> list[Artwork]:
    """Every fourth road sign that is made of nothing but plainly painted shapes."""
    signs = [read(path.read_bytes(), path.name) for path in sorted(CORPUS.glob("*.svg"))]
    return [sign for sign in signs if all(isinstance(item, Shape) for item in sign.items)][::4]


@pytest.mark.corpus
def test_road_signs_look_as_an_independent_renderer_draws_them() -> None:
    if not CORPUS.is_dir():
        pytest.skip(f"the shared corpus is not there: {CORPUS}")
    signs = _signs()
    assert len(signs) > 5
    for sign in signs:
        assert _difference(sign) < 0.01, sign.source.name


def _difference(art: Artwork) -> float:
    """Return the share of opaque pixels clear of all contours that differ from resvg's own rendering."""
    import resvg_py

    done = report(art)
    x, y, width, height = frame(parsed(picture_svg(art, done)))
    box = (round(x), round(y), round(x + width), round(y + height))
    wide, high = box[2] - box[0], box[3] - box[1]
    ours = np.asarray(Image.open(io.BytesIO(picture_png(art, done))).convert("RGB").crop(box), int)
    markup = (CORPUS / (art.source.name or "")).read_text()
    png = bytes(resvg_py.svg_to_bytes(svg_string=markup, width=wide, dpi=96, skip_system_fonts=True))
    theirs = np.asarray(Image.open(io.BytesIO(png)).convert("RGBA").resize((wide, high)), int)
    # Our picture draws the knife's lines along every contour: look only where there are none.
    lines = flatten([shape.path.mapped(shape.matrix) for shape in art.shapes()], 0.01)
    contours = shapely.MultiLineString([lines[i] for i in range(len(lines)) if len(lines[i]) > 1])
    rows, columns = np.mgrid[3 : high - 3 : 4, 3 : wide - 3 : 4]
    middles = shapely.points((columns + 0.5) * art.width / wide, (rows + 0.5) * art.height / high)
    clear = shapely.distance(middles, contours) > 3 * art.width / wide
    opaque = theirs[rows, columns, 3] == 255
    differs = np.abs(ours[rows, columns] - theirs[rows, columns, :3]).max(axis=-1) > 8
    looked_at = clear & opaque
    assert looked_at.sum() > 500
    return float((differs & looked_at).sum() / looked_at.sum())
