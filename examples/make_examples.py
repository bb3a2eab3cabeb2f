"""Write the demo scenario's artwork and job files.

    python -m examples.make_examples [FOLDER]

The folder is ``examples/artwork`` beside this script unless another is given. Files are written
with the same bytes every time; the fonts whose outlines are drawn are development dependencies and
all under the SIL Open Font License, which lets outlines be used in artwork freely.
"""

from __future__ import annotations

import sys
from pathlib import Path

from examples.defects import DEFECTS
from examples.signs import SIGNS


def files() -> dict[str, str]:
    """Return the text of every example by its file name."""
    out: dict[str, str] = {}
    for make in (*SIGNS, *DEFECTS):
        out.update(make())
    return out


def main(arguments: list[str]) -> None:
    """Write all files into the folder named first among ``arguments``, or into the stock folder."""
    folder = Path(arguments[0]) if arguments else Path(__file__).parent / "artwork"
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in sorted(files().items()):
        (folder / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(sys.argv[1:])
