"""``sign-preflight repair``: exit status, files written, words."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from preflight.cli import main

ARTWORK = Path(__file__).resolve().parents[1] / "examples" / "artwork"


@pytest.mark.parametrize(
    ("ending", "start"), [("svg", b"<"), ("dxf", b"  0"), ("pdf", b"%PDF"), ("hpgl", b"IN;")]
)
def test_a_proved_mend_is_written_in_the_form_its_name_asks_for(
    ending: str, start: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target, proof = tmp_path / f"cut.{ending}", tmp_path / "proof.json"
    source = ARTWORK / "overlapping-letters.svg"
    status = main(
        [
            "repair",
            str(source),
            "--output",
            str(target),
            "--proof",
            str(proof),
            *(["--format", "hpgl"] * (ending == "hpgl")),
        ]
    )
    told = capsys.readouterr().out
    assert status == 0
    assert target.read_bytes().startswith(start)
    assert json.loads(proof.read_text())["proof"]["proved"] is True
    assert "Geometry proved; test-cut first." in told
    assert "laser" in told


def test_what_is_not_proved_says_so_and_exits_with_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status = main(["repair", str(ARTWORK / "gradient.svg"), "--output", str(tmp_path / "out.svg")])
    told = capsys.readouterr().out
    assert status == 1
    assert "NOT PROVED" in told
    assert "gradient" in told


def test_an_ending_that_means_nothing_is_an_error(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status = main(["repair", str(ARTWORK / "gate-board.svg"), "--output", str(tmp_path / "out.xyz")])
    assert status == 2
    assert "--format" in capsys.readouterr().err


def test_fonts_come_from_the_folder_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    package = pytest.importorskip(
        "font_source_sans_pro", reason="the dev dependency font-source-sans-pro is missing"
    )
    folder = Path(package.__file__).parent
    arguments = ["repair", str(ARTWORK / "live-text.svg"), "--output", str(tmp_path / "out.svg")]
    assert main(arguments) == 1
    assert main([*arguments, "--fonts", str(folder)]) == 0
    assert "SourceSansPro" in capsys.readouterr().out


def test_an_operator_may_let_one_font_stand_in_for_another(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    package = pytest.importorskip(
        "font_source_sans_pro", reason="the dev dependency font-source-sans-pro is missing"
    )
    drawing = tmp_path / "sign.svg"
    drawing.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="30mm" viewBox="0 0 90 30">'
        '<text x="5" y="20" font-family="sans-serif" font-size="12">Leeks</text></svg>'
    )
    arguments = [
        "repair",
        str(drawing),
        "--output",
        str(tmp_path / "out.svg"),
        "--fonts",
        str(Path(package.__file__).parent),
    ]
    assert main(arguments) == 1
    assert main([*arguments, "--stand-in", "sans-serif=Source Sans Pro"]) == 0
    assert main([*arguments, "--stand-in", "sans-serif"]) == 2
    assert "FAMILY=FONT" in capsys.readouterr().err


def test_weed_lines_are_added_where_asked_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain, lined = tmp_path / "plain.svg", tmp_path / "lined.svg"
    arguments = ["repair", str(ARTWORK / "gate-board.svg"), "--output"]
    assert main([*arguments, str(plain)]) == main([*arguments, str(lined), "--weed-lines"]) == 0
    assert "PROVED" in capsys.readouterr().out
    assert "weed lines" not in plain.read_text()
    added = lined.read_text().count("weed lines")
    assert added == 2  # the layer's own title, and that of its lines
