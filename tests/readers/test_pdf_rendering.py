"""The PDF reader against PDFium, an independent renderer: same colours at the same places."""

from __future__ import annotations

import random

import pytest
import shapely
from pikepdf import Array, Name

from preflight.readers import read
from tests.readers.pdfs import MM, disagreement, form, pdf
from tests.writers.cuts import MADE, region, rings

RED, GREEN, BLUE = "1 0 0 rg", "0 .6 0 rg", "0 0 1 rg"
STAR = "100 90 m 60 10 l 160 60 l 40 60 l 140 10 l h"

CONTENTS = {
    "nonzero": f"{RED} {STAR} f",
    "evenodd": f"{RED} {STAR} f*",
    "stacking": f"{RED} 10 10 100 60 re f {GREEN} 60 30 100 60 re f",
    "curves c v y": f"{BLUE} 20 20 m 40 90 80 90 100 20 c 120 0 150 20 v 180 60 190 90 y f",
    "matrices": f"q .5 .2 -.3 .8 60 10 cm {RED} 0 0 80 60 re f Q {GREEN} 0 0 20 20 re f",
    "clip": f"q {STAR} W n {RED} 0 0 200 100 re f Q {GREEN} 0 0 10 10 re f",
    "clip evenodd": f"q {STAR} W* n {RED} 0 0 200 100 re f Q",
    "clip in clip": f"q 20 20 100 60 re W n {STAR} W n {RED} 0 0 200 100 re f Q",
    "clip ends with its state": f"q 0 0 50 50 re W n Q {RED} 0 0 200 100 re f",
    "empty clip": f"q 10 10 0 0 re W n {RED} 0 0 200 100 re f Q {BLUE} 150 10 40 40 re f",
    "implicit moveto after h": f"{RED} 20 20 m 80 20 l 80 80 l h 160 80 l 160 20 l f",
    "strokes": "8 w 1 0 0 RG 20 20 m 100 80 l 180 20 l S",
    "round": "12 w 1 J 1 j 0 0 1 RG 20 20 m 100 80 l 180 20 l S",
    "square bevel": "12 w 2 J 2 j 0 0 1 RG 20 20 m 100 80 l 180 20 l S",
    "miter limit": "6 w 1.5 M 0 0 1 RG 20 20 m 100 80 l 180 20 l S",
    "closed strokes": "6 w 0 .6 0 RG 30 20 m 100 80 l 170 20 l s",
    "dashes": "8 w [20 10] 5 d 1 0 0 RG 10 50 m 190 50 l S",
    "odd dashes": "8 w [20] 0 d 1 0 0 RG 10 50 m 190 50 l S",
    "uneven stroke": "q 3 0 0 1 0 0 cm 6 w 1 0 0 RG 10 20 m 50 80 l S Q",
    "fill and stroke": f"8 w 0 0 1 RG {RED} 30 20 120 60 re B",
    "grey": ".5 g 10 10 80 80 re f .25 G 10 w 120 20 m 180 80 l S",
    "white over": f"{RED} 10 10 180 80 re f 1 g 40 30 60 40 re f",
}


@pytest.mark.parametrize("name", CONTENTS)
def test_pdfium_shows_the_same(name: str) -> None:
    data = pdf(CONTENTS[name])
    assert disagreement(data, read(data)) == 0


@pytest.mark.parametrize("turn", [0, 90, 180, 270, -90, 450])
def test_turned_pages(turn: int) -> None:
    data = pdf(f"{RED} 10 10 60 20 re f {BLUE} 150 60 40 30 re f", page={"Rotate": turn})
    artwork = read(data)
    assert disagreement(data, artwork) == 0
    sides = (200 * MM, 100 * MM)
    assert (artwork.width, artwork.height) == pytest.approx(sides if turn % 180 == 0 else sides[::-1])


@pytest.mark.parametrize("turn", [0, 90])
def test_the_crop_box_is_the_drawing_area(turn: int) -> None:
    page = {"CropBox": Array([30, 20, 150, 300]), "Rotate": turn}
    data = pdf(f"{RED} 40 30 50 30 re f {BLUE} 0 0 35 100 re f", page=page)
    artwork = read(data)
    assert disagreement(data, artwork) == 0
    assert sorted((artwork.width, artwork.height)) == pytest.approx([80 * MM, 120 * MM])


def test_forms_with_matrix_box_and_copies() -> None:
    body = f"{RED} -20 -20 200 60 re f {GREEN} 10 10 40 20 re f"
    objects = {"F": form(body, (0, 0, 90, 50), Matrix=Array([0.8, 0.3, -0.2, 0.9, 10, 5]))}
    data = pdf(
        f"q .5 0 0 .5 20 10 cm /F Do Q q .6 0 0 -.6 100 90 cm /F Do Q {BLUE} 0 0 9 9 re f", objects=objects
    )
    assert disagreement(data, read(data)) == 0


