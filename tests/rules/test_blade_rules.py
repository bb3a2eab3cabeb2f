"""Lettering is quiet: no font's outlines give a finding of the blade's and nodes' rules.

Fonts: Source Sans Pro (SIL Open Font License, package font-source-sans-pro) and Oleo Script (SIL Open
Font License, package fontpkg-oleo-script). All letters stand as drawn by their designers.
"""

from __future__ import annotations

import pathlib
from typing import Any

import pytest
from fontTools.pens.svgPathPen import SVGPathPen
from fontTools.ttLib import TTFont

import preflight
from preflight.analysis import Analysis
from preflight.report.model import Finding

CODES = ("tight-corner", "excess-nodes", "idle-nodes")
LETTERS = [*range(0x21, 0x7F), *range(0xC0, 0x180)]


def faces(package: str) -> list[pathlib.Path]:
    module = pytest.importorskip(package, reason=f"the dev dependency {package.replace('_', '-')} is missing")
    folder = pathlib.Path(module.__path__[0])
    return sorted(path for path in folder.rglob("*") if path.suffix in (".otf", ".ttf"))


def lettering(file: pathlib.Path, cap_height: float) -> bytes:
    """Return the font's letters in rows, with this cap height in mm, as they are in the font."""
    font: Any = TTFont(file)
    glyphs, names = font.getGlyphSet(), font.getBestCmap()
    scale = cap_height / (font["OS/2"].sCapHeight or 0.7 * font["head"].unitsPerEm)
    pitch, paths = 2.5 * cap_height, []
    letters = [code for code in LETTERS if code in names]
    for place, code in enumerate(letters):
        pen = SVGPathPen(glyphs)
        glyphs[names[code]].draw(pen)
        x, y = pitch * (place % 20) + pitch / 4, pitch * (place // 20 + 0.75)
        paths.append(
            f'<path transform="translate({x} {y}) scale({scale} {-scale})" d="{pen.getCommands()}"/>'
        )
    size = pitch * 21
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{size}mm" height="{size}mm" viewBox="0 0 {size} {size}">'
    return (head + "".join(paths) + "</svg>").encode()


def findings(data: bytes, job: str = "") -> list[Finding]:
    artwork = preflight.read(data)
    analysis = Analysis(artwork, preflight.Job.parse(job, "toml"))
    rules = [rule for rule in preflight.RULES if rule.code in CODES]
    assert len(rules) == len(CODES)
    return [finding for rule in rules for finding in rule.check(analysis)]


def sans(face: str, offset: str) -> list[Finding]:
    file = next(path for path in faces("font_source_sans_pro") if path.name == f"SourceSansPro-{face}.otf")
    return findings(lettering(file, 50.0), f'blade.offset = "{offset}"')


@pytest.mark.parametrize("face", ["Light", "Regular", "Bold", "BoldIt", "Black"])
def test_sans_lettering_of_50_mm_is_quiet(face: str) -> None:
    assert [(finding.code, finding.message) for finding in sans(face, "0.25 mm")] == []


@pytest.mark.parametrize("face", ["Regular", "Black"])
def test_with_the_larger_published_blade_offset_only_tips_are_noted_and_all_in_one(face: str) -> None:
    # The crotches of M, N and W end in edges of 0.3 mm at this size.
    assert [(finding.code, finding.case) for finding in sans(face, "0.5 mm")] == [("tight-corner", "tip")]


def script(style: str, height: float) -> list[Finding]:
    file = next(path for path in faces("fontpkg_oleo_script") if path.name == f"OleoScript-{style}.ttf")
    return findings(lettering(file, height))


@pytest.mark.parametrize("height", [20.0, 50.0])
def test_script_lettering_is_quiet_but_for_pointed_tips(height: float) -> None:
    found = [f for f in script("Bold", height) if (f.code, f.case) != ("tight-corner", "tip")]
    assert [(finding.code, finding.message) for finding in found] == []


def test_a_stray_line_there_and_back_in_a_font_is_found() -> None:
    # One of the Regular's glyphs has a contour of (227, 385), (228, 390) and back, in units of 1/1000 em.
    (stray,) = script("Regular", 20.0)
    assert (stray.code, stray.case, stray.severity) == ("idle-nodes", "backtrack", "note")
    assert stray.measured == pytest.approx(20 / 710 * 26**0.5, rel=0.01)


@pytest.mark.corpus
def test_real_symbols_of_300_mm_are_quiet_but_for_lines_there_and_back() -> None:
    folder = pathlib.Path(__file__).resolve().parents[2].parent / "shared" / "corpus" / "park-symbols"
    if not folder.is_dir():
        pytest.skip(
            "no folder ../shared/corpus/park-symbols beside the project: this test needs its drawings"
        )
    found = [
        (path.stem.removesuffix("-black-30"), finding.code, finding.case)
        for path in sorted(folder.glob("*.svg"))
        for finding in findings(path.read_bytes(), 'size.width = "300 mm"')
    ]
    # Each looked at: the path's own nodes go out and come back along one line.
    retraced = ["floating-dump-station", "quiet", "river-rafting", "snow-shoeing"]
    assert found == [(name, "idle-nodes", "backtrack") for name in retraced]
