"""Nodes that draw nothing, wherever a contour begins and whichever way it runs."""

from __future__ import annotations

import numpy as np
import pytest

from preflight.curves import Path, flatten
from preflight.geometry.idle import backtracks, repeated_nodes
from preflight.geometry.turning import turning

SPIKED = [(0.0, 0.0), (20.0, 0.0), (20.0, 10.0), (27.0, 10.0), (20.0, 10.0), (20.0, 20.0), (0.0, 20.0)]


@pytest.mark.parametrize("start", range(len(SPIKED)))
@pytest.mark.parametrize("way", [1, -1])
def test_a_spike_is_found_once_wherever_the_contour_begins(start: int, way: int) -> None:
    points = (SPIKED[start:] + SPIKED[:start])[::way]
    (found,) = backtracks(flatten([Path.polygon(points)], 0.01), width=0.001, least=0.0125)
    assert found.point == (27.0, 10.0)
    assert found.length == pytest.approx(7.0)
    assert found.box == pytest.approx((20.0, 10.0, 27.0, 10.0))


def test_a_spike_is_followed_over_many_nodes_and_corners() -> None:
    out = [(20.0, 10.0), (23.0, 11.0), (24.0, 14.0), (26.0, 14.5)]
    points = [(0.0, 0.0), (20.0, 0.0), *out, *out[-2::-1], (20.0, 20.0), (0.0, 20.0)]
    (found,) = backtracks(flatten([Path.polygon(points)], 0.01), width=0.001, least=0.0125)
    assert found.length == pytest.approx(10**0.5 + 10**0.5 + 4.25**0.5)


def test_a_spike_wider_than_asked_for_is_none() -> None:
    points = [(0.0, 0.0), (20.0, 0.0), (20.0, 10.0), (27.0, 10.1), (20.0, 10.2), (20.0, 20.0), (0.0, 20.0)]
    lines = flatten([Path.polygon(points)], 0.01)
    assert list(backtracks(lines, width=0.001, least=0.0125)) == []
    assert list(backtracks(lines, width=0.3, least=0.0125)) != []


def test_an_open_line_there_and_back_is_given_once_and_its_ends_turn_nothing() -> None:
    lines = flatten([Path.polygon([(0.0, 0.0), (10.0, 0.0), (0.0, 0.0)], closed=False)], 0.01)
    (found,) = backtracks(lines, width=0.001, least=0.0125)
    assert found.point == (10.0, 0.0)
    assert found.length == pytest.approx(10.0)


def test_repeated_nodes_are_counted_and_dots_are_not() -> None:
    twice = Path.polygon([(0.0, 0.0), (5.0, 0.0), (5.0, 0.0), (5.0, 5.0)])
    dot = Path.polygon([(9.0, 9.0), (9.0, 9.0)], closed=False)
    lines = flatten([twice, dot], 0.01)
    assert lines.points[repeated_nodes(lines)].tolist() == [[5.0, 0.0]]
    assert not len(repeated_nodes(flatten([Path.empty()], 0.01)))


def test_turns_of_closed_contours_add_up_to_a_full_turn() -> None:
    # The turning of a simple closed curve is 2 pi (Hopf's Umlaufsatz).
    random = np.random.default_rng(5)
    rings = []
    for sides in (3, 7, 40):
        angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
        radius = random.uniform(2, 5, sides)
        rings.append(Path.polygon(np.stack((radius * np.cos(angle), radius * np.sin(angle)), axis=1)))
    chords = turning(flatten(rings, 0.01))
    assert np.bincount(chords.owner, weights=chords.turn) == pytest.approx([2 * np.pi] * 3)
