"""What is ordered, and how it may lie on the roll."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from preflight.artwork import Artwork
from preflight.job.model import Name
from preflight.job.values import Quantity

Turns = Literal["as-drawn", "quarter", "any"]
Spread = Literal["graphic", "parts"]

MOST_LINES = 50


class LayoutOptions(BaseModel):
    """How an order may lie on the roll. ``LayoutOptions()`` holds the stock values; lengths mm."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    turns: Annotated[
        Turns, Field(description="How pieces may be turned; nothing is turned on directional film")
    ] = "quarter"
    copies: Annotated[
        int, Field(ge=1, le=2000, description="Copies of every order line that states no other number")
    ] = 1
    spread: Annotated[
        Spread,
        Field(
            description="“graphic”: the whole cut of a film is one piece, which keeps its letters’ places; "
            "“parts”: every separate part is a piece of its own, to be laid by hand"
        ),
    ] = "graphic"
    keep_upright: Annotated[
        tuple[Name, ...], Field(description="Names of order lines that stay as drawn, whatever turns says")
    ] = ()
    interlock: Annotated[
        bool,
        Field(
            description="Whether a graphic of several parts may reach in between another’s; it can then not be "
            "taped as one sheet. false: each keeps its convex hull to itself"
        ),
    ] = False
    fill_holes: Annotated[bool, Field(description="Whether pieces may lie in the holes of others")] = False
    gap: Annotated[
        Annotated[float, Quantity("length", 0, 1000)] | None,
        Field(description="Least distance between two pieces, mm; none: the roll’s weed border"),
    ] = None
    nest: Annotated[
        bool,
        Field(description="Whether to search for a close arrangement of outlines; false: boxes side by side"),
    ] = True
    seconds: Annotated[
        float, Quantity("number", 2, 600), Field(description="Time for the search, shared by all films, s")
    ] = 10.0
    seed: Annotated[int, Field(ge=0, le=2**32 - 1, description="Where the search begins")] = 1

    @classmethod
    def parse(
        cls, data: bytes | str | Mapping[str, Any], format: Literal["json", "toml"] | None = None
    ) -> LayoutOptions:
        """Return the options that TOML, JSON or a table states; raises `JobError`, one line a problem."""
        from preflight.job.parse import parse_settings  # noqa: PLC0415  (as `Job.parse` does)

        return parse_settings(cls, data, format, what="options")


@dataclass(frozen=True, eq=False)
class OrderLine:
    """One artwork of an order, as read (not scaled). What is left out comes from the options."""

    artwork: Artwork
    copies: int | None = None
    name: str = ""
    """What the order calls it; left out, the file's name."""
    keep_upright: bool = False