def test_what_a_form_sets_ends_with_it() -> None:
    objects = {"F": form(f"{RED} 5 w 0 0 20 20 re f")}
    data = pdf(f"{BLUE} /F Do 100 20 60 60 re f", objects=objects)
    assert disagreement(data, read(data)) == 0


@pytest.mark.parametrize("name", ["generated", "gate-board", "van-door"])
def test_our_own_pdf_comes_back_as_it_was_written(name: str) -> None:
    from preflight.writers import write_pdf

    cut = MADE[name]()
    artwork = read(write_pdf(cut))
    assert (artwork.width, artwork.height) == pytest.approx((cut.width, cut.height), rel=1e-9)
    fills = [shape for shape in artwork.shapes() if shape.fill is not None]
    assert [shape.origin.layer for shape in fills] == [film.name for film in cut.films]
    for shape, film in zip(fills, cut.films, strict=True):
        found = region(rings(shape.path.mapped(shape.matrix)))
        assert shapely.symmetric_difference(found, region(rings(film.path))).buffer(-0.0015).is_empty


def _random_content(choose: random.Random) -> str:
    """Return content of nested states, clips, fills and strokes, in colours PDFium shows alike."""

    def at() -> str:
        return f"{choose.uniform(-20, 220):.2f} {choose.uniform(-20, 120):.2f}"

    def outline() -> str:
        if choose.random() < 0.3:
            return f"{at()} {choose.uniform(-90, 90):.2f} {choose.uniform(-60, 60):.2f} re"
        parts = [f"{at()} m"]
        for _ in range(choose.randint(2, 6)):
            kind = choose.choice(["l", "l", "c", "v", "y"])
            parts.append(" ".join([at() for _ in range({"l": 1, "c": 3}.get(kind, 2))] + [kind]))
        return " ".join(parts) + choose.choice(["", " h"])

    def colour(operator: str) -> str:
        return " ".join(f"{choose.choice([0, 0.2, 0.4, 0.6, 0.8, 1]):g}" for _ in range(3)) + f" {operator}"

    out, depth = [], 0
    for _ in range(choose.randint(4, 14)):
        action = choose.random()
        if action < 0.15:
            out.append("q")
            depth += 1
        elif action < 0.25 and depth:
            out.append("Q")
            depth -= 1
        elif action < 0.35:
            a, d = choose.uniform(0.6, 1.3), choose.choice([-1, 1]) * choose.uniform(0.6, 1.3)
            b, c = choose.uniform(-0.3, 0.3), choose.uniform(-0.3, 0.3)
            out.append(
                f"{a:.3f} {b:.3f} {c:.3f} {d:.3f} {choose.uniform(0, 40):.2f} {40 if d > 0 else 80} cm"
            )
        elif action < 0.45:
            out.append(f"{outline()} {choose.choice(['W', 'W*'])} n")
        elif action < 0.8:
            out.append(f"{colour('rg')} {outline()} {choose.choice(['f', 'f*'])}")
        else:
            style = f"{choose.uniform(3, 12):.2f} w {choose.randint(0, 2)} J {choose.randint(0, 2)} j"
            out.append(f"{style} {colour('RG')} {outline()} {choose.choice(['S', 's'])}")
    return " ".join(out + ["Q"] * depth)


@pytest.mark.parametrize("seed", range(30))
def test_pdfium_shows_random_pages_the_same(seed: int) -> None:
    """A few pixels may differ: PDFium draws a wide stroke round a curve's cusp with mitred chords."""
    content = _random_content(random.Random(seed))
    data = pdf(content)
    assert disagreement(data, read(data)) < 0.004, content


def test_images_lie_where_pdfium_finds_them() -> None:
    import pypdfium2

    image = ({"Type": Name.XObject, "Subtype": Name.Image, "Width": 2, "Height": 2, "BitsPerComponent": 8,
              "ColorSpace": Name.DeviceGray}, bytes(4))  # fmt: skip
    data = pdf("q 40 10 -20 60 70 20 cm /I Do Q", objects={"I": image})
    artwork = read(data)
    (picture,) = artwork.items
    (found,) = pypdfium2.PdfDocument(data)[0].get_objects()
    left, bottom, right, top = found.get_bounds() if hasattr(found, "get_bounds") else found.get_pos()
    box = (left * MM, artwork.height - top * MM, right * MM, artwork.height - bottom * MM)
    assert picture.box == pytest.approx(box, abs=1e-4)  # type: ignore[union-attr]
