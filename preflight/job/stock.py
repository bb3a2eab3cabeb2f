"""The stock values: what a job takes where nobody states a value, read from ``data/stock.toml``."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

FilmKind = Literal["cast", "calendered", "translucent", "metallic", "reflective", "frosted", "mask"]
Use = Literal["interior", "exterior", "vehicle"]

Positive = Annotated[float, Field(gt=0)]
Pair = tuple[Positive, Positive]
"""Warning and error value of a minimum, in mm or mm2."""


class _Stock(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Sourced(_Stock):
    """A value and where it comes from."""

    value: Positive
    source: Annotated[str, Field(min_length=1)]


class BladeStock(_Stock):
    """Stock blade: offset in mm, angle in degrees, corner tolerance in mm, overcut in blade offsets."""

    offset: Sourced
    angle: Sourced
    corner_tolerance: Sourced
    overcut: Sourced


class MachineStock(_Stock):
    """Stock machine: mm/s, mm/s2, mm and s."""

    speed: Sourced
    acceleration: Sourced
    travel_speed: Sourced
    travel_acceleration: Sourced
    cornering: Sourced
    drop: Sourced
    lift: Sourced
    feed_window: Sourced


class RollStock(_Stock):
    """Stock distances on a roll, mm."""

    margin: Sourced
    weed_border: Sourced
    lead: Sourced


class WeedingStock(_Stock):
    """Stock distances of weed lines, mm."""

    clearance: Sourced
    strip: Sourced
    least_strip: Sourced


class Butting(_Stock):
    """Kinds of film whose edges meet instead of lapping."""

    kinds: frozenset[FilmKind]
    source: str


class ToleranceStock(_Stock):
    """Stock tolerances in mm; ``colour`` in steps of 255."""

    flattening: Sourced
    coincidence: Sourced
    join: Sourced
    colour: Sourced


class BladeOffsets(_Stock):
    """How many blade offsets a part and a gap measure at least."""

    solid_part: Positive
    gap: Positive
    source: str


class LimitStock(_Stock):
    """Limits that hold for every film."""

    hairline: Sourced
    blade_offsets: BladeOffsets


class ByUse(_Stock):
    """A pair of limits for each use."""

    interior: Pair
    exterior: Pair
    vehicle: Pair


class FilmStock(_Stock):
    """One kind of film: thickness in mm and limits as (warning, error) in mm or mm2."""

    thickness: Positive
    thickness_source: str
    solid_part: ByUse
    solid_part_source: str
    gap: Pair
    gap_source: str
    island_area: Pair
    island_area_source: str
    letter_height: ByUse
    letter_height_source: str
    seam_lap: Annotated[float, Field(ge=0)]
    """Lap of two panels where their seam crosses film, mm; 0: their edges meet."""
    seam_lap_source: str

    @model_validator(mode="after")
    def _ordered(self) -> FilmStock:
        by_use = (self.solid_part, self.letter_height)
        pairs = [pair for table in by_use for pair in (table.interior, table.exterior, table.vehicle)]
        if any(warning < error for warning, error in (*pairs, self.gap, self.island_area)):
            raise ValueError("a warning limit is below its error limit")
        return self


class Stock(_Stock):
    """All stock values."""

    blade: BladeStock
    machine: MachineStock
    roll: RollStock
    weeding: WeedingStock
    underlap: Sourced
    butting: Butting
    tolerances: ToleranceStock
    limits: LimitStock
    film: dict[FilmKind, FilmStock]


@cache
def stock() -> Stock:
    """Return the stock values that come with the package; the file is read once."""
    data = files("preflight").joinpath("data/stock.toml").read_text("utf-8")
    return Stock.model_validate(tomllib.loads(data))
