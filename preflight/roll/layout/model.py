"""The answer to how an order lies on the roll. Lengths mm, areas m2, turns in degrees.

Places on the roll: x across it from its left edge, y along it from the sheet's leading edge, seen from
the film's face with the feed downwards. Turns run from x towards y.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from preflight.roll.layout.options import LayoutOptions, Turns
from preflight.roll.panels.model import PanelPlan

Verdict = Literal["fits", "does-not-fit", "not-judged"]
Taken = Literal["as-drawn", "quarter", "any", "nested", "boxes"]
CLAIM = "Geometry only: whether the artwork will cut is the check's to say. Test-cut first."


class _Shown(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Way(_Shown):
    """One way for one copy of a piece to lie: what it takes, weed border on all sides and lead included."""

    way: Turns
    allowed: Annotated[bool, Field(description="Whether film and options allow this turn")]
    fits: Annotated[bool, Field(description="Whether width and what is left of the roll are enough")]
    turn_deg: float
    across_mm: Annotated[float, Field(description="With the weed border on both sides")]
    along_mm: Annotated[float, Field(description="With the weed border and the lead at both ends")]


class LargestScale(_Shown):
    """The largest size at which one copy fits, as a factor on the finished size."""

    factor: Annotated[float, Field(description="Rounded down in the sixth place")]
    turn_deg: float
    width_mm: Annotated[float, Field(description="Width of the cut, as drawn, at that size")]
    height_mm: Annotated[float, Field(description="Height of the cut, as drawn, at that size")]


class PieceShown(_Shown):
    """A piece of one film; its places are those of the artwork at its finished size."""

    key: Annotated[str, Field(description="Number of the order line, with parts a point and the part’s")]
    line: Annotated[int, Field(description="Number of the order line, from 1")]
    copies: int
    width_mm: Annotated[float, Field(description="Width of the cut as drawn")]
    height_mm: Annotated[float, Field(description="Height of the cut as drawn")]
    area_m2: Annotated[float, Field(description="Film that stays of one copy")]
    upright: Annotated[bool, Field(description="Whether it must not be turned")]
    ways: tuple[Way, ...] = ()
    largest: Annotated[LargestScale | None, Field(description="None where no roll is stated")] = None


class Placed(_Shown):
    """One copy on the roll: the piece turned about the artwork's origin, then moved."""

    piece: str
    turn_deg: float
    x_mm: float
    y_mm: float
    box: Annotated[
        tuple[float, float, float, float], Field(description="Its cut on the roll: x0, y0, x1, y1")
    ]


class RollShown(_Shown):
    """The roll's figures that the layout rests on."""

    width_mm: float
    usable_width_mm: float
    margin_mm: Annotated[float, Field(description="Edge on each side that the rollers need")]
    weed_border_mm: Annotated[float, Field(description="Strip of waste around all cuts")]
    gap_mm: Annotated[float, Field(description="Least distance between two pieces")]
    lead_mm: Annotated[float, Field(description="Film before the first border and after the last")]
    length_mm: Annotated[float | None, Field(description="Left on the roll before the cut; none: not stated")]
    price: Annotated[float | None, Field(description="Of a square metre, in the shop’s money")]


class Use(_Shown):
    """What a film's layout takes."""

    cut_length_mm: Annotated[float, Field(description="From the first cut to the last")]
    film_length_mm: Annotated[
        float, Field(description="Film that comes off the roll, borders and lead included")
    ]
    film_area_m2: Annotated[float, Field(description="That length in the roll’s whole width")]
    pieces_area_m2: Annotated[float, Field(description="Film that stays of all copies")]
    waste_m2: float
    share_used: Annotated[float, Field(description="Share of the film that stays, 0 to 1")]
    cost: Annotated[float | None, Field(description="None where no price is stated")]
    left_mm: Annotated[
        float | None, Field(description="Left on the roll afterwards, below 0 where it is too short")
    ]


class Search(_Shown):
    """How an arrangement of several pieces was found."""

    engine: Literal["rectangles", "irregular"]
    ended: Literal["complete", "cancelled", "out-of-time"]


class LinePanels(_Shown):
    """How one order line's film is parted, since it is too wide for the roll at every turn allowed."""

    line: Annotated[int, Field(description="Number of the order line")]
    plan: Annotated[PanelPlan | None, Field(description="Of one copy; none where it cannot be parted")]
    problem: Annotated[str | None, Field(description="Why it cannot be parted")] = None


class FilmLayout(_Shown):
    """One film of the order on its roll."""

    film: str
    colour: str
    directional: bool
    verdict: Verdict
    reason: Annotated[str, Field(description="In a sentence, for the operator")]
    panels_needed: Annotated[
        bool, Field(description="Whether a piece is too wide for the roll at every turn allowed")
    ] = False
    panels: Annotated[
        tuple[LinePanels, ...],
        Field(description="Panels of the lines that need them; of whole graphics only"),
    ] = ()
    roll: RollShown | None = None
    pieces: tuple[PieceShown, ...]
    way: Annotated[Taken | None, Field(description="The way taken; none where nothing could be laid")] = None
    placements: tuple[Placed, ...] = ()
    use: Use | None = None
    search: Search | None = None


class LineShown(_Shown):
    """One line of the order."""

    number: int
    name: str
    copies: int
    width_mm: Annotated[float, Field(description="Width of the drawing area at the finished size")]
    height_mm: float
    size_stated: bool
    mirrored: Annotated[bool, Field(description="Whether it is cut mirrored, to go behind glass")]
    largest: Annotated[
        float | None,
        Field(
            description="Largest factor on the finished size at which every film of it fits; none: not judged"
        ),
    ]
    limiting_film: Annotated[str | None, Field(description="The film that sets it")]


class Layout(_Shown):
    """How an order lies on the roll, film by film."""

    version: str
    verdict: Verdict
    summary: str
    options: LayoutOptions
    lines: tuple[LineShown, ...]
    films: tuple[FilmLayout, ...]
    film_area_m2: Annotated[float | None, Field(description="Of all films; none where one is not laid")]
    cost: Annotated[
        float | None, Field(description="Of all films; none where one has no price or is not laid")
    ]
    notes: tuple[str, ...] = ()
    claim: str = CLAIM
