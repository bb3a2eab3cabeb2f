"""Assembly drawings for the guide to panels.

``python -m examples.panel_pictures docs/pictures`` writes them: the stall banner, whose seams find gaps, and
the side of a van with a frame, which every seam has to cross.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import preflight
from examples.outlines import frame, line
from examples.sheet import GREEN, Sheet
from examples.signs import stall_banner
from preflight.roll.panels import panel_out
from preflight.roll.panels.drawing import assembly_png

WIDTH = 1100


def van_side() -> tuple[str, str]:
    """Return the side of a van as SVG, and its job."""
    sheet = Sheet(2600, 1100, "Van side, Marrowby Lane veg boxes")
    sheet.fill(frame(30, 30, 2540, 1040, 90, band=34), GREEN, "frame")
    sheet.fill(line("Marrowby Lane", "script", 330, 1300, 520, least=3), GREEN, "name")
    sheet.fill(line("VEG BOXES TO YOUR DOOR", "black", 150, 1300, 820, track=8), GREEN, "offer")
    job = f"""\
use = "vehicle"

[film]
kind = "cast"
name = "Leaf green cast"
directional = true

[mounting]
place = "vehicle"
front = "left"

[colours]
"{GREEN}" = "film"

[roll]
width = "760 mm"
"""
    return sheet.svg(), job


def pictures() -> dict[str, bytes]:
    """Return the drawings by the names of their files."""
    banner = stall_banner()
    signs = {
        "panels-stall-banner.png": (banner["stall-banner.svg"], banner["stall-banner.toml"]),
        "panels-van-side.png": van_side(),
    }
    return {
        name: assembly_png(
            panel_out(preflight.read(svg.encode()), preflight.Job.parse(job, "toml")), width_px=WIDTH
        )
        for name, (svg, job) in signs.items()
    }


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the drawings into a folder."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("folder", type=Path)
    folder = parser.parse_args(arguments).folder
    for name, data in pictures().items():
        (folder / name).write_bytes(data)
    return 0


if __name__ == "__main__":
    sys.exit(main())
