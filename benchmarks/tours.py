"""Short tours through the points of a TSPLIB file (TSPLIB95, EUC_2D), as JSON: length and tour.

``python -m benchmarks.tours FILE --seconds N [--seed S]``

Distances are rounded to whole numbers as TSPLIB95 says (nint), so that the length compares with the
published optimum. ``tour`` counts points from 1 in the file's order, as TSPLIB does.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

import numpy as np

from preflight.curves import Floats
from preflight.cutting.tour import short_tour, tour_length


def read_points(text: str) -> tuple[Floats, list[int]]:
    """Return the coordinates (n, 2) of a TSPLIB file and the points' numbers.

    Raises ValueError where it is not a Euclidean instance with coordinates.
    """
    head, mark, rest = text.partition("NODE_COORD_SECTION")
    kinds = [line.partition(":")[2].strip() for line in head.splitlines() if "EDGE_WEIGHT_TYPE" in line]
    if not mark or kinds != ["EUC_2D"]:
        raise ValueError("only TSPLIB files with EDGE_WEIGHT_TYPE EUC_2D and coordinates are read")
    rows = []
    for line in rest.splitlines():
        fields = line.split()
        if len(fields) != 3:
            if fields:
                break
            continue
        rows.append((int(fields[0]), float(fields[1]), float(fields[2])))
    return np.array([row[1:] for row in rows]), [row[0] for row in rows]


def rounded_distances(points: Floats) -> Floats:
    """Return the matrix (n, n) of distances rounded as TSPLIB95 rounds EUC_2D: int(d + 0.5)."""
    step = points[:, None] - points[None]
    distances: Floats = np.floor(np.hypot(step[..., 0], step[..., 1]) + 0.5)
    return distances


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("file", type=Path)
    parser.add_argument("--seconds", type=float, default=2.0)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    end = time.monotonic() + options.seconds
    try:
        points, numbers = read_points(options.file.read_text("utf-8"))
    except (OSError, ValueError) as error:
        print(f"{options.file}: {error}", file=sys.stderr)
        return 2
    distances = rounded_distances(points)
    tour = short_tour(distances, kicks=10**9, seed=options.seed, going=lambda: time.monotonic() < end)
    print(
        json.dumps({"length": int(tour_length(distances, tour)), "tour": [numbers[point] for point in tour]})
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
