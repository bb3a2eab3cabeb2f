"""The report's model. Its JSON form is the public schema; ``schema_version`` moves with its meaning."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

SCHEMA_VERSION: Literal["1.0"] = "1.0"


class Severity(StrEnum):
    """How much a finding matters."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


class Verdict(StrEnum):
    """The report's one-word answer: fail with any error, warn with any warning, else pass."""

    PASS = "pass"
    WARN = "warn"
    FAIL = "fail"


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Place(_Model):
    """Somewhere on the artwork, in mm at the finished size, from the drawing area's top left, y down."""

    box: Annotated[
        tuple[float, float, float, float], Field(description="x0, y0, x1, y1 in mm at the finished size")
    ]
    point: Annotated[tuple[float, float], Field(description="The spot to look at, x and y in mm")]
    element: Annotated[str | None, Field(description="Path of the element in the file")] = None
    id: Annotated[str | None, Field(description="The element's id in the file")] = None
    layer: Annotated[str | None, Field(description="Name of the layer the element is on")] = None
    line: Annotated[int | None, Field(description="Line of the file, counted from 1")] = None
    measured: Annotated[float | None, Field(description="The value measured here, in the finding's unit")] = (
        None
    )


class Finding(_Model):
    """One thing that stands between the artwork and a clean cut."""

    code: Annotated[str, Field(description="Stable kebab-case code of the rule")]
    case: Annotated[str, Field(description="Stable kebab-case word for which of the rule's cases this is")]
    severity: Severity
    film: Annotated[str | None, Field(description="The film it is about, by its colour")] = None
    message: Annotated[str, Field(description="For a customer who has never cut film")]
    detail: Annotated[str, Field(description="For the operator")]
    measured: Annotated[float | None, Field(description="The worst value measured")] = None
    limit: float | None = None
    unit: Annotated[str | None, Field(description="Unit of measured and limit, for instance mm")] = None
    places: tuple[Place, ...] = ()
    places_total: Annotated[int, Field(description="How many places there are; at most the first are listed")]
    remedy: str
    repairable: Annotated[
        bool, Field(description="Whether it can be mended mechanically, without changing the look")
    ]
    fingerprint: Annotated[
        str, Field(description="Same for the same fault at the same spot, whatever else changes in the file")
    ]


class FilmMeasure(_Model):
    """What one film takes."""

    colour: Annotated[str, Field(description="#rrggbb")]
    name: Annotated[str, Field(description="The film's name in the job, or its colour")]
    role: str
    area_mm2: Annotated[float, Field(description="Area of film that stays")]
    cut_length_mm: Annotated[float, Field(description="Length the knife follows")]
    contours: int
    nodes: int
    bounds: tuple[float, float, float, float] | None
    smallest_part_mm: Annotated[
        float | None, Field(description="Narrowest solid part found up to the limit searched; null: none")
    ] = None
    smallest_gap_mm: Annotated[
        float | None, Field(description="Narrowest gap found up to the limit searched; null: none")
    ] = None


class Measures(_Model):
    """Figures about the artwork at its finished size."""

    width_mm: float
    height_mm: float
    scale: Annotated[float, Field(description="Finished size over the size in the file")]
    contours: int
    nodes: int
    cut_length_mm: float
    films: tuple[FilmMeasure, ...]


class RollFit(_Model):
    """Whether one film's cut lies on its roll, as drawn and turned a quarter."""

    film: str
    verdict: Literal["fits", "fits-turned", "does-not-fit", "not-judged"]
    reason: str
    usable_width_mm: float | None = None
    across_mm: Annotated[float | None, Field(description="Size across the roll, weed border included")] = None
    along_mm: Annotated[float | None, Field(description="Length of film taken, weed border included")] = None


class Assumption(_Model):
    """Something that nobody stated and the report had to take for granted."""

    subject: str
    taken: str
    why: str


class SourceInfo(_Model):
    """The file that was checked."""

    name: str | None
    format: str
    sha256: str
    size_bytes: int
    size_basis: str


class Report(_Model):
    """What a check found."""

    schema_version: Literal["1.0"] = SCHEMA_VERSION
    tool_version: str
    verdict: Verdict
    summary: Annotated[str, Field(description="One sentence for a customer")]
    source: SourceInfo
    job_sha256: Annotated[
        str, Field(description="Hash of the job's settings with all stock values filled in")
    ]
    findings: Annotated[tuple[Finding, ...], Field(description="Worst first")]
    measures: Measures
    roll: tuple[RollFit, ...]
    assumptions: tuple[Assumption, ...]
    not_judged: Annotated[
        tuple[str, ...], Field(description="Questions this report does not answer, and why")
    ]
    claim: Annotated[str, Field(description="What the report does and does not promise")]
