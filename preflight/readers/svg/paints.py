"""Fills and strokes: solid colours, and what gradients and patterns come to."""

from __future__ import annotations

import math

import numpy as np
from lxml import etree

from preflight.artwork import Cap, Join, Origin, Paint, PaintKind, RemarkKind, Stroke
from preflight.curves import Path
from preflight.readers.svg.document import href
from preflight.readers.svg.pathdata import HUGE
from preflight.readers.svg.properties import without_icc
from preflight.readers.svg.state import Context, Scene
from preflight.readers.svg.style import Style
from preflight.readers.svg.values import Color, Measure, alpha, color, length, split_length, url_and_rest

GRADIENTS = ("linearGradient", "radialGradient")
_MAX_LINKS = 64


def paint(
    scene: Scene, style: Style, which: str, context: Context, *, path: Path, origin: Origin
) -> Paint | None:
    """Return the paint of ``fill`` or ``stroke`` for an outline; None where it shows nothing."""
    if which in style.cache:
        known: Paint | None = style.cache[which]
        return known
    text = style.get(which)
    opacity = alpha(style.get(which + "-opacity"))
    opacity = 1.0 if opacity is None else opacity
    low = text.lower()
    if low.startswith("url("):
        return _server(scene, style, text, opacity, path=path, origin=origin)
    if low in ("context-fill", "context-stroke"):
        taken = context.context_fill if low == "context-fill" else context.context_stroke
        return _faded(taken, opacity)
    result = _solid(text, style, opacity)
    style.cache[which] = result
    return result


def _faded(taken: Paint | None, opacity: float) -> Paint | None:
    if taken is None or opacity == 1.0:
        return taken
    if opacity == 0:
        return None
    return Paint(taken.kind, taken.color, taken.opacity * opacity, taken.reference)


def _solid(text: str, style: Style, opacity: float) -> Paint | None:
    if text.lower() == "none":
        return None
    found = color(style.get("color") if text.lower() == "currentcolor" else without_icc(text))
    return None if found is None else _plain(found, opacity)


def _plain(found: Color, opacity: float) -> Paint | None:
    total = found.alpha * opacity
    return Paint(PaintKind.SOLID, found.rgb, total) if total > 0 else None


def _server(
    scene: Scene, style: Style, text: str, opacity: float, *, path: Path, origin: Origin
) -> Paint | None:
    found = url_and_rest(text)
    target, fallback = found if found else ("", "")
    server = scene.document.target(target)
    local = scene.document.local(server) if server is not None else ""
    if local not in (*GRADIENTS, "pattern"):
        kind = RemarkKind.MISSING_REFERENCE
        if not target.startswith("#"):
            kind = RemarkKind.EXTERNAL_REFERENCE
        taken = f", painted {fallback} instead" if fallback else ", painted with nothing"
        scene.say(kind, f"paint {target or text}{taken}", origin)
        return _solid(fallback, style, opacity) if fallback else None
    assert server is not None
    if opacity == 0:
        return None
    if _box_is_flat(scene, server, local, path):
        return _solid(fallback, style, opacity) if fallback else None
    if local == "pattern":
        return _pattern(scene, server, opacity)
    return _gradient(scene, server, local, opacity, origin)


def _box_is_flat(scene: Scene, server: etree._Element, local: str, path: Path) -> bool:
    """Tell whether bounding-box units fail: the outline has no width or no height (SVG 2, 8.11)."""
    names = ("patternUnits",) if local == "pattern" else ("gradientUnits",)
    if _inherited_attribute(scene, server, names[0]) == "userSpaceOnUse":
        return False
    if not len(path.controls):
        return False
    x0, y0, x1, y1 = path.bounds()
    return x1 - x0 <= 0 or y1 - y0 <= 0


def _linked(scene: Scene, server: etree._Element) -> list[etree._Element]:
    """Return ``server`` and the templates it links to, nearest first; a cycle ends the list."""
    found: list[etree._Element] = []
    current: etree._Element | None = server
    while current is not None and current not in found and len(found) < _MAX_LINKS:
        found.append(current)
        link = href(current)
        current = scene.document.target(link or "")
    return found


def _inherited_attribute(scene: Scene, server: etree._Element, name: str) -> str | None:
    own = scene.document.local(server)
    for element in _linked(scene, server):
        local = scene.document.local(element)
        if own == "pattern" and local != "pattern":
            return None
        if own in GRADIENTS and local not in GRADIENTS:
            return None
        value = element.get(name)
        if value is not None:
            return value
    return None


def _stops(scene: Scene, server: etree._Element) -> list[etree._Element]:
    for element in _linked(scene, server):
        if scene.document.local(element) not in GRADIENTS:
            return []
        stops = [child for child in element if scene.document.local(child) == "stop"]
        if stops:
            return stops
    return []


