"""Text that is still characters: told as `LiveText`, one for each run of one style.

The runs of one text element share a `TextBlock`, which has all that laying it out needs. White
space and the lists of positions follow SVG 2, chapter 11.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from lxml import etree

from preflight.artwork import Box, Hidden, LiveText, RemarkKind
from preflight.curves import Matrix, Path, largest_stretch
from preflight.readers.svg.document import href
from preflight.readers.svg.lettering import baseline, decorations, shift, spacing, stated_lines, wish
from preflight.readers.svg.markers import paint_order
from preflight.readers.svg.paints import paint, stroke
from preflight.readers.svg.placing import enter
from preflight.readers.svg.positions import Lists, in_paths, read_lists, resolve, set_length
from preflight.readers.svg.state import Context, Scene, mapped_box, mapped_point, sane
from preflight.readers.svg.textpaths import text_path
from preflight.writing import BaselineShift, Decoration, FontWish, SetLength, TextBlock, TextPath, TextSpan

_SPANS = ("tspan", "textPath", "tref", "a", "altGlyph")
_XML = "{http://www.w3.org/XML/1998/namespace}"
_ADVANCE = 0.55
"""A rough advance in em, for boxes that only point."""
_MAX_DEPTH = 64
_TAG = re.compile(r"[A-Za-z0-9-]{2,40}\Z")
_UNWRAPPED = {"inline-size": ("auto", "0"), "shape-inside": ("none", "auto")}
_VERTICAL = frozenset(("tb", "tb-rl", "vertical-rl", "vertical-lr", "sideways-rl", "sideways-lr"))
_PRESERVED = {"pre", "pre-wrap", "break-spaces", "pre-line", "preserve", "preserve-spaces"}


@dataclass(frozen=True, slots=True)
class _Inside:
    """What elements inside one another hand down in the layout of text."""

    font: FontWish
    baseline: str
    path: int | None = None
    shifts: tuple[BaselineShift, ...] = ()
    lines: tuple[Decoration, ...] = ()


@dataclass(slots=True)
class _Piece:
    """Character data of one element, before and after white space is collapsed."""

    element: etree._Element
    context: Context
    inside: _Inside
    text: str
    preserve: bool
    gone: bool
    """Not displayed: it takes no part in the layout."""


@dataclass(slots=True)
class _Gathered:
    scene: Scene
    root: etree._Element
    pieces: list[_Piece] = field(default_factory=list)
    lists: list[tuple[int, int, Lists]] = field(default_factory=list)
    """First piece, one past the last, and the lists of an element; outer elements first."""
    lengths: list[tuple[int, int, float, bool]] = field(default_factory=list)
    paths: list[TextPath] = field(default_factory=list)
    ranges: list[tuple[int, int]] = field(default_factory=list)
    """The pieces of each text path."""
    troubles: list[str] = field(default_factory=list)


def draw_text(scene: Scene, element: etree._Element, context: Context) -> None:
    """Add the runs of a ``text`` element."""
    gathered = _Gathered(scene, element)
    font = wish(context.style, _language(element), gathered.troubles)
    inside = _Inside(font, baseline(context.style, None, gathered.troubles))
    origin = scene.origin(element, "text", context)
    for ancestor in reversed(list(element.iterancestors())):
        told = stated_lines(scene.cascade.declared(ancestor))
        lines = decorations(scene, context, told, font=font, origin=origin, troubles=gathered.troubles)
        inside = replace(inside, lines=(*inside.lines, *lines))
    for name, harmless in _UNWRAPPED.items():
        told = context.style.own.get(name, harmless[0]).lower()
        if told not in harmless:
            gathered.troubles.append(f"{name} {told}")
    _element(gathered, element, context, inside, 0)
    _collapse(gathered.pieces)
    block = _block(scene, gathered, context)
    _emit(gathered, block)


def _element(
    gathered: _Gathered, element: etree._Element, context: Context, around: _Inside, depth: int
) -> None:
    """Gather the character data of ``element``; ``context`` is the one inside it."""
    scene = gathered.scene
    local = scene.document.local(element)
    scene.budget.check("nesting_depth", context.depth + depth)
    inside = _within(scene, gathered, element, context, around) if depth else around
    own = stated_lines(context.style.own)
    origin = scene.origin(element, local, context)
    lines = decorations(scene, context, own, font=inside.font, origin=origin, troubles=gathered.troubles)
    inside = replace(inside, lines=(*inside.lines, *lines))
    measure = scene.measure(context.style, context)
    first = len(gathered.pieces)
    place = len(gathered.lists)
    lists = read_lists(element, measure) if local != "textPath" else None
    if local == "textPath":
        found = _followed(gathered, element, context, inside)
        if found is None:
            return
        inside = replace(inside, path=len(gathered.paths))
        gathered.paths.append(found)
    if local == "tref":
        _piece(gathered, element, _referenced(scene, element, context), context, inside)
    else:
        _piece(gathered, element, element.text, context, inside)
        for child in element:
            _child(gathered, child, context, inside, depth)
            _piece(gathered, element, child.tail, context, inside)
    last = len(gathered.pieces)
    if lists is not None:
        gathered.lists.insert(place, (first, last, lists))
    else:
        gathered.ranges.append((first, last))
    made = set_length(element, measure)
    if made is not None:
        gathered.lengths.append((first, last, *made))


def _followed(
    gathered: _Gathered, element: etree._Element, context: Context, inside: _Inside
) -> TextPath | None:
    """Return the path of a textPath; None where its text does not show."""
    scene = gathered.scene
    if inside.path is not None:
        told = "a textPath inside another, left out"
        scene.say(RemarkKind.UNSUPPORTED, told, scene.origin(element, "textPath", context))
        return None
    parent = element.getparent()
    while parent is not None and scene.document.local(parent) == "a":
        parent = parent.getparent()
    if parent is not gathered.root:
        _trouble(gathered, "textPath inside tspan")
    return text_path(scene, element, context, scene.measure(context.style, context), gathered.troubles)


def _within(
    scene: Scene, gathered: _Gathered, element: etree._Element, context: Context, around: _Inside
) -> _Inside:
    font = wish(context.style, _language(element), gathered.troubles)
    raised = shift(scene, context, around.font, gathered.troubles)
    return replace(
        around,
        font=font,
        baseline=baseline(context.style, around.baseline, gathered.troubles),
        shifts=around.shifts if raised is None else (*around.shifts, raised),
    )


def _child(gathered: _Gathered, child: etree._Element, context: Context, inside: _Inside, depth: int) -> None:
    scene = gathered.scene
    local = scene.document.local(child)
    if local in _SPANS and depth < _MAX_DEPTH:
        scene.visit()
        entered = enter(scene, child, local, replace(context, path=context.path + scene.step(child)))
        if entered is not None:
            if local == "altGlyph":
                gathered.troubles.append("altGlyph")
            # Elements inside text have no transform (SVG 2, 8.5).
            _element(gathered, child, replace(entered, matrix=context.matrix), inside, depth + 1)
    elif local in ("animate", "set", "animateTransform", "animateColor", "animateMotion"):
        name = scene.document.local(gathered.root)
        told = f"an animation ({local}), shown at rest"
        scene.say(RemarkKind.CONDITION, told, scene.origin(gathered.root, name, context))


def _referenced(scene: Scene, element: etree._Element, context: Context) -> str:
    """Return the character data that a tref shows (SVG 1.1, 10.6)."""
    link = href(element) or ""
    target = scene.document.target(link)
    if target is None:
        kind = RemarkKind.MISSING_REFERENCE
        if link and not link.startswith("#"):
            kind = RemarkKind.EXTERNAL_REFERENCE
        scene.say(kind, f"tref {link or '(none)'}, left out", scene.origin(element, "tref", context))
        return ""
    return "".join(str(text) for text in target.itertext())


def _language(element: etree._Element) -> str:
    for ancestor in (element, *element.iterancestors()):
        found = ancestor.get(_XML + "lang") or ancestor.get("lang")
        if found:
            return found.strip() if _TAG.match(found.strip()) else ""
    return ""


def _piece(
    gathered: _Gathered,
    element: etree._Element,
    raw: str | bytes | None,
    context: Context,
    inside: _Inside,
) -> None:
    if not raw:
        return
    text = str(raw).replace("\r\n", "\n")
    told = context.style.get("white-space").lower().split()
    kept = _kept(element)
    preserve = any(word in _PRESERVED for word in told) or (told == ["normal"] and kept == "preserve")
    if any(word.startswith("pre") and word != "preserve-spaces" for word in told) and "\n" in text:
        _trouble(gathered, "line breaks that white-space keeps")
    case = context.style.get("text-transform").lower()
    if case != "none":
        text = _cased(text, case, gathered)
    bidi = context.style.own.get("unicode-bidi", "normal").lower()
    if bidi not in ("normal", "embed", "isolate", "plaintext") or (
        bidi != "normal" and element is not gathered.root
    ):
        _trouble(gathered, f"unicode-bidi {bidi}")
    gone = context.hidden is Hidden.NOT_DISPLAYED
    gathered.pieces.append(_Piece(element, context, inside, text, preserve, gone))


def _trouble(gathered: _Gathered, text: str) -> None:
    if text not in gathered.troubles:
        gathered.troubles.append(text)


def _cased(text: str, case: str, gathered: _Gathered) -> str:
    if case in ("uppercase", "lowercase"):
        return text.upper() if case == "uppercase" else text.lower()
    _trouble(gathered, f"text-transform {case}")
    return text


def _kept(element: etree._Element) -> str | None:
    for ancestor in (element, *element.iterancestors()):
        kept = ancestor.get(_XML + "space")
        if kept is not None:
            return kept
    return None


def _collapse(pieces: list[_Piece]) -> None:
    """Collapse white space across elements (CSS Text 3, 4.1; a line break counts as a blank).

    Pieces that are not displayed are collapsed each by itself.
    """
    blank = True
    last: _Piece | None = None
    for piece in pieces:
        text = re.sub(r"[\n\t\r\f]", " ", piece.text)
        if piece.gone:
            piece.text = text if piece.preserve else re.sub(r" +", " ", text)
            continue
        if piece.preserve:
            piece.text = text
            if text:
                blank = False
        else:
            text = re.sub(r" +", " ", text)
            text = text.lstrip(" ") if blank else text
            piece.text = text
            blank = text.endswith(" ") if text else blank
        last = piece if piece.text else last
    if last is not None and not last.preserve and last.text.endswith(" "):
        last.text = last.text[:-1]


def _block(scene: Scene, gathered: _Gathered, context: Context) -> TextBlock:
    laid = [piece for piece in gathered.pieces if not piece.gone]
    spans = tuple(_span(scene, gathered, piece) for piece in laid)
    at = {0: 0}
    count = 0
    for index, piece in enumerate(gathered.pieces, 1):
        count += 0 if piece.gone else len(piece.text)
        at[index] = count
    style = context.style
    mode = style.get("writing-mode").lower()
    vertical = mode in _VERTICAL
    if mode.startswith("sideways"):
        _trouble(gathered, f"writing-mode {mode}")
    orientation = style.get("text-orientation").lower()
    turned = style.get("glyph-orientation-vertical").lower().removesuffix("deg")
    if turned not in ("auto", ""):
        orientation = {"0": "upright", "90": "sideways"}.get(turned, turned)
    ranges = [(at[a], at[b]) for a, b in gathered.ranges]
    lists = [(at[a], at[b], found) for a, b, found in gathered.lists]
    places = resolve(count, lists, ranges, vertical)
    if in_paths(lists, ranges, vertical):
        _trouble(gathered, "x or y of a text element that runs along a path")
    sheets = scene.cascade.sheets
    families = {name.lower() for span in spans for name in span.font.families}
    for name in sorted(families & scene.drawn_fonts()):
        _trouble(gathered, f"the font “{name}” drawn in SVG itself (font element)")
    return TextBlock(
        spans=spans,
        x=places.x,
        y=places.y,
        dx=places.dx,
        dy=places.dy,
        rotate=places.rotate,
        chunks=places.chunks,
        lengths=tuple(SetLength(at[a], at[b], made, glyphs) for a, b, made, glyphs in gathered.lengths),
        paths=tuple(gathered.paths),
        vertical=vertical,
        orientation=orientation,
        rtl=style.get("direction").lower() == "rtl",
        faces=tuple(sheets.faces) if sheets is not None else (),
        troubles=tuple(gathered.troubles),
    )


def _span(scene: Scene, gathered: _Gathered, piece: _Piece) -> TextSpan:
    style = piece.context.style
    spaces = []
    for name in ("letter-spacing", "word-spacing"):
        value = spacing(scene, piece.context, style.get(name), None)
        if value is None:
            _trouble(gathered, f"{name} {style.get(name)}")
        spaces.append(value or 0.0)
    return TextSpan(
        text=piece.text,
        font=piece.inside.font,
        letter_spacing=spaces[0],
        word_spacing=spaces[1],
        shifts=piece.inside.shifts,
        baseline=piece.inside.baseline,
        anchor=style.get("text-anchor").lower(),
        rtl=style.get("direction").lower() == "rtl",
        path=piece.inside.path,
        decorations=piece.inside.lines,
    )


@dataclass(slots=True)
class _Cursor:
    """Where text roughly stands; letters' true widths are not known here."""

    x: float = 0.0
    y: float = 0.0


