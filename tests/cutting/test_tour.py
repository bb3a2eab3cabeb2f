"""Tours against published optima and against all tours of small sets."""

from __future__ import annotations

import itertools
import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks.tours import read_points, rounded_distances
from preflight.curves import Floats
from preflight.cutting.tour import _Tour, nearest_neighbour, short_path, short_tour, tour_length

SHARED = Path(__file__).parents[2].parent / "shared" / "tours"


def distances(points: Floats) -> Floats:
    step = points[:, None] - points[None]
    found: Floats = np.hypot(step[..., 0], step[..., 1])
    return found


@pytest.mark.parametrize("seed", range(6))
def test_small_tours_are_the_shortest_of_all(seed: int) -> None:
    far = distances(np.random.default_rng(seed).uniform(0, 100, (8, 2)))
    best = min(tour_length(far, (0, *order)) for order in itertools.permutations(range(1, 8)))
    tour = short_tour(far, kicks=200)
    assert sorted(tour) == list(range(8))
    assert tour[0] == 0
    assert tour_length(far, tour) == pytest.approx(best)


@pytest.mark.parametrize("seed", range(6))
def test_small_paths_are_the_shortest_of_all(seed: int) -> None:
    far = distances(np.random.default_rng(seed + 10).uniform(0, 100, (8, 2)))

    def length(path: tuple[int, ...]) -> float:
        return float(sum(far[a, b] for a, b in itertools.pairwise(path)))

    best = min(length((0, *order)) for order in itertools.permutations(range(1, 8)))
    path = short_path(far, kicks=200)
    assert sorted(path) == list(range(8))
    assert path[0] == 0
    assert length(tuple(path)) == pytest.approx(best)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_tiny_sets(count: int) -> None:
    far = distances(np.random.default_rng(count).uniform(0, 1, (count, 2)))
    assert sorted(short_tour(far, kicks=3)) == list(range(count))
    path = short_path(far, kicks=3)
    assert path[0] == 0
    assert sorted(path) == list(range(count))


def test_points_on_a_ring_are_visited_round_it() -> None:
    # A convex polygon's shortest tour is the polygon itself (M. Flood, 1956, from memory).
    order = np.random.default_rng(4).permutation(60)
    angle = 2 * np.pi * order / 60
    far = distances(np.stack((np.cos(angle), np.sin(angle)), axis=1))
    assert tour_length(far, short_tour(far, kicks=300)) == pytest.approx(120 * np.sin(np.pi / 60))


@settings(max_examples=60, deadline=None)
@given(st.integers(4, 60), st.integers(0, 10_000))
def test_gains_add_up_and_a_kick_never_makes_a_tour_longer(count: int, seed: int) -> None:
    far = distances(np.random.default_rng(seed).uniform(0, 100, (count, 2)))
    work = _Tour(far)
    before = tour_length(far, work.tour)
    gained = work.mend(range(count))
    assert tour_length(far, work.tour) == pytest.approx(before - gained)
    chance = random.Random(seed)
    latest = before - gained
    for _ in range(15 if count >= 8 else 0):
        work.kick(chance)
        assert sorted(work.tour) == list(range(count))
        assert [work.tour[place] for place in work.place] == list(range(count))
        now = tour_length(far, work.tour)
        assert now <= latest + 1e-6
        latest = now


def test_the_same_seed_gives_the_same_tour() -> None:
    far = distances(np.random.default_rng(5).uniform(0, 100, (120, 2)))
    assert short_tour(far, kicks=500, seed=7) == short_tour(far, kicks=500, seed=7)


def test_no_time_left_ends_the_search() -> None:
    far = distances(np.random.default_rng(6).uniform(0, 100, (60, 2)))
    assert short_tour(far, kicks=10**9, going=lambda: False) == short_tour(far, kicks=0)


@pytest.mark.corpus
@pytest.mark.parametrize("name", ["berlin52", "kroA100", "a280", "pcb442"])
def test_published_instances(name: str) -> None:
    """At most 5 % over the proven optimum (TSPLIB95, list of optimal solutions)."""
    if not SHARED.is_dir():
        pytest.skip("the shared corpus is not beside the project: no TSPLIB instances")
    lines = [line.split(":") for line in (SHARED / "solutions").read_text().splitlines() if ":" in line]
    best = {key.strip(): float(value.split()[0]) for key, value, *_ in lines}[name]
    far = rounded_distances(read_points((SHARED / f"{name}.tsp").read_text())[0])
    tour = short_tour(far, kicks=4000)
    assert sorted(tour) == list(range(len(far)))
    assert best <= tour_length(far, tour) <= 1.05 * best
    assert tour_length(far, nearest_neighbour(far)) > tour_length(far, tour)
