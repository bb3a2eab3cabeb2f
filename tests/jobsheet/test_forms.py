"""The sheet as HTML and PDF: what it says, what it must not let through, and that its scale is true."""

from __future__ import annotations

import re
from typing import Any

import lxml.html
import pypdfium2
import pytest

from preflight.job import Job
from preflight.job.mounting import Temperature
from preflight.jobsheet import JobSheet, job_sheet, to_html, to_pdf
from preflight.jobsheet.drawing import ratio_text, round_ratio
from preflight.jobsheet.table import both, duration
from preflight.jobsheet.wording import MARKS, temperature
from tests.jobsheet.samples import GREEN, PLAIN, artwork, bar, sheet

MM = 72 / 25.4
ROLL = {"width": 600, "margin": 15, "weed_border": 10, "lead": 40}
HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(2)>&'


def hostile() -> JobSheet:
    job = Job.parse(
        {
            "films": {"f": {"name": HOSTILE, "temperature": {"least": 10, "bulletin": HOSTILE}}},
            "colours": {GREEN: {"role": "film", "film": "f"}},
            "mounting": {"substrate": HOSTILE},
        }
    )
    return job_sheet(artwork(name=f"{HOSTILE}.svg"), job)


def page(made: JobSheet) -> Any:
    return lxml.html.document_fromstring(to_html(made))


def rows(document: Any, title: str) -> list[list[str]]:
    part = next(s for s in document.iter("section") if s.find("h2").text.endswith(title))
    table = next(part.iter("table"))
    return [[cell.text_content() for cell in row.iter("td")] for row in table.iter("tr")][1:]


class TestHtml:
    def test_figures_stand_in_their_places(self) -> None:
        document = page(sheet(job={"roll": ROLL}))
        green = rows(document, "Load")[0]
        # 25.4 mm to the inch: 600 mm is 23.622 in, 280 mm 11.024 in, 250 mm 9.843 in.
        assert green[1:5] == ["600 mm23.622 in", "570 mm22.441 in", "280 mm11.024 in", "250 mm9.843 in"]
        assert rows(document, "Cut")[0][1:3] == ["3", "0.78 m2.6 ft"]
        assert rows(document, "Weed")[0][1:3] == ["2", "21 of them enclosed"]
        assert rows(document, "Transfer tape")[0][1:] == [
            "150 mm5.906 in",
            "260 mm10.236 in",
            "80 × 80 mm3.15 × 3.15 in",
        ]
        assert rows(document, "Apply")[0][1:5] == [
            "20 mm0.787 in",
            "120 mm4.724 in",
            "30 mm1.181 in",
            "120 mm4.724 in",
        ]

    def test_it_says_what_is_not_known_and_what_is_stock(self) -> None:
        text = page(sheet()).text_content()
        assert "no roll in the job" in text
        assert "unknown: read it in the film's own bulletin" in text
        assert "offset 0.25 mm / 0.0098 in*" in text
        assert "liner is, is not known" in text
        assert MARKS in text
        stated = page(sheet(job={"blade": {"offset": 0.25, "angle": 45}})).text_content()
        assert "offset 0.25 mm / 0.0098 in, angle 45°." in stated
        half = page(sheet(job={"blade": {"offset": 0.5}})).text_content()
        assert "offset 0.5 mm / 0.0197 in, angle 45°*." in half

    def test_it_claims_geometry_only_and_asks_for_a_test_cut(self) -> None:
        for made in (sheet(), sheet(job={"surface": "second"})):
            assert "Geometry only; test-cut first." in page(made).text_content()
            assert "It does not cut through the liner" in page(made).text_content()

    def test_what_fails_is_not_to_be_cut(self) -> None:
        bad = page(sheet('<text x="20" y="80" font-size="40">Sale</text>' + PLAIN))
        assert "DO NOT CUT YET" in bad.text_content()
        assert "DO NOT CUT YET" not in page(sheet()).text_content()

    def test_behind_glass(self) -> None:
        text = page(sheet(job={"surface": "second"})).text_content()
        assert "what the reader sees on top goes on the glass first" in text
        assert "MIRROR the drawing" in text
        assert text.index("Film 1: #f0a71f") < text.index(f"Film 2: {GREEN}")
        already = page(sheet(job={"surface": "second", "drawn_as": "mirrored"})).text_content()
        assert "do not mirror it again" in already
        assert "MIRROR" not in already

    def test_hostile_names_are_text(self) -> None:
        document = page(hostile())
        assert not list(document.iter("script", "img", "iframe", "object", "link", "a", "image", "use"))
        for element in document.iter():
            assert not [
                name for name in element.attrib if name.lower().startswith("on") or name in ("href", "src")
            ]
        assert document.text_content().count("<script>alert(1)</script>") >= 5
        assert "url(" not in to_html(hostile())

    def test_a_film_painted_with_no_plain_colour_has_no_swatch(self) -> None:
        name = "red;background:url(http://example.invalid)"
        body = (
            '<linearGradient id="g"><stop stop-color="red"/><stop offset="1" stop-color="blue"/></linearGradient>'
            '<g id="ink"><path fill="url(#g)" d="M20 30h100v50h-100z"/></g>'
        )
        layers = {"ink": {"role": "film", "film": name}}
        made = sheet(body, {"films": {name: {}}, "layers": layers})
        assert made.films[0].colour is None
        assert "swatch" not in {element.get("class") for element in page(made).iter()}
        coloured = page(sheet())
        assert "swatch" in {element.get("class") for element in coloured.iter()}

    def test_it_loads_nothing_and_is_the_same_every_time(self) -> None:
        text = to_html(sheet())
        assert "://" not in text.replace("http://www.w3.org/2000/svg", "")
        assert "<script" not in text
        assert "@import" not in text
        assert to_html(sheet()) == text

    def test_the_drawings_lengths_are_in_mm_at_scale(self) -> None:
        made = sheet()
        svg = next(page(made).iter("{*}svg", "svg"))
        width, height = (float(svg.attrib[name].removesuffix("mm")) for name in ("width", "height"))
        box = svg.attrib.get("viewBox") or svg.attrib["viewbox"]
        assert [float(v) for v in box.split()] == pytest.approx([0, 0, width, height])
        data = next(p.attrib["d"] for p in svg.iter("{*}path", "path") if p.attrib.get("fill") == GREEN)
        numbers = [float(v) for v in re.findall(r"-?\d+\.\d+", data)]
        xs, ys = numbers[0::2], numbers[1::2]
        assert max(xs) - min(xs) == pytest.approx(260 / made.drawing.ratio, abs=0.002)
        assert max(ys) - min(ys) == pytest.approx(150 / made.drawing.ratio, abs=0.002)


