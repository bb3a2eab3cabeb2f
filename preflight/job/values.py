"""Kinds of value that a job's settings are made of: quantities with units, and colours."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal

import tinycss2.color3
from pydantic import BeforeValidator, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from preflight.errors import LONGEST_QUOTE, quoted
from preflight.units import LengthError, format_length, parse_length


@dataclass(frozen=True, slots=True)
class Quantity:
    """Annotation of a float that people may write with its unit.

    ``low`` and ``high`` are the allowed range, ``low`` itself excluded where ``above`` is set. Lengths
    take all units of `preflight.units` and become mm; areas are mm2 and angles degrees.
    """

    what: Literal["length", "area", "angle", "number"]
    low: float
    high: float
    above: bool = False

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Read, then check the range; the float schema inside is what JSON is written with."""
        return core_schema.no_info_before_validator_function(self.read, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Publish the range for numbers, and that a text with a unit is taken too."""
        number: dict[str, Any] = {
            "type": "number",
            "exclusiveMinimum" if self.above else "minimum": self.low,
            "maximum": self.high,
        }
        text = {"type": "string", "description": f"The same as text: {self._example()}"}
        return {"anyOf": [number, text]}

    def read(self, value: object) -> float:
        """Return ``value`` in mm, mm2, degrees or as a bare number."""
        number = self._number(value)
        if (
            not math.isfinite(number)
            or number > self.high
            or number < self.low
            or (self.above and number == self.low)
        ):
            raise PydanticCustomError(
                "out_of_range", "{text}", {"text": f"{self._given(value)} is out of range: {self.allowed()}."}
            )
        return number

    def allowed(self) -> str:
        """Return the allowed range in words."""
        low, high = self.shown(self.low), self.shown(self.high)
        return f"more than {low}, up to {high}" if self.above else f"{low} to {high}"

    def _number(self, value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise PydanticCustomError(
                "bad_quantity", "{text}", {"text": f"{quoted(value)} is no {self.what}. {self._advice()}"}
            )
        if self.what == "length":
            try:
                return parse_length(value)
            except LengthError as error:
                raise PydanticCustomError("bad_quantity", "{text}", {"text": str(error)}) from None
        if isinstance(value, str):
            return self._from_text(value)
        try:
            return float(value)
        except OverflowError:
            return math.inf

    def _from_text(self, text: str) -> float:
        suffix = {"area": r"(?:mm2|mm²|mm\^2)?", "angle": r"(?:deg|degrees?|°)?"}.get(self.what, "")
        match = re.fullmatch(rf"\s*([+-]?(?:\d+\.?\d*|\.\d+))\s*{suffix}\s*", text[: LONGEST_QUOTE + 1])
        if match is None:
            raise PydanticCustomError(
                "bad_quantity", "{text}", {"text": f"{quoted(text)} is no {self.what}. {self._advice()}"}
            )
        return float(match[1])

    def _given(self, value: object) -> str:
        return quoted(value) if isinstance(value, str) else f"{quoted(value)[1:-1]}{self._suffix()}"

    def _suffix(self) -> str:
        return {"length": " mm", "area": " mm²", "angle": "°", "number": ""}[self.what]

    def shown(self, number: float) -> str:
        """Return a value of this quantity with its unit."""
        if self.what == "length" and number >= 0.01:
            return format_length(number)
        return f"{number:g}{self._suffix()}"

    def _example(self) -> str:
        return {"length": "“610 mm” or “24 in”", "area": "“4 mm2”", "angle": "“45 deg”", "number": "“4”"}[
            self.what
        ]

    def _advice(self) -> str:
        return f"Write for instance {self._example()}."


def read_colour(value: object) -> str:
    """Return a solid colour as ``#rrggbb`` in lower case.

    Takes what CSS Color 3 calls a colour without transparency: ``#rgb``, ``#rrggbb``, names,
    ``rgb()`` and ``hsl()``. Raises a validation error for anything else.
    """
    parsed = (
        tinycss2.color3.parse_color(value.strip())
        if isinstance(value, str) and len(value) <= LONGEST_QUOTE
        else None
    )
    if parsed is None or isinstance(parsed, str) or parsed.alpha != 1:
        raise PydanticCustomError(
            "bad_colour",
            "{text}",
            {
                "text": f"{quoted(value)} is no solid colour. "
                "Write it as “#rrggbb” or by its name, for instance “red”."
            },
        )
    steps = (round(min(max(part, 0.0), 1.0) * 255) for part in (parsed.red, parsed.green, parsed.blue))
    return "#" + "".join(f"{step:02x}" for step in steps)


def read_scale(value: object) -> object:
    """Return a drawing scale such as ``1:10`` as the factor to the finished size, here 10."""
    match = (
        re.fullmatch(r"\s*(\d+\.?\d*)\s*:\s*(\d+\.?\d*)\s*", value[:LONGEST_QUOTE])
        if isinstance(value, str)
        else None
    )
    if match is None:
        return value
    drawn, finished = float(match[1]), float(match[2])
    return finished / drawn if drawn else math.inf


Colour = Annotated[str, BeforeValidator(read_colour)]
