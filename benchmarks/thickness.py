"""How the search for thin parts and narrow gaps grows with the artwork.

``python -m benchmarks.thickness [--format json] [--repeat N] [--sizes 1000 10000 50000]``

Three drawings, all seeded: ``clear`` has no wall near another, as most artwork has none; ``lettering``
is rows of rings and bars of which some are thin; ``lace`` is a plate of holes where every wall
between two holes is thin. The limit is 1 mm. Processor time is taken, the least of N runs.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from preflight.geometry.thickness import known_walls, narrow_gaps, thin_parts

LIMIT = 1.0


def clear(vertices: int) -> BaseGeometry:
    """Return rows of rounded five-pointed shapes with a round hole, far from each other."""
    turn = np.linspace(0, 2 * np.pi, 100, endpoint=False)
    radius = 20 + 3 * np.sin(5 * turn)
    outline = radius[:, None] * np.stack((np.cos(turn), np.sin(turn)), axis=1)
    hole = Point(0, 0).buffer(8, quad_segs=12).exterior.coords
    count = max(vertices // 149, 1)
    places = 60.0 * np.stack(np.divmod(np.arange(count), 20), axis=1)
    return shapely.multipolygons([Polygon(outline + at, [np.array(hole) + at]) for at in places])


def lettering(vertices: int) -> BaseGeometry:
    """Return rows of rings with a bar, 0.6 to 2.5 mm thick."""
    random = np.random.default_rng(0)
    shapes = []
    for k in range(max(vertices // 100, 1)):
        x, y = (k % 40) * 12.0, (k // 40) * 12.0
        ring = Point(x, y).buffer(4, 12) - Point(x, y).buffer(4 - random.uniform(0.6, 2.5), 12)
        shapes.append(ring | box(x + 3.2, y - 5, x + 3.2 + random.uniform(0.6, 1.8), y + 5))
    return shapely.union_all(shapes)


def lace(vertices: int) -> BaseGeometry:
    """Return a plate with a grid of round holes, 0.7 mm apart."""
    side = max(int(np.sqrt(vertices / 25)), 1)
    holes = [Point(3 * i, 3 * j).buffer(1.15, 6) for i in range(side) for j in range(side)]
    return box(-3, -3, 3 * side, 3 * side) - shapely.union_all(holes)


DRAWINGS: dict[str, Callable[[int], BaseGeometry]] = {"clear": clear, "lettering": lettering, "lace": lace}


def measure(name: str, vertices: int, repeat: int) -> dict[str, Any]:
    """Return the least processor times in ms for one drawing."""
    region = DRAWINGS[name](vertices)
    best = {"walls": np.inf, "parts": np.inf, "gaps": np.inf}
    for _ in range(repeat):
        marks = [time.process_time()]
        walls = known_walls(region)
        marks.append(time.process_time())
        parts = thin_parts(region, LIMIT, walls=walls)
        marks.append(time.process_time())
        gaps = narrow_gaps(region, LIMIT, walls=walls)
        marks.append(time.process_time())
        for key, spent in zip(best, np.diff(marks), strict=True):
            best[key] = min(best[key], float(spent))
    return {
        "drawing": name,
        "vertices": int(shapely.get_num_coordinates(region)),
        "thin_parts": len(parts),
        "narrow_gaps": len(gaps),
        **{f"{key}_ms": round(1000 * spent, 2) for key, spent in best.items()},
        "us_a_vertex": round(1e6 * sum(best.values()) / shapely.get_num_coordinates(region), 1),
    }


def main(arguments: list[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Growth of the thickness search.")
    parser.add_argument("--format", choices=("text", "json"), default="text")
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--sizes", type=int, nargs="+", default=[1_000, 10_000, 50_000])
    chosen = parser.parse_args(arguments)
    rows = [measure(name, size, chosen.repeat) for name in DRAWINGS for size in chosen.sizes]
    if chosen.format == "json":
        print(json.dumps(rows, indent=2))
        return 0
    for row in rows:
        print("  ".join(f"{key} {value}" for key, value in row.items()))
    return 0


if __name__ == "__main__":
    sys.exit(main())
