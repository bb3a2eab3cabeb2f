"""The code in the guides, taken out by the comment that stands before each block."""

from __future__ import annotations

import re
from pathlib import Path

from tests.service.conftest import ROOT

GUIDES = ROOT / "docs" / "guides"
_BLOCK = re.compile(r"^<!-- (file|run): (\S+) -->\n```\w+\n(.*?)^```$", re.M | re.S)
_FENCE = re.compile(r"^```(\w+)\n", re.M)


def blocks(guide: str, kind: str) -> dict[str, str]:
    """Return the blocks of a guide that are of this ``kind`` (file, run), by name."""
    text = (GUIDES / guide).read_text("utf-8")
    return {name: content for said, name, content in _BLOCK.findall(text) if said == kind}


def languages(guide: str) -> list[str]:
    """Return the languages of all fenced blocks of a guide."""
    return _FENCE.findall((GUIDES / guide).read_text("utf-8"))


def written(guide: str, folder: Path) -> Path:
    """Write the files of a guide into ``folder`` and return it."""
    for name, content in blocks(guide, "file").items():
        (folder / name).write_text(content, "utf-8")
    return folder
