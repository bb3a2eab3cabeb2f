"""How a film that is wider than its roll may be parted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from preflight.job.values import Quantity

Seams = Literal["vertical", "horizontal"]
"""How seams run on the sign: vertical ones lie side by side, horizontal ones above each other."""


class PanelOptions(BaseModel):
    """How panels may be made. ``PanelOptions()`` holds the stock values; lengths mm."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    seams: Annotated[
        Literal["auto", "vertical", "horizontal"],
        Field(
            description="How seams run on the sign; “auto”: the way that cuts fewer parts, then has fewer "
            "panels, then fewer seams through film, then vertical. Directional film allows vertical ones only"
        ),
    ] = "auto"
    prefer: Annotated[
        Literal["whole-parts", "fewest-panels"],
        Field(
            description="What goes first: that no letter is cut which could stay whole, or that there are as few "
            "panels as possible"
        ),
    ] = "whole-parts"
    marks: Annotated[
        bool, Field(description="Whether registration marks are cut outside the graphic at every seam")
    ] = True
    mark_arm: Annotated[
        Annotated[float, Quantity("length", 0, 50, above=True)] | None,
        Field(
            description="Width of a mark’s arms, mm, of which it is three wide; none: the narrowest part that "
            "the film holds, 2 mm at least"
        ),
    ] = None
    stagger: Annotated[
        float,
        Quantity("length", 0, 1000),
        Field(description="Seams of films that lie on each other keep so far apart where they can, mm"),
    ] = 30.0

    @classmethod
    def parse(
        cls, data: bytes | str | Mapping[str, Any], format: Literal["json", "toml"] | None = None
    ) -> PanelOptions:
        """Return the options that TOML, JSON or a table states; raises `JobError`, one line a problem."""
        from preflight.job.parse import parse_settings  # noqa: PLC0415  (as `Job.parse` does)

        return parse_settings(cls, data, format, what="options")
