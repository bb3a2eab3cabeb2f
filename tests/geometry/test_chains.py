"""Matching of open ends: contours cut up, shuffled and reversed must come together again."""

from __future__ import annotations

import pathlib

import numpy as np
import pytest
import shapely

from preflight.curves import Floats, flatten
from preflight.errors import LimitError
from preflight.geometry.chains import EndMatch, match_ends

SYMBOLS = pathlib.Path(__file__).parents[3] / "shared" / "corpus" / "park-symbols"
GAPS = (0.0, 0.1, 0.5, 1.0, 2.0, 3.0)


def ends(*rows: tuple[float, float, float, float]) -> tuple[Floats, Floats]:
    table = np.array(rows, float)
    return table[:, :2], table[:, 2:]


class TestMatching:
    def test_the_two_ends_of_one_contour(self) -> None:
        assert match_ends(*ends((0, 0, 1, 0), (0.5, 0, -1, 0)), 1.0) == [EndMatch(0, 1, 0.5)]

    def test_too_far_apart(self) -> None:
        assert match_ends(*ends((0, 0, 1, 0), (1.01, 0, -1, 0)), 1.0) == []
        assert match_ends(*ends((0, 0, 1, 0), (1.0, 0, -1, 0)), 1.0) == [EndMatch(0, 1, 1.0)]

    def test_running_on_beats_a_little_nearer(self) -> None:
        # Two lines cross a cut; each end runs on straight, though its neighbour is as near.
        crossing = ends((0, 0, 1, 0), (0, 0.9, 1, 0), (1, 0, -1, 0), (1, 0.9, -1, 0))
        assert [(m.a, m.b) for m in match_ends(*crossing, 2.0)] == [(0, 2), (1, 3)]

    def test_crossing_lines_broken_where_they_cross(self) -> None:
        rays = [(np.cos(t), np.sin(t)) for t in np.radians((0, 70, 180, 250))]
        star = ends(*((0, 0, -x, -y) for x, y in rays))
        assert [(m.a, m.b, m.gap) for m in match_ends(*star, 0.1)] == [(0, 2, 0), (1, 3, 0)]

    def test_every_end_is_used_once(self) -> None:
        random = np.random.default_rng(5)
        points, tangents = random.uniform(0, 10, (200, 2)), random.normal(size=(200, 2))
        found = match_ends(points, tangents, 1.5)
        used = [end for match in found for end in (match.a, match.b)]
        assert len(used) == len(set(used)) > 150
        assert all(m.a < m.b and m.gap == np.hypot(*(points[m.a] - points[m.b])) <= 1.5 for m in found)
        # What is left over has no other left-over in reach.
        left = np.delete(points, used, axis=0)
        apart = np.hypot(*(left[:, None] - left[None]).transpose(2, 0, 1))
        assert (apart[~np.eye(len(left), dtype=bool)] > 1.5).all()

    @pytest.mark.parametrize("scale", [1e-3, 1.0, 1e4])
    def test_scale_changes_nothing(self, scale: float) -> None:
        random = np.random.default_rng(6)
        points, tangents = random.uniform(0, 10, (60, 2)), random.normal(size=(60, 2))
        plain = [(m.a, m.b) for m in match_ends(points, tangents, 1.5)]
        assert [(m.a, m.b) for m in match_ends(points * scale, tangents, 1.5 * scale)] == plain

    def test_unknown_directions_and_nothing_at_all(self) -> None:
        assert match_ends(*ends((0, 0, 0, 0), (0.5, 0, 0, 0)), 1.0) == [EndMatch(0, 1, 0.5)]
        assert match_ends(np.zeros((0, 2)), np.zeros((0, 2)), 1.0) == []
        assert match_ends(np.zeros((1, 2)), np.zeros((1, 2)), 1.0) == []

    def test_bad_input_is_refused(self) -> None:
        good = np.zeros((2, 2))
        with pytest.raises(ValueError, match=r"\(n, 2\)"):
            match_ends(good, np.zeros((3, 2)), 1.0)
        with pytest.raises(ValueError, match="finite"):
            match_ends(good, np.full((2, 2), np.nan), 1.0)
        with pytest.raises(ValueError, match="at least 0"):
            match_ends(good, good, -1.0)

    def test_a_crowd_is_refused_not_guessed(self) -> None:
        points = np.zeros((6000, 2))
        with pytest.raises(LimitError, match="6000 open ends"):
            match_ends(points, np.ones_like(points), 0.1)


