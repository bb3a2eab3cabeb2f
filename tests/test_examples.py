"""The demo scenario: the committed files are what the script writes, and each shows what it is for."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from preflight.checking import check
from preflight.job import Job
from preflight.readers import read
from preflight.report.model import Report
from preflight.report.picture import picture_svg

ROOT = Path(__file__).parents[1]
ARTWORK = ROOT / "examples" / "artwork"

EXPECTED: dict[str, set[str]] = {
    # The scenario's own signs
    "gate-board": set(),
    "shop-window": {"off-roll"},
    "van-door": set(),
    "stall-banner": {"off-roll"},
    "plot-marker": {"live-text"},
    "harvest-show": {
        "live-text",
        "overlapping-subpaths",
        "double-cut",
        "uncuttable-stroke",
        "uncuttable-paint",
        "colour-role-unstated",
        "thin-feature",
        "narrow-gap",
        "result-differs",
    },
    # One kind of defect each; where the knife would give another picture, that is said as well
    "live-text": {"live-text"},
    "overlapping-letters": {"overlapping-subpaths"},
    "hidden-shape": {"hidden-cut"},
    "double-cut": {"double-cut"},
    "cut-in-waste": {"cut-in-waste"},
    "open-contour": {"open-contour", "result-differs"},
    "stroke-centre-line": {"uncuttable-stroke", "result-differs"},
    "hairline": {"uncuttable-stroke", "result-differs", "thin-feature"},
    "dashed-stroke": {"uncuttable-stroke", "result-differs"},
    "gradient": {"uncuttable-paint"},
    "picture": {"embedded-picture"},
    "thin-part": {"thin-feature"},
    "narrow-gap": {"narrow-gap"},
    "off-roll": {"off-roll"},
    "size-unstated": {"size-unstated"},
    "white-unstated": {"colour-role-unstated"},
    "clipped-shape": {"clipped-shape", "result-differs"},
    "filter-shadow": {"unjudged-effect"},
    "path-error": {"path-data-error"},
    "nothing-to-cut": {"nothing-to-cut", "hidden-item"},
}
CLEAN = {"gate-board", "shop-window", "van-door"}
WARNED = {"stall-banner", "cut-in-waste", "off-roll", "size-unstated", "white-unstated"}


def checked(name: str) -> Report:
    path = ARTWORK / f"{name}.svg"
    job_file = path.with_suffix(".toml")
    job = Job.parse(job_file.read_bytes(), format="toml") if job_file.exists() else Job()
    return check(read(path.read_bytes(), path.name), job)


def test_the_script_writes_the_committed_files(tmp_path: Path) -> None:
    # Outlines come from font packages that only the script needs.
    pytest.importorskip("uharfbuzz")
    subprocess.run([sys.executable, "-m", "examples.make_examples", str(tmp_path)], cwd=ROOT, check=True)
    written = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    committed = {path.name: path.read_bytes() for path in ARTWORK.iterdir()}
    assert written.keys() == committed.keys()
    assert [name for name in sorted(written) if written[name] != committed[name]] == []


def test_every_example_is_expected_here() -> None:
    assert {path.stem for path in ARTWORK.glob("*.svg")} == EXPECTED.keys()


def test_every_job_file_belongs_to_an_artwork_and_reads() -> None:
    jobs = sorted(ARTWORK.glob("*.toml"))
    assert jobs
    for path in jobs:
        assert path.with_suffix(".svg").exists()
        assert tomllib.loads(path.read_text(encoding="utf-8"))
        Job.parse(path.read_bytes(), format="toml")


@pytest.mark.parametrize("name", EXPECTED)
def test_an_example_shows_what_it_is_for(name: str) -> None:
    report = checked(name)
    assert {finding.code for finding in report.findings} == EXPECTED[name]
    expected = "pass" if name in CLEAN else "warn" if name in WARNED else "fail"
    assert report.verdict.value == expected


def test_no_letter_of_the_clean_signs_touches_another() -> None:
    # Script in the clean signs is set apart, which shapely's own overlay confirms.
    import shapely

    for name in sorted(CLEAN):
        art = read((ARTWORK / f"{name}.svg").read_bytes(), name)
        for region in art.appearance().values():
            parts = shapely.get_parts(region)
            tree = shapely.STRtree(parts)
            first, second = tree.query(parts, predicate="dwithin", distance=1.0)
            assert (first == second).all()


def test_a_picture_of_the_whole_sign_shows_every_finding() -> None:
    path = ARTWORK / "harvest-show.svg"
    art = read(path.read_bytes(), path.name)
    report = check(art, Job())
    svg = picture_svg(art, report)
    assert svg.count("<circle") >= 2 * sum(1 for finding in report.findings if finding.places)
