"""Published values of letter heights, against the standards' own tables.

2010 ADA Standards for Accessible Design, table 703.5.5: the inches and the millimetres beside them are
both printed there. MUTCD 2009, section 2A.13: an inch for every 30 ft (from memory).
"""

from __future__ import annotations

import pytest

from preflight.standards import standards

INCH, FOOT = 25.4, 304.8


@pytest.mark.parametrize(
    ("baseline", "distance", "expected"),
    [
        # Baseline of 40 to 70 in.
        (40, 12, 5 / 8),
        (60, 71.9, 5 / 8),
        (60, 72, 5 / 8),
        (60, 84, 6 / 8),
        (60, 120, 1.125),  # 10 ft: 5/8 in and four times 1/8 in
        (70, 72 + 6, 5 / 8 + 1 / 16),
        # Over 70 to 120 in.
        (70.1, 12, 2),
        (100, 180, 2),
        (120, 180 + 24, 2.25),
        # Over 120 in.
        (120.1, 12, 3),
        (200, 21 * 12, 3),
        (200, 31 * 12, 3 + 10 / 8),
    ],
)
def test_least_character_height(baseline: float, distance: float, expected: float) -> None:
    book = standards().accessible_signs
    assert book.least_height(baseline * INCH, distance * INCH) == pytest.approx(expected * INCH, rel=1e-12)


def test_below_the_tables_first_row_there_is_no_height() -> None:
    assert standards().accessible_signs.least_height(39.9 * INCH, 60 * INCH) is None


@pytest.mark.parametrize(("row", "height", "near"), [(0, 16, 1830), (1, 51, 4570), (2, 75, 6400)])
def test_the_millimetres_that_the_table_prints(row: int, height: float, near: float) -> None:
    found = standards().accessible_signs.heights[row]
    assert found.height == pytest.approx(height, rel=0.02)
    assert found.near == pytest.approx(near, rel=0.002)
    assert found.step == pytest.approx(3.2, rel=0.01)


def test_the_shares_of_sections_703_5_4_to_703_5_9() -> None:
    shares = standards().accessible_signs.shares
    assert (shares.proportion.section, shares.proportion.least, shares.proportion.most) == (
        "703.5.4",
        0.55,
        1.1,
    )
    assert (shares.stroke.section, shares.stroke.least, shares.stroke.most) == ("703.5.7", 0.1, 0.3)
    spacing, lines = shares.character_spacing, shares.line_spacing
    assert (spacing.section, spacing.least, spacing.most) == ("703.5.8", 0.1, 0.35)
    assert (lines.section, lines.least, lines.most) == ("703.5.9", 1.35, 1.7)


@pytest.mark.parametrize(("feet", "inches"), [(30, 1), (60, 2), (15, 0.5), (100, 10 / 3)])
def test_an_inch_for_every_30_feet(feet: float, inches: float) -> None:
    assert standards().legibility[0].least_height(feet * FOOT) == pytest.approx(inches * INCH, rel=1e-12)


def test_the_study_of_1998_asks_for_more() -> None:
    # USSC and Penn State University, 1998: 29 and 25 ft an inch, second hand, rows not certain. A chart that
    # quotes it gives 10 in at 250 ft and 290 ft.
    _, favourable, less = standards().legibility
    assert favourable.least_height(290 * FOOT) == pytest.approx(10 * INCH)
    assert less.least_height(250 * FOOT) == pytest.approx(10 * INCH)
    assert "not certain" in favourable.source
    assert "not certain" in less.source
