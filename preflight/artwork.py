"""The artwork model: what a reader makes of a file and what everything else works on.

All lengths are millimetres of the drawing area, origin at its top left, y down, unless a field says
"local": those are in the shape's own coordinates, which its ``matrix`` maps to millimetres. Items
are in painting order: a later one covers an earlier one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING, Literal

from preflight.curves import IDENTITY, Matrix, Path, largest_stretch, multiply
from preflight.writing import TextBlock

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Box = tuple[float, float, float, float]
"""x0, y0, x1, y1 in mm."""


@dataclass(frozen=True, slots=True)
class Origin:
    """Where an item stands in the file, so that a person can find it again."""

    element: str
    """Local name of the element, for instance ``path``."""
    path: str
    """Place in the tree, for instance ``/svg/g[2]/path[1]`` (counted from 1 among like siblings)."""
    line: int | None = None
    """Source line, counted from 1; None where the format has none."""
    id: str | None = None
    layer: str | None = None
    """Name of the nearest enclosing named group."""

    @property
    def label(self) -> str:
        """A short name for messages: the id where there is one, else the place in the tree."""
        return f"{self.element} “{self.id}”" if self.id else self.path


class PaintKind(StrEnum):
    """What a fill or a stroke is painted with."""

    SOLID = "solid"
    GRADIENT = "gradient"
    PATTERN = "pattern"


@dataclass(frozen=True, slots=True)
class Paint:
    """A paint that shows something (no paint at all is None on the shape)."""

    kind: PaintKind
    color: str | None
    """``#rrggbb`` in lower case for a solid paint, else None."""
    opacity: float = 1.0
    """Alpha of the paint itself, 0 to 1: colour alpha times fill- or stroke-opacity."""
    reference: str | None = None
    """The gradient's or pattern's name in the file, for messages."""


class Cap(StrEnum):
    """How a stroke ends."""

    BUTT = "butt"
    ROUND = "round"
    SQUARE = "square"


class Join(StrEnum):
    """How a stroke turns a corner."""

    MITER = "miter"
    MITER_CLIP = "miter-clip"
    ROUND = "round"
    BEVEL = "bevel"
    ARCS = "arcs"


@dataclass(frozen=True, slots=True)
class Stroke:
    """A stroke; its lengths are local to the shape."""

    paint: Paint
    width: float
    cap: Cap = Cap.BUTT
    join: Join = Join.MITER
    miter_limit: float = 4.0
    dashes: tuple[float, ...] = ()
    """Even number of dash and gap lengths; empty for an unbroken stroke."""
    dash_offset: float = 0.0


@dataclass(frozen=True, eq=False)
class ClipPart:
    """One shape of a clip: its filled region is kept."""

    path: Path
    matrix: Matrix
    evenodd: bool = False
    clips: tuple[Clip, ...] = ()


@dataclass(frozen=True, eq=False)
class Clip:
    """A clip: the union of its parts' regions is kept; what lies outside is not seen."""

    parts: tuple[ClipPart, ...]
    clips: tuple[Clip, ...] = ()
    """Clips on the clip itself: kept is the intersection."""
    origin: Origin | None = None
    viewport: bool = False
    """True for the rectangle of a nested viewport or a symbol, which no person drew."""


class Hidden(StrEnum):
    """Why an item of the file is not seen."""

    NOT_DISPLAYED = "not-displayed"
    NOT_VISIBLE = "not-visible"
    ZERO_OPACITY = "zero-opacity"


@dataclass(frozen=True, eq=False)
class Shape:
    """A painted outline. ``path`` and the stroke are local, ``matrix`` maps them to mm."""

    path: Path
    matrix: Matrix
    origin: Origin
    fill: Paint | None = None
    evenodd: bool = False
    stroke: Stroke | None = None
    stroke_first: bool = False
    """True where the stroke is painted under the fill (paint-order)."""
    opacity: float = 1.0
    """Product of the opacities of the shape and all its groups."""
    clips: tuple[Clip, ...] = ()
    """Kept is the intersection of all."""
    hidden: Hidden | None = None

    @property
    def stroke_width(self) -> float:
        """The stroke's greatest width in mm; 0 without a stroke."""
        return self.stroke.width * largest_stretch(self.matrix) if self.stroke else 0.0


@dataclass(frozen=True, eq=False)
class LiveText:
    """Text that is still characters and a font, not outlines."""

    text: str
    families: tuple[str, ...]
    size: float
    """Font size (the em) in mm."""
    position: tuple[float, float]
    """Where the first character's baseline starts, mm."""
    origin: Origin
    fill: Paint | None = None
    weight: int = 400
    italic: bool = False
    hidden: Hidden | None = None
    box: Box | None = None
    """A rough box in mm, from the number of characters and the size; for pointing, not measuring."""
    block: TextBlock | None = None
    """The whole text element this run is part of; None where it is not known."""
    span: int = 0
    """Which of the block's spans this run is."""
    matrix: Matrix = IDENTITY
    """Maps the text element's user space to mm."""
    stroke: Stroke | None = None
    stroke_first: bool = False
    opacity: float = 1.0
    clips: tuple[Clip, ...] = ()


@dataclass(frozen=True, eq=False)
class Picture:
    """A pixel image, or a link to one."""

    box: Box
    origin: Origin
    embedded: bool
    media_type: str | None = None
    reference: str = ""
    """The link, shortened; the data itself is not kept."""
    size_bytes: int = 0
    hidden: Hidden | None = None


Item = Shape | LiveText | Picture


