"""What the parts of the PDF reader share: the drawing so far, and the graphics state."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pikepdf

from preflight.artwork import (
    Box,
    Cap,
    Clip,
    Hidden,
    Item,
    Join,
    Origin,
    Paint,
    PaintKind,
    Remark,
    RemarkKind,
    Stroke,
)
from preflight.curves import IDENTITY, Matrix
from preflight.errors import printable, shortened
from preflight.readers.limits import Budget
from preflight.readers.pdf.colours import GREY, Space, hexadecimal
from preflight.readers.pdf.layers import Layers

if TYPE_CHECKING:
    from preflight.readers.pdf.fonts import Font

MAX_REMARKS = 2_000
FARTHEST_MM = 1e7
THINNEST = 0.01
"""mm, the width given to strokes of width 0, which are as thin as the machine can draw."""


@dataclass(frozen=True, slots=True)
class Ink:
    """A colour as set: space and components, or a pattern."""

    space: Space = GREY
    components: tuple[float, ...] = GREY.initial
    pattern: tuple[PaintKind, str] | None = None

    def paint(self, opacity: float) -> Paint | None:
        """Return the paint at ``opacity``; None: it marks nothing."""
        if self.pattern is not None:
            return Paint(self.pattern[0], None, opacity, self.pattern[1])
        rgb = self.space.convert(self.components) if not self.space.invisible else None
        return None if rgb is None else Paint(PaintKind.SOLID, hexadecimal(rgb), opacity)


@dataclass(frozen=True, slots=True)
class Lettering:
    """The text state; lengths are in text space."""

    font: Font | None = None
    size: float = 0.0
    character_gap: float = 0.0
    word_gap: float = 0.0
    stretch: float = 1.0
    leading: float = 0.0
    rise: float = 0.0
    mode: int = 0


@dataclass(frozen=True, slots=True)
class Graphics:
    """The graphics state (ISO 32000-1, 8.4). ``matrix`` maps user space to mm."""

    matrix: Matrix
    fill: Ink = Ink()
    stroke: Ink = Ink()
    width: float = 1.0
    cap: Cap = Cap.BUTT
    join: Join = Join.MITER
    miter_limit: float = 10.0
    dashes: tuple[float, ...] = ()
    dash_offset: float = 0.0
    fill_alpha: float = 1.0
    stroke_alpha: float = 1.0
    opacity: float = 1.0
    """Product of the opacities of the groups around."""
    mask: bool = False
    blend: str = ""
    outer_mask: bool = False
    """Whether a group around is masked; what is set inside the group does not end that."""
    outer_blend: str = ""
    clips: tuple[Clip, ...] = ()
    clip_keys: frozenset[bytes] = frozenset()
    """What the clips are made of, so that the same one is not laid on twice."""
    lettering: Lettering = Lettering()


@dataclass(slots=True)
class Scene:
    """The drawing as read so far."""

    pdf: pikepdf.Pdf
    budget: Budget
    layers: Layers
    page: Box
    """The page in mm, from 0, 0."""
    items: list[Item] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)
    used_layers: dict[str, None] = field(default_factory=dict)
    spots: dict[str, str] = field(default_factory=dict)
    """Spot colours used: name to the colour shown."""
    _said: set[Remark] = field(default_factory=set)

    def say(
        self, kind: RemarkKind, subject: str, origin: Origin | None = None, box: Box | None = None
    ) -> None:
        """Add a remark, once."""
        remark = Remark(kind, printable(subject), origin, box)
        if remark in self._said or len(self.remarks) > MAX_REMARKS:
            return
        self._said.add(remark)
        if len(self.remarks) == MAX_REMARKS:
            remark = Remark(RemarkKind.NOTE, f"more than {MAX_REMARKS} remarks; the rest were left out")
        self.remarks.append(remark)

    def painted(self, ink: Ink, opacity: float) -> Paint | None:
        """Return the paint that ``ink`` makes, and keep its spot colour's name."""
        paint = ink.paint(opacity)
        if ink.space.approximate and paint is not None and ink.pattern is None:
            self.say(RemarkKind.NOTE, ink.space.approximate)
        if paint is not None and paint.color is not None and len(ink.space.spots) == 1:
            self.spots.setdefault(shortened(printable(ink.space.spots[0])), paint.color)
        return paint


@dataclass(slots=True)
class Marked:
    """One level of marked content."""

    layer: str | None
    shown: bool


def stroke_of(graphics: Graphics, paint: Paint, width: float) -> Stroke:
    """Return the stroke that the graphics state makes with ``paint``."""
    dashes = graphics.dashes * 2 if len(graphics.dashes) % 2 else graphics.dashes
    return Stroke(
        paint,
        width,
        graphics.cap,
        graphics.join,
        graphics.miter_limit,
        dashes if sum(dashes) > 0 else (),
        graphics.dash_offset,
    )


def hidden_by(shown: bool, visible: bool) -> Hidden | None:
    """Return why something is not seen: its layer is off, or it is fully transparent."""
    if not shown:
        return Hidden.NOT_DISPLAYED
    return None if visible else Hidden.ZERO_OPACITY


def mapped_box(box: Box, matrix: Matrix = IDENTITY) -> Box:
    """Return the bounds of ``box`` mapped through ``matrix``."""
    a, b, c, d, e, f = matrix
    corners = [(x, y) for x in (box[0], box[2]) for y in (box[1], box[3])]
    across = [a * x + c * y + e for x, y in corners]
    down = [b * x + d * y + f for x, y in corners]
    return (min(across), min(down), max(across), max(down))
