"""The text report: complete, worst first, within its width, and safe to print."""

from __future__ import annotations

import re

import pytest

from preflight.report.model import Place, Report
from preflight.report.text import to_text
from preflight.units import Unit
from tests.report.sample_report import REPORT, SIZE, THIN


def flat(text: str) -> str:
    return " ".join(text.split())


def test_it_says_everything() -> None:
    text = flat(to_text(REPORT))
    for finding in REPORT.findings:
        for part in (f"{finding.code}/{finding.case}", finding.message, finding.remedy, finding.detail):
            assert part in text
    assert "Measured: 0.42 mm, limit 0.8 mm." in text
    assert "“stem”, layer “Letters”, line 34 of the file" in text
    assert "45° with 0.25 mm offset (the job names no blade)" in text
    for part in (REPORT.summary, REPORT.claim, *REPORT.not_judged, *(fit.reason for fit in REPORT.roll)):
        assert part in text


def test_the_order() -> None:
    text = flat(to_text(REPORT))
    parts = [
        "FAIL gate-board.svg",
        REPORT.summary,
        " 1 ERROR thin-feature",
        " 2 ERROR live-text",
        " 3 WARNING size",
    ]
    sections = ["── Films", "── On the roll", "── Taken for granted", "── Not judged", REPORT.claim]
    places = [text.index(part) for part in (*parts, *sections)]
    assert places == sorted(places)
    # In a finding the customer's sentence goes before place, remedy and the operator's detail.
    thin = [text.index(part) for part in (THIN.message, "Where (9 places)", THIN.remedy, THIN.detail)]
    assert thin == sorted(thin)


@pytest.mark.parametrize("width", [50, 64, 80, 120])
@pytest.mark.parametrize("unit", ["mm", "in", "px"])
def test_no_line_is_longer_than_asked_for(width: int, unit: Unit) -> None:
    lines = to_text(REPORT, width=width, unit=unit).splitlines()
    assert max(len(line) for line in lines) <= width
    assert not [line for line in lines if line != line.rstrip()]


def test_a_number_keeps_its_unit_on_its_line() -> None:
    for width in range(50, 100):
        text = to_text(REPORT, width=width)
        assert not re.search(r"\d\n\s*(mm|m|cm²)\b", text)
        assert "\u00a0" not in text


def test_a_narrower_page_than_can_be_read_is_widened() -> None:
    assert to_text(REPORT, width=10) == to_text(REPORT, width=50)


def test_lengths_in_the_unit_asked_for() -> None:
    text = flat(to_text(REPORT, unit="in"))
    # 1 in is 25.4 mm exactly (CSS Values and Units, absolute lengths): 609.6 mm, 457.2 mm, 8210 mm.
    assert "24 in wide, 18 in high" in text
    assert "26.94 ft to cut" in text
    # 1 ft2 is 92903.04 mm2: 123400 mm2.
    assert "1.328 ft² of film stays" in text
    assert "Measured: 0.0165 in, limit 0.0315 in." in text


def test_one_place_alone_does_not_repeat_the_measure() -> None:
    alone = THIN.model_copy(update={"places": THIN.places[:1], "places_total": 1})
    assert to_text(REPORT.model_copy(update={"findings": (alone,)})).count("0.42 mm") == 3
    unmeasured = alone.model_copy(update={"measured": None, "limit": None})
    text = to_text(REPORT.model_copy(update={"findings": (unmeasured,)}))
    assert "33 mm from the top, 0.42 mm, “stem”" in flat(text)


def test_what_a_roll_gives() -> None:
    text = flat(to_text(REPORT))
    assert "forest green: fits when turned a quarter. As drawn it is wider than the roll. It takes" in text
    assert "It takes 629.6 mm of film." in text
    assert "#c8102e: not judged. No roll is stated." in text
    bad = REPORT.roll[0].model_copy(update={"verdict": "does-not-fit"})
    text = flat(to_text(REPORT.model_copy(update={"roll": (bad,)})))
    assert "forest green: does not fit. As drawn it is wider than the roll. ──" in text


def test_places_that_are_not_listed_are_counted() -> None:
    text = to_text(REPORT)
    assert text.count("mm from the left") == 5 + 1
    assert "- and 4 more places\n" in text


def test_colours_add_nothing_but_codes() -> None:
    painted = to_text(REPORT, color=True)
    assert "\x1b[1;31mERROR\x1b[0m" in painted
    # ECMA-48: select graphic rendition is CSI ... m.
    assert re.sub(r"\x1b\[[0-9;]*m", "", painted) == to_text(REPORT)


def test_text_from_the_file_cannot_steer_the_terminal() -> None:
    place = Place(box=(0, 0, 1, 1), point=(0, 0), id="a\x1b[2Jb\u202ec", layer="x\r\ny", measured=None)
    finding = THIN.model_copy(update={"places": (place,), "message": "Bell \x07 rings"})
    report = REPORT.model_copy(
        update={
            "findings": (finding,),
            "source": REPORT.source.model_copy(update={"name": "n\x1b]0;t\x07.svg"}),
        }
    )
    text = to_text(report)
    assert all(letter.isprintable() or letter == "\n" for letter in text)
    assert "a\ufffd[2Jb\ufffdc" in text
    assert "“x y”" in text


def test_a_clean_report() -> None:
    report = REPORT.model_copy(update={"findings": (), "not_judged": (), "assumptions": ()})
    text = to_text(report)
    assert "Nothing was found." in text
    assert "Not judged" not in text.split("── On the roll")[0]
    assert "── Taken for granted" not in text


def test_a_finding_without_place_or_measure() -> None:
    text = to_text(REPORT.model_copy(update={"findings": (SIZE,)}))
    assert "Where" not in text
    assert "Measured" not in text


def test_the_same_report_gives_the_same_text() -> None:
    again = Report.model_validate_json(REPORT.model_dump_json())
    assert to_text(again) == to_text(REPORT)
