from __future__ import annotations

import io

import numpy as np
import pikepdf
import pypdfium2
import pytest
import shapely

from preflight.curves import Path
from preflight.writers import CutFile, CutFilm, write_pdf
from tests.writers import pdfium
from tests.writers.cuts import MADE, assert_same_cut, generated, rectangle, region, rings, wide

WITHIN = 0.0015
"""mm: rounding to 1 um on both axes and the comparison's flattening, for pages up to 1.2 m ..."""
WITHIN_SINGLE = 1.2e-6
"""... and, a mm of page, what PDFium's single-precision numbers add twice over (2^-24 a rounding)."""


def opened(data: bytes) -> pikepdf.Pdf:
    return pikepdf.open(io.BytesIO(data))


def layers(pdf: pikepdf.Pdf) -> list[tuple[str, dict[str, str] | None]]:
    """Return every layer's name and its processing-step metadata."""
    out = []
    for group in pdf.Root.OCProperties.OCGs:
        assert group.Type == pikepdf.Name.OCG
        meta = group.get("/GTS_Metadata")
        entries = {str(k): str(v) for k, v in meta.items()} if meta is not None else None
        out.append((str(group.Name), entries))
    return out


@pytest.mark.parametrize("name", MADE)
def test_pdfium_finds_the_same_cut_twice(name: str) -> None:
    cut = MADE[name]()
    width, height, found = pdfium.drawn(write_pdf(cut))
    assert (width, height) == pytest.approx((cut.width, cut.height), rel=1e-6)
    within = WITHIN + WITHIN_SINGLE * cut.width
    painted, kissed = found[: len(cut.films)], found[len(cut.films) :]
    for film, fill, stroke in zip(cut.films, painted, kissed, strict=True):
        assert fill.filled
        assert not fill.stroked
        assert fill.fill == film.rgb
        assert stroke.stroked
        assert not stroke.filled
        assert fill.curves == int((~film.path.lines).sum())
        assert all(fill.closed)
        assert_same_cut(fill.contours, film.path, within)
        count = len(film.path)
        assert_same_cut(stroke.contours[:count], film.path, within)
        if film.knife is not None:
            assert_same_cut(stroke.contours[count:], film.knife, within, closed=False)
            assert not any(stroke.closed[count:])


def test_layers_and_processing_steps() -> None:
    """The key names and words: Arlington PDF model (PDF Association), GTS_ProcStepsGroup.tsv."""
    pdf = opened(write_pdf(generated()))
    step = {"/GTS_ProcStepsGroup": "/Structural", "/GTS_ProcStepsType": "/PartialCutting"}
    assert layers(pdf) == [
        ("Leaf green", None),
        ("Black", None),
        ("Leaf green: kiss cut", step),
        ("Black: kiss cut", step),
    ]
    shown = pdf.Root.OCProperties.D
    assert len(shown.Order) == len(shown.ON) == 4


def test_every_path_is_on_its_layer_in_its_spot_colour() -> None:
    pdf = opened(write_pdf(generated()))
    resources = pdf.pages[0].Resources
    spaces = dict(resources.ColorSpace.items())
    current, colour, used = "", "", []
    for instruction in pikepdf.parse_content_stream(pdf.pages[0]):
        operands, word = instruction.operands, str(instruction.operator)
        if word == "BDC":
            assert operands[0] == pikepdf.Name.OC
            current = str(resources.Properties[str(operands[1])].Name)
        elif word in ("cs", "CS"):
            colour = str(operands[0])
        elif word in ("f*", "S"):
            used.append((current, word, str(spaces[colour][1])))
    assert used == [
        ("Leaf green", "f*", "/Film Leaf green"),
        ("Black", "f*", "/Film Black"),
        ("Leaf green: kiss cut", "S", "/Cut Leaf green"),
        ("Black: kiss cut", "S", "/Cut Black"),
    ]
    for space in spaces.values():
        assert space[0] == pikepdf.Name.Separation
        assert space[2] == pikepdf.Name.DeviceRGB
    assert [float(v) for v in spaces["/C1"][3].C1] == pytest.approx([0x1F / 255, 0x5B / 255, 0x3A / 255])
    assert resources.ExtGState["/Over"].OP


