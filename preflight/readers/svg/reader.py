"""An SVG file to `Artwork`."""

from __future__ import annotations

import hashlib

from preflight.artwork import Artwork, Origin, Remark, RemarkKind, Shape, SizeBasis, Source
from preflight.curves import multiply
from preflight.errors import ReadError
from preflight.readers.limits import Budget
from preflight.readers.svg.document import Document, line_of, load
from preflight.readers.svg.sheets import inline_declarations
from preflight.readers.svg.state import FARTHEST_MM, Context, Scene, bounds, united
from preflight.readers.svg.style import Cascade, initial_style
from preflight.readers.svg.values import MM_PER_PX, Measure, length, split_length
from preflight.readers.svg.viewport import ViewBox, fit_or_identity, view_box
from preflight.readers.svg.walk import walk

_PHYSICAL = frozenset(("mm", "cm", "in", "pt", "pc", "q"))
DEFAULT_SIZE = (300.0, 150.0)
"""px, where nothing says a size (CSS 2, 10.3.2)."""
_SMALLEST_PX = 1e-6


def read_svg(original: bytes, data: bytes, name: str | None, budget: Budget) -> Artwork:
    """Read ``data`` (unpacked); ``original`` is the file as it arrived, for its hash."""
    document = load(data, budget)
    scene = Scene(document, Cascade.of(document, budget), budget)
    scene.initial = initial_style()
    width, height, basis = _size(document)
    scene.remarks.extend(document.remarks)
    box = view_box(document.root.get("viewBox"))
    if document.root.get("viewBox") is not None and box is None:
        scene.say(RemarkKind.BAD_VALUE, f"viewBox: {document.root.get('viewBox')}")
    for side in (width, height):
        if side is not None and not _SMALLEST_PX <= side < FARTHEST_MM / MM_PER_PX:
            raise ReadError(
                "size-out-of-range",
                f"The drawing would be {side * MM_PER_PX:.3g} mm wide or high, which no sign is.",
                "Set the page or artboard to the artwork's size and save it again.",
            )
    known = width is not None and height is not None
    view = (width or DEFAULT_SIZE[0], height or DEFAULT_SIZE[1])
    _background(scene)
    _draw(scene, box, view)
    if not known:
        # The content's own bounds tell the size that the file does not.
        extent = _extent(scene)
        width = width if width is not None else (extent[0] or DEFAULT_SIZE[0])
        height = height if height is not None else (extent[1] or DEFAULT_SIZE[1])
    assert width is not None
    assert height is not None
    for (kind, subject), element in scene.cascade.complaints.items():
        local = document.local(element)
        scene.say(kind, subject, Origin(local, scene.place(element), line_of(element), element.get("id")))
    return Artwork(
        width=width * MM_PER_PX,
        height=height * MM_PER_PX,
        items=tuple(scene.items),
        source=Source("svg", hashlib.sha256(original).hexdigest(), len(original), name, document.generator),
        size_basis=basis,
        remarks=tuple(scene.remarks),
        layers=tuple(scene.layers),
        empty_layers=tuple(layer for layer, used in scene.layers.items() if not used),
    )


def _draw(scene: Scene, box: ViewBox | None, view: tuple[float, float]) -> None:
    root = scene.document.root
    step = fit_or_identity(box, root.get("preserveAspectRatio"), *view)
    if step is None:
        raise ReadError(
            "zero-size",
            "The drawing's viewBox has no usable width or height, so nothing can show.",
            "Set the page or artboard to the artwork's size and save it again.",
        )
    scene.window = view
    scene.scale = MM_PER_PX
    assert scene.initial is not None
    matrix = multiply((MM_PER_PX, 0.0, 0.0, MM_PER_PX, 0.0, 0.0), step)
    viewport = (box.width, box.height) if box is not None else view
    walk(scene, root, "svg", Context(matrix, scene.initial, viewport, "/svg"))


def _background(scene: Scene) -> None:
    """Tell of a background colour, which viewers of web pages show and no knife follows."""
    for name, value, _ in inline_declarations(scene.document.root.get("style") or ""):
        if name in ("background", "background-color") and value.lower() not in ("none", "transparent"):
            scene.say(RemarkKind.UNSUPPORTED, f"page background {value}, not part of the artwork")


def _extent(scene: Scene) -> tuple[float, float]:
    """Return how far right and down the seen shapes reach, px; 0 where there are none."""
    boxes = []
    for item in scene.items:
        if item.hidden is not None:
            continue
        box = bounds(item) if isinstance(item, Shape) else item.box
        if box is not None and isinstance(item, Shape):
            half = item.stroke_width / 2
            box = (box[0] - half, box[1] - half, box[2] + half, box[3] + half)
        # Letters of a size beyond all sense would make the drawing area as large.
        if box is not None and all(abs(value) < FARTHEST_MM for value in box):
            boxes.append(box)
    whole = united(boxes)
    if whole is None:
        return (0.0, 0.0)
    return (max(whole[2], 0.0) / MM_PER_PX, max(whole[3], 0.0) / MM_PER_PX)


def _size(document: Document) -> tuple[float | None, float | None, SizeBasis]:
    """Return width and height in px (None: not stated) and what they rest on."""
    root = document.root
    sizes: list[float | None] = []
    units = []
    for attribute in ("width", "height"):
        text = (root.get(attribute) or "").strip()
        parts = split_length(text)
        value = None
        if (parts is not None and parts[1] != "%") or text[:5].lower() == "calc(":
            value = length(text, Measure(), "o")
        if value is not None and 0 <= value < _SMALLEST_PX:
            raise ReadError(
                "zero-size",
                f"The drawing's {attribute} is {text}, so nothing can show.",
                "Set the page or artboard to the artwork's size and save it again.",
            )
        if (value is not None and value < 0) or (value is None and text and parts is None and text != "auto"):
            document.remarks.append(Remark(RemarkKind.BAD_VALUE, f"{attribute} of the drawing: {text}"))
            value = None
        sizes.append(value)
        units.append(parts[1] if parts is not None and value is not None else "")
    width, height = sizes
    box = view_box(root.get("viewBox"))
    if width is not None and height is not None:
        physical = all(unit in _PHYSICAL for unit in units)
        return width, height, SizeBasis.PHYSICAL if physical else SizeBasis.PIXELS
    if box is None or box.width <= 0 or box.height <= 0:
        return width, height, SizeBasis.NONE
    if width is None and height is None:
        return box.width, box.height, SizeBasis.VIEWBOX
    stated = units[0] if width is not None else units[1]
    basis = SizeBasis.PHYSICAL if stated in _PHYSICAL else SizeBasis.PIXELS
    if width is not None:
        return width, width * box.height / box.width, basis
    assert height is not None
    return height * box.width / box.height, height, basis
