"""Where seams lie: closed forms, and exhaustive search on random layouts."""

from __future__ import annotations

import itertools
import math
import random

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.errors import PreflightError
from preflight.roll.panels.harm import Around, Harms
from preflight.roll.panels.parts import TOUCH, Across, Widths
from preflight.roll.panels.seams import Parting, part

Boxes = list[tuple[float, float]]


def parted(region: BaseGeometry, widths: Widths, *, fewest_panels: bool = False) -> Parting:
    across = Across(region, widths)
    return part(across, Harms(across, Around(2.0, np.zeros((0, 2)))), fewest_panels=fewest_panels)


@pytest.mark.parametrize("lap", [0.0, 6.0, 13.0, 50.0])
@pytest.mark.parametrize("width", [100, 560, 561, 1000, 1107, 1108, 2400, 5000.5])
def test_a_solid_rectangle_takes_as_many_panels_as_the_closed_form(width: float, lap: float) -> None:
    # n panels that overlap by the lap cover n U - (n - 1) lap, so n = ceil((W - lap) / (U - lap)).
    room = 560.0
    found = parted(shapely.box(0, 0, width, 300), Widths(room, lap, 0))
    assert found.panels == max(1, math.ceil((width - lap) / (room - lap) - 1e-9))
    edges = [0.0, *found.seams, width]
    halves = [0.0, *[lap / 2] * len(found.seams), 0.0]
    for (a, b), (before, after) in zip(itertools.pairwise(edges), itertools.pairwise(halves), strict=True):
        assert b - a + before + after <= room + 1e-6


def test_panels_of_a_solid_rectangle_are_equally_wide() -> None:
    found = parted(shapely.box(0, 0, 1500, 300), Widths(560, 10, 6))
    assert np.diff([0, *found.seams, 1500]) == pytest.approx([500, 500, 500], abs=6)


def test_seams_lie_in_the_middle_of_gaps() -> None:
    bars = shapely.MultiPolygon([shapely.box(x, 0, x + 180, 100) for x in range(0, 1000, 200)])
    found = parted(bars, Widths(400, 13, 6))
    assert found.cuts == 0
    assert set(found.seams) <= {190.0, 390.0, 590.0, 790.0}
    assert found.panels == 3


def test_one_panel_more_rather_than_a_cut_letter() -> None:
    letters = shapely.MultiPolygon([shapely.box(x, 0, x + 240, 100) for x in (0, 250, 500, 750)])
    whole = parted(letters, Widths(400, 10, 6))
    few = parted(letters, Widths(400, 10, 6), fewest_panels=True)
    assert (whole.cuts, whole.panels) == (0, 4)
    assert (few.cuts, few.panels) == (1, 3)


def test_a_frame_round_letters_is_cut_and_they_are_not() -> None:
    frame = shapely.box(0, 0, 1000, 300).difference(shapely.box(20, 20, 980, 280))
    letters = [shapely.box(x, 100, x + 130, 200) for x in (60, 240, 420, 600, 780)]
    found = parted(shapely.union_all([frame, *letters]), Widths(420, 10, 6))
    assert found.cuts == 0
    assert found.panels >= 3


def test_a_seam_through_solid_film_keeps_off_corners_thin_places_and_openings() -> None:
    solid = shapely.box(0, 0, 900, 200)
    cut = solid.difference(shapely.box(380, 60, 500, 140)).difference(shapely.box(520, 0, 560, 190))
    found = parted(cut, Widths(600, 10, 6))
    assert found.panels == 2
    assert found.holes == 0
    seam = float(found.seams[0])
    assert seam < 370 or seam > 580


def test_stacked_seams_keep_apart() -> None:
    across = Across(shapely.box(0, 0, 1000, 200), Widths(700, 10, 6))
    free = part(across, Harms(across, Around(2, np.zeros((0, 2)))))
    taken = Around(2, np.zeros((0, 2)), taken=list(free.seams), stagger=30)
    apart = part(across, Harms(across, taken))
    assert abs(apart.seams[0] - free.seams[0]) >= 30


def test_marks_wherever_panels_can_reach_them() -> None:
    bars = shapely.MultiPolygon([shapely.box(x, 0, x + 300, 100) for x in (0, 350, 700)])
    assert parted(bars, Widths(400, 10, 6)).marked.all()
    assert parted(bars, Widths(340, 10, 6)).marked.all()
    # Each bar fills its panel: none could reach a mark that its neighbour has too.
    full = parted(bars, Widths(301, 10, 6))
    assert (full.panels, full.cuts) == (3, 0)
    assert not full.marked.any()


def test_a_gap_wider_than_the_roll_has_one_seam() -> None:
    apart = shapely.MultiPolygon([shapely.box(0, 0, 300, 100), shapely.box(1300, 0, 1600, 100)])
    found = parted(apart, Widths(400, 10, 6))
    assert found.panels == 2