def _stop_color(scene: Scene, stop: etree._Element) -> Color:
    style = scene.style_in_place(stop)
    text = style.get("stop-color")
    found = color(style.get("color") if text.lower() == "currentcolor" else without_icc(text))
    opacity = alpha(style.get("stop-opacity"))
    if found is None:
        found = Color("#000000", 1.0)
    return Color(found.rgb, found.alpha * (1.0 if opacity is None else opacity))


def _gradient(
    scene: Scene, server: etree._Element, local: str, opacity: float, origin: Origin
) -> Paint | None:
    stops = _stops(scene, server)
    if not stops:
        # Without stops painting occurs as if none were specified (SVG 2, 14.2.4).
        scene.say(
            RemarkKind.BAD_VALUE, f"gradient #{server.get('id')} has no stops, painted with nothing", origin
        )
        return None
    colors = [_stop_color(scene, stop) for stop in stops]
    if len(colors) > 1 and _degenerate(scene, server, local):
        colors = colors[-1:]
    if all(c == colors[0] for c in colors):
        return _plain(colors[0], opacity)
    if all(c.alpha == 0 for c in colors):
        return None
    return Paint(PaintKind.GRADIENT, None, opacity, server.get("id"))


def _degenerate(scene: Scene, server: etree._Element, local: str) -> bool:
    """Tell whether a gradient has no extent, so that its last stop paints all (SVG 2, 14.2)."""

    def read(name: str, initial: str) -> tuple[float, str]:
        text = _inherited_attribute(scene, server, name)
        parts = split_length(text) if text is not None else None
        return parts if parts is not None else (split_length(initial) or (0.0, ""))

    if local == "radialGradient":
        return read("r", "50%")[0] == 0
    x1, x2, y1, y2 = read("x1", "0%"), read("x2", "100%"), read("y1", "0%"), read("y2", "0%")
    return (x1 == x2 or x1[0] == x2[0] == 0) and (y1 == y2 or y1[0] == y2[0] == 0)


def _pattern(scene: Scene, server: etree._Element, opacity: float) -> Paint | None:
    for name in ("width", "height"):
        text = _inherited_attribute(scene, server, name)
        parts = split_length(text) if text is not None else None
        if parts is None or parts[0] <= 0:
            # No or zero size disables the pattern: nothing is painted (SVG 2, 14.3).
            return None
    for element in _linked(scene, server):
        if len(element):
            break
    else:
        return None
    return Paint(PaintKind.PATTERN, None, opacity, server.get("id"))


def stroke(scene: Scene, style: Style, context: Context, *, path: Path, origin: Origin) -> Stroke | None:
    """Return the stroke of an outline, lengths in user units; None where it shows nothing."""
    if style.get("stroke").lower() == "none":
        return None
    key = ("stroke", context.viewport)
    known = style.cache.get(key)
    if known is None:
        found = paint(scene, style, "stroke", context, path=path, origin=origin)
        known = _stroke(style, found, scene.measure(style, context)) if found is not None else None
        if known is None and "stroke" not in style.cache:
            return None
        if "stroke" in style.cache:
            style.cache[key] = known if known is not None else False
    if not known:
        return None
    result: Stroke = known
    if result.dashes:
        _count_dashes(scene, result, path)
    return result


def _stroke(style: Style, found: Paint, measure: Measure) -> Stroke | None:
    width = length(style.get("stroke-width"), measure, "o")
    width = 1.0 if width is None else width
    if width <= 0 or width >= HUGE:
        return None
    limit = split_length(style.get("stroke-miterlimit"))
    offset = length(style.get("stroke-dashoffset"), measure, "o")
    return Stroke(
        paint=found,
        width=width,
        cap=Cap(style.get("stroke-linecap").lower()),
        join=Join(style.get("stroke-linejoin").lower()),
        miter_limit=limit[0] if limit else 4.0,
        dashes=_dashes(style.get("stroke-dasharray"), measure),
        dash_offset=offset if offset is not None and abs(offset) < HUGE else 0.0,
    )


def _dashes(text: str, measure: Measure) -> tuple[float, ...]:
    """Return an even number of dash lengths (SVG 2, 13.5.6); empty for an unbroken stroke."""
    if text.lower() == "none":
        return ()
    values = [length(part, measure, "o") for part in text.replace(",", " ").split()]
    read = [v for v in values if v is not None and 0 <= v < HUGE]
    if len(read) < len(values) or not sum(read) > 0:
        return ()
    return tuple(read if len(read) % 2 == 0 else read * 2)


def _count_dashes(scene: Scene, found: Stroke, path: Path) -> None:
    """Spend the dashes a stroke makes: the control polygons are no shorter than the curves."""
    if not len(path.controls):
        return
    steps = np.diff(path.controls, axis=1)
    total = float(np.hypot(steps[..., 0], steps[..., 1]).sum())
    pairs = total / sum(found.dashes) * (len(found.dashes) / 2)
    scene.budget.spend("dashes", math.ceil(min(pairs, 1e12)))
