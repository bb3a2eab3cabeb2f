"""The whole check against rendering the same file to a picture, file by file, in one run.

``python -m benchmarks.check FOLDER ... [--format json] [--repeat N]``

Rendering is resvg (through resvg_py) to a PNG 1000 px wide; without system fonts, which the check
does not load either. For each file the least of N times is taken for both; the ratio is the check's
time (reading included) over the rendering's.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import resvg_py

import preflight

RENDERED_WIDTH = 1000


def least_time(action: Callable[[], object], repeat: int) -> float:
    """Return the least wall time of ``action`` in seconds."""
    times = []
    for _ in range(repeat):
        begin = time.perf_counter()
        action()
        times.append(time.perf_counter() - begin)
    return min(times)


def measure(path: Path, repeat: int) -> dict[str, Any]:
    """Return the times in ms and their ratio for one file."""
    data = path.read_bytes()
    text = data.decode("utf-8")
    job = preflight.Job()
    checked = least_time(lambda: preflight.check(preflight.read(data, path.name), job), repeat)
    rendered = least_time(
        lambda: resvg_py.svg_to_bytes(svg_string=text, width=RENDERED_WIDTH, dpi=96, skip_system_fonts=True),
        repeat,
    )
    return {
        "file": path.name,
        "check_ms": checked * 1e3,
        "render_ms": rendered * 1e3,
        "ratio": checked / rendered,
    }


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", nargs="+", type=Path)
    parser.add_argument("--format", choices=("text", "json"), default="text")
    parser.add_argument("--repeat", type=int, default=3)
    options = parser.parse_args(arguments)
    files = sorted(path for folder in options.folder for path in folder.rglob("*.svg"))
    if not files:
        print("No .svg file in the folders given.", file=sys.stderr)
        return 2
    rows = [measure(path, options.repeat) for path in files]
    ratios = np.array([row["ratio"] for row in rows])
    result = {
        "files": len(rows),
        "median_ratio": float(np.median(ratios)),
        "p95_ratio": float(np.percentile(ratios, 95)),
        "median_check_ms": float(np.median([row["check_ms"] for row in rows])),
        "median_render_ms": float(np.median([row["render_ms"] for row in rows])),
    }
    if options.format == "json":
        print(json.dumps({**result, "rows": rows}))
        return 0
    print(f"{'file':44}{'check ms':>10}{'render ms':>11}{'ratio':>8}")
    for row in sorted(rows, key=lambda row: -row["ratio"]):
        print(f"{row['file'][:43]:44}{row['check_ms']:10.1f}{row['render_ms']:11.1f}{row['ratio']:8.2f}")
    print(
        f"\n{result['files']} files: ratio median {result['median_ratio']:.3f}, "
        f"95th percentile {result['p95_ratio']:.3f}"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