class RemarkKind(StrEnum):
    """What a reader met and could not, or should not, turn into geometry."""

    PATH_ERROR = "path-error"
    """Path data stopped being valid: what came before was kept."""
    BAD_VALUE = "bad-value"
    """An attribute's value could not be read; the default took its place."""
    MASK = "mask"
    FILTER = "filter"
    BLEND = "blend"
    """Mix-blend-mode or another way of mixing with what lies underneath."""
    MISSING_REFERENCE = "missing-reference"
    """A link inside the file leads nowhere."""
    EXTERNAL_REFERENCE = "external-reference"
    """A link out of the file; it is named, never fetched."""
    CYCLE = "cycle"
    """Something that contains itself; the inner use was left out."""
    UNSUPPORTED = "unsupported"
    """Any other content that shows and has no geometry here, for instance foreignObject."""
    CONDITION = "condition"
    """Something that shows only under a condition (system language, media, script, animation)."""
    NOTE = "note"
    """Accepted, and worth knowing, for instance a missing namespace."""


@dataclass(frozen=True, slots=True)
class Remark:
    """Something a reader tells about the file. ``subject`` is a short technical phrase."""

    kind: RemarkKind
    subject: str
    origin: Origin | None = None
    box: Box | None = None


class SizeBasis(StrEnum):
    """What the drawing area's size rests on."""

    PHYSICAL = "physical"
    """Width and height in mm, cm, in, pt ..."""
    PIXELS = "pixels"
    """Width and height in px or bare numbers: 96 to the inch was assumed."""
    VIEWBOX = "viewbox"
    """Only a viewBox: its units were taken as px at 96 to the inch."""
    NONE = "none"
    """Neither: the artwork's own bounds, or the standard's 300 by 150 px, took its place."""


@dataclass(frozen=True, slots=True)
class Source:
    """The file the artwork came from."""

    format: str
    """``svg``, ``pdf`` or ``dxf``."""
    sha256: str
    size_bytes: int
    name: str | None = None
    generator: str | None = None
    """The program that wrote it, as the file itself says; only for an operator's eyes."""


@dataclass(frozen=True, eq=False)
class Artwork:
    """One page of artwork."""

    width: float
    """Width of the drawing area, mm."""
    height: float
    items: tuple[Item, ...]
    source: Source
    size_basis: SizeBasis = SizeBasis.PHYSICAL
    remarks: tuple[Remark, ...] = ()
    layers: tuple[str, ...] = ()
    """Names of the named groups in document order, without repeats."""
    empty_layers: tuple[str, ...] = field(default=())
    layer_roles: tuple[tuple[str, Literal["knife", "guide"]], ...] = ()
    """Layers that the file itself declares, by a published standard, to be cut lines or no artwork at all."""

    def shapes(self) -> Iterator[Shape]:
        """Yield the shapes that are seen, in painting order."""
        return (item for item in self.items if isinstance(item, Shape) and item.hidden is None)

    def scaled(self, factor: float) -> Artwork:
        """Return the artwork enlarged by ``factor`` about the origin."""
        if factor == 1.0:
            return self
        grow: Matrix = (factor, 0.0, 0.0, factor, 0.0, 0.0)
        clips: dict[int, Clip] = {}
        return replace(
            self,
            width=self.width * factor,
            height=self.height * factor,
            items=tuple(_mapped(item, grow, factor, clips) for item in self.items),
            remarks=tuple(
                replace(r, box=_scaled_box(r.box, factor) if r.box else None) for r in self.remarks
            ),
        )

    @cached_property
    def flattening_tolerance(self) -> float:
        """The chord error in mm at which `appearance` flattens: 0.01 mm, finer for artwork under 30 mm."""
        return min(0.01, max(self.width, self.height, 1e-6) / 3_000)

    def appearance(self) -> dict[str, BaseGeometry]:
        """Return the region seen of each solid colour, keyed ``#rrggbb``, in mm.

        Stacking order, clips, fill rules and the edge of the drawing area are applied, so regions
        do not overlap. A colour that is covered completely is left out. What gradients, patterns,
        pictures and live text cover is in `painted`, not here.
        """
        from preflight.geometry.appearance import appearance  # noqa: PLC0415  (geometry imports this model)

        return appearance(self).colours

    def painted(self) -> BaseGeometry:
        """Return the union of all that shapes paint, whatever with, in mm."""
        from preflight.geometry.appearance import appearance  # noqa: PLC0415  (geometry imports this model)

        return appearance(self).painted


def _scaled_box(box: Box, factor: float) -> Box:
    return (box[0] * factor, box[1] * factor, box[2] * factor, box[3] * factor)


def _mapped(item: Item, grow: Matrix, factor: float, done: dict[int, Clip]) -> Item:
    if isinstance(item, Picture):
        return replace(item, box=_scaled_box(item.box, factor))
    if isinstance(item, LiveText):
        x, y = item.position
        return replace(
            item,
            size=item.size * factor,
            position=(x * factor, y * factor),
            box=_scaled_box(item.box, factor) if item.box else None,
            matrix=multiply(grow, item.matrix),
            clips=tuple(_mapped_clip(clip, grow, done) for clip in item.clips),
        )
    return replace(
        item,
        matrix=multiply(grow, item.matrix),
        clips=tuple(_mapped_clip(clip, grow, done) for clip in item.clips),
    )


def _mapped_clip(clip: Clip, grow: Matrix, done: dict[int, Clip]) -> Clip:
    """Return ``clip`` mapped; shapes that shared one clip share one mapped clip, through ``done``."""
    if id(clip) not in done:
        done[id(clip)] = replace(
            clip,
            parts=tuple(
                replace(
                    part,
                    matrix=multiply(grow, part.matrix),
                    clips=tuple(_mapped_clip(inner, grow, done) for inner in part.clips),
                )
                for part in clip.parts
            ),
            clips=tuple(_mapped_clip(inner, grow, done) for inner in clip.clips),
        )
    return done[id(clip)]
