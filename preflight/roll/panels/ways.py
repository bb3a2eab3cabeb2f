"""Which way to part a film: seams that run vertically on the sign, or horizontally."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.analysis import Analysis
from preflight.films import Film
from preflight.job import Roll
from preflight.roll.fit import SLACK
from preflight.roll.panels.harm import Around, Harms
from preflight.roll.panels.options import PanelOptions, Seams
from preflight.roll.panels.ordering import Order, order_of
from preflight.roll.panels.parts import Across, Widths
from preflight.roll.panels.seams import Parting, part
from preflight.roll.panels.view import as_put_up, crosswise


@dataclass(frozen=True, slots=True)
class Taken:
    """Seams through film of a film that is planned already: films above it keep away from them."""

    run: Seams
    positions: tuple[float, ...]
    region: BaseGeometry


@dataclass(frozen=True, eq=False)
class Asked:
    """One film and how it may be parted; ``region`` mm as the sign is put up, not empty."""

    analysis: Analysis
    film: Film
    roll: Roll
    region: BaseGeometry
    widths: Widths
    options: PanelOptions
    taken: Sequence[Taken]


@dataclass(frozen=True, eq=False)
class Way:
    """One way to part a film: how its seams run, and where."""

    run: Seams
    across: Across
    parting: Parting
    order: Order
    too_long: bool
    """Whether even one panel is longer than what is left of the roll."""


def best_way(asked: Asked) -> Way:
    """Return the better way. Directional film may not be turned, and only vertical seams leave it unturned."""
    options = asked.options
    x0, y0, x1, y1 = asked.region.bounds
    whole = min(x1 - x0, y1 - y0) <= asked.widths.room + SLACK
    runs: tuple[Seams, ...] = ("vertical", "horizontal")
    if asked.film.spec.directional:
        runs = ("vertical",)
    elif options.seams != "auto" and not whole:
        runs = (options.seams,)

    def rank(way: Way) -> tuple[bool, int, int, int]:
        first = way.parting.cuts if len(runs) == 1 else _cut_needlessly(way, asked.widths.room)
        second = way.parting.panels
        if options.prefer == "fewest-panels":
            first, second = second, first
        return (way.too_long, first, second, int(way.across.meets(way.parting.seams).sum()))

    return min((_one_way(asked, run) for run in runs), key=rank)


def _cut_needlessly(way: Way, room: float) -> int:
    """Return how often seams go through parts that would fit on one panel, parted this way or the other."""
    boxes = shapely.bounds(way.across.parts)
    could_be_whole = (boxes[:, 2:] - boxes[:, :2]).min(axis=1) <= room
    return sum(int(could_be_whole[way.across.crossed(u)].sum()) for u in way.parting.seams.tolist())


def _one_way(asked: Asked, run: Seams) -> Way:
    across = Across(crosswise(asked.region, run), asked.widths)
    narrow = np.zeros((0, 2))
    if across.end - across.start > asked.widths.room + SLACK:
        narrow = _narrow(asked, run)
    under = [
        u
        for other in asked.taken
        if other.run == run and shapely.intersects(other.region, asked.region)
        for u in other.positions
    ]
    around = Around(asked.film.limits.solid_part.warning, narrow, under, asked.options.stagger)
    fewest = asked.options.prefer == "fewest-panels"
    parting = part(across, Harms(across, around), fewest_panels=fewest)
    _, v0, _, v1 = across.region.bounds
    long = v1 - v0 + 2 * asked.roll.weed_border + 2 * asked.roll.lead
    too_long = asked.roll.length is not None and long > asked.roll.length + SLACK
    return Way(run, across, parting, order_of(asked.analysis.job, run), too_long)


def _narrow(asked: Asked, run: Seams) -> np.ndarray:
    """Return where the film's thin parts begin and end across the seams, (n, 2)."""
    boxes = [as_put_up(asked.analysis, shapely.box(*place.box)).bounds for place in asked.film.thin]
    low, high = (0, 2) if run == "vertical" else (1, 3)
    return np.array([(box[low], box[high]) for box in boxes]).reshape(-1, 2)
