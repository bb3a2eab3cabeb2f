"""Panels as files: read back, put together again and held against the artwork."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

import preflight
from preflight.artwork import Artwork
from preflight.errors import PreflightError
from preflight.roll.panels import PanelOptions, panel_out
from preflight.roll.panels.cut import MARKS, FilmCut, PanelCut, cut_panels
from preflight.roll.panels.model import Seam
from preflight.writers import write_dxf, write_hpgl, write_pdf, write_svg
from tests.roll.test_panels import ROLL, drawing, rectangle
from tests.setting import word_path

CURVES = (
    '<path d="M100 450C100 -50 900 -50 1000 350S1900 500 2300 250L2380 880C1800 780 700 980 100 880Z'
    'M600 300a150 150 0 1 0 300 0a150 150 0 1 0 -300 0Z" fill-rule="evenodd" fill="#1f5b3a"/>'
    '<circle cx="750" cy="300" r="90" fill="#1f5b3a"/>'
)
CASES = {
    "a rectangle": (3000, 900, '<rect width="3000" height="900" fill="#1f5b3a"/>', "", {}),
    "curves across": (2400, 1000, CURVES, "", {"seams": "vertical"}),
    "curves above": (2400, 1000, CURVES, "", {"seams": "horizontal"}),
    "edges that meet": (2400, 1000, CURVES, 'film = { kind = "metallic" }', {"seams": "vertical"}),
    "a wide lap": (2400, 1000, CURVES, 'film = { seam_lap = "60 mm" }', {"seams": "vertical"}),
    "behind glass": (2400, 1000, CURVES, 'surface = "second"', {"seams": "vertical"}),
    "the other polarity": (
        2400,
        1000,
        '<path d="M300 200h300v500h-300ZM900 300h1100v300h-1100Z" fill="#1f5b3a"/>',
        'polarity = "surround"',
        {},
    ),
    "scaled": (240, 100, f'<g transform="scale(.1)">{CURVES}</g>', 'size = { width = "3 m" }', {}),
    "strokes": (
        2400,
        1000,
        '<path d="M100 500C800 -200 1500 1200 2300 400" fill="none" stroke="#1f5b3a" stroke-width="80"/>'
        '<circle cx="1200" cy="500" r="400" fill="none" stroke="#1f5b3a" stroke-width="50"/>',
        "",
        {"seams": "vertical"},
    ),
    "no marks": (2400, 1000, CURVES, "", {"marks": False}),
}


def parted(width: float, height: float, inner: str, job: str, options: object) -> list[FilmCut]:
    stated = preflight.Job.parse(ROLL.format(width=600, more="") + job, "toml")
    plan = panel_out(drawing(width, height, inner), stated, PanelOptions.parse(options))  # type: ignore[arg-type]
    return list(cut_panels(plan, "Sign"))


def seen(artwork: Artwork) -> BaseGeometry:
    return shapely.union_all(list(artwork.appearance().values()))


def on_sign(cut: PanelCut, region: BaseGeometry) -> BaseGeometry:
    """Return a region of a panel's file as it lies on the sign: turned back and moved."""
    x0, y0, _, _ = cut.panel.frame
    if cut.panel.turn_deg:
        # Clockwise by a quarter, y down: (x, y) of the sign became (h - y, x).
        region = affinity.affine_transform(region, (0, 1, -1, 0, 0, cut.file.width))
    return affinity.translate(region, x0, y0)


def marks_of(cut: PanelCut) -> list[BaseGeometry]:
    return [
        shapely.Polygon(shape.path.controls[:, 0])
        for shape in cut.artwork.shapes()
        if shape.origin.layer == MARKS
    ]


def films_of(cut: FilmCut, read_back: Sequence[Artwork]) -> list[BaseGeometry]:
    """Return what each panel's written file shows but for the marks, on the sign."""
    found = []
    for panel, artwork in zip(cut.panels, read_back, strict=True):
        marks = shapely.union_all([mark.buffer(0.05) for mark in marks_of(panel)])
        found.append(on_sign(panel, shapely.difference(seen(artwork), marks)))
    return found