@pytest.mark.parametrize("name", ["generated", "van-door"])
def test_pdfium_shows_the_films(name: str) -> None:
    """By pixels whose centre lies at least two pixels from any edge."""
    cut = MADE[name]()
    page = pypdfium2.PdfDocument(write_pdf(cut))[0]
    shown = np.asarray(page.render(scale=1000 / page.get_width()).to_pil().convert("RGB"))
    scale = shown.shape[1] / cut.width
    y, x = np.mgrid[0 : shown.shape[0], 0 : shown.shape[1]]
    points = shapely.points((x.ravel() + 0.5) / scale, (y.ravel() + 0.5) / scale)
    meant = np.full((len(points), 3), 255)
    edge = np.zeros(len(points), bool)
    for film in cut.films:
        area = region(rings(film.path))
        lines = [area.boundary, *(shapely.LineString(p) for p in rings(film.knife or Path.empty()))]
        band = shapely.union_all(lines).buffer(2 / scale)
        for geometry in (area, band):
            shapely.prepare(geometry)
        meant[shapely.intersects(area, points)] = film.rgb
        edge |= shapely.intersects(band, points)
    assert edge.mean() < 0.5
    assert (shown.reshape(-1, 3)[~edge] == meant[~edge]).all()


def test_large_pages_have_a_larger_user_unit() -> None:
    """A page has at most 14,400 units a side (ISO 32000-1, annex C; UserUnit: 14.11.2, table 30)."""
    film = CutFilm("Red", "#c0182b", rectangle(10, 10, 11_990, 500))
    data = write_pdf(CutFile(12_000, 600, (film,)))
    pdf = opened(data)
    page = pdf.pages[0]
    assert page.UserUnit == 3
    assert max(float(v) for v in page.MediaBox) <= 14_400
    width, _, found = pdfium.drawn(data, unit=3)
    assert width == pytest.approx(12_000, rel=1e-6)
    assert_same_cut(found[0].contours, film.path, WITHIN + WITHIN_SINGLE * 12_000)
    small = opened(write_pdf(wide()))
    assert "/UserUnit" not in small.pages[0]


def test_the_file_is_sound_and_says_what_it_is() -> None:
    cut = generated()
    pdf = opened(write_pdf(cut))
    assert pdf.check_pdf_syntax() == []
    assert pdf.pdf_version == "1.7"
    assert dict(pdf.docinfo.items()) == {"/Title": cut.title, "/Subject": cut.claim}


def test_odd_names_stay_names() -> None:
    names = ["Röd, <matt> #5/(x) [1]", "All", "Ω" * 200, "Ω" * 200 + "!"]
    films = tuple(CutFilm(name, "#ff0000", rectangle(1, 1, 9, 9)) for name in names)
    pdf = opened(write_pdf(CutFile(10, 10, films)))
    assert [name for name, _ in layers(pdf)][:4] == names
    colorants = [str(space[1])[1:] for _, space in pdf.pages[0].Resources.ColorSpace.items()]
    assert colorants[0] == "Film Röd, <matt> #5/(x) [1]"
    assert len(set(colorants)) == 8
    # 127 bytes: ISO 32000-1, annex C. "All" by itself would mean every colorant (8.6.6.4).
    assert max(len(c.encode()) for c in colorants) <= 127
    assert "All" not in colorants


def test_an_empty_film_keeps_its_layers() -> None:
    data = write_pdf(CutFile(10, 10, (CutFilm("Red", "#ff0000", Path.empty()),)))
    assert len(layers(opened(data))) == 2
    assert pdfium.drawn(data)[2] == []


def test_same_cut_same_bytes_without_dates() -> None:
    data = write_pdf(generated())
    assert data == write_pdf(generated())
    assert b"Date" not in data
