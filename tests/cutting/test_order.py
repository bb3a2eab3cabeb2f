"""Cut order: nesting, feed, start points (against all choices), and travel on shuffled lettering."""

from __future__ import annotations

import itertools
import pathlib

import numpy as np
import pytest
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st

from preflight.curves import Floats, Path, Polylines, flatten
from preflight.cutting.order import (
    _candidates,
    arranged,
    best_starts,
    closed_lines,
    cut_order,
    file_order,
)

SENTENCE = "Allotment shop open on Sundays from ten to four seeds plants tools manure and good advice"


def square(x: float, y: float, side: float) -> Path:
    return Path.polygon([(x, y), (x + side, y), (x + side, y + side), (x, y + side)])


def lettering(lines: int) -> list[Path]:
    """Contours of real lettering, lines of text 40 mm apart, in reading order."""
    fonts = pytest.importorskip(
        "font_source_sans_pro", reason="the dev dependency font-source-sans-pro is missing"
    )
    font = TTFont(pathlib.Path(fonts.__file__).parent / "files" / "SourceSansPro-Regular.otf")
    glyphs, names, scale = font.getGlyphSet(), font.getBestCmap(), 20 / font["head"].unitsPerEm
    found: list[Path] = []
    for row in range(lines):
        x = 0.0
        for letter in SENTENCE:
            glyph = glyphs[names[ord(letter)]]
            pen = DecomposingRecordingPen(glyphs)
            glyph.draw(pen)
            nodes: list[tuple[float, float]] = []
            for name, points in pen.value:
                nodes += [(x + p[0] * scale, 40 * row - p[1] * scale) for p in points[-1:]]
                if name in ("closePath", "endPath"):
                    found.append(Path.polygon(nodes))
                    nodes = []
            x += glyph.width * scale
    return found


def shuffled(paths: list[Path], seed: int) -> Polylines:
    order = np.random.default_rng(seed).permutation(len(paths))
    return flatten([paths[i] for i in order], 0.05)


def boxes(lines: Polylines) -> Floats:
    return np.array([[*lines[i].min(axis=0), *lines[i].max(axis=0)] for i in range(len(lines))])


@pytest.mark.parametrize(("rows", "seed"), [(1, 1), (3, 2), (8, 3)])
def test_travel_on_shuffled_lettering(rows: int, seed: int) -> None:
    lines = shuffled(lettering(rows), seed)
    order = cut_order(lines)
    assert sorted(order.contours) == list(range(len(lines)))
    assert order.travel_length <= 0.15 * file_order(lines).travel_length


def test_counters_are_cut_before_their_letters() -> None:
    lines = shuffled(lettering(2), 5)
    order = cut_order(lines)
    position = np.empty(len(lines), int)
    position[order.contours] = np.arange(len(lines))
    held = np.flatnonzero(order.parent >= 0)
    assert len(held) > 20
    assert (position[held] < position[order.parent[held]]).all()


def test_nesting_of_any_depth() -> None:
    paths = [square(i, i, 100 - 2 * i) for i in range(0, 40, 4)]
    lines = shuffled(paths, 1)
    side = boxes(lines)[:, 2] - boxes(lines)[:, 0]
    order = cut_order(lines)
    assert (np.diff(side[order.contours]) > 0).all()


def test_a_frame_around_everything_is_cut_last_in_spite_of_feed_windows() -> None:
    paths = [square(-10, -10, 5000), *(square(x, y, 10) for x in (0, 50) for y in range(0, 4000, 90))]
    order = cut_order(flatten(paths, 0.01), window=300)
    assert order.contours[-1] == 0
    assert (order.parent[1:] == 0).all()


def test_contours_that_share_their_far_edge_stay_inner_before_outer_in_crowded_windows() -> None:
    paths = []
    for i in range(700):
        paths += [square(20 * i, 0, 10), square(20 * i + 3, 6, 4)]
    lines = flatten(paths, 0.01)
    order = cut_order(lines)
    position = np.empty(len(lines), int)
    position[order.contours] = np.arange(len(lines))
    assert (order.parent[1::2] == np.arange(0, 1400, 2)).all()
    assert (position[1::2] < position[::2]).all()


