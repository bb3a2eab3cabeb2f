"""The walk over the tree in painting order, with a stack of its own instead of Python's."""

from __future__ import annotations

from dataclasses import dataclass, replace

from lxml import etree

from preflight.artwork import Hidden, Origin, RemarkKind, Shape
from preflight.curves import Matrix, Path, determinant, multiply
from preflight.readers.svg.clips import viewport_clip
from preflight.readers.svg.document import href
from preflight.readers.svg.images import draw_image
from preflight.readers.svg.markers import draw_markers, has_markers, paint_order
from preflight.readers.svg.outlines import SHAPES, Outline, geometry, outline
from preflight.readers.svg.paints import paint, stroke
from preflight.readers.svg.placing import conditions_hold, enter, named
from preflight.readers.svg.state import Context, Scene, sane, within_reach
from preflight.readers.svg.style import Style
from preflight.readers.svg.text import draw_text
from preflight.readers.svg.values import MM_PER_PX
from preflight.readers.svg.viewport import fit_or_identity, view_box

_GROUPS = frozenset(("g", "a", "switch", "svg", "use"))
_DRAWN = _GROUPS | SHAPES | {"text", "image", "foreignObject"}
_ANIMATIONS = frozenset(("animate", "animateTransform", "animateMotion", "animateColor", "set"))

Work = list[tuple[etree._Element, str, Context]]


def walk(scene: Scene, element: etree._Element, local: str, context: Context) -> None:
    """Draw ``element`` and all it holds; ``context`` is the one around it."""
    work: Work = [(element, local, context)]
    while work:
        _visit(scene, *work.pop(), work)


def draw_inside(scene: Scene, element: etree._Element, local: str, context: Context) -> None:
    """Draw ``element``'s contents; ``context`` is already the one inside it."""
    work: Work = []
    _contents(scene, element, local, context, work)
    while work:
        _visit(scene, *work.pop(), work)


def _visit(scene: Scene, element: etree._Element, local: str, context: Context, work: Work) -> None:
    scene.visit()
    inside = enter(scene, element, local, context)
    if inside is None:
        return
    if local in SHAPES:
        _shape(scene, element, local, inside)
    else:
        _contents(scene, element, local, inside, work)


def _contents(scene: Scene, element: etree._Element, local: str, context: Context, work: Work) -> None:
    if local in SHAPES:
        _shape(scene, element, local, context)
    elif local in ("g", "a"):
        push_children(scene, element, named(scene, element, context) if local == "g" else context, work)
    elif local == "use":
        _use(scene, element, context, work)
    elif local == "text":
        draw_text(scene, element, context)
    elif local == "image":
        draw_image(scene, element, context)
    elif local == "svg":
        if element is scene.document.root and not context.chain:
            push_children(scene, element, context, work)
        else:
            _nested_svg(scene, element, context, work, None)
    elif local == "switch":
        _switch(scene, element, context, work)
    elif local == "foreignObject":
        scene.say(
            RemarkKind.UNSUPPORTED, "foreign content (foreignObject)", scene.origin(element, local, context)
        )
    else:
        push_children(scene, element, context, work)


def push_children(scene: Scene, element: etree._Element, context: Context, work: Work) -> None:
    """Put the element's children on the stack, so that the first is drawn first."""
    depth = context.depth + 1
    scene.budget.check("nesting_depth", depth)
    names = scene.document.names
    counts: dict[str, int] = {}
    found: Work = []
    for child in element:
        tag = child.tag
        local = names.get(tag) if isinstance(tag, str) else None
        if local is None:
            continue
        number = counts.get(local, 0) + 1
        counts[local] = number
        if local in _DRAWN:
            path = f"{context.path}/{local}[{number}]"
            found.append((child, local, _at(context, path, depth)))
        elif local in _ANIMATIONS or local == "script":
            _unstill(scene, child, local, context)
    found.reverse()
    work += found


def _at(context: Context, path: str, depth: int) -> Context:
    # Written out: dataclasses.replace is the slowest step of the walk.
    return Context(
        context.matrix, context.style, context.viewport, path, context.opacity, context.clips,
        context.hidden, context.layers, depth, context.chain, context.context_fill,
        context.context_stroke,
    )  # fmt: skip


def _unstill(scene: Scene, element: etree._Element, local: str, context: Context) -> None:
    what = "a script, not run" if local == "script" else f"an animation ({local}), shown at rest"
    scene.say(RemarkKind.CONDITION, what, scene.origin(element, local, context))


