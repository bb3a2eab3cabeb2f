"""Repairs: what each step does, what is proved, and what is honestly not."""

from __future__ import annotations

import itertools
import math
from pathlib import Path as FilePath

import pytest

import preflight
from preflight.repair import Steps
from preflight.text import FontSource

ROOT = FilePath(__file__).resolve().parents[2]
CORPUS = ROOT.parent / "shared" / "corpus"
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">'
GEOMETRY = {
    "overlapping-subpaths",
    "hidden-cut",
    "double-cut",
    "cut-in-waste",
    "open-contour",
    "uncuttable-stroke",
}


def mended(body: str, job: str = "", steps: Steps | None = None) -> preflight.Repaired:
    artwork = preflight.read(f"{HEAD}{body}</svg>".encode())
    return preflight.repair(artwork, preflight.Job.parse(job, "toml"), steps)


def codes(artwork: preflight.Artwork) -> set[str]:
    return {finding.code for finding in preflight.check(artwork).findings}


def test_overlapping_squares_become_one_outline() -> None:
    result = mended('<path d="M10 10h40v40h-40z"/><path d="M30 30h40v40h-40z"/>')
    assert result.proof.proved
    assert result.proof.claim == "Geometry proved; test-cut first."
    assert not codes(result.artwork) & GEOMETRY
    assert result.artwork.appearance()["#000000"].area == pytest.approx(2800)
    (film,) = result.proof.films
    assert (film.nodes_before, film.nodes_after) == (8, 8)


@pytest.mark.parametrize(
    ("body", "area", "contours"),
    [
        ('<path d="M10 10h40v40h-40z"/><path d="M20 20h20v20h-20z"/>', 1600, 1),
        ('<path d="M10 10h40v40h-40z"/><path d="M10 10h40v40h-40z"/>', 1600, 1),
        ('<path d="M10 10h20v40h-20z"/><path d="M30 10h20v40h-20z"/>', 1600, 1),
        ('<path d="M10 10h40v40h-40z M20 20v20h20v-20z"/>', 1200, 2),
        ('<path fill-rule="evenodd" d="M10 10h40v40h-40z M20 20h20v20h-20z"/>', 1200, 2),
        ('<path d="M10 10h40v40h-40"/>', 1600, 1),
        ('<path fill="none" stroke="#000" stroke-width="4" d="M10 10h60"/>', 240, 1),
        ('<path fill="none" stroke="#000" stroke-width="4" stroke-dasharray="10" d="M10 10h60"/>', 120, 3),
        ('<path fill="#000" stroke="#000" stroke-width="4" d="M20 20h20v20h-20z"/>', 576, 1),
        (
            '<clipPath id="c"><rect width="30" height="99"/></clipPath>'
            '<rect clip-path="url(#c)" x="10" y="10" width="40" height="40"/>',
            800,
            1,
        ),
    ],
    ids=[
        "hidden",
        "copy",
        "shared edge",
        "hole",
        "even-odd hole",
        "open",
        "stroke",
        "dashes",
        "fill and stroke",
        "clip",
    ],
)
def test_each_fault_alone(body: str, area: float, contours: int) -> None:
    result = mended(body)
    assert result.proof.proved, result.proof.reasons
    assert result.actions or "hole" in body or area == 1200
    assert not codes(result.artwork) & GEOMETRY
    assert result.artwork.appearance()["#000000"].area == pytest.approx(area, rel=1e-4)
    assert sum(len(shape.path) for shape in result.artwork.shapes()) == contours


def test_holes_in_the_substrates_colour_are_cut() -> None:
    job = '[colours]\n"#ffffff" = "substrate"'
    result = mended('<path d="M10 10h40v40h-40z"/><circle cx="30" cy="30" r="10" fill="#fff"/>', job)
    assert result.proof.proved
    assert set(result.artwork.appearance()) == {"#000000"}
    assert result.artwork.appearance()["#000000"].area == pytest.approx(1600 - 314.16, rel=1e-3)


def test_a_film_under_and_over_another_shows_through_an_opening() -> None:
    body = (
        '<rect x="10" y="10" width="80" height="80" fill="#c00000"/><rect x="20" y="20" width="60" height="60" '
        'fill="#0000c0"/><circle cx="50" cy="50" r="20" fill="#c00000"/>'
    )
    before = preflight.read(f"{HEAD}{body}</svg>".encode()).appearance()
    result = mended(body)
    assert result.proof.proved
    for colour, region in result.artwork.appearance().items():
        assert region.symmetric_difference(before[colour]).area < 0.05