class TestPdf:
    @pytest.mark.parametrize(("paper", "size"), [("a4", (210, 297)), ("letter", (8.5 * 25.4, 11 * 25.4))])
    def test_paper(self, paper: Any, size: tuple[float, float]) -> None:
        """A4: ISO 216; Letter: 8.5 by 11 in (ANSI/ASME Y14.1, size A; from memory)."""
        for leaf in pypdfium2.PdfDocument(to_pdf(sheet(), paper=paper)):
            assert [side / MM for side in leaf.get_size()] == pytest.approx(size, abs=0.1)

    def test_drawn_lengths_against_the_scale(self) -> None:
        made = sheet()
        ratio = made.drawing.ratio
        assert ratio == 5
        leaf = pypdfium2.PdfDocument(to_pdf(made))[0]
        sizes = []
        for item in leaf.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_PATH]):
            x0, y0, x1, y1 = item.get_bounds()
            sizes.append(((x1 - x0) / MM, (y1 - y0) / MM))

        def drawn(width: float, height: float, slack: float = 0.02) -> int:
            return sum(abs(w - width) < slack and abs(h - height) < slack for w, h in sizes)

        # pdfium counts twice the width of a line that is stroked: here 0.1 mm.
        assert drawn(400 / ratio + 0.2, 300 / ratio + 0.2) == 1  # the drawing area
        assert drawn(260 / ratio, 150 / ratio) == 1  # green
        assert drawn(30 / ratio, 10 / ratio) == 1  # yellow
        assert drawn(100 / 4 / ratio + 0.2, 1.8) == 4  # the bar of 100 mm
        assert drawn(5 * 25.4 / 4 / ratio + 0.2, 1.8) == 4  # the bar of 5 in

    def test_rendered_by_another_program_it_measures_the_same(self) -> None:
        made = sheet()
        image = pypdfium2.PdfDocument(to_pdf(made))[0].render(scale=200 / 72).to_pil().convert("RGB")
        wanted = tuple(int(GREEN[i : i + 2], 16) for i in (1, 3, 5))
        near = [
            (i % image.width, i // image.width)
            for i, pixel in enumerate(zip(*[iter(image.tobytes())] * 3, strict=True))
            if pixel == wanted and i // image.width < image.height / 2
        ]
        per_mm = 200 / 25.4
        # Green swatches stand left of the drawing's bars: only what lies in the drawing area's height counts.
        top = min(y for _, y in near)
        spot = [(x, y) for x, y in near if y < top + 150 / 5 * per_mm + 2]
        width = (max(x for x, _ in spot) + 1 - min(x for x, _ in spot)) / per_mm
        height = (max(y for _, y in spot) + 1 - top) / per_mm
        assert (width, height) == pytest.approx((260 / 5, 150 / 5), abs=2 / per_mm)

    def test_it_says_what_html_says(self) -> None:
        made = sheet(job={"roll": ROLL})
        text = " ".join(
            re.sub(r"\s+", " ", leaf.get_textpage().get_text_range())
            for leaf in pypdfium2.PdfDocument(to_pdf(made))
        )
        document = page(made)
        cells = [span.text_content() for span in document.iter("span") if span.getparent().tag == "td"]
        assert len(cells) > 40
        for cell in cells:
            assert cell in text
        assert "Geometry only; test-cut first." in text

    def test_hostile_names_are_text(self) -> None:
        document = pypdfium2.PdfDocument(to_pdf(hostile()))
        text = "".join(leaf.get_textpage().get_text_range() for leaf in document)
        assert "alert(1)</script>" in re.sub(r"\s", "", text)
        assert all(not list(leaf.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE])) for leaf in document)

    def test_letters_the_font_lacks_are_owned_up_to(self) -> None:
        made = sheet(job={"mounting": {"substrate": "木板"}})
        text = "".join(leaf.get_textpage().get_text_range() for leaf in pypdfium2.PdfDocument(to_pdf(made)))
        assert "A letter that this page's font lacks is shown as ?" in text
        assert "font lacks" not in "".join(
            leaf.get_textpage().get_text_range() for leaf in pypdfium2.PdfDocument(to_pdf(sheet()))
        )

    def test_the_same_bytes(self) -> None:
        assert to_pdf(sheet()) == to_pdf(sheet())

    def test_very_long_names_and_many_films_still_make_pages(self) -> None:
        body = "".join(bar(f"#{i:02x}4060", 10 + 8 * i, 10, 6, 6) for i in range(40))
        long = "W" * 200
        made = sheet(body, {"film": {"name": long}}, name=f"{long}.svg")
        assert len(pypdfium2.PdfDocument(to_pdf(made))) > 3