def _shape(scene: Scene, element: etree._Element, local: str, context: Context) -> None:
    style = context.style
    drawn = _outline(scene, element, local, context)
    if len(element):
        for child in element:
            child_local = scene.document.local(child)
            if child_local in _ANIMATIONS:
                _unstill(scene, child, child_local, context)
    origin = scene.origin(element, local, context)
    path = drawn.path
    if drawn.errors:
        _complain(scene, drawn, context, origin)
    if not len(path.controls):
        return
    scene.budget.spend("path_segments", len(path.controls))
    look = _look(style)
    hidden = context.hidden
    if hidden is None and not look.visible:
        hidden = Hidden.NOT_VISIBLE
    matrix = context.matrix
    if hidden is None and determinant(matrix) == 0:
        # A transform that cannot be undone disables rendering (SVG 2, 8.5).
        hidden = Hidden.NOT_DISPLAYED
    if not sane(matrix) or not within_reach(matrix, drawn.reach):
        scene.say(RemarkKind.BAD_VALUE, f"{local} lies more than 10 km away, left out", origin)
        return
    fill = paint(scene, style, "fill", context, path=path, origin=origin)
    line = stroke(scene, style, context, path=path, origin=origin)
    if line is not None and not within_reach(matrix, line.width):
        scene.say(RemarkKind.BAD_VALUE, f"stroke of {local} is wider than 10 km, left out", origin)
        line = None
    if look.non_scaling and line is not None:
        path, matrix = _host_space(scene, path, matrix)
    shape = Shape(
        path=path,
        matrix=matrix,
        origin=origin,
        fill=fill,
        evenodd=look.evenodd,
        stroke=line,
        stroke_first=look.stroke_first,
        opacity=context.opacity,
        clips=context.clips,
        hidden=hidden,
    )
    if look.marked and not scene.measuring:
        _marked(scene, element, shape, drawn, replace(context, hidden=hidden), order=look.order)
    else:
        scene.emit(shape, context)


def _complain(scene: Scene, drawn: Outline, context: Context, origin: Origin) -> None:
    known = len(drawn.path.controls) and sane(context.matrix) and within_reach(context.matrix, drawn.reach)
    box = drawn.path.mapped(context.matrix).bounds() if known else None
    for kind, what in drawn.errors:
        scene.say(RemarkKind.PATH_ERROR if kind == "path" else RemarkKind.BAD_VALUE, what, origin, box)


@dataclass(frozen=True, slots=True)
class _Look:
    """What a style says about every shape drawn in it; worked out once a style."""

    visible: bool
    evenodd: bool
    marked: bool
    non_scaling: bool
    order: tuple[str, ...]
    stroke_first: bool


def _look(style: Style) -> _Look:
    known: _Look | None = style.cache.get("look")
    if known is None:
        order = paint_order(style.get("paint-order")) or ("fill", "stroke", "markers")
        known = _Look(
            visible=style.get("visibility").lower() == "visible",
            evenodd=style.get("fill-rule").lower() == "evenodd",
            marked=has_markers(style),
            non_scaling=style.get("vector-effect").lower() == "non-scaling-stroke",
            order=order,
            stroke_first=order.index("stroke") < order.index("fill"),
        )
        style.cache["look"] = known
    return known


def _marked(
    scene: Scene,
    element: etree._Element,
    shape: Shape,
    drawn: Outline,
    context: Context,
    *,
    order: tuple[str, ...],
) -> None:
    """Emit a shape with its markers before, between or after fill and stroke (paint-order)."""
    before = order[: order.index("markers")]
    under = replace(
        shape,
        fill=shape.fill if "fill" in before else None,
        stroke=shape.stroke if "stroke" in before else None,
    )
    over = replace(
        shape,
        fill=None if "fill" in before else shape.fill,
        stroke=None if "stroke" in before else shape.stroke,
    )
    if under.fill or under.stroke or not (over.fill or over.stroke):
        scene.emit(under, context)
    draw_markers(scene, element, shape, drawn, context)
    if over.fill or over.stroke:
        scene.emit(over, context)


def _host_space(scene: Scene, path: Path, matrix: Matrix) -> tuple[Path, Matrix]:
    """Return the path in px of the outermost viewport, where such a stroke keeps its width."""
    scale = scene.scale
    to_host: Matrix = (1 / scale, 0.0, 0.0, 1 / scale, 0.0, 0.0)
    return path.mapped(multiply(to_host, matrix)), (scale, 0.0, 0.0, scale, 0.0, 0.0)


def _outline(scene: Scene, element: etree._Element, local: str, context: Context) -> Outline:
    if local != "path" or (context.style.own and "d" in context.style.own):
        return outline(element, local, context.style, scene.measure(context.style, context))
    known = scene.outlines.get((element, 0))
    if known is None:
        known = outline(element, local, context.style, scene.measure(context.style, context))
        scene.outlines[(element, 0)] = known
    return known


