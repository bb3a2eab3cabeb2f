"""Nest an instance of the published form (strip_height, items with demand, shape, allowed_orientations).

``python -m benchmarks.nesting FILE --seconds N [--seed S] [--workers W]``

Prints JSON: length, density, and placements in the instance's own axes (x along the strip, y across):
item, turn in degrees from x towards y about the origin, then x and y that it is moved by.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import Any

from shapely import Polygon

from preflight.errors import PreflightError
from preflight.roll.nesting import Piece, Strip, nest


def read_instance(data: dict[str, Any]) -> tuple[list[Piece], Strip]:
    """Return the pieces and the strip of an instance, x and y swapped: here x runs across."""
    pieces = []
    for item in data["items"]:
        if item["shape"]["type"] != "simple_polygon":
            raise ValueError(f"item {item['id']}: only simple polygons are read")
        shape = Polygon([(y, x) for x, y in item["shape"]["data"]])
        turns = item.get("allowed_orientations")
        pieces.append(
            Piece(
                str(item["id"]),
                shape,
                item["demand"],
                None if turns is None else tuple(-float(turn) % 360 for turn in turns),
            )
        )
    return pieces, Strip(float(data["strip_height"]))


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("file", type=Path)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int)
    options = parser.parse_args(arguments)
    try:
        data = json.loads(options.file.read_text("utf-8"))
        pieces, strip = read_instance(data)
        left = options.seconds - time.process_time()  # what starting up has taken
        found = nest(pieces, strip, seconds=left, seed=options.seed, workers=options.workers)
    except (OSError, ValueError, KeyError, PreflightError) as error:
        print(f"{options.file}: {error}", file=sys.stderr)
        return 2
    ids = {str(item["id"]): item["id"] for item in data["items"]}
    print(
        json.dumps(
            {
                "length": found.length,
                "density": found.density,
                "ended": found.ended,
                "placements": [
                    {"item": ids[p.key], "turn": -p.turn % 360, "x": p.y, "y": p.x} for p in found.placements
                ],
            }
        )
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
