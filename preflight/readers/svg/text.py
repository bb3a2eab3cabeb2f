"""Text that is still characters: told as `LiveText`, one for each run of one style."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from lxml import etree

from preflight.artwork import Hidden, LiveText, RemarkKind
from preflight.curves import Path, largest_stretch
from preflight.readers.svg.document import href
from preflight.readers.svg.paints import paint
from preflight.readers.svg.pathdata import HUGE
from preflight.readers.svg.placing import enter
from preflight.readers.svg.state import Context, Scene, mapped_box, mapped_point, sane
from preflight.readers.svg.values import length

_SPANS = ("tspan", "textPath", "tref", "a", "altGlyph")
_XML_SPACE = "{http://www.w3.org/XML/1998/namespace}space"
_ADVANCE = 0.55
"""A rough advance in em, for boxes that only point."""
_MAX_DEPTH = 64


@dataclass(slots=True)
class _Cursor:
    x: float = 0.0
    y: float = 0.0
    blank: bool = True
    """Whether what came before ends in white space, which swallows more of it."""


def draw_text(scene: Scene, element: etree._Element, context: Context) -> None:
    """Add the runs of a ``text`` element."""
    cursor = _Cursor()
    _span(scene, element, context, cursor, 0)


def _span(scene: Scene, element: etree._Element, context: Context, cursor: _Cursor, depth: int) -> None:
    local = scene.document.local(element)
    scene.budget.check("nesting_depth", context.depth + depth)
    measure = scene.measure(context.style, context)
    for name, axis in (("x", "x"), ("y", "y")):
        found = _first(element.get(name))
        value = length(found, measure, axis) if found else None
        if value is not None and abs(value) < HUGE:
            setattr(cursor, axis, value)
        shift = _first(element.get("d" + name))
        moved = length(shift, measure, axis) if shift else None
        if moved is not None and abs(moved) < HUGE:
            setattr(cursor, axis, getattr(cursor, axis) + moved)
    if local == "tref":
        target = scene.document.ids.get((href(element) or "#")[1:])
        text = "".join(str(t) for t in target.itertext()) if target is not None else ""
        _run(scene, element, text, context, cursor)
        return
    _run(scene, element, element.text, context, cursor)
    for child in element:
        child_local = scene.document.local(child)
        if child_local in _SPANS and depth < _MAX_DEPTH:
            scene.visit()
            inside = enter(
                scene,
                child,
                child_local,
                replace(context, path=context.path + scene.step(child)),
            )
            if inside is not None:
                _span(scene, child, replace(inside, matrix=context.matrix), cursor, depth + 1)
        elif child_local in ("animate", "set", "animateTransform"):
            scene.say(
                RemarkKind.CONDITION,
                f"an animation ({child_local}), shown at rest",
                scene.origin(element, local, context),
            )
        _run(scene, element, child.tail, context, cursor)


def _first(text: str | None) -> str | None:
    if not text:
        return None
    words = re.split(r"[\s,]+", text.strip())
    return words[0] or None


def _run(
    scene: Scene,
    element: etree._Element,
    raw: str | bytes | None,
    context: Context,
    cursor: _Cursor,
) -> None:
    text = _spaced(str(raw or ""), element, cursor)
    if not text:
        return
    style = context.style
    advance = len(text) * _ADVANCE * style.font_size
    start = (cursor.x, cursor.y)
    cursor.x += advance
    if not text.strip() or not sane(context.matrix):
        return
    origin = scene.origin(element, scene.document.local(element), context)
    hidden = context.hidden
    if hidden is None and style.get("visibility").lower() != "visible":
        hidden = Hidden.NOT_VISIBLE
    anchor = {"middle": 0.5, "end": 1.0}.get(style.get("text-anchor").lower(), 0.0)
    left = start[0] - anchor * advance
    box = (left, start[1] - 0.8 * style.font_size, left + advance, start[1] + 0.2 * style.font_size)
    scene.emit(
        LiveText(
            text=text.strip(),
            families=_families(style.get("font-family")),
            size=style.font_size * largest_stretch(context.matrix),
            position=mapped_point(*start, context.matrix),
            origin=origin,
            fill=paint(scene, style, "fill", context, path=Path.empty(), origin=origin),
            weight=_weight(style.get("font-weight")),
            italic=style.get("font-style").lower() in ("italic", "oblique"),
            hidden=hidden,
            box=mapped_box(box, context.matrix),
        ),
        context,
    )


def _spaced(text: str, element: etree._Element, cursor: _Cursor) -> str:
    """Return ``text`` with white space as xml:space says (SVG 1.1, 10.15)."""
    kept = None
    for ancestor in (element, *element.iterancestors()):
        kept = ancestor.get(_XML_SPACE)
        if kept is not None:
            break
    text = text.replace("\r\n", "\n")
    if kept == "preserve":
        cursor.blank = False
        return re.sub(r"[\n\t\r]", " ", text)
    text = re.sub(r" +", " ", text.replace("\n", "").replace("\t", " "))
    if cursor.blank:
        text = text.lstrip(" ")
    if text:
        cursor.blank = text.endswith(" ")
    return text


def _families(text: str) -> tuple[str, ...]:
    names = (part.strip().strip("\"'").strip() for part in text.split(","))
    return tuple(name for name in names if name)


def _weight(text: str) -> int:
    words = {"normal": 400, "bold": 700, "bolder": 700, "lighter": 300}
    low = text.strip().lower()
    if low in words:
        return words[low]
    try:
        return min(max(round(float(low)), 1), 1000)
    except (ValueError, OverflowError):
        return 400
