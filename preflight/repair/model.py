"""What repairing works on and what it gives back."""

from __future__ import annotations

from dataclasses import dataclass, field

from pydantic import BaseModel, ConfigDict

from preflight.artwork import Artwork, Box
from preflight.curves import Path
from preflight.job import FilmSpec


class Action(BaseModel):
    """One thing that was changed. ``before`` and ``after`` are figures in ``unit``."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    step: str
    what: str
    film: str | None = None
    box: Box | None = None
    before: float | None = None
    after: float | None = None
    unit: str | None = None


class FilmProof(BaseModel):
    """The comparison made again for one film; lengths in mm, areas in mm2."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    film: str
    crossings_mm: float
    double_cuts_mm: float
    cuts_in_waste_mm: float
    open_contours: int
    difference_mm2: float
    difference_thickness_mm: float
    largest_deviation_mm: float
    nodes_before: int
    nodes_after: int


class Proof(BaseModel):
    """Whether the repaired artwork was proved to look like the original and to be free of faults."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    proved: bool
    reasons: tuple[str, ...]
    """Why it is not proved; empty where it is."""
    films: tuple[FilmProof, ...]
    raster_pixels: int
    """Size in pixels of the longer side of the independent picture comparison."""
    raster_difference_mm2: float
    raster_difference_thickness_mm: float
    claim: str = "Geometry proved; test-cut first."


@dataclass(frozen=True, eq=False)
class Part:
    """A filled outline in mm that belongs to a film. ``nodes`` is how many its source had."""

    path: Path
    evenodd: bool
    nodes: int


@dataclass(eq=False)
class Draft:
    """One film while it is being repaired."""

    key: str
    name: str
    colour: str
    spec: FilmSpec
    path: Path
    knife: Path = field(default_factory=Path.empty)
    nodes_before: int = 0


@dataclass(frozen=True, eq=False)
class Repaired:
    """What `preflight.repair` returns."""

    artwork: Artwork
    actions: tuple[Action, ...]
    proof: Proof
