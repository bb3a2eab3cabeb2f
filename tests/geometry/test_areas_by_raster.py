"""Areas of what is seen, colour by colour and tile by tile, against a renderer's pixels (resvg).

The drawings are seeded: shapes that overlap, holes by both fill rules, outlines across themselves,
curves, strokes of all caps and joins, dashes, uneven scales, clips. Their three colours are the three
channels of a picture, so a channel's sum over a tile is that colour's area there.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
import shapely

import preflight
from tests.geometry.renderer import pictures

SIDE = 60.0
"""Side of a drawing, mm."""
PIXELS = 960
TILES = 6
COLOURS = ("#ff0000", "#00ff00", "#0000ff")
SEEDS = range(24)

Random = np.random.Generator


def drawing(seed: int) -> str:
    """Return a made-up drawing of 60 by 60 mm as SVG, to be rendered 960 pixels wide."""
    random = np.random.default_rng([seed, 60])
    shapes = [_element(random) for _ in range(int(random.integers(4, 12)))]
    half = len(shapes) // 2
    clip = f'<clipPath id="c"><path d="{_star(random, 30, 30, 26)}"/></clipPath>'
    body = "".join(shapes[:half]) + f'<g clip-path="url(#c)">{"".join(shapes[half:])}</g>'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{SIDE}mm" height="{SIDE}mm" '
        f'viewBox="0 0 {SIDE} {SIDE}">{clip}{body}</svg>'
    )


def _element(random: Random) -> str:
    x, y, r = random.uniform(12, 48), random.uniform(12, 48), random.uniform(4, 18)
    colour = random.choice(COLOURS)
    maker = [_star, _curve, _ring][int(random.integers(3))]
    outline = maker(random, x, y, r)
    rule = random.choice(["nonzero", "evenodd"])
    turn, wide = random.uniform(0, 360), random.uniform(0.6, 1.5)
    there, back = f"translate({x:.3f} {y:.3f})", f"translate({-x:.3f} {-y:.3f})"
    place = f"{there} rotate({turn:.3f}) scale({wide:.3f} 1) {back}"
    if random.random() < 0.6:
        return f'<path transform="{place}" fill="{colour}" fill-rule="{rule}" d="{outline}"/>'
    cap, join = random.choice(["butt", "round", "square"]), random.choice(["miter", "round", "bevel"])
    dashes = (
        f'stroke-dasharray="{random.uniform(2, 6):.2f} {random.uniform(2, 5):.2f}"'
        if random.random() < 0.4
        else ""
    )
    fill = random.choice(["none", *COLOURS])
    # Inside of bends tighter than half the width renderers differ; strokes have tests of their own.
    width = random.uniform(0.2, 0.4 if maker is _curve else 4)
    line = f'stroke="{colour}" stroke-width="{width:.3f}" stroke-linecap="{cap}"'
    painted = f'fill="{fill}" fill-rule="{rule}" {line} stroke-linejoin="{join}" {dashes}'
    return f'<path transform="{place}" {painted} d="{outline}"/>'


def _star(random: Random, x: float, y: float, r: float) -> str:
    count = int(random.integers(3, 9))
    step = int(random.integers(1, max(count // 2, 1) + 1))
    angles = 2 * np.pi * step * np.arange(count) / count + random.uniform(0, 6)
    radii = r * random.uniform(0.5, 1, count)
    points = np.stack((x + radii * np.cos(angles), y + radii * np.sin(angles)), axis=1)
    return "M" + " ".join(f"{a:.4f},{b:.4f}" for a, b in points) + "Z"


def _curve(random: Random, x: float, y: float, r: float) -> str:
    points = np.array([x, y]) + random.uniform(-r, r, (10, 2))
    a, *rest = [f"{p:.4f},{q:.4f}" for p, q in points]
    return f"M{a}C{' '.join(rest[:3])}C{' '.join(rest[3:6])}Q{' '.join(rest[6:8])}T{rest[8]}Z"


def _ring(random: Random, x: float, y: float, r: float) -> str:
    inner, sweep = r * random.uniform(0.2, 0.8), int(random.integers(2))
    flat = random.uniform(0.5, 1)

    def ellipse(radius: float, way: int) -> str:
        arc = f"A{radius:.4f} {radius * flat:.4f} 0 0 {way} "
        return f"M{x - radius:.4f} {y:.4f}{arc}{x + radius:.4f} {y:.4f}{arc}{x - radius:.4f} {y:.4f}Z"

    return ellipse(r, 1) + ellipse(inner, sweep)


def by_tile(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the sums over the tiles of a square picture, as areas in mm2."""
    size = PIXELS // TILES
    return np.asarray(values.reshape(TILES, size, TILES, size).sum(axis=(1, 3))) * (SIDE / PIXELS) ** 2


@pytest.fixture(scope="module")
def rendered() -> list[npt.NDArray[np.float64]]:
    sized = [
        drawing(seed).replace(f'width="{SIDE}mm" height="{SIDE}mm"', f'width="{PIXELS}" height="{PIXELS}"')
        for seed in SEEDS
    ]
    return pictures(sized)


@pytest.mark.parametrize("seed", SEEDS)
def test_areas_agree_tile_by_tile(seed: int, rendered: list[npt.NDArray[np.float64]]) -> None:
    seen = preflight.read(drawing(seed).encode()).appearance()
    picture = rendered[seed]
    assert picture.shape[:2] == (PIXELS, PIXELS)
    tile, pixel = SIDE / TILES, SIDE / PIXELS
    for channel, colour in enumerate(COLOURS):
        drawn = by_tile(picture[..., channel] * picture[..., 3])
        region = seen.get(colour, shapely.MultiPolygon())
        for row in range(TILES):
            for column in range(TILES):
                x, y = column * tile, row * tile
                part = shapely.intersection(region, shapely.box(x, y, x + tile, y + tile))
                # The renderer samples edges in quarters of a pixel: a tenth of a pixel along every edge.
                allowed = 0.1 * pixel * part.length + 4 * pixel**2
                assert part.area == pytest.approx(drawn[row, column], abs=allowed), (colour, row, column)
    total = sum(region.area for region in seen.values())
    assert total == pytest.approx(float(by_tile(picture[..., 3]).sum()), rel=0.002)
    assert total > 50
