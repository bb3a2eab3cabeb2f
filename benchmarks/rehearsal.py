"""How the time of a rehearsal grows with the number of contours, step by step.

``python -m benchmarks.rehearsal [--contours 1000 10000] [--format json]``

The drawing is seeded, its contours shuffled; reading it is not counted. ``order`` is the order and start
points, ``plan`` that with overcut, motion and timeline, ``tip`` both errors of the tip, ``rehearse`` the
whole public function, flattening and regions included, and ``cpu`` its processor time; ``json`` is writing
the answer. ``travel`` is the way with the knife up over that in the file's order.
"""

from __future__ import annotations

import argparse
import importlib
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from fontTools.pens.svgPathPen import SVGPathPen
from fontTools.pens.transformPen import TransformPen
from fontTools.ttLib import TTFont

import preflight
from preflight.analysis import Analysis
from preflight.cutting.order import cut_order
from preflight.cutting.rehearsal.plan import laid, planned
from preflight.cutting.rehearsal.tip import compensated, uncompensated
from preflight.cutting.timing import machine_of

KINDS = ("lettering", "letters", "blobs")
_SENTENCE = "Allotment shop open on Sundays from ten to four seeds plants tools manure and good advice"


def drawing(contours: int, kind: str) -> bytes:
    """Return an SVG drawing of so many contours, shuffled.

    ``letters`` are made-up letters with a counter, ``blobs`` rings of curves, ``lettering`` rows of text in
    the development font, every contour a path of its own.
    """
    rng = np.random.default_rng(7)
    if kind == "lettering":
        return _text(contours, rng)
    pairs = contours // 2
    columns = int(np.ceil(np.sqrt(pairs)))
    parts = []
    for index in range(pairs):
        x, y = (index % columns) * 14 + 2, (index // columns) * 14 + 2
        shape = _ring(x, y, rng) if kind == "blobs" else _letter(x, y, rng)
        parts.append(f'<path fill="#1f4d2b" d="{shape}"/>')
    rng.shuffle(parts)
    size = columns * 14 + 4
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size}mm" height="{size}mm" viewBox="0 0 {size} {size}">'
        + "".join(parts)
        + "</svg>"
    ).encode()


def _ring(x: float, y: float, rng: np.random.Generator) -> str:
    outer, inner = 4.5 + rng.random(), 1.5 + rng.random()
    middle_x, middle_y = x + 6, y + 6
    return "".join(
        f"M{middle_x - r:.3f} {middle_y:.3f}a{r:.3f} {r:.3f} 0 1 1 {2 * r:.3f} 0a{r:.3f} {r:.3f} 0 1 1 {-2 * r:.3f} 0Z"
        for r in (outer, inner)
    )


def _letter(x: float, y: float, rng: np.random.Generator) -> str:
    w, h, stem = 7 + 3 * rng.random(), 10 + rng.random(), 1.6 + 0.4 * rng.random()
    return (
        f"M{x:.3f} {y:.3f}h{w / 2:.3f}c{w / 2:.3f} 0 {w / 2:.3f} {h * 0.6:.3f} 0 {h * 0.6:.3f}h{stem - w / 2:.3f}"
        f"v{h * 0.4:.3f}h{-stem:.3f}z"
        f"M{x + stem:.3f} {y + stem:.3f}v{h * 0.6 - 2 * stem:.3f}h{w / 2 - stem:.3f}"
        f"c{w / 4:.3f} 0 {w / 4:.3f} {2 * stem - h * 0.6:.3f} 0 {2 * stem - h * 0.6:.3f}z"
    )


def _text(contours: int, rng: np.random.Generator) -> bytes:
    folder = Path(str(importlib.import_module("font_source_sans_pro").__file__)).parent
    font = TTFont(folder / "files" / "SourceSansPro-Regular.otf")
    glyphs, names, scale = font.getGlyphSet(), font.getBestCmap(), 20 / font["head"].unitsPerEm
    parts: list[str] = []
    row = 0
    while len(parts) < contours:
        x, y = 10.0, 40.0 * (row + 1)
        row += 1
        for letter in _SENTENCE:
            pen = SVGPathPen(glyphs)
            glyphs[names[ord(letter)]].draw(TransformPen(pen, (scale, 0, 0, -scale, x, y)))
            # A letter's contours are told apart by their moves.
            parts += [f"M{part}" for part in pen.getCommands().split("M") if part]
            x += glyphs[names[ord(letter)]].width * scale
    chosen = [parts[i] for i in rng.permutation(len(parts))[:contours]]
    wide, high = 1000, 40 * (row + 1)
    drawn = "".join(f'<path fill="#1f4d2b" d="{part}"/>' for part in chosen)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}mm" height="{high}mm" viewBox="0 0 {wide} {high}">'
        f"{drawn}</svg>"
    ).encode()


def measure(contours: int, kind: str) -> dict[str, Any]:
    """Return seconds by step for one drawing."""
    job = preflight.Job()
    artwork = preflight.read(drawing(contours, kind))
    times: dict[str, float] = {}

    def timed(name: str, call: Callable[[], Any]) -> Any:
        begin = time.perf_counter()
        answer = call()
        times[name] = time.perf_counter() - begin
        return answer

    begin = time.process_time()
    whole = timed("rehearse", lambda: preflight.rehearse(artwork, job))
    times["cpu"] = time.process_time() - begin
    timed("json", whole.model_dump_json)
    analysis = Analysis(artwork, job)
    chosen = analysis.films[0].followed_contours
    lines, _ = laid(analysis.painting.contours.take(chosen), mirrored=False, turned=False)
    timed("order", lambda: cut_order(lines))
    cut = timed(
        "plan",
        lambda: planned(
            lines,
            chosen,
            machine_of(job.machine),
            window=600.0,
            small_area=4.0,
            overcut=0.25,
            small_first=True,
        ),
    )
    timed("tip", lambda: [f(cut.lines, 0.25, turned=True) for f in (compensated, uncompensated)])
    film = whole.films[0]
    return {
        "kind": kind,
        "contours": len(film.contours),
        "points": len(lines.points),
        **times,
        "travel_share": film.travel_mm / film.file_order_travel_mm,
    }


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--contours", nargs="+", type=int, default=[1_000, 10_000])
    parser.add_argument("--kind", choices=KINDS, default="lettering")
    parser.add_argument("--format", choices=("text", "json"), default="text")
    options = parser.parse_args(arguments)
    measure(100, options.kind)  # imports and caches out of the way
    rows = [measure(contours, options.kind) for contours in options.contours]
    if options.format == "json":
        print(json.dumps(rows))
        return 0
    names = ["rehearse", "cpu", "order", "plan", "tip", "json"]
    print(f"{'contours':>10}{'points':>10}" + "".join(f"{name:>10}" for name in names) + f"{'travel':>10}")
    for row in rows:
        figures = "".join(f"{row[name]:10.3f}" for name in names)
        print(f"{row['contours']:>10}{row['points']:>10}{figures}{row['travel_share']:10.1%}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
