"""Strokes against closed forms and against an independent renderer."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point

from preflight.artwork import Cap, Join, Paint, PaintKind, Stroke
from preflight.curves import IDENTITY, Matrix, Path, apply, flatten
from preflight.geometry.dashes import dashed
from preflight.geometry.strokes import stroke_region
from tests.geometry.renderer import coverage, drawn

BLACK = Paint(PaintKind.SOLID, "#000000")
KAPPA = 4 / 3 * (math.sqrt(2) - 1)


def stroke(
    width: float,
    cap: Cap = Cap.BUTT,
    join: Join = Join.MITER,
    *,
    limit: float = 4.0,
    dashes: tuple[float, ...] = (),
    offset: float = 0.0,
) -> Stroke:
    return Stroke(BLACK, width, cap, join, limit, dashes, offset)


def line(*points: tuple[float, float]) -> Path:
    return Path.polygon(list(points), closed=False)


def curve(*points: tuple[float, float], closed: bool = False) -> Path:
    """A path of cubics through 3 n + 1 control points."""
    nodes = np.array(points, float)
    controls = np.stack([nodes[i : i + 4] for i in range(0, len(nodes) - 1, 3)])
    return Path(controls, np.zeros(len(controls), bool), np.zeros(1, np.int64), np.array([closed]))


def circle(radius: float, centre: tuple[float, float] = (0.0, 0.0)) -> Path:
    quarter = np.array([(1, 0), (1, KAPPA), (KAPPA, 1), (0, 1)], float)
    turns = [quarter]
    for _ in range(3):
        turns.append(np.stack((-turns[-1][:, 1], turns[-1][:, 0]), axis=1))
    controls = radius * np.stack(turns) + np.array(centre)
    return Path(controls, np.zeros(4, bool), np.zeros(1, np.int64), np.array([True]))


SQUARE = Path.polygon([(0.0, 0.0), (20.0, 0.0), (20.0, 20.0), (0.0, 20.0)])


class TestClosedForms:
    """Areas that follow from the definition (SVG 2, section 13.5)."""

    def test_mitred_square_ring(self) -> None:
        assert stroke_region(SQUARE, IDENTITY, stroke(2), 0.01).area == pytest.approx(22**2 - 18**2, abs=1e-9)

    def test_bevelled_square_loses_four_half_squares(self) -> None:
        area = stroke_region(SQUARE, IDENTITY, stroke(2, join=Join.BEVEL), 0.01).area
        assert area == pytest.approx(22**2 - 18**2 - 4 * 0.5, abs=1e-9)

    def test_rounded_square(self) -> None:
        area = stroke_region(SQUARE, IDENTITY, stroke(2, join=Join.ROUND), 0.0005).area
        assert area == pytest.approx(22**2 - 18**2 - (4 - math.pi), abs=0.005)

    def test_wide_stroke_fills_the_square(self) -> None:
        assert (
            stroke_region(SQUARE, IDENTITY, stroke(25), 0.01)
            .symmetric_difference(shapely.box(-12.5, -12.5, 32.5, 32.5))
            .area
            < 1e-9
        )

    @pytest.mark.parametrize("width", [0.001, 1.0, 40.0])
    def test_round_capped_line(self, width: float) -> None:
        region = stroke_region(line((0, 0), (10, 0)), IDENTITY, stroke(width, Cap.ROUND), width / 1000)
        assert region.area == pytest.approx(10 * width + math.pi * width**2 / 4, rel=2e-3)
        assert region.bounds == pytest.approx((-width / 2, -width / 2, 10 + width / 2, width / 2), rel=1e-2)

    def test_butt_and_square_caps(self) -> None:
        path = line((0, 0), (10, 0))
        assert stroke_region(path, IDENTITY, stroke(2), 0.01).equals(shapely.box(0, -1, 10, 1))
        assert stroke_region(path, IDENTITY, stroke(2, Cap.SQUARE), 0.01).equals(shapely.box(-1, -1, 11, 1))

    @pytest.mark.parametrize(("radius", "width"), [(10, 2), (10, 25), (1, 1.9), (1, 2.1), (100, 0.3)])
    def test_circle(self, radius: float, width: float) -> None:
        # The cubic circle itself is off by up to 2.73e-4 of its radius.
        tolerance = 0.002
        exact = math.pi * ((radius + width / 2) ** 2 - max(radius - width / 2, 0) ** 2)
        slack = 2 * math.pi * (2 * radius + width) * (tolerance + 3e-4 * radius)
        region = stroke_region(circle(radius), IDENTITY, stroke(width), tolerance)
        assert region.is_valid
        assert abs(region.area - exact) < slack
        assert len(shapely.get_rings(region)) - 1 == (1 if width / 2 < radius else 0)

    @pytest.mark.parametrize("degrees", [29.5, 28.5])
    def test_mitre_gives_way_to_bevel_at_its_limit(self, degrees: float) -> None:
        # SVG 2, 13.5.3: limit 4 is passed below 28.96 degrees: 1 / sin(angle / 2) > 4.
        angle = math.radians(degrees)
        path = line((20, 0), (0, 0), (20 * math.cos(angle), 20 * math.sin(angle)))
        region = stroke_region(path, IDENTITY, stroke(2), 0.01)
        tip = 0.99 / math.sin(angle / 2)
        at_tip = Point(-tip * math.cos(angle / 2), -tip * math.sin(angle / 2))
        assert region.intersects(at_tip) == (degrees > 28.96)

    def test_clipped_mitre_ends_at_the_limit(self) -> None:
        # SVG 2, 13.5.3, miter-clip: cut square to the bisector at half the limit times the width.
        path = line((20, -1), (0, 0), (20, 1))
        region = stroke_region(path, IDENTITY, stroke(2, join=Join.MITER_CLIP, limit=3), 0.01)
        assert region.bounds[0] == pytest.approx(-3.0, abs=1e-9)

    def test_uneven_scale_makes_an_uneven_ring(self) -> None:
        region = stroke_region(SQUARE, (2, 0, 0, 1, 5, 7), stroke(2), 0.01)
        assert region.equals(shapely.box(3, 6, 47, 28) - shapely.box(7, 8, 43, 26))

    def test_edge_stays_within_tolerance_of_the_exact_offset(self) -> None:
        # A tight curve under a wide stroke is where chords go wrong first.
        bend = curve((0, 0), (0, 8), (3, 8), (3, 0))
        for tolerance in (0.1, 0.01):
            rough = stroke_region(bend, IDENTITY, stroke(5), tolerance)
            fine = stroke_region(bend, IDENTITY, stroke(5), tolerance / 100)
            assert rough.boundary.hausdorff_distance(fine.boundary) <= tolerance * 1.02


class TestDegenerate:
    def test_dots(self) -> None:
        dot = line((3, 4), (3, 4))
        assert stroke_region(dot, IDENTITY, stroke(2), 0.01).is_empty
        assert stroke_region(dot, IDENTITY, stroke(2, Cap.SQUARE), 0.01).equals(shapely.box(2, 3, 4, 5))
        assert stroke_region(dot, IDENTITY, stroke(2, Cap.ROUND), 1e-4).area == pytest.approx(
            math.pi, rel=1e-3
        )

    def test_square_dot_turns_with_the_user_space(self) -> None:
        turn = (math.cos(0.3), math.sin(0.3), -math.sin(0.3), math.cos(0.3), 0.0, 0.0)
        region = stroke_region(line((0, 0), (0, 0)), turn, stroke(2, Cap.SQUARE), 0.01)
        turned = shapely.affinity.rotate(shapely.box(-1, -1, 1, 1), 0.3, (0, 0), use_radians=True)
        assert region.symmetric_difference(turned).area < 1e-9

    @pytest.mark.parametrize("matrix", [(1, 0, 0, 0, 0, 0), (0, 0, 0, 0, 1, 1), (1, 2, 2, 4, 0, 0)])
    def test_flattening_matrix_paints_nothing(self, matrix: Matrix) -> None:
        assert stroke_region(SQUARE, matrix, stroke(2), 0.01).is_empty

    def test_nothing_in_nothing_out(self) -> None:
        assert stroke_region(Path.empty(), IDENTITY, stroke(2), 0.01).is_empty
        assert stroke_region(SQUARE, IDENTITY, stroke(0), 0.01).is_empty
        with pytest.raises(ValueError, match="above 0"):
            stroke_region(SQUARE, IDENTITY, stroke(1), 0)

    def test_there_and_back(self) -> None:
        path = line((0, 0), (10, 0), (0, 0))
        assert stroke_region(path, IDENTITY, stroke(2), 0.01).equals(shapely.box(0, -1, 10, 1))
        rounded = stroke_region(path, IDENTITY, stroke(2, join=Join.ROUND), 1e-4)
        assert rounded.area == pytest.approx(20 + math.pi / 2, abs=1e-3)

    def test_repeated_points_change_nothing(self) -> None:
        once = stroke_region(line((0, 0), (5, 5), (10, 0)), IDENTITY, stroke(1), 0.01)
        twice = stroke_region(
            line((0, 0), (0, 0), (5, 5), (5, 5), (5, 5), (10, 0)), IDENTITY, stroke(1), 0.01
        )
        assert once.equals(twice)

    @pytest.mark.parametrize("scale", [1e-3, 1.0, 1e4])
    @pytest.mark.parametrize("width", [0.01, 1.0, 30.0])
    def test_random_scribbles_contain_their_line_and_keep_their_distance(
        self, scale: float, width: float
    ) -> None:
        random = np.random.default_rng(7)
        tolerance = (0.002 if width < 30 else 0.02) * scale
        for _ in range(10):
            points = random.uniform(0, 20, (13, 2)).round(0) * scale
            path = curve(*map(tuple, points))
            region = stroke_region(path, IDENTITY, stroke(width * scale, Cap.ROUND, Join.ROUND), tolerance)
            assert region.is_valid
            centre = LineString(flatten([path], tolerance / 10).points)
            # Round joins and caps: exactly the points within half the width of the line.
            step = max(width / 5, 0.2) * scale
            places = shapely.points(
                shapely.get_coordinates(shapely.segmentize(shapely.get_rings(region), step))
            )
            line_nodes = np.array(centre.coords)
            pieces = shapely.linestrings(np.stack((line_nodes[:-1], line_nodes[1:]), axis=1))
            _, apart = shapely.STRtree(np.asarray(pieces)).query_nearest(
                places, all_matches=False, return_distance=True
            )
            assert np.abs(apart - width * scale / 2).max() < 1.1 * tolerance
            assert region.buffer(tolerance).contains(centre)
            assert sum(LineString(r.coords).length for r in shapely.get_rings(region)) < 100 * centre.length


class TestDashes:
    def test_counts_and_lengths(self) -> None:
        cut = dashed(line((0, 0), (10, 0)), (2, 1), 0)
        assert [
            float(np.ptp(cut.path.controls[a:b, :, 0]))
            for a, b in zip(cut.path.starts, cut.path.ends, strict=True)
        ] == (pytest.approx([2, 2, 2, 1]))

    @pytest.mark.parametrize(
        ("offset", "first"), [(0, 2), (0.5, 1.5), (2.5, 2), (-0.5, 2), (-2, 1), (3, 2), (300.5, 1.5)]
    )
    def test_offset_shifts_the_pattern(self, offset: float, first: float) -> None:
        cut = dashed(line((0, 0), (9, 0)), (2, 1), offset)
        assert float(np.ptp(cut.path.controls[0, :, 0])) == pytest.approx(first)

    def test_arc_length_not_parameter(self) -> None:
        # Points bunch at one end of this cubic; dashes must not.
        path = curve((0, 0), (0, 0), (1, 0), (100, 0))
        cut = dashed(path, (5, 5), 0)
        begin, end = cut.path.controls[cut.path.starts, 0, 0], cut.path.controls[cut.path.ends - 1, 3, 0]
        assert begin == pytest.approx(np.arange(0, 100, 10), abs=1e-6)
        assert end - begin == pytest.approx(np.full(10, 5.0), abs=1e-6)

    def test_quarter_circle_against_its_length(self) -> None:
        cut = dashed(circle(10), (1.0, 1.0), 0)
        length = 2 * math.pi * 10
        # 62.8 mm: 31 whole periods and a rest of 0.83 mm, that runs on into the first dash.
        assert len(cut.path) == math.floor(length / 2)
        lines = flatten([cut.path], 1e-5)
        sizes = [LineString(lines[i]).length for i in range(len(lines))]
        assert sizes[:-1] == pytest.approx([1.0] * (len(sizes) - 1), abs=1e-4)
        assert sizes[-1] == pytest.approx(1 + length - 62, abs=0.02)

    def test_dots_along_the_path(self) -> None:
        cut = dashed(line((0, 0), (0, 10)), (0, 4), 0)
        assert cut.dots == pytest.approx(np.array([(0, 0), (0, 4), (0, 8)], float))
        region = stroke_region(line((0, 0), (7, 7)), IDENTITY, stroke(1, Cap.SQUARE, dashes=(0, 100)), 0.01)
        assert region.bounds == pytest.approx(
            (-math.sqrt(0.5), -math.sqrt(0.5), math.sqrt(0.5), math.sqrt(0.5))
        )

    def test_closed_subpath_joins_its_seam(self) -> None:
        region = stroke_region(SQUARE, IDENTITY, stroke(2, dashes=(10, 10), offset=5), 0.01)
        assert region.geom_type == "MultiPolygon"
        assert len(shapely.get_parts(region)) == 4
        assert region.area == pytest.approx(4 * (2 * 10))

    def test_bad_patterns_are_refused(self) -> None:
        for pattern in ((1.0,), (1.0, -1.0)):
            with pytest.raises(ValueError, match="dash pattern"):
                dashed(SQUARE, pattern, 0)


def _document(body: str, zoom: int = 12) -> str:
    size = 40 * zoom
    return f'<svg xmlns="http://www.w3.org/2000/svg" width="{size}" height="{size}" viewBox="0 0 40 40">{body}</svg>'


def _data(path: Path) -> str:
    parts = []
    for k, (a, b) in enumerate(zip(path.starts, path.ends, strict=True)):
        parts.append("M{:.6f},{:.6f}".format(*path.controls[a, 0]))
        last = b - 1 if path.closed[k] and path.lines[b - 1] else b
        for controls, straight in zip(path.controls[a:last], path.lines[a:last], strict=True):
            nodes = controls[3:] if straight else controls[1:]
            parts.append(("L" if straight else "C") + " ".join(f"{x:.6f},{y:.6f}" for x, y in nodes))
        parts.append("Z" if path.closed[k] else "")
    return "".join(parts)


SUBJECTS = {
    "zigzag": line((5, 30), (12, 8), (18, 30), (24, 20), (36, 20)),
    "star": Path.polygon([(20, 4), (25, 34), (4, 14), (36, 14), (15, 34)]),
    "wave": curve((4, 20), (12, 0), (18, 40), (24, 20), (26, 12), (34, 12), (36, 30)),
    "loop": curve((6, 34), (50, 4), (-10, 4), (34, 34)),
    "drop": curve((20, 6), (40, 34), (0, 34), (20, 6), closed=True),
    "ring": circle(9, (20, 20)),
    "two": Path.joined([circle(5, (12, 14)), line((20, 10), (34, 16), (22, 33), (22, 20))]),
    "corner of curves": curve((6, 8), (20, 8), (30, 10), (33, 32), (26, 20), (14, 20), (6, 30)),
    "tight": curve((12, 34), (12, 4), (22, 4), (20, 34)),
}
UNEVEN: Matrix = (1.1, 0.2, -0.35, 0.55, 4.0, 6.0)
STYLES = list(itertools.product(Cap, (Join.MITER, Join.MITER_CLIP, Join.ROUND, Join.BEVEL)))


@pytest.mark.parametrize("name", SUBJECTS)
def test_against_an_independent_renderer(name: str) -> None:
    """Coverage of every pixel, 12 to the mm, agrees with resvg's own stroker.

    Both are right to a fraction of a pixel at edges, more loosely at the ends of its dashes on curves,
    which it spaces along a coarser line. Two things are left out: square dots of a dash pattern, which
    it does not turn with the path (SVG 2, 13.5.8 does), and dashes wider than a curve's radius, of which
    it leaves out part of the inner side.
    """
    path = SUBJECTS[name]
    documents, labels = [], []
    for number, (cap, join) in enumerate(STYLES):
        dashes: tuple[float, ...] = ((), (5.0, 2.5), (0.0, 3.0))[number % 3]
        if cap is Cap.SQUARE and dashes[:1] == (0.0,):
            continue
        for width, matrix in ((0.8, IDENTITY), (4.0, UNEVEN), (9.0, IDENTITY)):
            if width > 1 and dashes[:1] == (5.0,) and not path.lines.all():
                continue
            drawing = stroke(width, cap, join, limit=3.0, dashes=dashes, offset=-1.3)
            region = stroke_region(path, matrix, drawing, 0.002)
            style = f'stroke="#000" fill="none" stroke-width="{width}" stroke-linecap="{cap}" '
            style += f'stroke-linejoin="{join}" stroke-miterlimit="3" '
            if dashes:
                style += f'stroke-dasharray="{dashes[0]} {dashes[1]}" stroke-dashoffset="-1.3" '
            place = " ".join(map(str, matrix))
            documents.append(_document(f'<path d="{_data(path)}" transform="matrix({place})" {style}/>'))
            documents.append(_document(f'<path d="{drawn(region)}" fill-rule="evenodd"/>'))
            labels.append(f"{cap} {join} {width} {dashes} {matrix}")
    images = coverage(documents)
    wrong = []
    for label, theirs, ours in zip(labels, images[::2], images[1::2], strict=True):
        # Dots without caps paint nothing.
        assert (ours.max() > 0.5) == (not label.startswith("butt") or "(0.0" not in label), label
        apart = np.abs(theirs - ours)
        if apart.max() > 0.7 or (apart > 0.34).sum() > (70 if "(" in label.split(" ", 3)[3][:2] else 20):
            wrong.append(f"{label}: {int((apart > 0.34).sum())} pixels, worst {apart.max():.2f}")
    assert not wrong, wrong


def test_mapping_after_stroking_is_what_uneven_scale_means() -> None:
    path = SUBJECTS["wave"]
    local = stroke_region(path, IDENTITY, stroke(3, Cap.SQUARE), 0.0005)
    mapped = stroke_region(path, UNEVEN, stroke(3, Cap.SQUARE), 0.001)
    moved = shapely.transform(local, lambda xy: apply(UNEVEN, xy))
    assert mapped.symmetric_difference(moved).area < 0.002 * mapped.length
