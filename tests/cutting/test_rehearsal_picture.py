"""The picture of a cut's order: whole, safe, readable; where numbers stand; and the command."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from PIL import Image

from preflight import Job, PreflightError, Rehearsal, read, rehearse
from preflight.cli import main
from preflight.cutting.rehearsal import picture_png, picture_svg
from preflight.cutting.rehearsal.labels import Label, arranged, ranked

ARTWORK = Path(__file__).parents[2] / "examples" / "artwork"
HOSTILE = "</title><script>alert(1)</script><svg onload=alert(2)>]]>\x00\u202e"
BOX = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="100mm" viewBox="0 0 200 100">'
    b'<path fill="#1f4d2b" d="M40 30h30v20h-30z"/><path fill="#1f4d2b" d="M120 30h30v20h-30z"/></svg>'
)


def rehearsed(name: str) -> Rehearsal:
    settings_ = ARTWORK / f"{name}.toml"
    job = Job.parse(settings_.read_bytes()) if settings_.exists() else Job()
    return rehearse(read((ARTWORK / f"{name}.svg").read_bytes(), f"{name}.svg"), job)


def test_every_start_has_its_dot_and_the_travel_is_dashed() -> None:
    found = rehearsed("gate-board")
    root = etree.fromstring(picture_svg(found).encode())
    paths = root.findall(".//{*}path")
    dots = [p for p in paths if p.get("fill") == "#ffffff" and p.get("stroke")]
    assert dots[0].get("d", "").count("M") == len(found.films[0].contours) == 76
    dashed = [p for p in paths if p.get("stroke-dasharray")]
    assert dashed[0].get("d", "").count("M") == 76


def test_the_png_is_as_wide_as_asked_and_shows_cut_and_travel() -> None:
    image = Image.open(io.BytesIO(picture_png(rehearsed("van-door"), width_px=900))).convert("RGB")
    assert image.width == 900
    pixels = np.asarray(image).astype(int)
    # Of the colour of moves with the knife up, thinned by smoothing, there are some hundred pixels.
    blue = (np.abs(pixels - (0x2A, 0x64, 0xA6)).sum(axis=2) < 60).sum()
    dark = (pixels.sum(axis=2) < 150).sum()
    assert blue > 300
    assert dark > 3000


def test_films_stand_below_each_other_or_one_alone() -> None:
    found = rehearsed("stall-banner")
    heights = [
        float(etree.fromstring(picture_svg(found, film=film).encode()).get("height", "0"))
        for film in (None, *(one.film for one in found.films))
    ]
    assert len(heights) == 5
    assert max(heights[1:]) < heights[0] < sum(heights[1:])


@pytest.mark.parametrize("width", [479, 4097])
def test_a_width_that_cannot_be_drawn_is_refused(width: int) -> None:
    with pytest.raises(PreflightError, match="cannot be drawn"):
        picture_svg(rehearse(read(BOX)), width_px=width)


def test_names_of_the_upload_are_words_and_nothing_else() -> None:
    found = rehearse(read(BOX, HOSTILE), Job.parse({"film": {"name": HOSTILE.replace("\x00", "")}}))
    root = etree.fromstring(picture_svg(found).encode())
    tags = {etree.QName(part).localname for part in root.iter()}
    assert tags <= {"svg", "title", "desc", "g", "rect", "path", "circle"}
    assert not [a for part in root.iter() for a in part.attrib if str(a).startswith("on") or "href" in str(a)]


def test_a_single_line_without_width_has_a_picture_too() -> None:
    line = (
        b'<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="50mm" viewBox="0 0 50 50">'
        b'<path stroke="#1f4d2b" fill="none" d="M10 10V40"/></svg>'
    )
    svg = picture_svg(rehearse(read(line)))
    assert "nan" not in svg
    assert float(etree.fromstring(svg.encode()).get("height", "0")) < 2000


def overlap(one: Label, other: Label, size: float) -> bool:
    return abs(one.x - other.x) < (one.width + other.width) / 2 and abs(one.y - other.y) < size


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 400), st.floats(0, 200), st.floats(-3, 3)), min_size=1, max_size=120))
def test_no_number_covers_another_or_leaves_the_panel(spots: Sequence[tuple[float, float, float]]) -> None:
    starts = np.array([spot[:2] for spot in spots])
    area = (-20.0, -20.0, 420.0, 220.0)
    labels = arranged(ranked(len(spots)), starts, [s[2] for s in spots], size=8, most=50, area=area)
    assert 1 <= len(labels) <= 50
    assert len({label.index for label in labels}) == len(labels)
    for i, label in enumerate(labels):
        assert not any(overlap(label, other, 8) for other in labels[i + 1 :])
        assert area[0] <= label.x - label.width / 2 <= label.x + label.width / 2 <= area[2]


def test_first_last_and_round_numbers_go_first() -> None:
    assert ranked(0) == []
    assert ranked(1) == [0]
    order = ranked(2345)
    assert order[:4] == [0, 2344, 999, 1999]
    assert sorted(order) == list(range(2345))
    assert order.index(99) < order.index(9) < order.index(1)


class TestCommand:
    def test_text(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        job = tmp_path / "job.toml"
        job.write_text("machine.speed = 123\n")
        assert main(["rehearse", str(ARTWORK / "van-door.svg"), "--job", str(job)]) == 0
        said = capsys.readouterr().out
        assert "22 contours" in said
        assert "cutting speed: 123 mm/s (stated)" in said

    def test_json_picture_and_animation(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        answer, svg, page = (tmp_path / name for name in ("a.json", "a.svg", "a.html"))
        arguments = ["rehearse", str(ARTWORK / "van-door.svg"), "--format", "json", "--output", str(answer)]
        assert main([*arguments, "--picture", str(svg), "--animation", str(page)]) == 0
        assert capsys.readouterr().out == ""
        found = Rehearsal.model_validate(json.loads(answer.read_text()))
        assert len(found.films[0].contours) == 22
        assert svg.read_text().startswith("<svg")
        assert re.search(r"Content-Security-Policy", page.read_text())
        png = tmp_path / "a.PNG"
        assert main([*arguments, "--picture", str(png)]) == 0
        assert png.read_bytes().startswith(b"\x89PNG")

    @pytest.mark.parametrize(
        ("more", "says"),
        [
            (["--picture", "a.pdf"], "not named .svg or .png"),
            (["--animation", "a.gif"], "not named .html"),
            (["--film", "gold"], "There is no film"),
            (["--job", "nowhere.toml"], "could not be opened"),
        ],
    )
    def test_wrong_use_is_told(self, more: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["rehearse", str(ARTWORK / "van-door.svg"), *more]) == 2
        assert says in capsys.readouterr().err

    def test_entry_and_order_can_be_chosen(self, capsys: pytest.CaptureFixture[str]) -> None:
        arguments = ["rehearse", str(ARTWORK / "van-door.svg"), "--format", "json"]
        assert main([*arguments, "--entry", "as-left", "--small-parts-in-turn"]) == 0
        found = json.loads(capsys.readouterr().out)
        assert found["options"] == {"small_parts_first": False, "entry": "as-left"}
        assert found["films"][0]["compensated"]["entry_mm"] > 0