def rounded_shapes(random: np.random.Generator, count: int) -> list[Floats]:
    turn = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    shapes = []
    for k in range(count):
        radius = np.full(len(turn), 10.0) + sum(
            random.uniform(-1, 1) * np.cos(m * turn + random.uniform(0, 6)) for m in range(2, 6)
        )
        centre = np.array([(k % 10) * 30.0, (k // 10) * 30.0])
        shapes.append(centre + radius[:, None] * np.stack((np.cos(turn), np.sin(turn)), axis=1))
    return shapes


def cut_up(ring: Floats, pieces: int, gap: float, random: np.random.Generator) -> list[Floats]:
    """Cut a closed ring into pieces with ``gap`` mm of the outline lost between each two."""
    closed = np.concatenate((ring, ring[:1]))
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))))
    length = along[-1]
    while True:
        cuts = np.sort(random.uniform(0, length, pieces))
        sizes = np.diff(np.append(cuts, cuts[0] + length))
        if sizes.min() > 2 * gap + length / 40:
            break
    found = []
    for cut, size in zip(cuts, sizes, strict=True):
        places = np.linspace(cut + gap / 2, cut + size - gap / 2, 60) % length
        found.append(np.stack([np.interp(places, along, closed[:, axis]) for axis in (0, 1)], axis=1))
    return found


def recovered(shapes: list[Floats], gap: float, seed: int, max_gap: float) -> int:
    """Count the shapes whose pieces, shuffled and reversed, are matched end to end as they were."""
    random = np.random.default_rng(seed)
    pieces = [
        (k, number, piece)
        for k, shape in enumerate(shapes)
        for number, piece in enumerate(cut_up(shape, int(random.integers(1, 6)), gap, random))
    ]
    counts = np.bincount([k for k, _, _ in pieces])
    points, tangents, names = [], [], []
    for index in random.permutation(len(pieces)):
        k, number, piece = pieces[index]
        turned = random.random() < 0.5
        line = piece[::-1] if turned else piece
        for at_end, (end, inner) in ((False, line[:2]), (True, line[:-3:-1])):
            points.append(end)
            tangents.append(end - inner)
            names.append((k, number, at_end != turned))
    good = np.zeros(len(shapes), int)
    for match in match_ends(np.array(points), np.array(tangents), max_gap):
        (k, one, one_last), (other_k, other, other_last) = names[match.a], names[match.b]
        first, second = (one, other) if one_last else (other, one)
        good[k] += k == other_k and one_last != other_last and (first + 1) % counts[k] == second
    return int((good == counts).sum())


@pytest.mark.parametrize("gap", GAPS)
@pytest.mark.parametrize("seed", range(3))
def test_shuffled_fragments_of_94_contours_come_together(gap: float, seed: int) -> None:
    shapes = rounded_shapes(np.random.default_rng(seed), 94)
    assert recovered(shapes, gap, seed, max_gap=max(1.2 * gap, 0.05)) == 94
    assert recovered(shapes, gap, seed, max_gap=3.6) == 94


@pytest.mark.corpus
@pytest.mark.parametrize("gap", GAPS)
def test_contours_of_drawn_symbols_come_together(gap: float) -> None:
    """Public-domain pictograms, each at 300 mm, one contour at a time in its own place."""
    if not SYMBOLS.is_dir():
        pytest.skip("the shared corpus is not beside the project (../shared/corpus/park-symbols)")
    from preflight.readers import read

    shapes: list[Floats] = []
    for file in sorted(SYMBOLS.glob("*.svg"))[:40]:
        artwork = read(file.read_bytes(), file.name)
        artwork = artwork.scaled(300 / max(artwork.width, artwork.height))
        for shape in artwork.shapes():
            lines = flatten([shape.path.mapped(shape.matrix)], 0.05)
            for k in range(len(lines)):
                ring = lines[k][:-1]
                # Cuts in a contour smaller than the gaps between them leave nothing to match.
                if len(ring) > 3 and shapely.LinearRing(ring).length > 150:
                    shapes.append(
                        ring - ring.min(axis=0) + [400.0 * (len(shapes) % 12), 400.0 * (len(shapes) // 12)]
                    )
    shapes = shapes[:94]
    assert len(shapes) == 94
    assert recovered(shapes, gap, 1, max_gap=max(1.2 * gap, 0.05)) == 94
