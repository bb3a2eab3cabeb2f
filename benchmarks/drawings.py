"""Seeded drawings of any size for the benchmarks: blobs in rows, some of them overlapping."""

from __future__ import annotations

import numpy as np

CURVES_A_BLOB = 8
PITCH = 20.0


def blobs(segments: int, *, overlap: float = 0.1, seed: int = 1) -> bytes:
    """Return an SVG of about ``segments`` cubic segments; ``overlap`` of the blobs cross a neighbour.

    Blobs are rings of eight cubics with an uneven outline, 20 mm apart, as compact as lettering.
    """
    random = np.random.default_rng(seed)
    count = max(segments // CURVES_A_BLOB, 1)
    side = int(np.ceil(np.sqrt(count)))
    paths = []
    for index in range(count):
        x, y = PITCH * (index % side) + PITCH, PITCH * (index // side) + PITCH
        radius = 11.5 if random.random() < overlap else random.uniform(5.0, 8.0)
        paths.append(f'<path d="{blob(x, y, radius, random)}"/>')
    size = PITCH * (side + 1)
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{size}mm" height="{size}mm" viewBox="0 0 {size} {size}">'
    return (head + "\n".join(paths) + "</svg>").encode()


def blob(x: float, y: float, radius: float, random: np.random.Generator) -> str:
    step = 2 * np.pi / CURVES_A_BLOB
    angles = np.arange(CURVES_A_BLOB) * step
    radii = radius * random.uniform(0.92, 1.0, CURVES_A_BLOB)
    nodes = np.stack((x + radii * np.cos(angles), y + radii * np.sin(angles)), axis=1)
    handle = 4 / 3 * np.tan(step / 4) * radius
    tangents = np.stack((-np.sin(angles), np.cos(angles)), axis=1) * handle
    parts = [f"M{nodes[0][0]:.4f} {nodes[0][1]:.4f}"]
    for i in range(CURVES_A_BLOB):
        j = (i + 1) % CURVES_A_BLOB
        a, b = nodes[i] + tangents[i], nodes[j] - tangents[j]
        parts.append(f"C{a[0]:.4f} {a[1]:.4f} {b[0]:.4f} {b[1]:.4f} {nodes[j][0]:.4f} {nodes[j][1]:.4f}")
    return "".join(parts) + "Z"
