"""Live text as a file states it: what the layout of text elements needs to know.

Lengths are in the user space of the text element, y down; `LiveText.matrix` maps it to mm. Indices
count characters (Unicode code points) that are left after white space was collapsed, which is what
SVG 2 calls addressable characters.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from preflight.curves import Path

if TYPE_CHECKING:
    from preflight.artwork import Paint, Stroke


class Slope(StrEnum):
    """How letters lean (CSS Fonts 4, font-style)."""

    NORMAL = "normal"
    ITALIC = "italic"
    OBLIQUE = "oblique"


@dataclass(frozen=True, slots=True)
class FontWish:
    """The font that a stretch of text asks for."""

    families: tuple[str, ...]
    """In order of preference; generic names such as ``serif`` stand among them."""
    size: float
    """The em, user units."""
    weight: float = 400.0
    slope: Slope = Slope.NORMAL
    angle: float = 14.0
    """Degrees of an oblique, clockwise (CSS Fonts 4: 14 where none is given)."""
    stretch: float = 100.0
    """Width in percent of the normal width."""
    variations: tuple[tuple[str, float], ...] = ()
    """Axis tag and value, from font-variation-settings."""
    features: tuple[tuple[str, int], ...] = ()
    """OpenType feature tag and value."""
    needed: tuple[str, ...] = ()
    """Features without which the text does not look as stated, for instance ``smcp``."""
    size_adjust: float | None = None
    """Wanted x-height in em (font-size-adjust)."""
    optical: bool = True
    """Whether an optical-size axis follows the size (font-optical-sizing)."""
    language: str = ""
    """BCP 47, from xml:lang."""


class Line(StrEnum):
    """Lines drawn along text."""

    UNDERLINE = "underline"
    OVERLINE = "overline"
    LINE_THROUGH = "line-through"


@dataclass(frozen=True, eq=False)
class Decoration:
    """A line along the text, painted and measured by the element that declares it."""

    line: Line
    font: FontWish
    fill: Paint | None = None
    stroke: Stroke | None = None


@dataclass(frozen=True, slots=True)
class BaselineShift:
    """One element's baseline-shift: a length upwards, or ``sub`` or ``super`` by a font's own measures."""

    keyword: str
    """``sub``, ``super`` or empty."""
    length: float
    font: FontWish
    """The font of the parent element, which measures sub and super."""


@dataclass(frozen=True, eq=False)
class TextSpan:
    """Characters of one element with one style."""

    text: str
    font: FontWish
    letter_spacing: float = 0.0
    word_spacing: float = 0.0
    shifts: tuple[BaselineShift, ...] = ()
    baseline: str = "alphabetic"
    """The baseline that sits on the line: alphabetic, middle, hanging ... (CSS Inline 3)."""
    anchor: str = "start"
    rtl: bool = False
    path: int | None = None
    """Index into `TextBlock.paths` for text on a path."""
    decorations: tuple[Decoration, ...] = ()
    """Those under the text first, outermost element first."""


@dataclass(frozen=True, slots=True)
class SetLength:
    """A textLength: characters ``start`` to ``end`` (exclusive) are made so long."""

    start: int
    end: int
    length: float
    glyphs: bool = False
    """True to stretch the letters too (lengthAdjust)."""


@dataclass(frozen=True, eq=False)
class TextPath:
    """A path that text runs along; an empty one shows nothing."""

    path: Path
    offset: float = 0.0
    """Where the text starts, along the path."""
    reverse: bool = False
    """True for side="right": the path is run backwards."""


@dataclass(frozen=True, slots=True)
class FaceSource:
    """One place an @font-face rule takes its font from."""

    kind: str
    """``data`` (embedded), ``local`` (a font's name) or ``link`` (an address that is not fetched)."""
    name: str = ""
    data: bytes = b""


@dataclass(frozen=True, eq=False)
class FontFace:
    """An @font-face rule of the file (CSS Fonts 4, 4)."""

    family: str
    sources: tuple[FaceSource, ...]
    """In order of preference."""
    weight: tuple[float, float] = (400.0, 400.0)
    """Lowest and highest weight the face stands for."""
    stretch: tuple[float, float] = (100.0, 100.0)
    slope: Slope = Slope.NORMAL
    angles: tuple[float, float] = (14.0, 14.0)
    ranges: tuple[tuple[int, int], ...] = ((0, 0x10FFFF),)
    """The characters it is for, both ends included."""
    stated: frozenset[str] = frozenset()
    """Descriptors the rule gives: what it does not give is taken from the font."""


@dataclass(frozen=True, eq=False)
class TextBlock:
    """A whole text element. ``x``, ``y``, ``dx``, ``dy`` and ``rotate`` (degrees) are one per character."""

    spans: tuple[TextSpan, ...]
    x: tuple[float | None, ...]
    y: tuple[float | None, ...]
    dx: tuple[float, ...]
    dy: tuple[float, ...]
    rotate: tuple[float, ...]
    chunks: frozenset[int] = frozenset()
    """Characters that start an anchored chunk (SVG 2, text layout algorithm)."""
    lengths: tuple[SetLength, ...] = ()
    """Inner elements before the elements around them."""
    paths: tuple[TextPath, ...] = ()
    vertical: bool = False
    orientation: str = "mixed"
    """text-orientation in vertical text: mixed, upright or sideways."""
    rtl: bool = False
    faces: tuple[FontFace, ...] = ()
    troubles: tuple[str, ...] = field(default=())
    """What the element asks for that is not laid out, in plain words."""

    @property
    def text(self) -> str:
        """All characters in logical order."""
        return "".join(span.text for span in self.spans)