@pytest.mark.parametrize("underlap", [0.0, 1.5])
def test_knocked_out_films_run_under_the_upper_one_by_the_underlap(underlap: float) -> None:
    job = f'construction = "knocked-out"\nunderlap = "{underlap} mm"'
    result = mended(
        '<rect width="80" height="80" fill="#c00000"/><rect x="20" y="20" width="40" height="40"/>', job
    )
    assert result.proof.proved
    lower = next(s for s in result.artwork.shapes() if s.fill and s.fill.color == "#c00000")
    alone = preflight.Artwork(100, 100, (lower,), result.artwork.source)
    assert alone.painted().area == pytest.approx(6400 - (40 - 2 * underlap) ** 2)


def test_second_surface_work_is_mirrored_once() -> None:
    body = '<rect x="10" y="10" width="20" height="20"/>'
    seen = mended(body, 'surface = "second"')
    assert seen.artwork.painted().bounds == pytest.approx((70, 10, 90, 30))
    assert any(action.step == "mirror" for action in seen.actions)
    assert seen.proof.proved
    already = mended(body, 'surface = "second"\ndrawn_as = "mirrored"')
    assert already.artwork.painted().bounds == pytest.approx((10, 10, 30, 30))


def test_what_fits_only_turned_is_turned() -> None:
    result = mended(
        '<rect x="5" y="40" width="90" height="20"/>', 'roll = { width = "80 mm", margin = "5 mm" }'
    )
    assert result.artwork.painted().bounds == pytest.approx((40, 5, 60, 95))
    assert result.proof.proved


def test_knife_lines_are_passed_on_and_guides_left_out() -> None:
    job = '[colours]\n"#ff00ff" = "knife"\n"#00ff00" = "guide"'
    body = (
        '<rect x="10" y="10" width="20" height="20"/><path fill="none" stroke="#f0f" d="M5 50h90"/>'
        '<path fill="none" stroke="#0f0" d="M5 60h90"/>'
    )
    result = mended(body, job)
    strokes = [shape for shape in result.artwork.shapes() if shape.stroke]
    assert [shape.stroke.paint.color for shape in strokes if shape.stroke] == ["#ff00ff"]
    assert result.proof.proved


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ('<text x="5" y="20">Beans</text>', "not outlined"),
        (
            '<linearGradient id="g"><stop stop-color="red"/><stop offset="1"/></linearGradient>'
            '<rect width="20" height="20" fill="url(#g)"/>',
            "gradient",
        ),
        ('<rect width="20" height="20" opacity="0.5"/>', "see-through"),
        (
            '<mask id="m"><rect width="5" height="5"/></mask><rect width="20" height="20" mask="url(#m)"/>',
            "mask",
        ),
        ('<path d="M5 5h20v20z L fish"/>', "damaged"),
        ("<g/>", "nothing to cut"),
    ],
)
def test_what_cannot_be_mended_is_named_and_not_called_proved(body: str, why: str) -> None:
    proof = mended(body + '<rect x="60" y="60" width="9" height="9" fill="#c00"/>' * (body != "<g/>")).proof
    assert not proof.proved
    assert any(why in reason for reason in proof.reasons)
    assert "not cut-ready" in proof.claim


def test_steps_can_be_switched_off_and_the_proof_then_says_what_is_left() -> None:
    overlap = '<path d="M10 10h40v40h-40z"/><path d="M30 30h40v40h-40z"/>'
    proof = mended(overlap, steps=Steps(unite=False)).proof
    assert not proof.proved
    assert proof.films[0].crossings_mm == pytest.approx(80)
    stroke = '<path fill="none" stroke="#000" stroke-width="4" d="M10 10h60"/>'
    assert not mended(stroke, steps=Steps(expand_strokes=False)).proof.proved


def test_specks_are_dropped_only_when_asked_and_reported() -> None:
    body = '<rect x="10" y="10" width="40" height="40"/><circle cx="70" cy="20" r="0.4"/>'
    assert len(mended(body).artwork.items[0].path) == 2  # type: ignore[union-attr]
    result = mended(body, steps=Steps(drop_specks=1.0))
    assert len(result.artwork.items[0].path) == 1  # type: ignore[union-attr]
    assert any(action.step == "drop-specks" for action in result.actions)


