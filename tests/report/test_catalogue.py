"""The committed rule catalogue is the one the rules make."""

from __future__ import annotations

from pathlib import Path

from examples.rule_pictures import pictures
from preflight.report.catalogue import pages

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "rules"


def test_the_committed_catalogue_is_current() -> None:
    committed = {path.name: path.read_text(encoding="utf-8") for path in FOLDER.glob("*.md")}
    assert committed == pages(), "run `make docs`"


def test_the_committed_pictures_are_current() -> None:
    committed = {path.name: path.read_text(encoding="utf-8") for path in (FOLDER / "pictures").glob("*.svg")}
    assert committed == pictures(), "run `make docs`"