def _emit(gathered: _Gathered, block: TextBlock) -> None:
    cursor = _Cursor()
    at = span = 0
    for piece in gathered.pieces:
        if piece.gone:
            if piece.text.strip():
                _run(gathered, piece, (cursor.x, cursor.y))
            continue
        start: tuple[float, float] | None = None
        for index in range(at, at + len(piece.text)):
            x, y = block.x[index], block.y[index]
            cursor.x = (cursor.x if x is None else x) + block.dx[index]
            cursor.y = (cursor.y if y is None else y) + block.dy[index]
            start = (cursor.x, cursor.y) if start is None else start
            if block.vertical:
                cursor.y += _ADVANCE * piece.inside.font.size
            else:
                cursor.x += _ADVANCE * piece.inside.font.size
        if start is not None and (piece.text.strip() or piece.inside.lines):
            _run(gathered, piece, start, block, span)
        at += len(piece.text)
        span += 1


def _run(
    gathered: _Gathered,
    piece: _Piece,
    start: tuple[float, float],
    block: TextBlock | None = None,
    span: int = 0,
) -> None:
    scene, context, matrix = gathered.scene, piece.context, piece.context.matrix
    if not sane(matrix):
        return
    style = context.style
    font = piece.inside.font
    origin = scene.origin(piece.element, scene.document.local(piece.element), context)
    hidden = context.hidden
    if hidden is None and style.get("visibility").lower() != "visible":
        hidden = Hidden.NOT_VISIBLE
    order = paint_order(style.get("paint-order")) or ("fill", "stroke")
    path = gathered.paths[piece.inside.path].path if piece.inside.path is not None else None
    scene.emit(
        LiveText(
            text=piece.text.strip(),
            families=font.families,
            size=font.size * largest_stretch(matrix),
            position=mapped_point(*_beginning(path, start), matrix),
            origin=origin,
            fill=paint(scene, style, "fill", context, path=Path.empty(), origin=origin),
            weight=round(font.weight),
            italic=font.slope != "normal",
            hidden=hidden,
            box=_box(piece, start, path, matrix, block is not None and block.vertical),
            block=block,
            span=span,
            matrix=matrix,
            stroke=stroke(scene, style, context, path=Path.empty(), origin=origin),
            stroke_first=order.index("stroke") < order.index("fill"),
            opacity=context.opacity,
            clips=context.clips,
        ),
        context,
    )


def _beginning(path: Path | None, start: tuple[float, float]) -> tuple[float, float]:
    if path is None or not len(path.controls):
        return start
    return (float(path.controls[0, 0, 0]), float(path.controls[0, 0, 1]))


def _box(piece: _Piece, start: tuple[float, float], path: Path | None, matrix: Matrix, vertical: bool) -> Box:
    size = piece.inside.font.size
    if path is not None and len(path.controls):
        x0, y0, x1, y1 = path.bounds()
        return mapped_box((x0 - size, y0 - size, x1 + size, y1 + size), matrix)
    advance = len(piece.text) * _ADVANCE * size
    anchor = {"middle": 0.5, "end": 1.0}.get(piece.context.style.get("text-anchor").lower(), 0.0)
    if vertical:
        top = start[1] - anchor * advance
        return mapped_box((start[0] - size / 2, top, start[0] + size / 2, top + advance), matrix)
    left = start[0] - anchor * advance
    return mapped_box((left, start[1] - 0.8 * size, left + advance, start[1] + 0.2 * size), matrix)