def test_the_film_is_not_fed_back_to_a_window_that_is_done() -> None:
    generator = np.random.default_rng(2)
    corners = generator.uniform(0, 1, (300, 2)) * (500, 6000)
    lines = flatten([square(x, y, 8) for x, y in corners], 0.01)
    order = cut_order(lines, window=400)
    far = boxes(lines)[order.contours, 3]
    number = np.floor((far - far.min()) / 400)
    assert (np.diff(number) >= 0).all()
    # The film goes back by no more than the window and one contour.
    assert (order.enter[1:, 1] - order.leave[:-1, 1]).min() >= -408


def test_small_pieces_go_first_in_their_window() -> None:
    paths = [square(20 * i, 0, 10 if i % 3 else 1) for i in range(30)]
    lines = flatten(paths, 0.01)
    order = cut_order(lines, fragile_area=4.0)
    small = (boxes(lines)[order.contours, 2] - boxes(lines)[order.contours, 0]) < 2
    assert small[:10].all()
    assert not small[10:].any()


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 5), st.integers(0, 10_000))
def test_start_points_are_the_best_of_all_choices(count: int, seed: int) -> None:
    generator = np.random.default_rng(seed)
    paths = [
        Path.polygon(generator.uniform(0, 100, (4, 2)), closed=bool(generator.random() < 0.6))
        for _ in range(count)
    ]
    lines = flatten(paths, 0.01)
    closed = closed_lines(lines)
    choices = [_candidates(lines, i, bool(c)) for i, c in enumerate(closed)]
    home = np.array([0.0, 0.0])

    def travel(starts: tuple[int, ...]) -> float:
        at, way = home, 0.0
        for index, start in enumerate(starts):
            line = lines[index]
            way += float(np.hypot(*(line[start] - at)))
            at = line[start] if closed[index] else line[-1 if start == 0 else 0]
        return way

    best = min(travel(starts) for starts in itertools.product(*(c.tolist() for c in choices)))
    found = best_starts(lines, closed, np.arange(count), choices, home)
    assert travel(tuple(found.tolist())) == pytest.approx(best)


def test_the_arranged_lines_are_the_same_lines() -> None:
    generator = np.random.default_rng(9)
    paths = [Path.polygon(generator.uniform(0, 50, (6, 2)), closed=bool(i % 2)) for i in range(20)]
    lines = flatten(paths, 0.01)
    order = cut_order(lines)
    cut = arranged(lines, order)
    for place, contour in enumerate(order.contours):
        before, after = lines[int(contour)], cut[place]
        assert after[0] == pytest.approx(order.enter[place])
        assert after[-1] == pytest.approx(order.leave[place])
        assert np.hypot(*np.diff(before, axis=0).T).sum() == pytest.approx(
            np.hypot(*np.diff(after, axis=0).T).sum()
        )
        assert {tuple(p) for p in before} == {tuple(p) for p in after}
    before = np.concatenate(([[0.0, 0.0]], order.leave[:-1]))
    assert order.travel == pytest.approx(np.hypot(*(order.enter - before).T))


def test_a_contour_is_begun_at_a_corner() -> None:
    drop = Path(
        np.array(
            [
                [[0, 0], [-20, 20], [-10, 40], [0, 40]],
                [[0, 40], [10, 40], [20, 20], [0, 0]],
            ],
            float,
        ),
        np.zeros(2, bool),
        np.zeros(1, np.int64),
        np.ones(1, bool),
    )
    order = cut_order(flatten([drop], 0.01), home=(0, 100))
    assert order.enter[0] == pytest.approx([0, 0])


def test_nothing_to_cut() -> None:
    order = cut_order(flatten([], 0.01))
    assert len(order.contours) == 0
    assert order.travel_length == 0
    assert len(arranged(flatten([], 0.01), order)) == 0


def test_order_is_the_same_every_time() -> None:
    lines = shuffled(lettering(2), 4)
    first, second = cut_order(lines), cut_order(lines)
    assert (first.contours == second.contours).all()
    assert (first.starts == second.starts).all()
