"""Markers (SVG 2, 13.7): where they stand, how they turn, and what they draw."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from lxml import etree

from preflight.artwork import RemarkKind, Shape
from preflight.curves import Floats, Matrix, apply, multiply
from preflight.readers.svg.clips import apply_clip, viewport_clip
from preflight.readers.svg.outlines import Outline
from preflight.readers.svg.pathdata import HUGE
from preflight.readers.svg.placing import tell_effects
from preflight.readers.svg.state import Context, Scene, sane
from preflight.readers.svg.style import Style
from preflight.readers.svg.values import Measure, alpha, angle, cos_sin, length, url_and_rest
from preflight.readers.svg.viewport import fit_or_identity, view_box

_NAMES = ("marker-start", "marker-mid", "marker-end")
_INITIAL_SIZE = 3.0
_MAX_NESTING = 8
"""Markers on markers past this are left out with a remark; no renderer is known to draw more."""


@dataclass(frozen=True, slots=True)
class Vertex:
    """One vertex: its place and the unit directions in and out (None where it has none)."""

    x: float
    y: float
    before: tuple[float, float] | None
    after: tuple[float, float] | None


def has_markers(style: Style) -> bool:
    """Tell whether any marker property is set."""
    values = style.inherited
    return any(values.get(name, "none").lower() != "none" for name in _NAMES)


def paint_order(text: str) -> tuple[str, ...] | None:
    """Return fill, stroke and markers in the order they are painted; None for the usual order."""
    order = text.lower().split()
    if not order or order[0] == "normal":
        return None
    full = (*order, *(word for word in ("fill", "stroke", "markers") if word not in order))
    return full if sorted(full) == ["fill", "markers", "stroke"] else None


def vertices(drawn: Outline) -> list[Vertex]:
    """Return the vertices of an outline with their directions (SVG 2, 9.6.1)."""
    path = drawn.path
    found: list[Vertex] = []
    for index, (start, end) in enumerate(zip(path.starts, path.ends, strict=True)):
        controls = path.controls[start:end]
        closed = bool(path.closed[index])
        outward = _forward([_leaving(c) for c in controls])
        inward = _backward([_arriving(c) for c in controls])
        first_in = inward[-1] if closed else None
        x, y = controls[0, 0]
        found.append(Vertex(float(x), float(y), first_in, outward[0]))
        for i in range(len(controls)):
            if int(start) + i in drawn.inner:
                continue
            x, y = controls[i, 3]
            last = i == len(controls) - 1
            after = (outward[0] if closed else None) if last else outward[i + 1]
            found.append(Vertex(float(x), float(y), inward[i], after))
        if index in drawn.zero_closes:
            found.append(Vertex(float(x), float(y), inward[-1], outward[0]))
    return found


_Direction = tuple[float, float] | None


def _leaving(controls: Floats) -> _Direction:
    return next((d for i in (1, 2, 3) if (d := _unit(controls[i] - controls[0])) is not None), None)


def _arriving(controls: Floats) -> _Direction:
    return next((d for i in (2, 1, 0) if (d := _unit(controls[3] - controls[i])) is not None), None)


def _unit(step: Floats) -> _Direction:
    size = math.hypot(step[0], step[1])
    return (float(step[0]) / size, float(step[1]) / size) if size > 0 else None


def _forward(directions: list[_Direction]) -> list[_Direction]:
    """Give segments of no length the direction of the next one that has one, else of the last."""
    known: _Direction = None
    found = []
    for direction in reversed(directions):
        known = direction if direction is not None else known
        found.append(known)
    found.reverse()
    return _filled(found)


def _backward(directions: list[_Direction]) -> list[_Direction]:
    known: _Direction = None
    found = []
    for direction in directions:
        known = direction if direction is not None else known
        found.append(known)
    return _filled(found)


def _filled(directions: list[_Direction]) -> list[_Direction]:
    some = next((d for d in directions if d is not None), None)
    return [some if d is None else d for d in directions]


def bisector(vertex: Vertex) -> float:
    """Return the direction of a vertex in degrees: halfway between the directions in and out."""
    before, after = vertex.before, vertex.after
    if before is None or after is None:
        one = before or after or (1.0, 0.0)
        return math.degrees(math.atan2(one[1], one[0]))
    first = math.atan2(before[1], before[0])
    turn = math.atan2(
        before[0] * after[1] - before[1] * after[0], before[0] * after[0] + before[1] * after[1]
    )
    return math.degrees(first + turn / 2)


def draw_markers(
    scene: Scene, element: etree._Element, shape: Shape, drawn: Outline, context: Context
) -> None:
    """Draw the markers of ``shape``; ``context`` is the one inside the shape's element."""
    places: list[Vertex] | None = None
    local = scene.document.local(element)
    for name in _NAMES:
        value = context.style.get(name)
        if value.lower() == "none":
            continue
        origin = scene.origin(element, local, context)
        found = url_and_rest(value)
        target = found[0] if found else value
        marker = scene.document.target(target)
        if marker is None or scene.document.local(marker) != "marker":
            scene.say(RemarkKind.MISSING_REFERENCE, f"{name} {target}, left out", origin)
            continue
        if marker in context.chain:
            scene.say(RemarkKind.CYCLE, f"marker {target} stands on itself, left out", origin)
            continue
        if sum(1 for e in context.chain if scene.document.local(e) == "marker") >= _MAX_NESTING:
            scene.say(RemarkKind.UNSUPPORTED, f"marker {target} on markers on markers, left out", origin)
            continue
        places = vertices(drawn) if places is None else places
        if not places:
            continue
        if name == "marker-start":
            chosen = places[:1]
        elif name == "marker-end":
            chosen = places[-1:]
        else:
            chosen = places[1:-1]
        scene.budget.spend("marker_vertices", len(chosen))
        _draw(scene, marker, chosen, shape, context, start=name == "marker-start")


