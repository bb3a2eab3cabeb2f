"""An independent renderer as a referee: resvg, run in a process of its own since it can crash."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from PIL import Image
from shapely.geometry.base import BaseGeometry

_CHILD = """
import base64, json, sys
import resvg_py
print(json.dumps([base64.b64encode(bytes(resvg_py.svg_to_bytes(svg_string=s, skip_system_fonts=True))).decode()
                  for s in json.load(sys.stdin)]))
"""


def coverage(documents: Sequence[str]) -> list[npt.NDArray[np.float64]]:
    """Render each SVG document and return how much of each pixel is covered, 0 to 1."""
    return [picture[..., 3] for picture in pictures(documents)]


def pictures(documents: Sequence[str]) -> list[npt.NDArray[np.float64]]:
    """Render each SVG document; return red, green, blue and alpha of each pixel, 0 to 1, not premultiplied."""
    import base64

    done = subprocess.run(
        [sys.executable, "-c", _CHILD],
        input=json.dumps(list(documents)),
        capture_output=True,
        text=True,
        check=True,
    )
    images = [Image.open(io.BytesIO(base64.b64decode(data))) for data in json.loads(done.stdout)]
    return [np.asarray(image.convert("RGBA"), float) / 255 for image in images]


def drawn(region: BaseGeometry) -> str:
    """Return SVG path data of a region."""
    from shapely import get_parts, get_rings

    data = []
    for part in get_parts(region):
        for ring in get_rings(part):
            data.append("M" + " ".join(f"{x:.5f},{y:.5f}" for x, y in ring.coords[:-1]) + "Z")
    return "".join(data)
