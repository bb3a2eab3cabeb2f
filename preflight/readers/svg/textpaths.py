"""textPath elements: the path that text runs along (SVG 2, 11.8)."""

from __future__ import annotations

from lxml import etree

from preflight.artwork import RemarkKind
from preflight.curves import Path, lengths
from preflight.readers.svg.css_transform import css_transform
from preflight.readers.svg.document import href
from preflight.readers.svg.outlines import SHAPES, outline
from preflight.readers.svg.pathdata import HUGE, parse_path
from preflight.readers.svg.state import Context, Scene, sane, within_reach
from preflight.readers.svg.values import Measure, length, number, split_length, transform_attribute
from preflight.writing import TextPath


def text_path(
    scene: Scene, element: etree._Element, context: Context, measure: Measure, troubles: list[str]
) -> TextPath | None:
    """Return the path of a textPath element; None where it has none, so that its text does not show."""
    path, own = _path(scene, element, context, measure)
    if path is None:
        return None
    for name, usual in (("method", "align"), ("spacing", "exact")):
        told = element.get(name)
        if told is not None and told != usual and name == "method":
            troubles.append(f"textPath {name} {told}")
    total = float(lengths(path).sum()) if len(path.controls) else 0.0
    offset = _offset(element, measure, total, own)
    if offset is None:
        troubles.append(f"startOffset {element.get('startOffset')}")
        offset = 0.0
    return TextPath(path, offset, element.get("side") == "right")


def _path(
    scene: Scene, element: etree._Element, context: Context, measure: Measure
) -> tuple[Path | None, float | None]:
    """Return the path in the text's user space and its own pathLength."""
    data = element.get("path")
    if data is not None:
        parsed = parse_path(data)
        if parsed.error is None and len(parsed.path.controls):
            return parsed.path, None
    link = href(element)
    origin = scene.origin(element, "textPath", context)
    target = scene.document.target(link or "")
    local = scene.document.local(target) if target is not None else ""
    if target is None or local not in SHAPES:
        kind = RemarkKind.MISSING_REFERENCE
        if link and not link.startswith("#"):
            kind = RemarkKind.EXTERNAL_REFERENCE
        scene.say(kind, f"path of text {link or '(none)'}, the text is left out", origin)
        return None, None
    style = scene.style_in_place(target)
    drawn = outline(target, local, style, measure)
    scene.budget.spend("path_segments", len(drawn.path.controls))
    told = style.own.get("transform")
    step = (
        css_transform(told, measure, (0.0, 0.0))
        if told
        else transform_attribute(target.get("transform") or "")
    )
    if step is None or not sane(step) or not within_reach(step, drawn.reach):
        scene.say(RemarkKind.BAD_VALUE, f"transform of the text's path {link}", origin)
        return drawn.path, None
    own = number(target.get("pathLength") or "")
    return drawn.path.mapped(step), own if own is not None and own > 0 else None


def _offset(element: etree._Element, measure: Measure, total: float, own: float | None) -> float | None:
    """Return startOffset in user units; percentages are of the path's length (SVG 2, 11.8.1)."""
    text = (element.get("startOffset") or "").strip()
    if not text:
        return 0.0
    parts = split_length(text)
    if parts is not None and parts[1] == "%":
        return parts[0] / 100 * total
    value = length(text, measure, "o")
    if value is None or not abs(value) < HUGE:
        return None
    return value * total / own if own else value