def test_scales_are_round_and_fit() -> None:
    assert [round_ratio(*size) for size in ((400, 300), (1100, 760), (112, 10), (10, 96.1), (20, 10))] == [
        5,
        10,
        1,
        2,
        0.2,
    ]
    assert [ratio_text(ratio) for ratio in (0.2, 1, 2.5, 100)] == ["5:1", "1:1", "1:2.5", "1:100"]


def test_lengths_times_and_temperatures_in_words() -> None:
    assert both(25.4) == "25.4 mm / 1 in"
    assert [duration(s) for s in (0.2, 59.4, 60, 3599, 3600, 3 * 3600 + 29 * 60)] == [
        "1 s",
        "59 s",
        "1 min 0 s",
        "59 min 59 s",
        "1 h 0 min",
        "3 h 29 min",
    ]
    # 3M Europe product bulletin 5525, 2013: apply at or above +10 °C, which is 50 °F.
    window = Temperature.model_validate({"least": "50 °F", "bulletin": "bulletin 5525, 2013"})
    assert window.least == pytest.approx(10)
    assert temperature(window) == "from 10 °C (50 °F) up (bulletin 5525, 2013)"
    both_ends = Temperature.model_validate({"least": 16, "most": "100 F", "bulletin": "a guide"})
    assert temperature(both_ends) == "16 °C (60.8 °F) to 37.8 °C (100 °F) (a guide)"
    assert temperature(None).startswith("unknown")


class TestPanelsAndWeeding:
    def test_panels_are_listed_with_what_they_take_and_their_seams(self) -> None:
        job = Job.parse({"roll": {"width": 600, "margin": 10, "weed_border": 10}})
        made = job_sheet(artwork(bar(GREEN, 0, 0, 900, 700), 900, 700), job)
        plan = made.films[0].panels
        assert plan is not None
        document = page(made)
        assert rows(document, "Load")[0][5].startswith("IN 2 PANELS")
        listed = rows(document, "Panels")
        assert [row[1] for row in listed] == ["1 of 2", "2 of 2"]
        for row, panel in zip(listed, plan.panels, strict=True):
            assert row[3].startswith(f"{panel.across_mm:g} mm")
        words = " ".join(document.text_content().split())
        assert plan.seams[0].order in words
        assert len(pypdfium2.PdfDocument(to_pdf(made))) >= 2

    def test_without_panels_there_is_no_such_section(self) -> None:
        titles = [part.find("h2").text for part in page(sheet(job={"roll": ROLL})).iter("section")]
        assert not any(title.endswith("Panels") for title in titles)

    def test_the_difficulty_shows_every_term_that_counts_and_that_it_is_a_rule_of_thumb(self) -> None:
        made = sheet(job={"roll": ROLL})
        document = page(made)
        part = next(s for s in document.iter("section") if s.find("h2").text.endswith("Weed"))
        table = list(part.iter("table"))[1]
        cells = [cell.text_content() for cell in table.findall(".//tbody/tr")[0].iter("td")]
        for term in made.films[0].weeding.difficulty.terms:
            if term.value:
                assert f"{term.points:.1f}{term.value:.4g} × {term.weight:g}" in cells
        assert cells[1].startswith(f"{made.films[0].weeding.difficulty.grade}†")
        assert "No published formula" in part.text_content()
