"""The time of one check by step: reading, each piece of shared geometry, each rule.

``python -m benchmarks.speed [--segments N ...] [--format text] [--repeat N] [--clock cpu]``

The drawing is `benchmarks.drawings.blobs`. Geometry that rules share is made first, step by step, in
the order in which it is needed, and so is in no rule's time; ``total`` is all steps and all rules,
without reading. Bars: 10,000 segments in at most 3 s, 100,000 in at most 12 times that time.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from typing import Any

import preflight
from benchmarks.drawings import blobs
from preflight.analysis import Analysis
from preflight.films import Film

MOST_SECONDS = 3.0
"""For 10,000 segments."""
MOST_GROWTH = 12.0
"""Of the total, for ten times the segments."""

ANALYSIS_STEPS: dict[str, Callable[[Analysis], object]] = {
    "painting": lambda analysis: analysis.painting,
    "lines": lambda analysis: analysis.lines,
    "films": lambda analysis: analysis.films,
}
FILM_STEPS: dict[str, Callable[[Film], object]] = {
    "what stays": lambda film: (film.shapes_region, film.fills_region, film.region),
    "knife lines": lambda film: film.knife,
    "narrow parts": lambda film: film.thin,
    "narrow gaps": lambda film: film.gaps,
    "near lines": lambda film: film.near,
}


CLOCKS = {"wall": time.perf_counter, "cpu": time.process_time}
"""The processor's clock is for machines that have other work as well."""


def measure(segments: int, clock: Callable[[], float] = time.perf_counter) -> dict[str, Any]:
    """Return the seconds of one check by step and by rule."""
    data = blobs(segments)
    begin = clock()
    artwork = preflight.read(data)
    read = clock() - begin
    analysis = Analysis(artwork, preflight.Job())
    steps: dict[str, float] = {}
    for name, step in ANALYSIS_STEPS.items():
        begin = clock()
        step(analysis)
        steps[name] = clock() - begin
    for name, film_step in FILM_STEPS.items():
        begin = clock()
        for film in analysis.films:
            film_step(film)
        steps[name] = clock() - begin
    rules: dict[str, float] = {}
    findings = 0
    for rule in preflight.RULES:
        begin = clock()
        findings += len(list(rule.check(analysis)))
        rules[rule.code] = clock() - begin
    return {
        "segments": segments,
        "chords": len(analysis.painting.contours.points),
        "findings": findings,
        "read": read,
        "steps": steps,
        "rules": rules,
        "total": sum(steps.values()) + sum(rules.values()),
    }


def least(segments: int, repeat: int, clock: Callable[[], float]) -> dict[str, Any]:
    """Return the run with the least total of ``repeat`` runs."""
    return min((measure(segments, clock) for _ in range(repeat)), key=lambda run: float(run["total"]))


def table(runs: list[dict[str, Any]]) -> str:
    """Return the runs as a table, a column a run."""
    rows = [("segments", [f"{run['segments']:,}" for run in runs])]
    rows += [("chords", [f"{run['chords']:,}" for run in runs])]
    rows += [("read", [_seconds(run["read"]) for run in runs])]
    for group in ("steps", "rules"):
        rows += [("", [""] * len(runs))]
        rows += [(name, [_seconds(run[group][name]) for run in runs]) for name in runs[0][group]]
    rows += [("", [""] * len(runs)), ("total", [_seconds(run["total"]) for run in runs])]
    return "\n".join(f"{name:24}" + "".join(f"{cell:>12}" for cell in cells) for name, cells in rows)


def _seconds(value: float) -> str:
    return f"{value:.4f} s"


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--segments", nargs="+", type=int, default=[10_000, 100_000])
    parser.add_argument("--format", choices=("json", "text"), default="json")
    parser.add_argument("--repeat", type=int, default=1)
    parser.add_argument("--clock", choices=tuple(CLOCKS), default="wall")
    options = parser.parse_args(arguments)
    measure(500)  # imports and caches out of the way
    runs = [least(segments, options.repeat, CLOCKS[options.clock]) for segments in options.segments]
    if options.format == "text":
        print(table(runs))
        return 0
    print(json.dumps(runs if len(runs) > 1 else runs[0], indent=2))
    return 0


if __name__ == "__main__":
    sys.exit(main())
