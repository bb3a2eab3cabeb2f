"""Live text to shapes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import uharfbuzz as hb

from preflight.artwork import LiveText, Shape
from preflight.curves import IDENTITY, Matrix, Outlines, Path, multiply
from preflight.text.cuts import Cut
from preflight.text.fonts import FontSource
from preflight.text.layout import Laid, lay_out
from preflight.text.problems import MissingGlyphs, Problems, TextProblem, Trouble
from preflight.text.shaping import Cluster
from preflight.writing import Decoration, Line

FARTHEST_MM = 1e7
"""What lies more than 10 km away is left out: no sign is that large."""


@dataclass(frozen=True, slots=True)
class FontUsed:
    """A font that letters were taken from, so that the result can be told and made again."""

    family: str
    file: str
    origin: str
    """``artwork`` (embedded in the file), ``job`` or ``folder``."""
    version: str
    """The font's own version text (name id 5)."""
    sha256: str
    variations: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, eq=False)
class OutlinedText:
    """What became of one run of live text.

    ``shapes`` are in painting order and stand where the text stood; empty where a problem blocks.
    """

    shapes: tuple[Shape, ...]
    fonts_used: tuple[FontUsed, ...]
    missing: tuple[MissingGlyphs, ...] = ()
    problems: tuple[TextProblem, ...] = ()

    @property
    def outlined(self) -> bool:
        """Whether the text has become shapes (none, for text that shows nothing)."""
        return not any(problem.blocking for problem in self.problems)


@dataclass(frozen=True, eq=False)
class _Element:
    """A text element laid out, with what was met on the way."""

    laid: Laid | None
    problems: tuple[TextProblem, ...]
    missing: tuple[MissingGlyphs, ...]


def outline(text: LiveText, fonts: FontSource) -> OutlinedText:
    """Return the shapes of ``text`` in ``fonts``, filled nonzero.

    The whole text element is laid out, since its runs depend on each other; a problem of one run
    therefore blocks all of them. Nothing is guessed: what cannot be laid out faithfully is a
    problem that names it. Source: SVG 2, chapter 11; CSS Fonts 4; OpenType through HarfBuzz.
    """
    block = text.block
    if block is None:
        problem = TextProblem(
            Trouble.NOT_LAID_OUT,
            "How this text is laid out is not known.",
            "Turn the text into outlines in the drawing program.",
        )
        return OutlinedText((), (), (), (problem,))

    def element() -> _Element:
        problems = Problems()
        laid = lay_out(block, fonts, problems)
        _tell_lines(laid, problems)
        found, missing = problems.finished()
        return _Element(None if any(p.blocking for p in found) else laid, found, missing)

    made = fonts.remembered(block, element)
    if made.laid is None:
        return OutlinedText((), (), made.missing, made.problems)
    shapes, cuts = _shapes(text, made.laid)
    if any(_too_far(shape) for shape in shapes):
        problem = TextProblem(
            Trouble.NOT_LAID_OUT,
            "Letters would lie more than 10 km away.",
            "Check the text's position and spacing.",
        )
        return OutlinedText((), (), made.missing, (*made.problems, problem))
    return OutlinedText(shapes, tuple(_used(cut) for cut in cuts), made.missing, made.problems)


def _used(cut: Cut) -> FontUsed:
    font = cut.font
    return FontUsed(
        font.family, font.name, font.origin, font.version, font.sha256, tuple(cut.variations.items())
    )


def _too_far(shape: Shape) -> bool:
    if not len(shape.path.controls):
        return False
    reach = float(np.abs(shape.path.mapped(shape.matrix).controls).max())
    return not reach < FARTHEST_MM


def _tell_lines(laid: Laid, problems: Problems) -> None:
    """Tell of lines along the text, and of letters that run off their path."""
    advice = "Look at the outcome, or turn the text into outlines in the drawing program."
    for span in laid.block.spans:
        if not span.decorations or not span.text:
            continue
        if laid.block.vertical or span.shifts:
            problems.add(
                Trouble.NOT_LAID_OUT,
                "A line is drawn along vertical, raised or lowered text, which viewers do each in its own way.",
                "Turn this text into outlines in the drawing program.",
            )
        else:
            names = sorted({d.line.value for d in span.decorations})
            problems.add(
                Trouble.APPROXIMATE,
                f"The line along the text ({', '.join(names)}) is drawn where and as thick as the font says; viewers "
                "differ a little.",
                advice,
                blocking=False,
            )
    if any(
        span.letter_spacing and (span.path is not None or span.anchor != "start") for span in laid.block.spans
    ):
        problems.add(
            Trouble.APPROXIMATE,
            "Spaced letters are centred, set to the right or run along a path; viewers differ by up to one "
            "space in where they start.",
            advice,
            blocking=False,
        )
    lost = [c for c in laid.clusters() if c.hidden]
    text = laid.shaper.text
    letters = "".join(text[c.start : c.end] for c in sorted(lost, key=lambda c: c.start)).strip()
    if letters:
        problems.add(
            Trouble.APPROXIMATE,
            f"The text is longer than its path: {len(letters)} of its characters do not show.",
            "Make the path longer or the text smaller if all of it should show.",
            blocking=False,
        )