@pytest.mark.parametrize("name", CASES)
def test_panels_read_back_are_the_film(name: str) -> None:
    width, height, inner, job, options = CASES[name]
    (cut,) = parted(width, height, inner, job, options)
    assert cut.proved, (cut.proof.reasons, cut.mended.proof.reasons)
    assert len(cut.panels) > 1
    pieces = films_of(cut, [preflight.read(write_svg(panel.file)) for panel in cut.panels])
    whole = seen(cut.mended.artwork)
    apart = shapely.symmetric_difference(shapely.union_all(pieces), whole)
    # Flattened at 0.01 mm twice, and written in whole micrometres.
    assert shapely.buffer(apart, -0.03).is_empty
    lap = cut.planned.plan.lap_mm
    by_place = {panel.panel.number: piece for panel, piece in zip(cut.panels, pieces, strict=True)}
    for seam in cut.planned.plan.seams:
        overlap = shapely.intersection(by_place[seam.panels[0]], by_place[seam.panels[1]])
        assert shapely.buffer(shapely.difference(overlap, _strip(seam, lap, cut)), -0.03).is_empty
        crossed = shapely.intersection(whole, _strip(seam, 0.2, cut))
        expected = crossed.area / 0.2 * lap if seam.through_film else 0.0
        assert overlap.area == pytest.approx(expected, rel=0.08, abs=1.0)


def _strip(seam: Seam, wide: float, cut: FilmCut) -> BaseGeometry:
    low, high = seam.position_mm - wide / 2, seam.position_mm + wide / 2
    vertical = cut.planned.plan.seams_run == "vertical"
    return shapely.box(low, -1e4, high, 1e4) if vertical else shapely.box(-1e4, low, 1e4, high)


@pytest.mark.parametrize("name", CASES)
def test_every_panel_passes_the_check_and_fits_its_roll_as_written(name: str) -> None:
    (cut,) = parted(*CASES[name])
    for panel in cut.panels:
        report = preflight.check(panel.artwork, cut.job)
        assert [fit.verdict for fit in report.roll] == ["fits"]
        assert report.roll[0].across_mm <= 580 + 1e-3  # type: ignore[operator]
        assert report.verdict != "fail", [f.code for f in report.findings]
        wrong = {
            "overlapping-subpaths",
            "double-cut",
            "open-contour",
            "near-double-cut",
            "cut-in-waste",
            "off-roll",
        }
        assert not wrong & {finding.code for finding in report.findings}


@pytest.mark.parametrize("name", [name for name in CASES if name != "no marks"])
def test_marks_coincide_when_applied_and_touch_nothing(name: str) -> None:
    (cut,) = parted(*CASES[name])
    whole = seen(cut.mended.artwork)
    found: dict[str, list[BaseGeometry]] = {}
    for panel in cut.panels:
        names = [s.origin.id for s in panel.artwork.shapes() if s.origin.layer == MARKS]
        for label, mark in zip(names, marks_of(panel), strict=True):
            found.setdefault(str(label), []).append(on_sign(panel, mark))
    assert len(found) == 2 * len(cut.planned.plan.seams)
    for pair in found.values():
        assert len(pair) == 2
        assert shapely.symmetric_difference(pair[0], pair[1]).area < 0.05
        assert shapely.distance(pair[0], whole) >= 2.99
    assert cut.proof.marks_clear_mm is not None
    assert cut.proof.marks_clear_mm >= 2.99


def test_untouched_contours_are_kept_node_for_node() -> None:
    data = word_path("abcdefghijk", 300, 20, 320)
    (cut,) = parted(1800, 700, f'<path d="{data}" fill="#8c1d40"/>', "film = { directional = true }", {})
    assert len(cut.panels) > 2
    assert all(not seam.through_film for seam in cut.planned.plan.seams)
    before = cut.mended.artwork.items[0].path.controls  # type: ignore[union-attr]
    after = [
        shape.path.controls + np.array(panel.panel.frame[:2])
        for panel in cut.panels
        for shape in panel.artwork.shapes()
        if shape.origin.layer != MARKS
    ]
    assert cut.proof.nodes_after == cut.proof.nodes_before
    joined = np.concatenate(after)
    orders = [np.lexsort(np.round(c.reshape(len(c), 8), 3).T) for c in (joined, before)]
    assert np.allclose(joined[orders[0]], before[orders[1]], atol=2e-6)


