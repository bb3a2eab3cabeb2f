"""clipPath elements to `Clip` (CSS Masking 1, section 8)."""

from __future__ import annotations

from dataclasses import replace

from lxml import etree

from preflight.artwork import Clip, ClipPart, Origin, RemarkKind
from preflight.curves import IDENTITY, Matrix, Path, multiply
from preflight.readers.svg.document import href, line_of
from preflight.readers.svg.measuring import local_box
from preflight.readers.svg.outlines import SHAPES, outline
from preflight.readers.svg.state import Context, Scene, sane, within_reach
from preflight.readers.svg.style import Style
from preflight.readers.svg.values import length, transform_attribute, url_and_rest
from preflight.readers.svg.viewport import rectangle

EMPTY = Clip(())
"""A clip without parts: it hides everything."""


def apply_clip(scene: Scene, element: etree._Element, local: str, context: Context) -> Context:
    """Return ``context`` (inside ``element``) with the element's clip-path added."""
    value = context.style.get("clip-path")
    found = resolve(scene, element, local, value, context)
    return context if found is None else replace(context, clips=(*context.clips, found))


def resolve(scene: Scene, element: etree._Element, local: str, value: str, context: Context) -> Clip | None:
    """Return the clip that ``value`` makes in the user space of ``context``; None for no clip."""
    origin = scene.origin(element, local, context)
    found = url_and_rest(value)
    if found is None:
        scene.say(RemarkKind.UNSUPPORTED, f"clip-path {value}, left out", origin)
        return None
    target = found[0]
    clip = scene.document.target(target)
    if clip is None or scene.document.local(clip) != "clipPath":
        # A reference that leads nowhere clips nothing (CSS Masking 1, 5.1).
        kind = RemarkKind.MISSING_REFERENCE if target.startswith("#") else RemarkKind.EXTERNAL_REFERENCE
        scene.say(kind, f"clip-path {target}, left out", origin)
        return None
    return _clip(scene, clip, element, local, context)


def _clip(
    scene: Scene, clip: etree._Element, element: etree._Element, local: str, context: Context
) -> Clip | None:
    origin = scene.origin(element, local, context)
    if clip in context.chain:
        scene.say(RemarkKind.CYCLE, f"clip-path #{clip.get('id')} clips itself, left out", origin)
        return None
    scene.clip_depth += 1
    scene.budget.check("clip_depth", scene.clip_depth)
    try:
        matrix = context.matrix
        style = scene.style_in_place(clip)
        step = _transform(clip, style)
        if step is None:
            return EMPTY
        matrix = multiply(matrix, step)
        outer: tuple[Clip, ...] = ()
        inside = replace(context, matrix=matrix, style=style, chain=(*context.chain, clip), clips=())
        own = style.own.get("clip-path", "none")
        if own.lower() != "none":
            nested = resolve(scene, clip, "clipPath", own, replace(inside, matrix=context.matrix))
            outer = (nested,) if nested is not None else ()
        if clip.get("clipPathUnits") == "objectBoundingBox":
            box = local_box(scene, element, local, replace(context, chain=inside.chain))
            if box is None or box[2] <= box[0] or box[3] <= box[1]:
                # Bounding-box units of a flat box are an error: nothing is kept (SVG 2, 8.11).
                return Clip((), outer, _origin(scene, clip))
            unit: Matrix = (box[2] - box[0], 0.0, 0.0, box[3] - box[1], box[0], box[1])
            inside = replace(inside, matrix=multiply(matrix, unit), viewport=(1.0, 1.0))
        parts = [part for child in clip for part in _child(scene, child, inside, origin)]
        return Clip(tuple(parts), outer, _origin(scene, clip))
    finally:
        scene.clip_depth -= 1


def _origin(scene: Scene, clip: etree._Element) -> Origin:
    return Origin("clipPath", scene.place(clip), line_of(clip), clip.get("id"))


def _transform(element: etree._Element, style: Style) -> Matrix | None:
    from preflight.readers.svg.css_transform import css_transform  # noqa: PLC0415
    from preflight.readers.svg.values import Measure  # noqa: PLC0415

    if "transform" in style.own:
        return css_transform(style.own["transform"], Measure(), (0.0, 0.0))
    text = element.get("transform")
    return IDENTITY if text is None else transform_attribute(text)


def _child(
    scene: Scene, child: etree._Element, context: Context, origin: Origin, *, via_use: bool = False
) -> list[ClipPart]:
    """Return the parts one child of a clipPath adds: shapes, text and direct uses of them."""
    local = scene.document.local(child)
    if local not in SHAPES and local not in ("use", "text"):
        return []
    scene.visit()
    style = scene.cascade.computed(child, context.style)
    if style.own.get("display", "").lower() == "none" or style.get("visibility").lower() != "visible":
        return []
    step = _transform(child, style)
    if step is None:
        step = IDENTITY
    inside = replace(context, style=style, matrix=multiply(context.matrix, step))
    clips: tuple[Clip, ...] = ()
    own = style.own.get("clip-path", "none")
    if own.lower() != "none":
        nested = resolve(scene, child, local, own, inside)
        clips = (nested,) if nested is not None else ()
    if local == "text":
        scene.say(RemarkKind.UNSUPPORTED, "text used as a clip, left out", origin)
        return []
    if local == "use":
        return [] if via_use else _use(scene, child, inside, origin, clips)
    return _part(scene, child, inside, origin, clips)


def _part(
    scene: Scene, child: etree._Element, context: Context, origin: Origin, clips: tuple[Clip, ...]
) -> list[ClipPart]:
    """Return the part a shape adds to a clip; none where it has no outline to use."""
    local = scene.document.local(child)
    style = context.style
    shape = outline(child, local, style, scene.measure(style, context))
    for kind, what in shape.errors:
        scene.say(RemarkKind.PATH_ERROR if kind == "path" else RemarkKind.BAD_VALUE, what, origin)
    if not len(shape.path.controls) or not sane(context.matrix):
        return []
    if not within_reach(context.matrix, shape.reach):
        scene.say(RemarkKind.BAD_VALUE, f"{local} of a clip lies more than 10 km away, left out", origin)
        return []
    scene.budget.spend("path_segments", len(shape.path.controls))
    return [ClipPart(shape.path, context.matrix, style.get("clip-rule").lower() == "evenodd", clips)]


def _use(
    scene: Scene, use: etree._Element, context: Context, origin: Origin, clips: tuple[Clip, ...]
) -> list[ClipPart]:
    target = href(use) or ""
    found = scene.document.target(target)
    if found is None:
        scene.say(RemarkKind.MISSING_REFERENCE, f"use {target or 'without a target'}, left out", origin)
        return []
    scene.budget.spend("use_instances")
    measure = scene.measure(context.style, context)
    x = length(use.get("x") or "0", measure, "x") or 0.0
    y = length(use.get("y") or "0", measure, "y") or 0.0
    inside = replace(context, matrix=multiply(context.matrix, (1.0, 0.0, 0.0, 1.0, x, y)))
    parts = _child(scene, found, inside, origin, via_use=True)
    return [replace(part, clips=(*clips, *part.clips)) for part in parts]


def viewport_clip(x: float, y: float, width: float, height: float, context: Context) -> Clip:
    """Return the rectangle of a nested viewport in the user space of ``context`` as a clip."""
    path = rectangle(x, y, width, height) if width > 0 and height > 0 else Path.empty()
    parts = (ClipPart(path, context.matrix),) if len(path) else ()
    return Clip(parts, viewport=True)
