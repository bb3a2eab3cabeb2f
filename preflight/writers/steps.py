"""A path as drawing steps in whole micrometres, the way SVG and PDF both write it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import numpy as np

from preflight.curves import Path

Step = tuple[Literal["move", "line", "curve", "close"], tuple[int, ...]]
"""A step and its coordinates x, y (of a curve x1, y1, x2, y2, x, y) in micrometres."""


def steps(path: Path) -> Iterator[Step]:
    """Yield the steps that draw ``path`` (mm): rounded to 1 um, so off by at most 0.5 um an axis.

    Segments of no length are left out, and the last straight one of a closed subpath, which
    closing draws; a subpath that has no length at all keeps one line.
    """
    whole = np.rint(path.controls * 1000).astype(np.int64).tolist()
    lines = path.lines.tolist()
    pairs = zip(path.starts.tolist(), path.ends.tolist(), path.closed.tolist(), strict=True)
    for first, last, closed in pairs:
        start = whole[first][0]
        yield "move", tuple(start)
        drawn: list[Step] = []
        at = start
        for index in range(first, last):
            _, one, two, end = whole[index]
            if lines[index]:
                if end != at:
                    drawn.append(("line", tuple(end)))
            elif not one == two == end == at:
                drawn.append(("curve", (*one, *two, *end)))
            at = end
        if closed and len(drawn) > 1 and drawn[-1] == ("line", tuple(start)):
            drawn.pop()
        yield from drawn or [("line", tuple(start))]
        if closed:
            yield "close", ()


def decimal(micrometres: int) -> str:
    """Return a length of whole micrometres in mm, in as few digits as hold it exactly."""
    sign = "-" if micrometres < 0 else ""
    whole, rest = divmod(abs(micrometres), 1000)
    if not rest:
        return f"{sign}{whole}"
    return f"{sign}{whole or ''}.{rest:03d}".rstrip("0")
