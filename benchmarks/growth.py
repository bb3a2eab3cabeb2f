"""How the time of a whole check grows with the drawing, against GEOS noding the same lines.

``python -m benchmarks.growth [--segments 1000 10000 100000] [--format json]``

For each size, in one run: reading; regions (flattening, fills, union by film); knife (noding the
knife lines and classing every piece); thickness (narrow parts and gaps); the whole check, which
holds all of these but reading; and ``shapely.node`` (GEOS) of the same flattened contours. The last
columns are the knife step and the check without thickness over that noding.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from typing import Any

import shapely

import preflight
from benchmarks.drawings import blobs
from preflight.analysis import Analysis


def measure(segments: int) -> dict[str, Any]:
    """Return seconds by step for one drawing."""
    data = blobs(segments)
    times: dict[str, float] = {}
    clock = time.perf_counter

    def step(name: str, begin: float) -> None:
        times[name] = clock() - begin

    begin = clock()
    artwork = preflight.read(data)
    step("read", begin)
    analysis = Analysis(artwork, preflight.Job())
    begin = clock()
    for film in analysis.films:
        _ = film.fills_region
    step("regions", begin)
    begin = clock()
    for film in analysis.films:
        _ = film.knife
    step("knife", begin)
    begin = clock()
    for film in analysis.films:
        _ = (film.thin, film.gaps)
    step("thickness", begin)
    begin = clock()
    preflight.check(artwork)
    step("check", begin)
    whole = shapely.multilinestrings(analysis.lines)
    begin = clock()
    shapely.node(whole)
    step("geos_node", begin)
    return {
        "segments": segments,
        "chords": int(shapely.count_coordinates(whole)),
        **times,
        "knife_ratio": times["knife"] / times["geos_node"],
        "rest_ratio": (times["check"] - times["thickness"]) / times["geos_node"],
    }


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--segments", nargs="+", type=int, default=[1_000, 10_000, 100_000])
    parser.add_argument("--format", choices=("text", "json"), default="text")
    options = parser.parse_args(arguments)
    measure(500)  # imports and caches out of the way
    rows = [measure(segments) for segments in options.segments]
    if options.format == "json":
        print(json.dumps(rows))
        return 0
    names = ["read", "regions", "knife", "thickness", "check", "geos_node"]
    print(
        f"{'segments':>10}{'chords':>10}"
        + "".join(f"{name:>11}" for name in names)
        + f"{'knife/geos':>12}{'rest/geos':>11}"
    )
    for row in rows:
        figures = "".join(f"{row[name]:11.4f}" for name in names)
        print(
            f"{row['segments']:>10}{row['chords']:>10}{figures}{row['knife_ratio']:12.2f}{row['rest_ratio']:11.2f}"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
