"""What stands on a job sheet, as plain data: every number is computed from the artwork and the job.

Lengths mm, areas mm2, times s, temperatures °C, at the finished size. None always means: not known. What
is a rule of thumb and no figure of this job is marked as such where it is put into words.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from preflight.job import FilmKind, Temperature, Use
from preflight.job.mounting import Place
from preflight.report.model import Verdict
from preflight.roll.panels import PanelPlan
from preflight.weeding import Difficulty, Hands, WeedLine

Box = tuple[float, float, float, float]


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class RollSheet(_Model):
    """How a film lies on its roll; ``across`` and ``along`` include weed border, ``along`` the lead as well."""

    width: float
    margin: float
    machine_width: float | None
    usable_width: float
    weed_border: float
    lead: float
    left_on_roll: float | None
    fits: bool
    turned: bool = Field(description="Turned a quarter: the drawing's height runs across the roll")
    across: float
    along: float = Field(description="Length of film to take from the roll")
    reason: str
    margin_stated: bool
    weed_border_stated: bool
    lead_stated: bool


class Weeding(_Model):
    """What stays, what comes off, and what needs care."""

    stays: int = Field(description="Separate pieces that stay")
    removed: int = Field(description="Separate pieces of waste to pull off, the surround among them")
    holes: int = Field(description="Pieces of waste enclosed by film that stays")
    small_stays: int = Field(description="Pieces that stay and are smaller than the film's limit")
    small_removed: int = Field(description="Holes smaller than the film's limit")
    small_area: float = Field(description="That limit, mm2")
    smallest: tuple[float, float] | None = Field(
        description="Sides of the smallest rectangle round the piece of least area that stays, short one first"
    )
    narrow: int | None = Field(description="Narrow places that stay; None: not judged")
    narrowest: float | None
    difficulty: Difficulty
    hands: Hands
    frame: Box | None = Field(description="The weed border around what stays; None: what surrounds it stays")
    lines: tuple[WeedLine, ...] = Field(description="The proposed cuts")
    weed_lines: int = Field(description="Proposed cuts in the waste; none comes near film that stays")
    weed_lines_length: float


class Tape(_Model):
    """Transfer tape for one film: as wide as the graphic, so that one sheet covers every character."""

    width: float = Field(description="Least width: the graphic's shorter side")
    length: float = Field(description="Least length: the graphic's longer side")
    widest_piece: tuple[float, float] = Field(
        description="Width and height of the largest single piece, which no tape may be parted over"
    )
    at_hand: float | None = Field(description="Width of the tape that the job states")
    one_sheet: bool | None = Field(description="Whether that covers the graphic in one sheet")


class Placement(_Model):
    """Distances of a film's cut from the drawing area's edges, as seen from where it is applied."""

    left: float
    right: float
    top: float
    bottom: float


class FilmSheet(_Model):
    """One film, from the roll to the sign."""

    name: str
    colour: str | None = Field(description="#rrggbb in the drawing; None: it is painted with no plain colour")
    kind: FilmKind
    thickness: float
    thickness_stated: bool
    kind_stated: bool
    directional: bool
    area: float = Field(description="Film that stays, mm2")
    width: float
    height: float
    outline: tuple[tuple[tuple[float, float], ...], ...] = Field(
        description="Rings of what stays, as drawn, even-odd, as finely as the sheet shows them"
    )
    cut_length: float
    contours: int
    cut_seconds: float | None
    roll: RollSheet | None
    panels: PanelPlan | None = Field(description="Where it is too wide for its roll: how it is parted")
    weeding: Weeding
    tape: Tape
    placement: Placement
    temperature: Temperature | None


class Laying(_Model):
    """In which order the films go on; names of films, the first to be laid first."""

    order: tuple[str, ...]
    entangled: tuple[str, ...] = Field(
        description="Films that lie both under and over one another, so that no order of whole sheets is right"
    )
    mirror: Literal["no", "mirror", "mirrored-already"]


class Hinge(_Model):
    """Where the hinge of tape and the marks go, from the drawing area's edges as seen when applying."""

    edge: Literal["top", "centre"]
    position: float = Field(
        description="Distance of the hinge from the top edge, or from the left for a centre one"
    )
    flipped: bool = Field(description="Seen when applying, left and right are changed against the drawing")
    marks: tuple[tuple[float, float], ...] = Field(description="Marks as (from the left, from the top)")


class Caution(_Model):
    """A caution, where it comes from, and whether the job says that it applies."""

    key: str
    text: str
    source: str
    why: str = Field(description="What of this job calls for it")
    certain: bool = Field(description="False: the job does not say whether it applies")


class Area(_Model):
    """A painted area in one colour, filled by the even-odd rule; rings in mm, closed by themselves."""

    colour: str
    rings: tuple[tuple[tuple[float, float], ...], ...]


class Unknown(_Model):
    """A box in mm where something stands whose shape is not known: live text, or a picture."""

    what: Literal["text", "picture"]
    box: Box


class Drawing(_Model):
    """The picture: what is seen, as drawn, in mm at the finished size; drawn at 1 to ``ratio``."""

    ratio: float = Field(description="Finished length over length on the sheet")
    ground: str | None = Field(description="Colour of the sign's own surface; None: not known")
    areas: tuple[Area, ...]
    unknown: tuple[Unknown, ...]


class JobSheet(_Model):
    """Everything on the sheet."""

    tool_version: str
    title: str
    sha256: str
    job_sha256: str
    verdict: Verdict
    summary: str
    faults: tuple[str, ...] = Field(description="Titles of the errors that the check found")
    width: float
    height: float
    size_stated: bool
    scale: float
    drawing: Drawing
    art_box: Box = Field(description="Bounds of all cuts, from the drawing area's top left, as drawn")
    use: Use
    use_stated: bool
    surface: Literal["first", "second"]
    place: Place | None
    substrate: str | None
    blade_offset: float
    blade_angle: float
    offset_stated: bool
    angle_stated: bool
    polarity: Literal["shapes", "surround"]
    films: tuple[FilmSheet, ...]
    loose_lines: float = Field(description="Length of knife lines that belong to no film")
    laying: Laying
    hinge: Hinge
    cautions: tuple[Caution, ...]
    time_basis: str
    claim: str
