"""What every drawn element passes through: style, transform, opacity, clips, conditions."""

from __future__ import annotations

import re
from dataclasses import replace

from lxml import etree

from preflight.artwork import Hidden, Origin, RemarkKind
from preflight.curves import IDENTITY, Matrix, multiply
from preflight.readers.svg.clips import apply_clip
from preflight.readers.svg.css_transform import css_transform, transform_origin
from preflight.readers.svg.measuring import local_box
from preflight.readers.svg.state import Context, Scene, sane
from preflight.readers.svg.style import Style
from preflight.readers.svg.values import alpha, around, transform_attribute, url_and_rest

_LANGUAGE = "en"
"""The reader's language for ``systemLanguage``: fixed, so that a report never depends on the host."""


def enter(scene: Scene, element: etree._Element, local: str, context: Context) -> Context | None:
    """Return the context inside ``element``; None where it is left out for good.

    Clips, opacity and transforms of the element are in it. An element that is not displayed is
    still entered, marked hidden.
    """
    attributes = element.attrib
    if ("systemLanguage" in attributes or "requiredExtensions" in attributes) and not conditions_hold(
        scene, element, context, local
    ):
        return None
    style = scene.cascade.computed(element, context.style)
    matrix = context.matrix
    own = style.own
    if not own:
        text = attributes.get("transform")
        if text is not None:
            matrix = _transformed(scene, element, style, context, text)
        if style is context.style and matrix is context.matrix:
            return context
        return Context(
            matrix, style, context.viewport, context.path, context.opacity, context.clips,
            context.hidden, context.layers, context.depth, context.chain, context.context_fill,
            context.context_stroke,
        )  # fmt: skip
    if "transform" in own or "transform-origin" in own or "transform" in attributes:
        matrix = _transformed(scene, element, style, context, attributes.get("transform"))
    inside = replace(context, style=style, matrix=matrix)
    inside = _faded(inside)
    if "clip-path" in own and own["clip-path"].lower() != "none" and not scene.measuring:
        inside = apply_clip(scene, element, local, inside)
    if not scene.measuring:
        tell_effects(scene, element, local, inside)
    return inside


def _faded(context: Context) -> Context:
    own = context.style.own
    opacity, hidden = context.opacity, context.hidden
    if own.get("display", "").lower() == "none":
        hidden = Hidden.NOT_DISPLAYED
    if "opacity" in own:
        value = alpha(own["opacity"])
        opacity *= 1.0 if value is None else value
        if opacity == 0 and hidden is None:
            hidden = Hidden.ZERO_OPACITY
    if opacity == context.opacity and hidden is context.hidden:
        return context
    return replace(context, opacity=opacity, hidden=hidden)


def _transformed(
    scene: Scene, element: etree._Element, style: Style, context: Context, text: str | None
) -> Matrix:
    local = scene.document.local(element)
    measure = scene.measure(style, context)
    own = style.own
    box: tuple[float, float, float, float] = (0.0, 0.0, *context.viewport)
    if own.get("transform-box", "").lower() in ("fill-box", "content-box", "stroke-box", "border-box"):
        found = local_box(scene, element, local, replace(context, style=style))
        if found is not None:
            box = (found[0], found[1], found[2] - found[0], found[3] - found[1])
    step: Matrix | None
    if "transform" in own:
        step = css_transform(own["transform"], measure, (box[2], box[3]))
        told = own["transform"]
    else:
        told = text or ""
        step = transform_attribute(told)
        if step is None:
            # Attributes take the property's grammar too (CSS Transforms 1, section 7).
            step = css_transform(told, measure, (box[2], box[3]))
    if step is None or not sane(multiply(context.matrix, step)):
        scene.say(RemarkKind.BAD_VALUE, f"transform: {told}", scene.origin(element, local, context))
        return context.matrix
    if step == IDENTITY:
        return context.matrix
    if own.get("transform-origin"):
        origin = transform_origin(own["transform-origin"], measure, box)
        if origin is not None:
            step = around(step, *origin)
    elif box[0] or box[1] or own.get("transform-box", "view-box").lower() != "view-box":
        step = around(step, box[0], box[1])
    return multiply(context.matrix, step)


