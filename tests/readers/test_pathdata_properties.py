"""Path data that a machine makes up: against an independent parser, and for what must always hold."""

from __future__ import annotations

import numpy as np
import svgelements
from hypothesis import given, settings
from hypothesis import strategies as st

from preflight.readers.svg.pathdata import parse_path

BOUNDED = settings(max_examples=200, derandomize=True, deadline=None, database=None)

numbers = st.floats(-999, 999, allow_nan=False).map(lambda v: f"{v:.3f}")
"""Decimal notation only: the judge does not read every exponent."""
gaps = st.sampled_from([" ", ",", " , ", "\n"])


@st.composite
def commands(draw: st.DrawFn) -> str:
    """Return valid path data of moves, lines, cubics, quadratics and closes."""
    parts = [f"{draw(st.sampled_from('Mm'))}{draw(numbers)}{draw(gaps)}{draw(numbers)}"]
    for _ in range(draw(st.integers(1, 8))):
        letter = draw(st.sampled_from("LlHhVvCcQqZzMm"))
        count = {"l": 2, "h": 1, "v": 1, "c": 6, "q": 4, "z": 0, "m": 2}[letter.lower()]
        arguments = [draw(numbers) for _ in range(count)]
        parts.append(letter + draw(gaps).replace(",", " ").join(arguments))
    return "".join(parts)


@BOUNDED
@given(commands())
def test_agrees_with_an_independent_parser(data: str) -> None:
    """svgelements reads these commands rightly; its error after a smooth curve is not met here."""
    ours = parse_path(data)
    assert ours.error is None
    theirs = []
    for segment in svgelements.Path(data):
        if isinstance(segment, svgelements.Move | type(None)):
            continue
        if isinstance(segment, svgelements.Close):
            if segment.start is not None and segment.end is not None:
                theirs.append(tuple(segment.end))
            continue
        theirs.append(tuple(segment.end))
    mine = [tuple(c.tolist()) for c in ours.path.controls[:, 3]]
    # Closes that stand at their start already draw nothing here and one segment there.
    assert _distinct(mine) == _distinct(theirs)


def _distinct(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    found: list[tuple[float, float]] = []
    for point in points:
        rounded = (round(point[0], 6) + 0.0, round(point[1], 6) + 0.0)
        if not found or found[-1] != rounded:
            found.append(rounded)
    return found


@BOUNDED
@given(st.text("MmZzLlHhVvCcSsQqTtAa0123456789.-+eE, \n", max_size=60))
def test_any_text_gives_a_sound_path(data: str) -> None:
    path = parse_path(data).path
    assert np.isfinite(path.controls).all()
    assert len(path.closed) == len(path.starts)
    assert (np.diff(path.starts) > 0).all()
    for index in range(len(path)):
        part = path.subpath(index).controls
        np.testing.assert_array_equal(part[1:, 0], part[:-1, 3])
        if path.closed[index]:
            np.testing.assert_array_equal(part[-1, 3], part[0, 0])


@BOUNDED
@given(commands(), st.integers(1, 40))
def test_an_error_leaves_what_came_before(data: str, cut: int) -> None:
    """What an error leaves is the beginning of what the whole data draws (SVG 2, 9.5.4)."""
    whole = parse_path(data).path.controls
    part = parse_path(data + " L" + "?" * cut).path.controls
    np.testing.assert_array_equal(part, whole)