def test_curves_are_split_not_flattened() -> None:
    (cut,) = parted(*CASES["curves across"])
    before = len(cut.mended.artwork.items[0].path.controls)  # type: ignore[union-attr]
    seams = len(cut.planned.plan.seams)
    # A seam splits at most six lines of this drawing, at both edges of its lap, and closes them again.
    assert cut.proof.nodes_after <= before + seams * 2 * (6 + 6)
    curved = sum(int((~shape.path.lines).sum()) for panel in cut.panels for shape in panel.artwork.shapes())
    assert curved >= 12


def test_flattened_contours_stand_in_where_splitting_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    from preflight.roll.panels import contours
    from preflight.roll.panels.clipping import ClipError

    def refused(*_: object) -> None:
        raise ClipError("refused")

    monkeypatch.setattr(contours, "clipped", refused)
    (cut,) = parted(*CASES["curves above"])
    assert cut.proved
    assert cut.proof.cuts_in_film_mm == 0


def test_knife_lines_are_cut_at_the_seams() -> None:
    inner = (
        '<rect y="20" width="1500" height="1960" fill="#1f5b3a"/>'
        '<path d="M0 10H1500" fill="none" stroke="#ff00ff" stroke-width=".1"/>'
    )
    (cut,) = parted(1500, 2000, inner, 'colours."#ff00ff" = "knife"', {"seams": "vertical"})
    lengths = [panel.file.films[0].knife for panel in cut.panels]
    total = 0.0
    for path in lengths:
        assert path is not None
        total += float(np.abs(path.controls[:, 3, 0] - path.controls[:, 0, 0]).sum())
    assert total == pytest.approx(1500)


def test_several_films_and_one_that_fits_whole() -> None:
    inner = (
        '<rect width="2000" height="1400" fill="#1f5b3a"/>'
        '<rect x="200" y="200" width="500" height="500" fill="#f0a71f"/>'
    )
    lower, upper = parted(2000, 1400, inner, "", {})
    assert len(lower.panels) == 3
    assert len(upper.panels) == 1
    assert upper.proved
    assert upper.panels[0].file.title == "Sign · #f0a71f"
    assert lower.panels[0].file.title == "Sign · #1f5b3a · panel 1 of 3"


def test_all_formats_can_be_written() -> None:
    (cut,) = parted(*CASES["curves above"])
    for panel in cut.panels:
        assert write_svg(panel.file).startswith(b"<?xml") or b"<svg" in write_svg(panel.file)
        assert write_pdf(panel.file).startswith(b"%PDF")
        assert b"SPLINE" in write_dxf(panel.file)
        assert b"PD" in write_hpgl(panel.file)


def test_nothing_judged_is_an_error_with_advice() -> None:
    with pytest.raises(PreflightError, match="State the roll of each film"):
        cut_panels(panel_out(rectangle(3000, 900), preflight.Job()))


def test_a_proof_that_fails_says_why() -> None:
    from dataclasses import replace

    from preflight.roll.panels.contours import Contours
    from preflight.roll.panels.proof import Piece, prove

    (cut,) = parted(*CASES["a rectangle"])
    planned = cut.planned
    assert planned.way is not None
    path = cut.mended.artwork.items[0].path.mapped((0, 1, 1, 0, 0, 0))  # type: ignore[union-attr]
    contours = Contours(path, planned.way.across.widths, planned.way.parting.seams)
    pieces = []
    for panel in sorted(planned.plan.panels, key=lambda p: p.place):
        outline, wanted = contours.panel(panel.place - 1)
        pieces.append(Piece(panel, outline, [], wanted))
    assert prove(planned, contours, pieces).proved
    smaller = pieces[0].path.mapped((1, 0, 0, 0.99, 0, 0))
    faulty = prove(planned, contours, [replace(pieces[0], path=smaller), *pieces[1:]])
    assert not faulty.proved
    assert "differ from the film by up to" in " ".join(faulty.reasons)
    assert "Panel 2: differs from what was planned" in " ".join(faulty.reasons)
