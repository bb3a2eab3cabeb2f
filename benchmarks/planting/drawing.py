"""Lays letters and one plant out on a drawing and writes it as SVG, with the job it is judged by."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np

from benchmarks.planting import lines, narrow
from benchmarks.planting.lettering import LETTERS, Setting
from benchmarks.planting.outline import Shape, rectangle
from benchmarks.planting.plant import Maker, Plant, drawn_badness

KINDS: dict[str, tuple[Maker, ...]] = {**lines.KINDS, **narrow.KINDS}
MOST = {**lines.MOST, **narrow.MOST}
CONTROL = "control"
CONTROLS = 0.1
"""Share of drawings with no defect."""
LEAST_CELL = 14.0
"""Side of the smallest cell for one letter, mm."""
COLOURS = ("#b3261e", "#1f4e9c", "#2e7d32")
UNDERLAY, CROSSBAR = "#e0b000", "#202020"


@dataclass(frozen=True, slots=True)
class Drawing:
    """One drawing: ``kind`` is a kind of plant or `CONTROL`; the plant's ``spot`` and cell are mm of the drawing."""

    kind: str
    svg: bytes
    job: str
    plant: Plant | None = None
    spot: complex = 0
    middle: complex = 0
    radius: float = 0.0
    width: float | None = None
    """How wide the planted part or gap is, mm; None where it is not of one width."""


def drawing(seed: int, index: int) -> Drawing:
    """Return the drawing numbered ``index`` of a seed: the same one every time."""
    random = np.random.default_rng([seed, index])
    side = float(np.exp(random.uniform(np.log(20), np.log(600))))
    most = int(np.clip(side / LEAST_CELL, 1, 4))
    across, down = (int(n) for n in random.integers(1, most + 1, 2))
    pitch = side / max(across, down)
    solid = min(float(random.uniform(0.6, 2.5)), pitch / 20)
    gap = solid * float(random.uniform(0.35, 0.8))
    coincidence = float(random.uniform(0.03, min(0.06, gap / 5)))
    setting = Setting(pitch / 2 - gap, solid, gap, coincidence, random)
    kind, plant = CONTROL, None
    if random.random() >= CONTROLS:
        kind = list(KINDS)[int(random.integers(len(KINDS)))]
        makers = KINDS[kind]
        plant = makers[int(random.integers(len(makers)))](setting, drawn_badness(random, MOST[kind]))
    own = int(random.integers(across * down))
    drawn: list[tuple[str, Shape]] = []
    placing: tuple[complex, complex] = (1, 0)
    for cell in range(across * down):
        middle = complex(cell % across + 0.5, cell // across + 0.5) * pitch
        turn = cmath.rect(1, random.uniform(0, 2 * math.pi)) if random.random() < 0.8 else 1
        colour = COLOURS[int(random.integers(len(COLOURS)))]
        if cell == own and plant is not None:
            placing = (turn, middle)
            shapes = list(plant.shapes)
        elif random.random() < 0.15:
            continue
        else:
            shapes = LETTERS[int(random.integers(len(LETTERS)))](setting)
        drawn += [(colour, shape.placed(turn, middle)) for shape in shapes]
    # Films under and over the others: what crosses there is construction.
    width, height = across * pitch, down * pitch
    if random.random() < 0.3:
        plate = Shape((rectangle(0.94 * width, 0.94 * height, complex(width, height) / 2),))
        drawn.insert(0, (UNDERLAY, plate))
    if random.random() < 0.2:
        bar = rectangle(0.9 * width, 0.2 * pitch).placed(cmath.rect(1, 0.1), complex(width, height) / 2)
        drawn.append((CROSSBAR, Shape((bar,))))
    svg = _written(drawn, width, height, random)
    job = (
        f'limits.solid_part = {{ warning = "{solid} mm", error = "{0.6 * solid} mm" }}\n'
        f'limits.gap = {{ warning = "{gap} mm", error = "{0.6 * gap} mm" }}\n'
        f"tolerances.coincidence = {coincidence}\n"
    )
    if plant is None:
        return Drawing(kind, svg, job)
    spot = plant.spot * placing[0] + placing[1]
    limit = {"gap": gap, "neck": solid, "sliver": solid}.get(kind)
    wide = limit / plant.badness if limit and plant.form not in narrow.NOT_OF_ONE_WIDTH else None
    return Drawing(kind, svg, job, plant, spot, placing[1], setting.radius + gap, wide)


def _written(
    drawn: list[tuple[str, Shape]], width: float, height: float, random: np.random.Generator
) -> bytes:
    """Write the drawing; in part of all files with a scale on a group, and the shapes' numbers in its units."""
    scale = float(random.choice([1.0, 1.0, 0.25, 3.0]))
    paths = "".join(
        f'<path fill="{colour}" fill-rule="{"evenodd" if shape.evenodd else "nonzero"}" '
        f'd="{shape.enlarged(1 / scale).data()}"/>\n'
        for colour, shape in drawn
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}"><g transform="scale({scale})">\n{paths}</g></svg>'
    ).encode()
