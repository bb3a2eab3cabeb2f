"""Bounding boxes of elements (SVG 2, 8.10): fill geometry only, no strokes, markers or clips."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from preflight.artwork import Box, Hidden, LiveText, Picture, RemarkKind, Shape
from preflight.curves import IDENTITY
from preflight.readers.limits import exceeded
from preflight.readers.svg.state import Context, Scene, bounds, united

if TYPE_CHECKING:
    from lxml import etree


MAX_NESTING = 16
"""Boxes inside boxes (transform-box: fill-box in groups of the same), each of which costs anew."""


def local_box(
    scene: Scene, element: etree._Element, local: str, context: Context, *, mapped: bool = False
) -> Box | None:
    """Return the bounding box of ``element``; None where it draws nothing.

    ``context`` is the one inside the element. The box is in the element's user space, or in mm
    where ``mapped``. Text counts with its rough box, which is told where something is measured by it.
    """
    from preflight.readers.svg.walk import draw_inside  # noqa: PLC0415  (the walk needs boxes in turn)

    outer_items = scene.items
    if scene.measuring >= MAX_NESTING:
        raise exceeded("nesting_depth", scene.measuring, MAX_NESTING)
    scene.items = []
    scene.measuring += 1
    try:
        inner = replace(
            context, matrix=context.matrix if mapped else IDENTITY, clips=(), hidden=None, layers=()
        )
        draw_inside(scene, element, local, inner)
        boxes = []
        rough = False
        for item in scene.items:
            if item.hidden is Hidden.NOT_DISPLAYED:
                continue
            box: Box | None
            if isinstance(item, Shape):
                box = bounds(item)
            elif isinstance(item, LiveText | Picture):
                box = item.box
                rough |= isinstance(item, LiveText)
            if box is not None:
                boxes.append(box)
    finally:
        scene.items = outer_items
        scene.measuring -= 1
    if rough and not mapped:
        told = "a clip or transform measured by the box around live text, which is known only roughly"
        scene.say(RemarkKind.UNSUPPORTED, told, scene.origin(element, local, context))
    return united(boxes)
