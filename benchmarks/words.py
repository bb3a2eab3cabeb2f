"""Script words outlined and united: crossings left, deviation, nodes, and the time of a mend.

``python -m benchmarks.words FONT ... [--count 300] [--seed 1] [--format json]``

Words are drawn by a seeded generator, set 30 to 300 mm wide in each font in turn, and repaired. The
time ratio is outlining and uniting a word over uniting its outlines alone, both in this run.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

import preflight
from preflight.geometry.curved import simplified, united
from preflight.repair.lettering import lettered
from preflight.text import FontSource

BEGINNINGS = [
    "Mar",
    "Bea",
    "Leek",
    "Pot",
    "Sun",
    "Gar",
    "Har",
    "Plum",
    "Rose",
    "Thy",
    "Oni",
    "Squa",
    "Tur",
    "Fen",
    "Ced",
    "Win",
    "Lav",
    "Par",
    "Mel",
    "Cher",
]
MIDDLES = [
    "row",
    "tle",
    "bin",
    "den",
    "ves",
    "ber",
    "ling",
    "mary",
    "tt",
    "flo",
    "ry",
    "wer",
    "son",
    "lla",
    "ffe",
    "ill",
    "oo",
    "mb",
    "nn",
    "ria",
]
ENDINGS = [
    "by",
    "s",
    "ley",
    "ton",
    "ing",
    "er",
    "wood",
    "field",
    "market",
    "shop",
    "garden",
    "ry",
    "et",
    "ow",
    "lane",
    "y",
    "es",
    "harvest",
    "bloom",
]


def word(random: np.random.Generator) -> str:
    """Return a made-up word of three syllables or so."""
    return "".join(str(random.choice(part)) for part in (BEGINNINGS, MIDDLES, ENDINGS))


def drawing(text: str, family: str, width: float) -> bytes:
    """Return a drawing with one word, about ``width`` mm wide."""
    size = width / len(text) / 0.45
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width * 2}mm" height="{width}mm" '
        f'viewBox="0 0 {width * 2} {width}"><text x="{width / 4}" y="{width / 2}" font-family="{family}" '
        f'font-size="{size}">{text}</text></svg>'
    ).encode()


def measure(data: bytes, fonts: FontSource) -> dict[str, Any]:
    """Return the figures of one word."""
    artwork = preflight.read(data)
    begin = time.perf_counter()
    letters = lettered(artwork, fonts).artwork
    outlined = time.perf_counter() - begin
    shapes = list(letters.shapes())
    begin = time.perf_counter()
    united([simplified(shape.path.mapped(shape.matrix), evenodd=shape.evenodd) for shape in shapes])
    alone = time.perf_counter() - begin
    proof = preflight.repair(artwork, fonts=fonts).proof
    film = proof.films[0]
    return {
        "proved": proof.proved,
        "crossings_mm": film.crossings_mm,
        "deviation_um": film.largest_deviation_mm * 1000,
        "nodes": film.nodes_after / film.nodes_before,
        "time": (outlined + alone) / alone,
    }


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("font", nargs="+", type=Path)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--format", choices=("text", "json"), default="text")
    options = parser.parse_args(arguments)
    random = np.random.default_rng(options.seed)
    sources = [FontSource.of({path.name: path.read_bytes()}) for path in options.font]
    families = [source.fonts[0].family for source in sources]
    rows = []
    for index in range(options.count):
        which = index % len(sources)
        width = float(np.exp(random.uniform(np.log(30), np.log(300))))
        rows.append(measure(drawing(word(random), families[which], width), sources[which]))
    result = {
        "words": len(rows),
        "proved": sum(row["proved"] for row in rows),
        "crossings_left": sum(row["crossings_mm"] > 0 for row in rows),
        "largest_deviation_um": max(row["deviation_um"] for row in rows),
        "median_nodes_out_per_in": float(np.median([row["nodes"] for row in rows])),
        "largest_nodes_out_per_in": max(row["nodes"] for row in rows),
        "median_time_ratio": float(np.median([row["time"] for row in rows])),
    }
    if options.format == "json":
        print(json.dumps(result))
    else:
        for name, value in result.items():
            print(f"{name:28}{value:>12.4g}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
