"""Published values that lettering is compared with, read from ``data/standards.toml``."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from preflight.units import MM_PER, parse_length

Length = Annotated[float, BeforeValidator(parse_length), Field(gt=0)]
"""A length in mm, written with its unit."""

INDICATION = "Only an indication, by a standard of the {country}: never a verdict of compliance."


class _Published(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class HeightRow(_Published):
    """One pair of rows of the table of character heights, mm."""

    baseline_up_to: Length | None = None
    near: Length
    height: Length
    step: Length

    def least_height(self, distance: float) -> float:
        """Return the least character height in mm at a viewing ``distance`` in mm."""
        return self.height + self.step * max(0.0, distance - self.near) / MM_PER["ft"]


class Share(_Published):
    """A range of a measure as a share of the character height."""

    section: str
    least: float
    most: float
    of: str


class Shares(_Published):
    """The shares that the standard gives."""

    proportion: Share
    stroke: Share
    character_spacing: Share
    line_spacing: Share


class AccessibleSigns(_Published):
    """What the standard says about visual characters on signs."""

    title: str
    country: str
    lowest_baseline: Length
    lowest_baseline_section: str
    source: str
    heights: tuple[HeightRow, ...]
    shares: Shares

    def least_height(self, baseline: float, distance: float) -> float | None:
        """Return the least character height in mm (table 703.5.5).

        ``baseline`` is the height of the characters' baseline above the floor or ground, ``distance``
        the horizontal viewing distance, both mm. None: the baseline is lower than the table begins.
        """
        if baseline < self.lowest_baseline:
            return None
        row = next(r for r in self.heights if r.baseline_up_to is None or baseline <= r.baseline_up_to)
        return row.least_height(distance)


class Legibility(_Published):
    """How far letters are read."""

    name: str
    feet_an_inch: Annotated[float, Field(gt=0)]
    source: str

    def least_height(self, distance: float) -> float:
        """Return the least letter height in mm that is read from ``distance`` mm."""
        return distance / (self.feet_an_inch * MM_PER["ft"]) * MM_PER["in"]


class Contrast(_Published):
    """The least contrast ratio of large letters and graphics with what lies around them."""

    least: float
    source: str


class Standards(_Published):
    """All published values."""

    accessible_signs: AccessibleSigns
    legibility: Annotated[tuple[Legibility, ...], Field(min_length=1)]
    contrast: Contrast


@cache
def standards() -> Standards:
    """Return the published values that come with the package; the file is read once."""
    data = files("preflight").joinpath("data/standards.toml").read_text("utf-8")
    return Standards.model_validate(tomllib.loads(data))