def test_no_room_is_said() -> None:
    with pytest.raises(PreflightError, match="too little for panels that overlap by 13 mm"):
        parted(shapely.box(0, 0, 100, 100), Widths(20, 13, 6))
    with pytest.raises(PreflightError, match="More than 100 panels"):
        parted(shapely.box(0, 0, 100_000, 100), Widths(60, 0, 0))


def _layout(seed: int) -> tuple[Boxes, Widths]:
    """Return parts that overlap across the seams or not, in whole mm, and a roll that is too narrow."""
    rng = random.Random(seed)
    length = rng.randint(40, 110)
    boxes = []
    for _ in range(rng.randint(3, 14)):
        a = rng.randint(0, length - 3)
        boxes.append((float(a), float(min(length, a + rng.randint(2, rng.choice([6, 15, 60]))))))
    widths = Widths(float(rng.randint(18, 45)), rng.choice([0.0, 2.0, 4.0]), rng.choice([0.0, 2.0, 4.0]))
    return boxes, widths


def _region(boxes: Boxes) -> BaseGeometry:
    return shapely.MultiPolygon([shapely.box(a, 10 * k, b, 10 * k + 5) for k, (a, b) in enumerate(boxes)])


class _Exhaustive:
    """Every seam at every half millimetre, by the definition of a panel's width; nothing shared with the code."""

    def __init__(self, boxes: Boxes, widths: Widths) -> None:
        self.boxes, self.widths = boxes, widths
        self.start, self.end = min(a for a, _ in boxes), max(b for _, b in boxes)
        steps = int((self.end - self.start) * 2)
        self.places = [self.start + k / 2 for k in range(1, steps)]

    def crossed(self, u: float) -> Boxes:
        return [(a, b) for a, b in self.boxes if a < u - TOUCH and b > u + TOUCH]

    def letters(self, u: float) -> int:
        return sum(1 for a, b in self.crossed(u) if b - a <= self.widths.room)

    def width(self, s: float | None, t: float | None) -> float:
        """Return how wide the panel between two seams is (None: the film's end)."""
        low, high = self.start, self.end
        reach = max(self.widths.lap, self.widths.mark) / 2
        if t is not None:
            high = t + reach if self.crossed(t) else max(b for _, b in self.boxes if b <= t + TOUCH)
        if s is not None:
            low = s - reach if self.crossed(s) else min(a for a, _ in self.boxes if a >= s - TOUCH)
        return high - low

    def least(self) -> tuple[int, int]:
        """Return the fewest letters cut, and the fewest seams with which that can be had."""
        overlap = max(self.widths.lap, self.widths.mark) + 1
        spots: list[float | None] = [None, *self.places]
        best: dict[int, dict[int, int]] = {0: {0: 0}}  # seams -> index of the last -> letters cut
        answers = []
        for count in range(len(self.places) + 1):
            layer = best[count]
            done = [c for k, c in layer.items() if self.width(spots[k], None) <= self.widths.room + 1e-9]
            if done:
                answers.append((min(done), count))
            if (answers and min(answers)[0] == 0) or count > 12 or not layer:
                break
            following: dict[int, int] = {}
            for k, c in layer.items():
                for j in range(k + 1, len(spots)):
                    s, t = spots[k], spots[j]
                    assert t is not None
                    if s is not None and t - s < overlap:
                        continue
                    if self.width(s, t) > self.widths.room + 1e-9:
                        continue
                    total = c + self.letters(t)
                    if total < following.get(j, 10**9):
                        following[j] = total
            best[count + 1] = following
        return min(answers)


def test_a_narrow_panel_where_it_saves_a_letter() -> None:
    """Found by the random search: a seam farther on leaves no room for the narrow panel that comes next."""
    boxes = [(3, 6), (3, 14), (6, 19), (6, 39), (8, 13), (10, 16), (21, 24), (24, 35), (29, 32), (32, 37)]
    boxes += [(44, 47), (44, 52), (45, 52)]
    found = parted(_region([(float(a), float(b)) for a, b in boxes]), Widths(19, 4, 0))
    assert (found.cuts, len(found.seams)) == (0, 3)


@pytest.mark.parametrize("block", range(10))
def test_no_letter_is_cut_that_exhaustive_search_leaves_whole(block: int) -> None:
    for seed in range(block * 15, block * 15 + 15):
        boxes, widths = _layout(seed)
        exhaustive = _Exhaustive(boxes, widths)
        found = parted(_region(boxes), widths)
        cuts, seams = exhaustive.least()
        # The search knows every half millimetre; places in between can only be better.
        assert (found.cuts, len(found.seams)) <= (cuts, seams), seed
        assert found.cuts == sum(exhaustive.letters(float(u)) for u in found.seams)
        ends = [None, *map(float, found.seams), None]
        assert all(exhaustive.width(s, t) <= widths.room + 1e-6 for s, t in itertools.pairwise(ends))
        if cuts > found.cuts or seams > len(found.seams):
            assert any(u * 2 % 1 for u in found.seams), "better than all places searched, yet among them"
