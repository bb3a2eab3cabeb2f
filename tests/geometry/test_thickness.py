"""Thickness against shapes whose narrowest places follow from geometry."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import affinity
from shapely.geometry import GeometryCollection, LineString, MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from preflight.errors import LimitError
from preflight.geometry.thickness import (
    ThinKind,
    ThinPart,
    known_walls,
    narrow_gaps,
    noise_margin,
    thin_parts,
)

TOLERANCE = 0.01
approx: Any = pytest.approx


def summary(found: list[ThinPart]) -> list[tuple[ThinKind, float]]:
    return [(part.kind, part.width) for part in found]


def disc(x: float, y: float, radius: float, tolerance: float = TOLERANCE) -> Polygon:
    """A disc flattened to ``tolerance``."""
    quarter = max(math.ceil(math.pi / 2 / (2 * math.acos(max(1 - tolerance / radius, 0)))), 4)
    return Point(x, y).buffer(radius, quad_segs=quarter)


def scattered(random: np.random.Generator, area: float, least: float, most: float) -> Polygon:
    x, y = random.uniform(0, area, 2)
    return disc(float(x), float(y), float(random.uniform(least, most)))


def wedge(degrees: float, length: float = 30.0) -> Polygon:
    half = length * math.tan(math.radians(degrees / 2))
    return Polygon([(0, 0), (length, -half), (length, half)])


def block_with(*extras: BaseGeometry) -> BaseGeometry:
    return shapely.union_all([box(-10, -5, 0, 5), *extras])


class TestExactWidths:
    @pytest.mark.parametrize("degrees", [0, 17, 45, 90, 133])
    @pytest.mark.parametrize(("length", "width"), [(10, 0.5), (2, 0.9), (0.9, 0.7)])
    def test_rectangle(self, degrees: float, length: float, width: float) -> None:
        shape = affinity.rotate(box(0, 0, length, width), degrees)
        [part] = thin_parts(shape, 1.0)
        assert part.kind is ThinKind.SLIVER
        assert part.width == approx(width, abs=1e-9 if length > 2 * width else TOLERANCE)
        assert part.area == approx(length * width)

    @pytest.mark.parametrize("width", [0.2, 0.5, 0.95])
    def test_dumbbell(self, width: float) -> None:
        bar = box(-1, -width / 2, 9, width / 2)
        [part] = thin_parts(block_with(bar, box(8, -5, 18, 5)), 1.0)
        assert part.kind is ThinKind.NECK
        assert part.width == approx(width, abs=1e-9)
        assert 0 <= part.point[0] <= 8
        assert part.box == approx((0, -width / 2, 8, width / 2), abs=0.6)

    @pytest.mark.parametrize("gap", [0.001, 0.3, 0.9])
    def test_two_points_that_nearly_meet(self, gap: float) -> None:
        # A disc slips through to both sides of such a neck, so opening alone never sees it.
        shape = Polygon([(0, 0), (10, 5 - gap / 2), (20, 0), (20, 10), (10, 5 + gap / 2), (0, 10)])
        [part] = thin_parts(shape, 1.0)
        assert (part.kind, part.width) == (ThinKind.NECK, approx(gap))
        assert part.point == approx((10, 5))
        assert part.chord == (approx((10, 5 - gap / 2)), approx((10, 5 + gap / 2)))

    @pytest.mark.parametrize(("radius", "wall"), [(3, 0.4), (10, 0.4), (100, 0.8)])
    def test_ring(self, radius: float, wall: float) -> None:
        [part] = thin_parts(disc(0, 0, radius) - disc(0, 0, radius - wall), 1.0)
        assert part.kind is ThinKind.SLIVER
        assert part.width == approx(wall, abs=2 * TOLERANCE)

    @pytest.mark.parametrize("offset", [4.2, 4.6])
    def test_off_centre_hole(self, offset: float) -> None:
        [part] = thin_parts(disc(0, 0, 10) - disc(offset, 0, 5), 1.0)
        assert part.kind is ThinKind.NECK
        assert part.width == approx(5 - offset, abs=2 * TOLERANCE)
        assert part.point[1] == approx(0, abs=1)

    def test_curved_bar(self) -> None:
        arc = (disc(0, 0, 20) - disc(0, 0, 19.4)) & box(0, 0, 30, 30)
        shape = shapely.union_all([arc, box(15, -10, 25, 0), box(-10, 15, 0, 25)])
        [part] = thin_parts(shape, 1.0)
        assert (part.kind, part.width) == (ThinKind.NECK, approx(0.6, abs=2 * TOLERANCE))

    def test_bar_that_narrows_gets_its_narrowest(self) -> None:
        bar = Polygon([(-1, -0.46), (4, -0.2), (9, -0.45), (9, 0.45), (4, 0.2), (-1, 0.46)])
        [part] = thin_parts(block_with(bar, box(8, -5, 18, 5)), 1.0)
        assert (part.kind, part.width) == (ThinKind.NECK, approx(0.4))

    def test_discs_and_squares_too_small(self) -> None:
        [dot] = thin_parts(disc(0, 0, 0.4, 0.001), 1.0, tolerance=0.002)
        assert (dot.kind, dot.width) == (ThinKind.SLIVER, approx(0.8, abs=0.004))
        [square] = thin_parts(box(0, 0, 0.6, 0.6), 1.0)
        assert square.width == approx(0.6, abs=1e-9)
        assert thin_parts(disc(0, 0, 0.6), 1.0) == []

    @pytest.mark.parametrize("scale", [1e-3, 1.0, 1e4])
    def test_at_any_size(self, scale: float) -> None:
        shape = affinity.scale(
            block_with(box(-1, -0.2, 9, 0.2), box(8, -5, 18, 5)), scale, scale, origin=(0, 0)
        )
        [part] = thin_parts(shape, scale, tolerance=TOLERANCE * scale)
        assert part.width == approx(0.4 * scale, rel=1e-9)


class TestQuietLaw:
    """One side held: counts from four radii past the rest. A straight tip reaches 1 / sin(a / 2) - 1 radii."""

    @pytest.mark.parametrize("degrees", [5, 12, 18, 22])
    def test_sharp_tips_are_spikes(self, degrees: float) -> None:
        [part] = thin_parts(wedge(degrees), 1.0)
        assert part.kind is ThinKind.SPIKE
        assert 0.3 < part.width < 0.5
        assert part.point[1] == approx(0, abs=1e-3)

    @pytest.mark.parametrize("degrees", [24, 30, 60, 90, 120, 130])
    def test_blunter_corners_are_quiet(self, degrees: float) -> None:
        assert thin_parts(wedge(degrees), 1.0) == []

    def test_the_angle_of_the_law(self) -> None:
        critical = math.degrees(2 * math.asin(1 / 5))
        assert critical == approx(23.07, abs=0.01)
        assert thin_parts(wedge(critical - 0.5), 1.0) != []
        assert thin_parts(wedge(critical + 0.5), 1.0) == []

    @pytest.mark.parametrize("width", [0.2, 0.6, 0.9])
    @pytest.mark.parametrize(("length", "counts"), [(1.6, False), (2.6, True), (6.0, True)])
    def test_limb(self, width: float, length: float, counts: bool) -> None:
        found = thin_parts(block_with(box(-1, -width / 2, length, width / 2)), 1.0)
        assert summary(found) == ([(ThinKind.NECK, approx(width, abs=1e-9))] if counts else [])

    def test_rounded_and_tapering_limbs(self) -> None:
        round_end = LineString([(-1, 0), (6, 0)]).buffer(0.3, quad_segs=16)
        assert summary(thin_parts(block_with(round_end), 1.0)) == [
            (ThinKind.NECK, approx(0.6, abs=TOLERANCE))
        ]
        tapered = Polygon([(-1, -0.48), (7, -0.2), (7, 0.2), (-1, 0.48)])
        assert summary(thin_parts(block_with(tapered), 1.0)) == [(ThinKind.NECK, approx(0.4, abs=0.01))]

    def test_polygons_with_obtuse_corners_are_quiet(self) -> None:
        star = [
            (
                10 * (1 if k % 2 else 0.6) * math.cos(k * math.pi / 5),
                10 * (1 if k % 2 else 0.6) * math.sin(k * math.pi / 5),
            )
            for k in range(10)
        ]
        assert thin_parts(Polygon(star), 1.0) == []
        assert narrow_gaps(Polygon(star), 1.0) == []

    def test_teeth_of_a_traced_outline_are_quiet(self) -> None:
        random = np.random.default_rng(3)
        steps = 5 + random.integers(0, 2, 200) * 0.1
        top = [p for k, y in enumerate(steps) for p in ((k * 0.1, y), (k * 0.1 + 0.1, y))]
        shape = Polygon([*top, (20, 0), (0, 0)])
        assert thin_parts(shape, 1.0) == []
        assert narrow_gaps(shape, 1.0) == []


class TestLimit:
    @pytest.mark.parametrize("radius", [2.0, 7.3, 50.0])
    def test_a_part_of_exactly_the_limit_never_flickers(self, radius: float) -> None:
        for quarter in range(8, 60):
            ring = Point(0, 0).buffer(radius, quad_segs=quarter) - Point(0, 0).buffer(
                radius - 1.0, quad_segs=quarter
            )
            sagitta = radius * (1 - math.cos(math.pi / 4 / quarter))
            if sagitta <= TOLERANCE:
                assert thin_parts(ring, 1.0, tolerance=TOLERANCE) == []

    def test_margin(self) -> None:
        assert noise_margin(1.0, 0.01) == 0.02
        assert noise_margin(0.1, 0.01) == approx(0.002)
        assert thin_parts(box(0, 0, 10, 0.985), 1.0) == []
        assert [p.width for p in thin_parts(box(0, 0, 10, 0.975), 1.0)] == [approx(0.975)]

    def test_larger_limit_reports_each_width(self) -> None:
        bars = [box(-1, y, 9, y + w) for y, w in ((-4, 0.2), (-1, 0.5), (2, 0.9))]
        shape = block_with(*bars, box(8, -5, 18, 5))
        assert [p.width for p in thin_parts(shape, 1.0)] == approx([0.2, 0.5, 0.9])
        assert [p.width for p in thin_parts(shape, 0.6)] == approx([0.2, 0.5])


class TestGaps:
    @pytest.mark.parametrize("gap", [0.1, 0.5, 0.9])
    def test_between_two_parts(self, gap: float) -> None:
        [part] = narrow_gaps(MultiPolygon([box(0, 0, 5, 5), box(5 + gap, 0, 12, 5)]), 1.0)
        assert (part.kind, part.width) == (ThinKind.NECK, approx(gap))
        assert part.point[0] == approx(5 + gap / 2)

    def test_between_two_discs(self) -> None:
        [part] = narrow_gaps(MultiPolygon([disc(0, 0, 5), disc(10.4, 0, 5)]), 1.0)
        assert (part.kind, part.width) == (ThinKind.NECK, approx(0.4, abs=2 * TOLERANCE))
        assert part.point == approx((5.2, 0), abs=0.3)

    def test_counter(self) -> None:
        [part] = narrow_gaps(box(0, 0, 9, 9) - disc(4, 4, 0.4, 0.001), 1.0, tolerance=0.002)
        assert (part.kind, part.width) == (ThinKind.SLIVER, approx(0.8, abs=0.004))
        assert narrow_gaps(box(0, 0, 9, 9) - disc(4, 4, 0.6), 1.0) == []

    def test_slit_from_outside_and_its_depth(self) -> None:
        plate = box(0, 0, 9, 9)
        assert summary(narrow_gaps(plate - box(4, 3, 4.3, 9), 1.0)) == [(ThinKind.NECK, approx(0.3))]
        assert narrow_gaps(plate - box(4, 8, 4.3, 9), 1.0) == []

    def test_notches(self) -> None:
        plate = box(0, 0, 20, 20)
        assert narrow_gaps(plate - Polygon([(8, 20), (12, 20), (10, 12)]), 1.0) == []
        [spike] = narrow_gaps(plate - Polygon([(9, 20), (11, 20), (10, 8)]), 1.0)
        assert spike.kind is ThinKind.SPIKE

    def test_mouth_of_a_pocket(self) -> None:
        plate = box(0, 0, 20, 20) - box(5, 5, 15, 15) - box(9.8, 10, 10.2, 20)
        assert summary(narrow_gaps(plate, 1.0)) == [(ThinKind.NECK, approx(0.4))]

    def test_comb_has_a_place_a_slot(self) -> None:
        teeth = [box(2 * i, 0, 2 * i + 1.5, 6) for i in range(8)]
        found = narrow_gaps(shapely.union_all([box(0, -2, 15.5, 0), *teeth]), 1.0)
        assert [p.width for p in found] == approx([0.5] * 7)
        assert [p.point[0] for p in found] == approx([2 * i + 1.75 for i in range(7)])

    def test_parts_and_gaps_swap_with_the_material(self) -> None:
        plate = box(-50, -50, 50, 50)
        shape = shapely.union_all(
            [box(-5, -5, 0, 5), box(-1, -0.2, 9, 0.2), box(8, -5, 18, 5), disc(-20, 9, 0.3)]
        )
        solid, open_ = thin_parts(shape, 1.0), narrow_gaps(plate - shape, 1.0)
        assert summary(open_) == [(kind, approx(width)) for kind, width in summary(solid)]


class TestRobust:
    @pytest.mark.parametrize(
        "shape", [Polygon(), MultiPolygon(), GeometryCollection(), LineString([(0, 0), (1, 1)]), Point(1, 1)]
    )
    def test_nothing_to_measure(self, shape: BaseGeometry) -> None:
        assert thin_parts(shape, 1.0) == []
        assert narrow_gaps(shape, 1.0) == []

    def test_invalid_input_is_mended(self) -> None:
        bow = Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])
        assert not bow.is_valid
        assert thin_parts(bow, 1.0) == []

    @pytest.mark.parametrize(("width", "tolerance"), [(0, 0.01), (-1, 0.01), (1, 0), (math.nan, 0.01)])
    def test_bad_limits_are_refused(self, width: float, tolerance: float) -> None:
        with pytest.raises(ValueError, match="above 0 mm"):
            thin_parts(box(0, 0, 1, 1), width, tolerance=tolerance)

    def test_an_outline_too_fine_for_the_limit_is_refused(self) -> None:
        turn = np.linspace(0, 2 * np.pi, 4000, endpoint=False)
        radius = 0.2 + 0.1 * np.cos(1000 * turn)
        outline = Polygon(radius[:, None] * np.stack((np.cos(turn), np.sin(turn)), axis=1))
        with pytest.raises(LimitError, match="4000 edges"):
            narrow_gaps(outline, 1.0, tolerance=1e-6)

    def test_slanting_hatch_is_measured(self) -> None:
        bars = [affinity.translate(box(0, 0, 200, 0.5), 0, 2 * k) for k in range(300)]
        found = thin_parts(affinity.rotate(MultiPolygon(bars), 40), 1.0)
        assert [p.width for p in found] == approx([0.5] * 300)

    def test_walls_that_touch_in_a_point(self) -> None:
        shape = box(0, 0, 20, 10) - Polygon([(10, 0), (12, 3), (8, 3)]) - Polygon([(10, 3), (12, 8), (8, 8)])
        found = thin_parts(shape, 1.0)
        assert [(p.kind, p.width) for p in found[:2]] == [(ThinKind.NECK, 0.0)] * 2
        assert [p.point for p in found[:2]] == [(10, 0), (10, 3)]

    def test_known_walls_change_nothing(self) -> None:
        shape = block_with(box(-1, -0.2, 9, 0.2), box(8, -5, 18, 5))
        walls = known_walls(shape, TOLERANCE)
        assert thin_parts(shape, 1.0, walls=walls) == thin_parts(shape, 1.0)
        assert narrow_gaps(shape, 1.0, walls=walls) == narrow_gaps(shape, 1.0)

    def test_order_is_stable_and_narrowest_first(self) -> None:
        parts = [box(3 * k, 0, 3 * k + w, 10) for k, w in enumerate((0.5, 0.2, 0.5, 0.7))]
        found = thin_parts(MultiPolygon(parts), 1.0)
        again = thin_parts(MultiPolygon(parts[::-1]), 1.0)
        assert [p.width for p in found] == approx([0.2, 0.5, 0.5, 0.7])
        assert [p.point for p in found] == [p.point for p in again]

    @pytest.mark.parametrize("seed", range(6))
    def test_every_chord_lies_in_the_material_and_is_below_the_limit(self, seed: int) -> None:
        random = np.random.default_rng(seed)
        blobs = [scattered(random, 20, 0.2, 3) for _ in range(25)]
        strips = [
            LineString(random.uniform(0, 20, (2, 2))).buffer(random.uniform(0.1, 0.6), cap_style="flat")
            for _ in range(8)
        ]
        region = shapely.union_all([*blobs, *strips])
        for found, material in (
            (thin_parts(region, 1.0), region),
            (narrow_gaps(region, 1.0), box(-9, -9, 29, 29) - region),
        ):
            assert found
            grown = material.buffer(TOLERANCE)
            for part in found:
                assert part.width < 1.0
                assert LineString(part.chord).length == approx(part.width)
                assert grown.covers(LineString(part.chord))
            assert all(a.width <= b.width + 1e-6 for a, b in pairwise(found))

    @pytest.mark.parametrize("seed", range(4))
    def test_nothing_that_parts_the_wide_material_is_missed(self, seed: int) -> None:
        """Erosion as a referee: where it cuts a part in two, a neck must be reported there."""
        random = np.random.default_rng(100 + seed)
        for _ in range(12):
            discs = [scattered(random, 9, 1.0, 2.5) for _ in range(6)]
            for part in shapely.get_parts(shapely.union_all(discs)):
                pieces = len(shapely.get_parts(part.buffer(-0.48, quad_segs=32)))
                necks = [p for p in thin_parts(part, 1.0) if p.kind is ThinKind.NECK]
                assert len(necks) >= pieces - 1 - len(part.interiors)


@pytest.mark.parametrize("degrees", [1.0, 1.5, 2.0, 3.0])
def test_a_very_slim_point_is_found_however_far_its_wide_end(degrees: float) -> None:
    # The two walls draw apart so slowly that most of the point is narrower than the limit.
    length = 3.0 / math.tan(math.radians(degrees / 2)) / 2
    [part] = thin_parts(wedge(degrees, length), 2.0)
    assert part.kind is ThinKind.SPIKE
    # Half way to where a disc of the limit fits: 1 / sin(a / 2) - 1 radii from the tip, half as wide as there.
    half = math.radians(degrees / 2)
    assert part.width == approx((1 / math.sin(half) - 1) * math.tan(half), rel=0.03)