@dataclass(frozen=True, slots=True)
class _Frame:
    """A marker's viewport: its size, the map from its contents into it, and the point that is placed."""

    width: float
    height: float
    step: Matrix
    scale: float
    size: tuple[float, float]
    """Size of the viewport in the contents' units."""
    shift: Floats


def _frame(scene: Scene, marker: etree._Element, context: Context) -> _Frame | None:
    """Return the frame of ``marker`` on a shape whose inside is ``context``; None where nothing shows."""
    inner = replace(context, style=scene.style_in_place(marker))
    width = _length(scene, marker, "markerWidth", inner, "x")
    height = _length(scene, marker, "markerHeight", inner, "y")
    box = view_box(marker.get("viewBox"))
    if not (0 < width < HUGE and 0 < height < HUGE):
        return None
    step = fit_or_identity(box, marker.get("preserveAspectRatio"), width, height)
    scale: float | None = 1.0
    if marker.get("markerUnits") != "userSpaceOnUse":
        scale = length(context.style.get("stroke-width"), scene.measure(context.style, context), "o")
    if step is None or not scale or scale < 0:
        return None
    size = (box.width, box.height) if box is not None else (width, height)
    # Percentages of refX and refY: of the viewBox, or without one of the viewport around (SVG 2, 13.7.1).
    whole = size if box is not None else context.viewport
    low = (box.x, box.y) if box is not None else (0.0, 0.0)
    ref = np.array(
        [
            _reference(marker.get("refX"), ("left", "center", "right"), low[0], (size[0], whole[0])),
            _reference(marker.get("refY"), ("top", "center", "bottom"), low[1], (size[1], whole[1])),
        ]
    )
    return _Frame(width, height, step, scale, size, apply(step, ref))


def _draw(
    scene: Scene,
    marker: etree._Element,
    places: list[Vertex],
    shape: Shape,
    context: Context,
    *,
    start: bool,
) -> None:
    frame = _frame(scene, marker, context)
    if frame is None:
        return
    style = scene.style_in_place(marker)
    opacity = alpha(style.own.get("opacity", "1"))
    base = Context(
        matrix=context.matrix,
        style=style,
        viewport=frame.size,
        path=f"{context.path}/marker[1]",
        opacity=context.opacity * (1.0 if opacity is None else opacity),
        clips=context.clips,
        hidden=context.hidden,
        layers=context.layers,
        depth=context.depth + 1,
        chain=(*context.chain, marker),
        context_fill=shape.fill,
        context_stroke=shape.stroke.paint if shape.stroke else None,
    )
    clipped = style.own.get("overflow", "hidden").lower() not in ("visible", "auto")
    for vertex in places:
        cos, sin = cos_sin(_turn(marker.get("orient"), vertex, start=start))
        placed: Matrix = (
            cos * frame.scale,
            sin * frame.scale,
            -sin * frame.scale,
            cos * frame.scale,
            vertex.x,
            vertex.y,
        )
        placed = multiply(context.matrix, placed)
        placed = multiply(placed, (1.0, 0.0, 0.0, 1.0, -float(frame.shift[0]), -float(frame.shift[1])))
        inside = replace(base, matrix=placed)
        if clipped:
            inside = replace(
                inside, clips=(*inside.clips, viewport_clip(0.0, 0.0, frame.width, frame.height, inside))
            )
        inside = replace(inside, matrix=multiply(placed, frame.step))
        if not sane(inside.matrix):
            continue
        if style.own.get("clip-path", "none").lower() != "none":
            inside = apply_clip(scene, marker, "marker", inside)
        tell_effects(scene, marker, "marker", inside)
        _contents(scene, marker, inside)


def _contents(scene: Scene, marker: etree._Element, context: Context) -> None:
    from preflight.readers.svg.walk import draw_inside  # noqa: PLC0415  (the walk draws markers in turn)

    draw_inside(scene, marker, "marker", context)


def _length(scene: Scene, marker: etree._Element, name: str, context: Context, axis: str) -> float:
    text = marker.get(name)
    if text is None:
        return _INITIAL_SIZE
    value = length(text, scene.measure(context.style, context), axis)
    return _INITIAL_SIZE if value is None else value


def _reference(
    text: str | None, words: tuple[str, str, str], low: float, sizes: tuple[float, float]
) -> float:
    """Return refX or refY in the marker's own coordinates; ``sizes`` are for words and percentages."""
    if text is None:
        return 0.0
    word = text.strip().lower()
    if word in words:
        return low + sizes[0] * words.index(word) / 2
    value = length(word, Measure(width=sizes[1], height=sizes[1]), "x")
    return 0.0 if value is None or abs(value) >= HUGE else value


def _turn(orient: str | None, vertex: Vertex, *, start: bool) -> float:
    word = (orient or "0").strip().lower()
    if word == "auto":
        return bisector(vertex)
    if word == "auto-start-reverse":
        return bisector(vertex) + (180.0 if start else 0.0)
    return angle(word) or 0.0