def _switch(scene: Scene, element: etree._Element, context: Context, work: Work) -> None:
    """Draw the first child whose conditions hold (SVG 2, 5.9)."""
    drawn = [child for child in element if scene.document.local(child) in _DRAWN]
    scene.say(
        RemarkKind.CONDITION,
        "switch: the first alternative whose conditions hold is shown",
        scene.origin(element, "switch", context),
    )
    for child in drawn:
        local = scene.document.local(child)
        inside = replace(context, path=context.path + scene.step(child), depth=context.depth + 1)
        if conditions_hold(scene, child, inside, local):
            scene.budget.check("nesting_depth", inside.depth)
            work.append((child, local, inside))
            return


def _use(scene: Scene, use: etree._Element, context: Context, work: Work) -> None:
    link = href(use)
    origin = scene.origin(use, "use", context)
    if not link:
        scene.say(RemarkKind.MISSING_REFERENCE, "use without a target, left out", origin)
        return
    if not link.startswith("#"):
        scene.say(RemarkKind.EXTERNAL_REFERENCE, f"use of {link}, left out", origin)
        return
    target = scene.document.target(link)
    local = scene.document.local(target) if target is not None else ""
    if target is None:
        scene.say(RemarkKind.MISSING_REFERENCE, f"use of {link}, left out", origin)
        return
    if any(target in scene.lineage(outer) for outer in (*context.chain, use)):
        scene.say(RemarkKind.CYCLE, f"use of {link} contains itself, left out", origin)
        return
    scene.budget.spend("use_instances")
    scene.budget.check("nesting_depth", context.depth + 1)
    measure = scene.measure(context.style, context)
    x = geometry(use, context.style, measure, "x", "x")[0] or 0.0
    y = geometry(use, context.style, measure, "y", "y")[0] or 0.0
    matrix = multiply(context.matrix, (1.0, 0.0, 0.0, 1.0, x, y)) if x or y else context.matrix
    inside = replace(
        context,
        matrix=matrix,
        chain=(*context.chain, use),
        depth=context.depth + 1,
        path=f"{context.path}/{local}[1]",
    )
    if scene.document.context_paints:
        inside = replace(
            inside,
            context_fill=paint(scene, context.style, "fill", context, path=Path.empty(), origin=origin),
            context_stroke=paint(scene, context.style, "stroke", context, path=Path.empty(), origin=origin),
        )
    if local == "symbol":
        _symbol(scene, target, use, inside, work)
    elif local == "svg":
        entered = enter(scene, target, local, inside)
        if entered is not None:
            _nested_svg(scene, target, entered, work, use)
    elif local in _DRAWN:
        work.append((target, local, inside))


def _symbol(scene: Scene, symbol: etree._Element, use: etree._Element, context: Context, work: Work) -> None:
    entered = enter(scene, symbol, "symbol", context)
    if entered is not None:
        _nested_svg(scene, symbol, entered, work, use)


def _nested_svg(
    scene: Scene, element: etree._Element, context: Context, work: Work, use: etree._Element | None
) -> None:
    """Enter a nested viewport; ``use`` gives its size where it has one (SVG 2, 5.6)."""
    measure = scene.measure(context.style, context)

    def read(name: str, axis: str) -> float | None:
        if use is not None and name in ("width", "height"):
            value = geometry(use, context.style, measure, name, axis)[0] if use.get(name) else None
            if value is not None:
                return value
        return geometry(element, context.style, measure, name, axis)[0]

    x, y = read("x", "x") or 0.0, read("y", "y") or 0.0
    width, height = read("width", "x"), read("height", "y")
    width = context.viewport[0] if width is None or width < 0 else width
    height = context.viewport[1] if height is None or height < 0 else height
    if width == 0 or height == 0:
        return
    placed = replace(context, matrix=multiply(context.matrix, (1.0, 0.0, 0.0, 1.0, x, y)))
    box = view_box(element.get("viewBox"))
    step = fit_or_identity(box, element.get("preserveAspectRatio"), width, height)
    if box is not None and (box.width == 0 or box.height == 0):
        return  # an empty viewBox disables rendering (SVG 2, 8.6)
    if step is None or not sane(multiply(placed.matrix, step)):
        scene.say(
            RemarkKind.BAD_VALUE,
            "size or viewBox out of range, left out",
            scene.origin(element, "svg", context),
        )
        return
    clips = context.clips
    if context.style.own.get("overflow", "hidden").lower() not in ("visible", "auto"):
        clips = (*clips, viewport_clip(0.0, 0.0, width, height, placed))
    inner = replace(
        placed,
        matrix=multiply(placed.matrix, step),
        clips=clips if not scene.measuring else (),
        viewport=(box.width, box.height) if box is not None else (width, height),
    )
    push_children(scene, element, inner, work)


__all__ = ["MM_PER_PX", "draw_inside", "push_children", "walk"]
