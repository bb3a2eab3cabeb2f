"""``sign-preflight layout``: exit status, words, files written."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from preflight.cli import main

pytest.importorskip("rectpack", reason="the extra nesting is not installed")
pytest.importorskip("spyrrow", reason="the extra nesting is not installed")

ARTWORK = Path(__file__).resolve().parents[1] / "examples" / "artwork"
VAN = [str(ARTWORK / "van-door.svg"), "--job", str(ARTWORK / "van-door.toml")]
BANNER = [str(ARTWORK / "stall-banner.svg"), "--job", str(ARTWORK / "stall-banner.toml")]
Captured = pytest.CaptureFixture[str]


def test_an_order_that_fits(capsys: Captured) -> None:
    assert main(["layout", *VAN]) == 0
    told = capsys.readouterr().out
    assert told.startswith("FITS  The order fits")
    assert "Leaf green cast (#1f5b3a): fits" in told
    assert "1220 mm wide, 1200 mm of it usable" in told
    assert "turned a quarter:" in told


def test_an_order_that_does_not(capsys: Captured) -> None:
    assert main(["layout", *BANNER]) == 1
    told = capsys.readouterr().out
    assert told.startswith("DOES NOT FIT")
    assert "panels" in told
    assert "fits whole up to" in told


def test_the_answer_as_json(capsys: Captured) -> None:
    assert main(["layout", *VAN, "--copies", "3", "--no-nest", "--format", "json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["lines"][0]["copies"] == 3
    assert [film["way"] for film in answer["films"]] == ["boxes", "boxes"]
    assert all(len(film["placements"]) == 3 for film in answer["films"])


def test_switches_go_before_the_options_file(tmp_path: Path, capsys: Captured) -> None:
    options = tmp_path / "options.toml"
    options.write_text('turns = "as-drawn"\ngap = "12 mm"\nnest = false\n')
    assert main(["layout", *VAN, "--options", str(options), "--turns", "any", "--format", "json"]) == 0
    stated = json.loads(capsys.readouterr().out)["options"]
    assert (stated["turns"], stated["gap"], stated["nest"]) == ("any", 12, False)


def test_one_file_a_film_and_a_picture(tmp_path: Path, capsys: Captured) -> None:
    target, picture = tmp_path / "order.svg", tmp_path / "order.png"
    status = main(
        ["layout", *VAN, "--copies", "2", "--no-nest", "--output", str(target), "--picture", str(picture)]
    )
    told = capsys.readouterr()
    assert status == 0
    written = sorted(path.name for path in tmp_path.iterdir())
    assert written == ["order-leaf-green-cast.svg", "order-sun-yellow-cast.svg", "order.png"]
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert "Geometry proved; test-cut first." in told.err


def test_several_files_are_one_order(capsys: Captured) -> None:
    files = [str(ARTWORK / "gate-board.svg"), str(ARTWORK / "plot-marker.svg")]
    status = main(["layout", *files, "--copies", "1", "--copies", "2", "--no-nest", "--format", "json"])
    answer = json.loads(capsys.readouterr().out)
    assert status == 0
    assert answer["verdict"] == "not-judged"
    assert [(line["name"], line["copies"]) for line in answer["lines"]] == [
        ("gate-board.svg", 1),
        ("plot-marker.svg", 2),
    ]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--output", "cut.xyz"], ".svg, .pdf, .dxf, .plt"),
        (["--picture", "roll.gif"], "neither .svg nor .png"),
        (["--copies", "1", "--copies", "2"], "2 times for 1 files"),
        (["--turns", "round"], "not one of as-drawn, quarter, any"),
        (["--seed", "x"], "seed:"),
        (["--keep-upright", "van-dor.svg"], "Did you mean “van-door.svg”?"),
        (["--options", "no-such-file.toml"], "could not be opened"),
    ],
)
def test_wrong_use_says_what_and_what_next(more: list[str], words: str, capsys: Captured) -> None:
    assert main(["layout", *VAN, *more]) == 2
    assert words in capsys.readouterr().err


def test_text_is_laid_out_in_the_fonts_of_the_folder_named(tmp_path: Path, capsys: Captured) -> None:
    package = pytest.importorskip(
        "font_source_sans_pro", reason="the dev dependency font-source-sans-pro is missing"
    )
    sign = tmp_path / "open.svg"
    sign.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="60mm" viewBox="0 0 200 60">'
        '<text x="5" y="50" font-size="50" font-family="Source Sans Pro">Open</text></svg>'
    )
    folder = Path(next(iter(package.font_files_otf.values()))).parent
    job = tmp_path / "job.toml"
    job.write_text('roll = { width = "610 mm" }\n')
    command = ["layout", str(sign), "--job", str(job), "--output", str(tmp_path / "cut.svg")]
    assert main(command) == 2
    assert "outlined" in capsys.readouterr().err
    assert main([*command, "--fonts", str(folder)]) == 0
    assert "could not be outlined" not in capsys.readouterr().out
