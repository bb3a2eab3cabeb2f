"""Drawings beside the steps: weed lines and assemblies, measured in the HTML and in the PDF against their scale."""

from __future__ import annotations

import math
import re
from typing import Any

import pypdfium2
import pytest
from lxml import html

from preflight.jobsheet import JobSheet, to_html, to_pdf
from preflight.jobsheet.drawing import MARK, Fill, Stroke, Words
from preflight.jobsheet.figures import MOST, assembly_figures, weed_figures
from preflight.weeding import weed
from tests.jobsheet.samples import GREEN, YELLOW, artwork, bar, sheet

MM = 72 / 25.4
TWO_ROWS = bar(GREEN, 20, 20, 360, 40) + bar(GREEN, 20, 120, 360, 40)


def wide() -> JobSheet:
    """Return a sheet of a bar of 900 by 700 mm on a roll of 600: it is parted through film, with a lap."""
    job = {"roll": {"width": 600, "margin": 10, "weed_border": 10}}
    return sheet(bar(GREEN, 0, 0, 900, 700), job, width=900, height=700)


def svgs(made: JobSheet) -> list[Any]:
    document = html.fromstring(to_html(made))
    return [svg for svg in document.iter("svg") if svg.get("aria-label") == "A drawing at scale"]


def ratio(words: str) -> float:
    """Return the scale that a drawing's title states."""
    return float(re.findall(r"1:([\d.]+)$", words)[0])


class TestWeedLines:
    def test_the_sheet_has_the_lines_of_the_weeding_itself(self) -> None:
        film = sheet(TWO_ROWS).films[0]
        (plan,) = weed(artwork(TWO_ROWS))
        assert film.weeding.lines == plan.lines
        assert film.weeding.frame == plan.frame == (10, 10, 390, 170)
        assert film.weeding.weed_lines == len(plan.lines) > 0

    def test_drawn_at_the_scale_that_is_stated(self) -> None:
        """The cut between the rows goes from edge to edge of the border: 380 mm on the sign."""
        made = sheet(TWO_ROWS)
        (svg,) = svgs(made)
        scale = ratio(svg.find(".//text").text)
        lengths = []
        for line in svg.iter("polyline"):
            assert line.get("stroke") == MARK
            (x0, y0), (x1, y1) = ([float(v) for v in pair.split(",")] for pair in line.get("points").split())
            lengths.append((abs(x1 - x0), abs(y1 - y0)))
        assert max(lengths)[0] == pytest.approx(380 / scale, abs=0.01)
        assert len(lengths) == made.films[0].weeding.weed_lines
        paths = [path.get("d") for path in svg.iter("path")]
        xs = [float(v) for v in re.findall(r"[ML]([\d.]+) ", paths[0])]
        assert max(xs) - min(xs) == pytest.approx(380 / scale, abs=0.01)

    def test_measured_in_the_pdf_by_another_program(self) -> None:
        made = sheet(TWO_ROWS)
        scale = ratio(svgs(made)[0].find(".//text").text)
        found = 0
        for leaf in pypdfium2.PdfDocument(to_pdf(made)):
            for item in leaf.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_PATH]):
                x0, y0, x1, y1 = item.get_bounds()
                # pdfium counts twice the width of a stroke of 0.3 mm.
                wide, high = (x1 - x0) / MM - 0.6, (y1 - y0) / MM - 0.6
                found += abs(wide - 380 / scale) < 0.02 and abs(high) < 0.02
        assert found == 1

    def test_small_work_has_no_drawing(self) -> None:
        assert weed_figures(sheet()) == ()
        assert svgs(sheet()) == []

    def test_no_more_than_a_page_holds(self) -> None:
        body = "".join(bar(f"#{i:02x}4060", 10, 10 + 20 * i, 380, 15) for i in range(MOST + 3))
        assert len(weed_figures(sheet(body))) == MOST

    def test_with_the_surround_kept_there_is_no_border(self) -> None:
        made = sheet(bar(GREEN, 0, 100, 400, 40), {"polarity": "surround"})
        assert made.films[0].weeding.frame is None
        assert made.films[0].weeding.lines
        assert len(pypdfium2.PdfDocument(to_pdf(made))) >= 1


class TestAssembly:
    def test_seams_and_numbers_at_their_places(self) -> None:
        made = wide()
        plan = made.films[0].panels
        assert plan is not None
        (drawn,) = assembly_figures(made)
        scale = ratio(next(item.text for item in drawn.items if isinstance(item, Words)))
        upright = plan.seams_run == "vertical"
        (seam,) = plan.seams
        (line,) = [i for i in drawn.items if isinstance(i, Stroke) and i.dashed]
        place = line.points[0][0] - drawn.left if upright else line.points[0][1] - drawn.top
        assert place == pytest.approx(seam.position_mm / scale, abs=0.01)
        lap = next(i for i in drawn.items if isinstance(i, Fill) and i.colour == "#f4b41a")
        across = [point[0 if upright else 1] for point in lap.rings[0]]
        assert max(across) - min(across) == pytest.approx(seam.lap_mm / scale, abs=0.01)
        words = [item.text for item in drawn.items if isinstance(item, Words)]
        assert {"1", "2"} <= set(words)

    def test_both_forms_show_it(self) -> None:
        made = wide()
        seams = [text.text for svg in svgs(made) for text in svg.iter("text") if text.text.startswith("seam")]
        assert len(seams) == 1
        text = "".join(leaf.get_textpage().get_text_range() for leaf in pypdfium2.PdfDocument(to_pdf(made)))
        assert seams[0] in text

    def test_behind_glass_it_is_as_the_film_is_put_up(self) -> None:
        """A bar at the left of the drawing stands at the right for whoever stands behind the glass."""
        body = bar(GREEN, 0, 0, 900, 700) + bar(GREEN, 920, 0, 60, 100)
        job = {"roll": {"width": 600}, "surface": "second"}
        made = sheet(body, job, width=1000, height=700)
        (drawn,) = assembly_figures(made)
        film = next(i for i in drawn.items if isinstance(i, Fill) and i.colour == GREEN)
        small = min(film.rings, key=lambda ring: max(x for x, _ in ring) - min(x for x, _ in ring))
        big = max(film.rings, key=lambda ring: max(x for x, _ in ring) - min(x for x, _ in ring))
        assert max(x for x, _ in small) < min(x for x, _ in big)

    def test_tape_covers_a_panel_and_not_the_whole(self) -> None:
        made = wide()
        plan = made.films[0].panels
        assert plan is not None
        boxes = [sorted((p.box[2] - p.box[0], p.box[3] - p.box[1])) for p in plan.panels]
        assert made.films[0].tape.width == pytest.approx(max(short for short, _ in boxes))
        assert made.films[0].tape.length == pytest.approx(max(long for _, long in boxes))

    def test_none_where_nothing_is_parted(self) -> None:
        assert assembly_figures(sheet()) == ()


def test_an_outline_is_as_fine_as_the_sheet_shows() -> None:
    """A circle of 20,000 chords becomes a few hundred, nowhere off by more than 0.05 mm on paper."""
    points = " ".join(
        f"{200 + 100 * math.cos(i * math.tau / 20000):.6f},{150 + 100 * math.sin(i * math.tau / 20000):.6f}"
        for i in range(20000)
    )
    made = sheet(f'<polygon fill="{YELLOW}" points="{points}"/>')
    (ring,) = made.films[0].outline
    assert len(ring) < 600
    # 200 mm across on a drawing of 90 mm at most.
    assert max(abs(math.dist(p, (200, 150)) - 100) for p in ring) < 0.05 * 200 / 90
