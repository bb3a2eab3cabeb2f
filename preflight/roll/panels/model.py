"""The answer to how films are parted into panels. Lengths mm, areas mm2.

Places are those of the finished sign as whoever puts it up sees it, from the top left corner of the drawing
area, y down: behind glass that is mirrored to what a reader sees.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from preflight.artwork import Box
from preflight.job.stock import FilmKind
from preflight.roll.panels.options import PanelOptions, Seams

Verdict = Literal["whole", "panels", "not-judged"]
CLAIM = "Geometry only: the seams were chosen for shape, not for what the sign says. Test-cut first."


class _Shown(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class PartCut(_Shown):
    """One part of the film that a seam goes through."""

    box: Annotated[Box, Field(description="Its bounds: x0, y0, x1, y1")]
    area_mm2: Annotated[float, Field(description="Its area")]
    cut_mm: Annotated[float, Field(description="Length of film that the seam goes through")]
    could_be_whole: Annotated[bool, Field(description="Whether it is narrow enough for one panel")]
    shapes: Annotated[tuple[str, ...], Field(description="What draws it in the file, a few names at most")]


class Mark(_Shown):
    """A registration mark, there on both panels beside its seam; its centre on the sign."""

    x_mm: float
    y_mm: float
    from_graphic_mm: Annotated[
        float, Field(description="From the mark’s bounds to the nearest film of the sign")
    ]


class Seam(_Shown):
    """A straight seam between two panels."""

    number: Annotated[int, Field(description="From 1, from the left or from the top")]
    position_mm: Annotated[float, Field(description="x of a vertical seam, y of a horizontal one")]
    through_film: bool
    lap_mm: Annotated[
        float,
        Field(
            description="Overlap of the panels, half on each side of the seam; 0: they meet, or no film is crossed"
        ),
    ]
    gap_mm: Annotated[
        float | None,
        Field(description="Width of the empty strip it lies in; none where it goes through film"),
    ] = None
    cut_mm: Annotated[float, Field(description="Length of film that it goes through")] = 0.0
    parts: Annotated[
        tuple[PartCut, ...], Field(description="Parts it cuts, the longest cut first, 20 at most")
    ] = ()
    parts_total: int = 0
    holes_total: Annotated[int, Field(description="Counters and other openings that it goes through")] = 0
    panels: Annotated[
        tuple[int, int], Field(description="Numbers of the panels left and right, or above and below")
    ]
    first: Annotated[
        int | None, Field(description="Panel that goes on first; none: not known, or of no matter")
    ]
    on_top: Annotated[
        int | None, Field(description="Panel whose edge lies on top; none: as above, or none does")
    ]
    order: Annotated[str, Field(description="What goes first and why, in a sentence")]
    marks: tuple[Mark, ...] = ()


class PanelMark(_Shown):
    """A mark's centre in its panel's file, from the file's top left corner."""

    seam: int
    x_mm: float
    y_mm: float


class Panel(_Shown):
    """One panel: what is cut in one piece of the roll's width."""

    number: Annotated[int, Field(description="In the order in which panels are put on")]
    place: Annotated[int, Field(description="From 1, from the left or from the top")]
    box: Annotated[Box, Field(description="Bounds of its film on the sign, laps included")]
    area_mm2: Annotated[float, Field(description="Film that stays, laps included, marks not")]
    across_mm: Annotated[
        float, Field(description="Across the roll, with marks and the weed border on both sides")
    ]
    along_mm: Annotated[
        float, Field(description="Along the roll, with marks and the weed border at both ends")
    ]
    turn_deg: Annotated[Literal[0, 90], Field(description="Clockwise turn from the sign to the panel’s file")]
    frame: Annotated[Box, Field(description="What the panel’s file covers on the sign: x0, y0, x1, y1")]
    marks: tuple[PanelMark, ...] = ()


class MarkShape(_Shown):
    """What the marks look like: crosses of standing film with four equal arms."""

    span_mm: Annotated[float, Field(description="From tip to tip")]
    arm_mm: Annotated[float, Field(description="Width of an arm")]
    clear_mm: Annotated[float, Field(description="Least distance to any film")]


class PanelRoll(_Shown):
    """The roll's figures that the panels rest on."""

    width_mm: float
    usable_width_mm: float
    weed_border_mm: float
    lead_mm: Annotated[float, Field(description="Film before the first panel and after the last")]
    length_mm: Annotated[float | None, Field(description="Left on the roll; none: not stated")]


class PanelPlan(_Shown):
    """One film in panels."""

    film: str
    colour: str
    kind: FilmKind
    directional: bool
    verdict: Verdict
    reason: Annotated[str, Field(description="In a sentence, for the operator")]
    seams_run: Annotated[Seams | None, Field(description="None where there are none")] = None
    lap_mm: Annotated[
        float, Field(description="Overlap where a seam goes through film; 0: the edges meet")
    ] = 0.0
    order_known: Annotated[
        bool, Field(description="False where laps need the vehicle’s front, which the job does not state")
    ] = True
    roll: PanelRoll | None = None
    mark: MarkShape | None = None
    box: Annotated[Box | None, Field(description="Bounds of the film on the sign; none: nothing is cut")] = (
        None
    )
    panels: Annotated[tuple[Panel, ...], Field(description="In the order in which they are put on")] = ()
    seams: Annotated[tuple[Seam, ...], Field(description="From the left or from the top")] = ()
    film_length_mm: Annotated[
        float | None, Field(description="All panels one after the other, with the lead at both ends")
    ] = None
    fits_length: Annotated[
        bool | None, Field(description="Whether what is left of the roll is enough; none: not stated")
    ] = None
    notes: tuple[str, ...] = ()


class StackedSeams(_Shown):
    """Seams of two films that lie on each other, nearer than the stated distance."""

    films: Annotated[tuple[str, str], Field(description="The lower film and the upper one")]
    seams: Annotated[tuple[int, int], Field(description="Number of the seam in each")]
    run: Seams
    apart_mm: float


class Panelling(_Shown):
    """How all films of a sign are parted."""

    version: str
    verdict: Verdict
    summary: str
    options: PanelOptions
    width_mm: Annotated[float, Field(description="Width of the drawing area at the finished size")]
    height_mm: float
    size_stated: bool
    mirrored: Annotated[
        bool,
        Field(description="Whether places are mirrored to what a reader sees, since it goes behind glass"),
    ]
    films: tuple[PanelPlan, ...]
    stacked: tuple[StackedSeams, ...] = ()
    notes: tuple[str, ...] = ()
    claim: str = CLAIM


class PanelProof(_Shown):
    """The panels of one film against the film itself; lengths mm, areas mm2."""

    film: str
    proved: bool
    reasons: Annotated[tuple[str, ...], Field(description="Why it is not proved; empty where it is")]
    union_difference_mm2: Annotated[
        float, Field(description="Area by which all panels together differ from the film")
    ]
    union_difference_thickness_mm: float
    lap_difference_mm2: Annotated[
        float, Field(description="Area by which overlaps differ from the laps planned")
    ]
    lap_difference_thickness_mm: float
    cuts_in_film_mm: Annotated[float, Field(description="Lines of a panel that are no edge of it")]
    marks_clear_mm: Annotated[
        float | None, Field(description="Least distance of a mark to film; none: no marks")
    ]
    nodes_before: int
    nodes_after: Annotated[int, Field(description="In all panels, marks not counted")]
