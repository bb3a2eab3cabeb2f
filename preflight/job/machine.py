"""The machine that cuts and the blade in it, as a job states them."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from preflight.job.stock import stock
from preflight.job.values import Quantity

_STOCK = stock()


class _Settings(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Blade(_Settings):
    """The blade in its holder: offset mm, angle degrees, corner tolerance mm."""

    offset: Annotated[
        float, Quantity("length", 0, 2), Field(description="Distance from the pivot's axis to the tip, mm")
    ] = _STOCK.blade.offset.value
    angle: Annotated[float, Quantity("angle", 20, 70), Field(description="Cutting angle, degrees")] = (
        _STOCK.blade.angle.value
    )
    corner_tolerance: Annotated[
        float,
        Quantity("length", 0, 5, above=True),
        Field(description="Error at corners that is accepted, mm"),
    ] = _STOCK.blade.corner_tolerance.value
    overcut: Annotated[
        Annotated[float, Quantity("length", 0, 20)] | None,
        Field(description="How far past its start a closed contour is cut, mm; none: one blade offset"),
    ] = None

    @property
    def overcut_length(self) -> float:
        """How far past its start a closed contour is cut, mm: as stated, else from the offset."""
        return _STOCK.blade.overcut.value * self.offset if self.overcut is None else self.overcut


class MachineSpec(_Settings):
    """How fast the machine moves, and how much film it cuts before the next is fed."""

    speed: Annotated[
        float, Quantity("number", 0, 10_000, above=True), Field(description="Highest speed of cutting, mm/s")
    ] = _STOCK.machine.speed.value
    acceleration: Annotated[
        float, Quantity("number", 0, 1_000_000, above=True), Field(description="Of cutting, mm/s²")
    ] = _STOCK.machine.acceleration.value
    travel_speed: Annotated[
        float,
        Quantity("number", 0, 10_000, above=True),
        Field(description="Highest speed with the knife up, mm/s"),
    ] = _STOCK.machine.travel_speed.value
    travel_acceleration: Annotated[
        float, Quantity("number", 0, 1_000_000, above=True), Field(description="With the knife up, mm/s²")
    ] = _STOCK.machine.travel_acceleration.value
    cornering: Annotated[
        float,
        Quantity("length", 0, 10, above=True),
        Field(description="How far a corner may be rounded to take it faster, mm"),
    ] = _STOCK.machine.cornering.value
    drop: Annotated[
        float, Quantity("number", 0, 60), Field(description="Time the knife takes to go down, s")
    ] = _STOCK.machine.drop.value
    lift: Annotated[float, Quantity("number", 0, 60), Field(description="Time it takes to come up, s")] = (
        _STOCK.machine.lift.value
    )
    feed_window: Annotated[
        float,
        Quantity("length", 0, 1_000_000, above=True),
        Field(description="Length of film that is cut before the next is fed"),
    ] = _STOCK.machine.feed_window.value
