"""What is told about weeding one film. Lengths mm, areas mm2, at the finished size, places as drawn."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Point = tuple[float, float]
Box = tuple[float, float, float, float]
Grade = Literal["easy", "moderate", "slow", "hard"]
LineKind = Literal["row", "gap", "relief", "inside"]


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Fragile(_Model):
    """A piece or place that may tear, stretch or come off with the waste."""

    what: Annotated[
        Literal["small-piece", "narrow-part", "point", "small-hole"],
        Field(description="A small piece that stays, a narrow part, a long point, or a small piece to pick"),
    ]
    at: Point
    box: Box
    size: Annotated[float, Field(description="Width of a narrow part in mm, area of the others in mm2")]


class Term(_Model):
    """One term of the difficulty: ``points`` is ``value`` times ``weight``."""

    key: str
    words: str
    value: float
    unit: str
    weight: float
    points: float


class Difficulty(_Model):
    """How hard weeding is: the sum of its terms times the film's factor.

    No published formula exists. Terms and weights are our own rule of thumb; they only compare one job
    with another.
    """

    terms: tuple[Term, ...]
    film_factor: Annotated[float, Field(description="How the kind of film bears pulling; rule of thumb")]
    points: float
    grade: Grade
    complete: Annotated[bool, Field(description="False: narrow parts could not be judged and are not in it")]
    basis: str


class Hands(_Model):
    """Working time by rule of thumb, a range and no promise; s."""

    least: float
    most: float
    basis: str


class WeedLine(_Model):
    """A proposed straight cut in the waste, from ``start`` to ``end``."""

    kind: Annotated[
        LineKind,
        Field(
            description="Between rows, at a gap within a row, in from the edge of the waste, or in an enclosed piece"
        ),
    ]
    start: Point
    end: Point
    length: float


class FilmWeeding(_Model):
    """Weeding of one film."""

    film: str
    polarity: Literal["shapes", "surround"]
    stays: Annotated[int, Field(description="Separate pieces that stay")]
    removed: Annotated[int, Field(description="Separate pieces of waste, the surround among them")]
    enclosed: Annotated[int, Field(description="Pieces of waste with film that stays all around them")]
    waste_area: Annotated[
        float, Field(description="Waste within the weed border, mm2; film outside it is not counted")
    ]
    frame: Annotated[
        Box | None,
        Field(description="Weed border: a cut all around. None where what surrounds the shapes stays"),
    ]
    fragile: tuple[Fragile, ...]
    difficulty: Difficulty
    lines: tuple[WeedLine, ...]
    line_length: Annotated[float, Field(description="Length of all proposed weed lines, border not counted")]
    hands: Hands
