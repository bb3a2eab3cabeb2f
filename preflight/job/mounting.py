"""Where the finished work is put up, and at what temperature its film may be applied.

Nothing here has a stock value: what a job does not state is not known, and a job sheet says so.
"""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from preflight.errors import LONGEST_QUOTE
from preflight.job.values import Quantity

Place = Literal["board", "wall", "window", "vehicle", "vehicle-window", "banner", "ground-stake"]

_Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
_TapeWidth = Annotated[float, Quantity("length", 0, 10_000, above=True)]


def read_temperature(value: object) -> object:
    """Return a temperature such as ``50 °F`` or ``10 C`` as degrees Celsius; anything else as it is."""
    match = (
        re.fullmatch(r"\s*([+-]?\d+\.?\d*)\s*°?\s*([CF])\s*", value[: LONGEST_QUOTE + 1])
        if isinstance(value, str)
        else None
    )
    if match is None:
        return value
    degrees = float(match[1])
    return degrees if match[2] == "C" else (degrees - 32) / 1.8


_Celsius = Annotated[float, Quantity("number", -50, 150), BeforeValidator(read_temperature)]


class Temperature(BaseModel):
    """The window in °C in which a film may be applied, as its maker's bulletin states it."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    least: Annotated[_Celsius, Field(description="Lowest temperature to apply at, °C; or “50 °F”")]
    most: Annotated[
        _Celsius | None, Field(description="Highest temperature to apply at, °C; none: the bulletin has none")
    ] = None
    bulletin: Annotated[_Text, Field(description="The bulletin that states it, with its number and date")]

    @model_validator(mode="after")
    def _ordered(self) -> Temperature:
        if self.most is not None and self.most < self.least:
            text = f"least ({self.least:g} °C) must not be above most ({self.most:g} °C)."
            raise PydanticCustomError("temperature_order", "{text}", {"text": text})
        return self


class Mounting(BaseModel):
    """What the work is put on and how; all of it optional, for the job sheet and the plan of panels."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    place: Annotated[
        Place | None,
        Field(description="What it is put on; vehicle is its painted body, vehicle-window its glass"),
    ] = None
    substrate: Annotated[
        _Text | None,
        Field(description="What that is made of, for instance “painted aluminium composite, 3 mm”"),
    ] = None
    front: Annotated[
        Literal["left", "right"] | None,
        Field(description="Side of the sign that is nearer to the vehicle’s front, to a person facing it"),
    ] = None
    tape_width: Annotated[_TapeWidth | None, Field(description="Width of the transfer tape at hand, mm")] = (
        None
    )
    ladder: Annotated[bool | None, Field(description="Put up from a ladder or steps")] = None
    roadside: Annotated[bool | None, Field(description="Stands at a road")] = None
    illuminated: Annotated[bool | None, Field(description="Lit by electricity, from inside or outside")] = (
        None
    )
