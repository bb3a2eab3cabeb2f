"""Unions of hard cases: near-duplicate shapes, seeded. How many come out right, flagged, or wrong unseen.

``python -m benchmarks.unions [--count 500] [--seed 1] [--format json]``

Each case lays two or three nearly equal outlines on each other (shifted, turned or scaled by 0.1 to
200 micrometres) and repairs them. "wrong" is a repair called proved whose region, measured by an
independent overlay of the flattened parts, differs by more than 10 micrometres in thickness.
"""

from __future__ import annotations

import argparse
import json
import sys

import numpy as np
import shapely

import preflight
from benchmarks.drawings import blob
from preflight.curves import flatten
from preflight.geometry.appearance import union
from preflight.geometry.fills import fill_regions

THICK = 0.01


def case(random: np.random.Generator) -> bytes:
    """Return a drawing of nearly equal outlines."""
    shape = blob(50.0, 50.0, float(random.uniform(10, 40)), random)
    parts = [f'<path d="{shape}"/>']
    for _ in range(int(random.integers(1, 3))):
        slip = 10 ** random.uniform(-4, -0.7)
        angle = random.uniform(0, 2 * np.pi)
        move = f"translate({slip * np.cos(angle):.6f} {slip * np.sin(angle):.6f})"
        turn = f"rotate({random.normal() * slip / 30 * 57.3:.7f} 50 50)" if random.random() < 0.5 else ""
        parts.append(f'<path transform="{move} {turn}" d="{shape}"/>')
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">'
    return (head + "".join(parts) + "</svg>").encode()


def judge(data: bytes) -> str:
    """Return "proved", "flagged" or "wrong" for one case."""
    artwork = preflight.read(data)
    repaired = preflight.repair(artwork)
    if not repaired.proof.proved:
        return "flagged"
    shapes = list(artwork.shapes())
    outlines = [shape.path.mapped(shape.matrix) for shape in shapes]
    parts = fill_regions(flatten(outlines, 0.001), [shape.evenodd for shape in shapes])
    after = [shape.path.mapped(shape.matrix) for shape in repaired.artwork.shapes()]
    result = union(fill_regions(flatten(after, 0.001), [False] * len(after)))
    apart = shapely.symmetric_difference(shapely.union_all(parts, grid_size=1e-6), result)
    return "wrong" if not shapely.buffer(apart, -THICK / 2).is_empty else "proved"


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--format", choices=("text", "json"), default="text")
    options = parser.parse_args(arguments)
    random = np.random.default_rng(options.seed)
    tally = {"proved": 0, "flagged": 0, "wrong": 0}
    for _ in range(options.count):
        tally[judge(case(random))] += 1
    if options.format == "json":
        print(json.dumps({"count": options.count, "seed": options.seed, **tally}))
    else:
        print(", ".join(f"{number} {word}" for word, number in tally.items()))
    return 0


if __name__ == "__main__":
    sys.exit(main())
