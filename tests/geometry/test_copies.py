"""Lines drawn once more in the same place are found, whatever their start and sense; all else is not."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from preflight import Job, read
from preflight.analysis import Analysis
from preflight.geometry.copies import copies

SQUARE = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0), (0.0, 0.0)]


def line(points: list[tuple[float, float]]) -> shapely.LineString:
    return shapely.LineString(points)


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        (SQUARE, True),
        (SQUARE[::-1], True),
        ([(10, 5), *SQUARE[2:4], (0, 0), (10, 0), (10, 5)], True),
        ([(x + 0.03, y) for x, y in SQUARE], True),
        ([(x + 0.06, y) for x, y in SQUARE], False),
        (SQUARE[:-1], False),
        ([*SQUARE, *SQUARE[1:]], False),
        ([(0, 0), (10, 0), (10, 10), (5, 5), (0, 10), (0, 0)], False),
    ],
)
def test_a_copy_lies_in_the_same_place_from_end_to_end(
    points: list[tuple[float, float]], expected: bool
) -> None:
    of = np.array([line([(20, 20), (30, 20)]), line(SQUARE)], object)
    assert copies(np.array([line(points)], object), of, 0.05).tolist() == [expected]


def test_of_nothing_there_is_no_copy() -> None:
    none = np.zeros(0, object)
    assert copies(none, np.array([line(SQUARE)], object), 0.05).tolist() == []
    assert copies(np.array([line(SQUARE)], object), none, 0.05).tolist() == [False]


def test_a_knife_line_on_an_edge_is_cut_once_and_one_beside_it_is_cut_too() -> None:
    drawing = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="50mm" viewBox="0 0 100 50">'
        '<path d="M10 10h20v20h-20z" fill="#1f4d2b"/>'
        '<path d="M30 30v-20h-20v20z M50 10h10v10h-10z" fill="none" stroke="#ff00ff"/></svg>'
    )
    analysis = Analysis(read(drawing.encode()), Job.parse('colours = {"#ff00ff" = "knife"}'))
    assert analysis.repeated_contours.tolist() == [1]
    assert analysis.loose_contours.tolist() == [2]
    assert analysis.cut_length == pytest.approx(80 + 40)
    assert analysis.length_of(analysis.loose_contours) == pytest.approx(40)
