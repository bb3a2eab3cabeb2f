"""``sign-preflight panels``: exit status, words, files written; and the assembly drawing."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from lxml import etree

import preflight
from preflight.cli import main
from preflight.errors import PreflightError
from preflight.roll.panels import panel_out
from preflight.roll.panels.drawing import assembly_png, assembly_svg

ARTWORK = Path(__file__).resolve().parents[1] / "examples" / "artwork"
BANNER = [str(ARTWORK / "stall-banner.svg"), "--job", str(ARTWORK / "stall-banner.toml")]
VAN = [str(ARTWORK / "van-door.svg"), "--job", str(ARTWORK / "van-door.toml")]
Captured = pytest.CaptureFixture[str]


@pytest.mark.parametrize(
    ("format_", "ending"), [("svg", ".svg"), ("pdf", ".pdf"), ("dxf", ".dxf"), ("hpgl", ".plt")]
)
def test_the_banner_in_panels(tmp_path: Path, format_: str, ending: str, capsys: Captured) -> None:
    folder = tmp_path / "new" / "out"
    assert main(["panels", *BANNER, "--output-dir", str(folder), "--format", format_]) == 0
    told = capsys.readouterr()
    assert told.out.startswith("PANELS  2 films are cut in 4 panels with 2 seams, all of them in gaps")
    assert "#5a9e3d, calendered: one piece" in told.out
    assert told.err.count("the panels together are the film, proved; test-cut first.") == 4
    cut = sorted(path.name for path in folder.iterdir() if "panel-" in path.name or "whole" in path.name)
    assert cut == [
        f"stall-banner-1f5b3a-panel-1{ending}",
        f"stall-banner-1f5b3a-panel-2{ending}",
        f"stall-banner-5a9e3d-whole{ending}",
        f"stall-banner-8c1d40-panel-1{ending}",
        f"stall-banner-8c1d40-panel-2{ending}",
        f"stall-banner-f0a71f-whole{ending}",
    ]
    assert (folder / "stall-banner-assembly.png").read_bytes().startswith(b"\x89PNG")
    plan = json.loads((folder / "stall-banner-panels.json").read_text("utf-8"))
    assert plan["plan"]["verdict"] == "panels"
    assert all(proof["proved"] for proof in plan["proofs"])


def test_no_letter_of_the_banner_is_cut(capsys: Captured) -> None:
    assert main(["panels", *BANNER, "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert [len(film["panels"]) for film in plan["films"]] == [2, 1, 2, 1]
    assert not any(seam["through_film"] for film in plan["films"] for seam in film["seams"])


def test_written_panels_are_read_back_at_their_size(tmp_path: Path) -> None:
    assert main(["panels", *BANNER, "--output-dir", str(tmp_path), "--format", "svg"]) == 0
    plan = json.loads((tmp_path / "stall-banner-panels.json").read_text("utf-8"))["plan"]
    for film in plan["films"]:
        if film["verdict"] != "panels":
            continue
        for panel in film["panels"]:
            name = f"stall-banner-{film['film'].lstrip('#')}-panel-{panel['number']}.svg"
            artwork = preflight.read((tmp_path / name).read_bytes())
            assert artwork.width == pytest.approx(panel["across_mm"], abs=2e-3)
            assert artwork.height == pytest.approx(panel["along_mm"], abs=2e-3)


def test_what_fits_whole(capsys: Captured) -> None:
    assert main(["panels", *VAN]) == 0
    assert "ONE PIECE  Every film fits on its roll in one piece" in capsys.readouterr().out


def test_no_roll_is_not_judged(tmp_path: Path, capsys: Captured) -> None:
    assert main(["panels", str(ARTWORK / "gate-board.svg")]) == 1
    assert "NOT JUDGED" in capsys.readouterr().out
    assert main(["panels", str(ARTWORK / "gate-board.svg"), "--output-dir", str(tmp_path / "x")]) == 2
    assert "State the roll of each film" in capsys.readouterr().err


def test_switches_go_before_the_options_file(tmp_path: Path, capsys: Captured) -> None:
    stated = tmp_path / "options.toml"
    stated.write_text('seams = "vertical"\nstagger = "5 cm"\n')
    switches = ["--options", str(stated), "--seams", "horizontal", "--no-marks", "--json"]
    assert main(["panels", *BANNER, *switches]) == 0
    options = json.loads(capsys.readouterr().out)["options"]
    assert (options["seams"], options["stagger"], options["marks"]) == ("horizontal", 50, False)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--seams", "diagonal"], "not one of auto, vertical, horizontal"),
        (["--mark-arm", "wide"], "mark_arm:"),
        (["--options", "no-such-file.toml"], "could not be opened"),
        (["--options", "-", "--job", "-"], "only once"),
        (["--output-dir", "/dev/null/x"], "could not be made"),
    ],
)
def test_wrong_use_says_what_and_what_next(more: list[str], words: str, capsys: Captured) -> None:
    assert main(["panels", *BANNER, *more]) == 2
    assert words in capsys.readouterr().err


def test_the_drawing_is_sound_and_shows_no_markup_of_the_file() -> None:
    hostile = '"><script>alert(1)</script>&<'
    label = hostile.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="3000mm" height="900mm" viewBox="0 0 3000 900">'
        f'<g id="{label}"><rect id="{label}" width="3000" height="900" fill="#123456"/></g></svg>'
    )
    job = preflight.Job.parse(
        {"roll": {"width": 600}, "film": {"name": hostile}, "mounting": {"front": "left"}, "use": "vehicle"}
    )
    panelled = panel_out(preflight.read(svg.encode()), job)
    drawn = assembly_svg(panelled)
    tree = etree.fromstring(drawn.encode())
    names = {etree.QName(element).localname for element in tree.iter()}
    assert names <= {"svg", "title", "desc", "g", "path", "rect", "circle"}
    assert "<script" not in drawn
    assert assembly_png(panelled).startswith(b"\x89PNG")


def test_the_drawing_can_be_in_inches() -> None:
    artwork = preflight.read((ARTWORK / "stall-banner.svg").read_bytes())
    job = preflight.Job.parse((ARTWORK / "stall-banner.toml").read_text())
    panelled = panel_out(artwork, job)
    assert assembly_svg(panelled) == assembly_svg(panelled)
    assert assembly_svg(panelled, unit="in") != assembly_svg(panelled)
    with pytest.raises(PreflightError, match="between 720 and 4096 px"):
        assembly_svg(panelled, width_px=100)