_EFFECTS = (
    ("mask", RemarkKind.MASK),
    ("mask-image", RemarkKind.MASK),
    ("filter", RemarkKind.FILTER),
    ("backdrop-filter", RemarkKind.FILTER),
)


def tell_effects(scene: Scene, element: etree._Element, local: str, context: Context) -> None:
    """Tell of masks, filters and blending: the element is still read without them."""
    own = context.style.own
    for name, kind in _EFFECTS:
        value = own.get(name, "none")
        if value.lower() == "none":
            continue
        origin = scene.origin(element, local, context)
        found = url_and_rest(value)
        if found and found[0].startswith("#"):
            target = scene.document.target(found[0])
            if target is None or scene.document.local(target) != name:
                scene.say(RemarkKind.MISSING_REFERENCE, f"{name} {found[0]}, left out", origin)
                continue
        box = local_box(scene, element, local, context, mapped=True)
        scene.say(kind, f"{name} {value}", origin, box)
    blend = own.get("mix-blend-mode", "normal").lower()
    if blend != "normal":
        origin = scene.origin(element, local, context)
        box = local_box(scene, element, local, context, mapped=True)
        scene.say(RemarkKind.BLEND, f"mix-blend-mode {blend}", origin, box)


def conditions_hold(scene: Scene, element: etree._Element, context: Context, local: str) -> bool:
    """Tell whether an element's conditional attributes hold (SVG 2, 5.8), with a remark.

    requiredFeatures counts as met: SVG 2 dropped it and user agents pass over it.
    """
    languages = element.get("systemLanguage")
    extensions = element.get("requiredExtensions")
    holds = True
    origin = scene.origin(element, local, context)
    if languages is not None:
        names = [name.strip().lower() for name in languages.split(",")]
        holds = any(name == _LANGUAGE or name.startswith(_LANGUAGE + "-") for name in names)
        state = "shown" if holds else "left out"
        scene.say(RemarkKind.CONDITION, f"only for the language “{languages}”: {state}", origin)
    if extensions is not None and extensions.strip():
        holds = False
        scene.say(RemarkKind.CONDITION, "needs an extension of the viewer: left out", origin)
    return holds


_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{2,4})_")


def layer_name(scene: Scene, element: etree._Element) -> str | None:
    """Return the name by which a person knows a group: its label, data-name, title or id.

    A label or data-name names any group; a title or id only one at the top of the drawing, since
    programs give ids to inner groups on their own.
    """
    for key, value in element.attrib.items():
        if str(key).rpartition("}")[2] in ("label", "data-name") and value.strip():
            return " ".join(str(value).split())
    parent = element.getparent()
    if parent is None or parent is not scene.document.root:
        return None
    title = next((child for child in element if scene.document.local(child) == "title"), None)
    if title is not None and (title.text or "").strip():
        return " ".join((title.text or "").split())
    identifier = element.get("id")
    if not identifier:
        return None
    plain = _ESCAPED.sub(lambda found: chr(int(found.group(1), 16)), identifier)
    return " ".join(plain.split()) or None


def named(scene: Scene, element: etree._Element, context: Context) -> Context:
    """Return ``context`` inside the group ``element``, with its layer where it is named."""
    if context.chain or scene.measuring:
        return context
    name = layer_name(scene, element)
    if name is None:
        return context
    scene.layers.setdefault(name, False)
    return replace(context, layers=(*context.layers, name))


def origin_of(scene: Scene, element: etree._Element, context: Context) -> Origin:
    """Return the origin of ``element`` by its own local name."""
    return scene.origin(element, scene.document.local(element), context)