def _shapes(text: LiveText, laid: Laid) -> tuple[tuple[Shape, ...], list[Cut]]:
    """Return a run's shapes and the fonts its letters are from.

    Letters of one font make one shape: fonts differ in which way their contours turn, and letters
    of two that overlap would cancel out where a nonzero fill counts them together.
    """
    block = laid.block
    span = block.spans[text.span]
    own = [cluster for run in laid.of_span.get(text.span, []) for cluster in run]
    by_cut: dict[Cut, list[Cluster]] = {}
    for cluster in own:
        by_cut.setdefault(cluster.cut, []).append(cluster)
    letters = []
    used = []
    for cut, clusters in by_cut.items():
        path = _letters(clusters, vertical=block.vertical)
        if len(path):
            used.append(cut)
            letters.append(_shape(text, path, span_paint=None))
    under: list[Shape] = []
    over: list[Shape] = []
    for decoration in span.decorations:
        path = _line(laid, text.span, decoration)
        if len(path):
            target = over if decoration.line is Line.LINE_THROUGH else under
            target.append(_shape(text, path, span_paint=decoration))
    return (*under, *letters, *over), used


def _shape(text: LiveText, path: Path, span_paint: Decoration | None) -> Shape:
    painted = text if span_paint is None else span_paint
    return Shape(
        path=path,
        matrix=text.matrix,
        origin=text.origin,
        fill=painted.fill,
        stroke=painted.stroke,
        stroke_first=text.stroke_first,
        opacity=text.opacity,
        clips=text.clips,
        hidden=text.hidden,
    )


def _letters(clusters: list[Cluster], *, vertical: bool) -> Path:
    paths, matrices = [], []
    for cluster in clusters:
        place = _place(cluster, vertical=vertical)
        for glyph, x, y in cluster.glyphs:
            path = cluster.cut.outline(glyph)
            if len(path):
                paths.append(path)
                matrices.append(multiply(place, (cluster.size, 0.0, 0.0, -cluster.size, x, y)))
    return Outlines.of(paths, matrices).whole if paths else Path.empty()


def _place(cluster: Cluster, *, vertical: bool) -> Matrix:
    turn = cluster.angle + (90.0 if vertical and not cluster.upright else 0.0)
    wide = (1.0, cluster.wide) if vertical and cluster.upright else (cluster.wide, 1.0)
    cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    turned: Matrix = (
        (cos, sin, -sin, cos, cluster.x, cluster.y) if turn else (*IDENTITY[:4], cluster.x, cluster.y)
    )
    return multiply(turned, (wide[0], 0.0, 0.0, wide[1], 0.0, 0.0)) if cluster.wide != 1.0 else turned


def _line(laid: Laid, span: int, decoration: Decoration) -> Path:
    """Return the rectangles of a line along a span: one where its letters run on, else one a letter."""
    cut = laid.shaper.primary(decoration.font)
    if cut is None:
        return Path.empty()
    top, thickness = _measures(cut, decoration.line)
    size = decoration.font.size
    paths = []
    for group in _groups(laid, span):
        first, last = group[0], group[-1]
        width = last.advance * last.wide
        if len(group) > 1:
            width += last.x - first.x
        box = [
            (0.0, -top * size),
            (width, -top * size),
            (width, (thickness - top) * size),
            (0.0, (thickness - top) * size),
        ]
        cos, sin = math.cos(math.radians(first.angle)), math.sin(math.radians(first.angle))
        paths.append(Path.polygon(box).mapped((cos, sin, -sin, cos, first.x, first.y)))
    return Path.joined(paths)


def _groups(laid: Laid, span: int) -> list[list[Cluster]]:
    """Return the clusters of a span that one stretch of a line runs along."""
    groups: list[list[Cluster]] = []
    for run in laid.of_span.get(span, []):
        for index, cluster in enumerate(run):
            # Text that runs to the left is placed letter by letter from the right: a move counts there
            # before the letter that follows in reading.
            if not index or cluster.moved or (cluster.level % 2 and run[index - 1].moved):
                groups.append([])
            groups[-1].append(cluster)
    return groups


def _measures(cut: Cut, line: Line) -> tuple[float, float]:
    """Return the top above the baseline and the thickness of a line, em.

    OpenType, post table: underlinePosition is the top of the underline; OS/2 table:
    yStrikeoutPosition is the top of the strikeout. An overline hangs from the ascent.
    """
    tags = hb.OTMetricsTag
    if line is Line.LINE_THROUGH:
        return cut.likely(tags.STRIKEOUT_OFFSET), cut.likely(tags.STRIKEOUT_SIZE)
    thickness = cut.likely(tags.UNDERLINE_SIZE)
    return (cut.likely(tags.UNDERLINE_OFFSET) if line is Line.UNDERLINE else cut.ascent), thickness
