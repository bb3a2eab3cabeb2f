"""What is nested, on what, and how it lies. Lengths mm; x across the roll, y along it; turns in degrees."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely import Polygon
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

from preflight.curves import Floats
from preflight.errors import PreflightError

QUARTERS = (0.0, 90.0, 180.0, 270.0)
UPRIGHT = (0.0,)


class NestingError(PreflightError):
    """Pieces cannot be nested as asked; the message names the piece or the engine."""


@dataclass(frozen=True, eq=False)
class Piece:
    """One piece of an order.

    ``region`` is what is cut of it: a polygon, or several that keep their places to each other.
    ``turns`` are the turns it may lie at, degrees from x towards y; None: any. A piece of directional
    film, or one kept upright for another reason, has ``UPRIGHT``.
    """

    key: str
    region: BaseGeometry
    copies: int = 1
    turns: tuple[float, ...] | None = QUARTERS
    film: str = ""
    """The film it is cut from; pieces of different films never share a roll."""

    def at(self, turn: float, x: float, y: float) -> BaseGeometry:
        """Return the region turned by ``turn`` degrees about the origin, then moved by (x, y)."""
        return placed(self.region, turn, x, y)


def placed(region: BaseGeometry, turn: float, x: float, y: float) -> BaseGeometry:
    """Return ``region`` turned by ``turn`` degrees about the origin (x towards y), then moved by (x, y)."""
    quarter = turn / 90
    if quarter == round(quarter):  # exact, without the last digits of cos and sin
        cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
    else:
        cos, sin = float(np.cos(np.radians(turn))), float(np.sin(np.radians(turn)))
    moved: BaseGeometry = affine_transform(region, [cos, -sin, sin, cos, x, y])
    return moved


@dataclass(frozen=True, slots=True)
class Strip:
    """The film to nest on.

    ``width`` is what pieces may take across; ``gap`` the least distance between two pieces (the waste
    that is weeded between them); ``roll_width`` and ``lead`` (at both ends) count as film that is
    used. ``directional`` film turns nothing. ``price`` is money for each square metre of roll.
    """

    width: float
    gap: float = 0.0
    roll_width: float | None = None
    lead: float = 0.0
    directional: bool = False
    price: float | None = None
    length: float | None = None
    """What is left of the roll; None: enough."""

    def __post_init__(self) -> None:
        if not self.width > 0 or self.gap < 0 or self.lead < 0:
            raise NestingError(
                "nesting-strip",
                f"The strip is {self.width:g} mm wide with gaps of {self.gap:g} mm and a lead of "
                f"{self.lead:g} mm; the width must be more than 0 and the others not less.",
                "State the roll's usable width less its weed borders.",
            )


@dataclass(frozen=True, slots=True)
class Placement:
    """One copy of a piece: turned by ``turn`` degrees about its origin, then moved by (x, y)."""

    key: str
    turn: float
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Progress:
    """The best nesting so far: its length in mm and the share of the strip that pieces cover."""

    length: float
    density: float


Told = Callable[[Progress], None]
Asked = Callable[[], bool]
Engine = Literal["rectangles", "irregular"]
Ended = Literal["complete", "cancelled", "out-of-time"]


@dataclass(frozen=True, eq=False)
class Nesting:
    """Where all copies lie, checked; the strip begins at y = 0.

    ``length`` is from the first cut to the last, ``area`` that of all pieces (mm2). ``density`` compares
    area with the strip between those cuts; ``used`` with all film that comes off the roll.
    """

    placements: tuple[Placement, ...]
    length: float
    area: float
    strip: Strip
    engine: Engine
    ended: Ended = "complete"

    @property
    def density(self) -> float:
        """Area of the pieces over width times length."""
        return self.area / (self.strip.width * self.length)

    @property
    def film_length(self) -> float:
        """Film that comes off the roll, lead at both ends included, mm."""
        return self.length + 2 * self.strip.lead

    @property
    def film_area(self) -> float:
        """Film that comes off the roll in its whole width, mm2."""
        return self.film_length * (self.strip.roll_width or self.strip.width)

    @property
    def used(self) -> float:
        """Share of the film that ends up as pieces, 0 to 1."""
        return self.area / self.film_area

    @property
    def waste(self) -> float:
        """Film that is weeded or cut off, mm2."""
        return self.film_area - self.area

    @property
    def cost(self) -> float | None:
        """What the film costs, in the price's money; None where no price is stated."""
        return None if self.strip.price is None else self.film_area / 1e6 * self.strip.price

    @property
    def fits_roll(self) -> bool | None:
        """Whether the film left on the roll is enough; None: not stated."""
        return None if self.strip.length is None else self.film_length <= self.strip.length


def outline_of(region: BaseGeometry, bridge: float) -> Polygon:
    """Return one polygon without holes that covers ``region``: holes filled, parts joined.

    Parts nearer than about ``bridge`` to each other are joined by what lies between them; where that does
    not join all, the distance is doubled, and at last the convex hull taken.
    """
    filled = shapely.union_all([Polygon(p.exterior) for p in polygons_of(region)])
    if isinstance(filled, Polygon):
        return Polygon(filled.exterior)
    reach = max(bridge, 1e-3)
    x0, y0, x1, y1 = filled.bounds
    while reach < np.hypot(x1 - x0, y1 - y0):
        closed = filled.buffer(reach / 2, quad_segs=4).buffer(-reach / 2, join_style="mitre")
        joined = shapely.union(closed, filled)
        if isinstance(joined, Polygon):
            return Polygon(joined.exterior)
        reach *= 2
    return Polygon(shapely.get_exterior_ring(shapely.convex_hull(filled)))


def polygons_of(region: BaseGeometry) -> list[Polygon]:
    """Return the polygons with an area that ``region`` is made of."""
    return [part for part in shapely.get_parts(region, return_index=False) if part.area > 0]


def corners_of(region: BaseGeometry) -> Floats:
    """Return all vertices (n, 2) of a region."""
    found: Floats = shapely.get_coordinates(region)
    return found
