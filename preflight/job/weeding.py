"""Where weed lines may go, as a job states it."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from preflight.job.stock import stock
from preflight.job.values import Quantity

_STOCK = stock().weeding


class WeedingSpec(BaseModel):
    """Where extra cuts in the waste may go."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    clearance: Annotated[
        float,
        Quantity("length", 0, 50, above=True),
        Field(description="Least distance of a weed line from film that stays"),
    ] = _STOCK.clearance.value
    strip: Annotated[
        float,
        Quantity("length", 0, 100_000, above=True),
        Field(description="Waste is parted until its pieces are no longer than this, where there is room"),
    ] = _STOCK.strip.value
    least_strip: Annotated[
        float,
        Quantity("length", 0, 1000, above=True),
        Field(description="No strip narrower than this is parted off"),
    ] = _STOCK.least_strip.value
