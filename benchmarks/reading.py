"""Reading a drawing against parsing its XML, file by file, in one run.

``python -m benchmarks.reading [FOLDER ...] [--format json] [--repeat N]``

Without folders, seeded drawings of 1,000 to 100,000 segments, and one of many small elements. The
measure to keep: reading takes at most eight times the XML parse plus one microsecond for each
character of path data, summed over a folder. For each file the least of N times is taken for both.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from lxml import etree

from benchmarks.check import least_time
from benchmarks.drawings import blobs
from preflight.readers import read

PARSES = 8.0
SECONDS_A_CHARACTER = 1e-6


def path_characters(data: bytes) -> int:
    """Return how many characters of path data and point lists a file holds."""
    root = etree.fromstring(data)
    return sum(len(e.get("d") or "") + len(e.get("points") or "") for e in root.iter(etree.Element))


def measure(name: str, data: bytes, repeat: int) -> dict[str, Any]:
    """Return the times in ms, and the time allowed, for one file."""
    parsed = least_time(lambda: etree.fromstring(data), repeat)
    taken = least_time(lambda: read(data), repeat)
    characters = path_characters(data)
    return {
        "file": name,
        "bytes": len(data),
        "path_characters": characters,
        "parse_ms": parsed * 1e3,
        "read_ms": taken * 1e3,
        "allowed_ms": (PARSES * parsed + SECONDS_A_CHARACTER * characters) * 1e3,
    }


def small_elements(count: int = 10_000) -> bytes:
    """Return an SVG of ``count`` rectangles without any path data: the reader's worst case."""
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="300mm" viewBox="0 0 300 300">'
    body = "".join(
        f'<rect x="{i % 100}" y="{i // 100}" width="1" height="2" fill="#c00"/>' for i in range(count)
    )
    return (head + body + "</svg>").encode()


def inputs(folders: list[Path]) -> Iterator[tuple[str, list[tuple[str, bytes]]]]:
    """Yield each set of files with its name."""
    if not folders:
        yield "seeded", [(f"{n} segments", blobs(n)) for n in (1_000, 10_000, 100_000)]
        yield "small elements", [("10000 rectangles", small_elements())]
    for folder in folders:
        yield folder.name, [(p.name, p.read_bytes()) for p in sorted(folder.rglob("*.svg"))]


def main() -> int:
    """Print one line a set, or JSON with every file."""
    parser = argparse.ArgumentParser(description="Reading against XML parsing.")
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--format", choices=("text", "json"), default="text")
    parser.add_argument("--repeat", type=int, default=5)
    options = parser.parse_args()
    sets = []
    for name, files in inputs(options.folders):
        rows = [measure(file, data, options.repeat) for file, data in files]
        keys = ("path_characters", "parse_ms", "read_ms", "allowed_ms")
        sets.append({"set": name, **{key: sum(row[key] for row in rows) for key in keys}, "files": rows})
    if options.format == "json":
        json.dump(sets, sys.stdout, indent=2)
        return 0
    print(f"{'set':20}{'files':>7}{'parse ms':>11}{'read ms':>11}{'allowed ms':>12}{'share':>8}")
    for row in sets:
        print(
            f"{row['set']:20}{len(row['files']):7}{row['parse_ms']:11.2f}{row['read_ms']:11.2f}"
            f"{row['allowed_ms']:12.2f}{row['read_ms'] / row['allowed_ms']:8.2f}"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
