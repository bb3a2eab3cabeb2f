"""Helpers: fonts of the development dependencies, text outlined, a referee that draws it too."""

from __future__ import annotations

import base64
import io
import json
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image

from preflight.artwork import Artwork, Item, LiveText, Shape
from preflight.readers import read
from preflight.text import FontSource, OutlinedText, outline
from preflight.writing import TextBlock
from tests.corpus.agreement import coverage
from tests.readers.drawing import svg

Pixels = npt.NDArray[np.float64]

SANS = "font_source_sans_pro"
SCRIPT = "fontpkg_oleo_script"
ROUND = "font_fredoka_one"


def font(package: str, file: str) -> Path:
    """Return a font of a development dependency; the test is skipped where it is missing."""
    spec = find_spec(package)
    if spec is None or spec.origin is None:
        pytest.skip(f"the dev dependency {package.replace('_', '-')} is missing")
    return Path(spec.origin).parent / "files" / file


def sans(style: str = "Regular", suffix: str = "ttf") -> Path:
    """Return a font of Source Sans Pro."""
    return font(SANS, f"SourceSansPro-{style}.{suffix}")


def script() -> Path:
    """Return a connected script font."""
    return font(SCRIPT, "OleoScript-Regular.ttf")


@cache
def source(*paths: Path) -> FontSource:
    """Return a source of the fonts at ``paths``."""
    return FontSource.of({path.name: path.read_bytes() for path in paths})


def texts(body: str) -> list[LiveText]:
    """Return the live texts of a drawing of 200 by 100 px."""
    return [item for item in read(svg(body)).items if isinstance(item, LiveText)]


def block(body: str) -> TextBlock:
    """Return the block of a drawing's first text."""
    found = texts(body)[0].block
    assert found is not None
    return found


def outlined(body: str, fonts: FontSource) -> OutlinedText:
    """Return a drawing's first text, outlined."""
    return outline(texts(body)[0], fonts)


def drawn(body: str, fonts: FontSource) -> Artwork:
    """Return a drawing with all its text outlined; a problem that blocks fails the test."""
    artwork = read(svg(body))
    items: list[Item] = []
    for item in artwork.items:
        if isinstance(item, LiveText):
            made = outline(item, fonts)
            assert made.outlined, made.problems
            items += made.shapes
        else:
            items.append(item)
    return replace(artwork, items=tuple(items))


def pixels(body: str, fonts: FontSource, zoom: int = 4) -> Pixels:
    """Return how much of each pixel our outlines cover, ``zoom`` px to the CSS px."""
    artwork = drawn(body, fonts)
    scale = zoom * 96 / 25.4
    return coverage(artwork.painted(), 200 * zoom, 100 * zoom, (scale, scale))


def boxes_px(made: OutlinedText) -> list[tuple[float, ...]]:
    """Return the bounds of each contour, CSS px."""
    px = 25.4 / 96
    found = []
    for shape in made.shapes:
        whole = shape.path.mapped(shape.matrix)
        found += [tuple(v / px for v in whole.subpath(i).bounds()) for i in range(len(whole))]
    return found


def bounds_px(shapes: Sequence[Shape]) -> tuple[float, float, float, float]:
    """Return the bounds of shapes' outlines, CSS px."""
    px = 25.4 / 96
    all_boxes = np.array([s.path.mapped(s.matrix).bounds() for s in shapes]) / px
    low, high = all_boxes.min(axis=0), all_boxes.max(axis=0)
    return (float(low[0]), float(low[1]), float(high[2]), float(high[3]))


_CHILD = """
import base64, json, sys
import resvg_py
job = json.load(sys.stdin)
pictures = [bytes(resvg_py.svg_to_bytes(svg_string=s, skip_system_fonts=True, font_files=job["fonts"],
            zoom=job["zoom"])) for s in job["documents"]]
print(json.dumps([base64.b64encode(p).decode() for p in pictures]))
"""


def refereed(bodies: Sequence[str], fonts: Sequence[Path], zoom: int = 4) -> list[Pixels]:
    """Return how much of each pixel the referee (resvg, in a process of its own) covers."""
    job = {"documents": [svg(b).decode() for b in bodies], "fonts": [str(f) for f in fonts], "zoom": zoom}
    done = subprocess.run(
        [sys.executable, "-c", _CHILD], input=json.dumps(job), capture_output=True, text=True, check=True
    )
    pictures = [Image.open(io.BytesIO(base64.b64decode(data))) for data in json.loads(done.stdout)]
    return [np.asarray(picture.convert("RGBA"), float)[..., 3] / 255 for picture in pictures]