def test_a_trace_of_many_short_segments_becomes_curves() -> None:
    angles = [i * math.pi / 314 for i in range(628)]
    points = " ".join(f"{50 + 30 * math.cos(a):.4f},{50 + 30 * math.sin(a):.4f}" for a in angles)
    result = mended(f'<polygon points="{points}"/>')
    assert result.proof.proved
    assert result.proof.films[0].nodes_after < 40
    assert result.proof.films[0].largest_deviation_mm < 0.01


def test_a_speck_too_small_to_cut_is_not_called_proved() -> None:
    proof = mended('<rect x="10" y="10" width="0.005" height="0.005"/>').proof
    assert not proof.proved
    assert any("nothing is left to cut" in reason for reason in proof.reasons)


def test_repairing_twice_changes_nothing_more() -> None:
    once = mended('<circle cx="40" cy="50" r="20"/><circle cx="60" cy="50" r="20"/>')
    twice = preflight.repair(once.artwork)
    assert twice.proof.proved
    assert twice.actions == ()
    assert twice.proof.films[0].nodes_after == once.proof.films[0].nodes_after


def test_the_same_input_gives_the_same_repair() -> None:
    body = '<circle cx="40" cy="50" r="20"/><path stroke="#c00" stroke-width="3" d="M40 20l40 60"/>'
    one, other = mended(body), mended(body)
    assert one.proof == other.proof
    assert one.actions == other.actions
    for a, b in zip(one.artwork.shapes(), other.artwork.shapes(), strict=True):
        assert (a.path.controls == b.path.controls).all()


@pytest.mark.corpus
@pytest.mark.parametrize("folder", ["park-symbols", "road-signs"])
def test_real_signs_are_repaired_and_proved(folder: str) -> None:
    """Every third sign; those with live text or nothing to cut cannot be proved, and must not be."""
    if not CORPUS.is_dir():
        pytest.skip(f"the corpus is not there: {CORPUS.name} beside the project")
    job = preflight.Job.parse('size = { width = "300 mm" }' if folder == "park-symbols" else "", "toml")
    proved, failed = 0, []
    for file in itertools.islice(sorted((CORPUS / folder).glob("*.svg")), 0, None, 3):
        proof = preflight.repair(preflight.read(file.read_bytes()), job).proof
        if proof.proved:
            proved += 1
        elif not any("not outlined" in reason or "nothing to cut" in reason for reason in proof.reasons):
            failed.append((file.name, proof.reasons))
    assert not failed
    assert proved > 10


def test_live_text_is_outlined_in_the_fonts_given_and_script_letters_are_united() -> None:
    package = pytest.importorskip(
        "fontpkg_oleo_script", reason="the dev dependency fontpkg-oleo-script is missing"
    )
    file = next(FilePath(package.__file__).parent.rglob("OleoScript-Regular.ttf"))
    body = '<text x="5" y="50" font-family="Oleo Script" font-size="24">Marrow</text>'
    artwork = preflight.read(f"{HEAD}{body}</svg>".encode())
    assert not preflight.repair(artwork).proof.proved
    result = preflight.repair(artwork, fonts=FontSource.of({file.name: file.read_bytes()}))
    assert result.proof.proved, result.proof.reasons
    assert not codes(result.artwork) & (GEOMETRY | {"live-text"})
    (action,) = (action for action in result.actions if action.step == "outline-text")
    assert "OleoScript-Regular.ttf" in action.what
    assert "Version" in action.what


def test_a_letter_that_the_font_lacks_is_named() -> None:
    package = pytest.importorskip(
        "fontpkg_oleo_script", reason="the dev dependency fontpkg-oleo-script is missing"
    )
    file = next(FilePath(package.__file__).parent.rglob("OleoScript-Regular.ttf"))
    body = '<text x="5" y="50" font-family="Oleo Script" font-size="24">豆</text>'
    artwork = preflight.read(f"{HEAD}{body}</svg>".encode())
    proof = preflight.repair(artwork, fonts=FontSource.of({file.name: file.read_bytes()})).proof
    assert not proof.proved
    assert any("豆" in reason for reason in proof.reasons)
