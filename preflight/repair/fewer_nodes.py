"""Fewer nodes: contours of many short straight segments become fitted curves."""

from __future__ import annotations

import numpy as np

from preflight.curves import Path
from preflight.geometry.fitting import fit

TOLERANCE = 0.004
"""How far (mm) a fitted curve may stray from the segments it stands for."""

MANY = 24
"""Contours of fewer segments are left alone."""

WORTH = 0.6
"""A fit is taken only where it leaves at most this share of the nodes."""

SHORT = 3.0
"""Only segments shorter than this (mm) can stand for a curve; longer ones are meant to be straight."""

BEND = np.radians(30.0)
"""Where two segments turn by more, there is a corner."""

RUN = 5
"""So many segments at least make a curve."""


def fitted(path: Path) -> tuple[Path, int]:
    """Return ``path`` (closed contours, mm) with fitted curves where they save nodes, and how many contours changed."""
    parts, changed = [], 0
    for index in range(len(path)):
        part = path.subpath(index)
        if part.lines.sum() >= MANY and part.lines.mean() > 1 / 2:
            better = _fit(part)
            if better is not None:
                part, changed = better, changed + 1
        parts.append(part)
    return Path.joined(parts), changed


def _fit(part: Path) -> Path | None:
    """Return the contour with its runs of short, gently turning segments fitted; None: not worth it."""
    if not part.lines.all():
        return None
    nodes = part.controls[:, 0]
    count = len(nodes)
    steps = part.controls[:, 3] - nodes
    size = np.hypot(steps[:, 0], steps[:, 1])
    heading = np.arctan2(steps[:, 1], steps[:, 0])
    turn = np.abs((heading - np.roll(heading, 1) + np.pi) % (2 * np.pi) - np.pi)
    # A node is inside a curve where it joins two short segments that hardly turn.
    smooth = (size < SHORT) & (np.roll(size, 1) < SHORT) & (turn < BEND)
    if smooth.all():
        first, ends = 0, np.array([0])
    else:
        first = int(np.flatnonzero(~smooth)[0])
        ends = np.flatnonzero(~np.roll(smooth, -first))
    around = np.roll(np.arange(count), -first)
    controls, lines = [], []
    for begin, end in zip(ends, np.append(ends[1:], count), strict=True):
        run = np.append(around[begin:end], around[end % count])
        if end - begin < RUN:
            controls.append(part.controls[run[:-1]])
            lines.append(np.ones(end - begin, bool))
        else:
            found = fit(nodes[run], TOLERANCE)
            controls.append(found.controls)
            lines.append(found.lines)
    made = np.concatenate(controls)
    made[:, 0] = np.roll(made[:, 3], 1, axis=0)
    if len(made) > WORTH * count:
        return None
    return Path(made, np.concatenate(lines), np.zeros(1, np.int64), np.ones(1, bool))
