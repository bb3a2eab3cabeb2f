"""What the parts of the SVG reader share: the drawing so far, and where in it one stands."""

from __future__ import annotations

from dataclasses import dataclass, field

from lxml import etree

from preflight.artwork import Box, Clip, Hidden, Item, Origin, Paint, Remark, RemarkKind, Shape
from preflight.curves import Matrix
from preflight.readers.limits import Budget
from preflight.readers.svg.document import Document, line_of
from preflight.readers.svg.outlines import Outline
from preflight.readers.svg.style import Cascade, Style
from preflight.readers.svg.values import Measure, shortened

MAX_REMARKS = 2_000
"""Past this many, further remarks say nothing new; the last one kept says that there were more."""


@dataclass(frozen=True, slots=True)
class Context:
    """Where something is drawn: all that its surroundings pass on to it."""

    matrix: Matrix
    """User space to mm."""
    style: Style
    viewport: tuple[float, float]
    """Size of the nearest viewport in its own user units."""
    path: str = ""
    opacity: float = 1.0
    clips: tuple[Clip, ...] = ()
    hidden: Hidden | None = None
    layers: tuple[str, ...] = ()
    depth: int = 0
    chain: tuple[etree._Element, ...] = ()
    """The ``use`` and marker elements one stands inside of."""
    context_fill: Paint | None = None
    context_stroke: Paint | None = None


@dataclass(slots=True)
class Scene:
    """The drawing as read so far."""

    document: Document
    cascade: Cascade
    budget: Budget
    window: tuple[float, float] = (0.0, 0.0)
    """The outermost viewport, px."""
    scale: float = 1.0
    """mm in a px of the outermost viewport."""
    items: list[Item] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)
    layers: dict[str, bool] = field(default_factory=dict)
    """Named groups in document order, and whether anything was drawn in them."""
    outlines: dict[tuple[etree._Element, int], Outline] = field(default_factory=dict)
    measuring: int = 0
    """How many bounding boxes are being taken; meanwhile clips and remarks are left out."""
    lineages: dict[etree._Element, frozenset[etree._Element]] = field(default_factory=dict)
    numbered: dict[etree._Element, dict[etree._Element, int]] = field(default_factory=dict)
    said: set[Remark] = field(default_factory=set)
    clip_depth: int = 0
    styles_in_place: dict[etree._Element, Style] = field(default_factory=dict)
    initial: Style | None = None
    svg_fonts: frozenset[str] | None = None

    def drawn_fonts(self) -> frozenset[str]:
        """Return the families, in lower case, that the file draws itself in ``font`` elements."""
        if self.svg_fonts is None:
            faces = self.document.root.iter("{*}font-face")
            names = (face.get("font-family") or "" for face in faces if self.document.local(face))
            self.svg_fonts = frozenset(name.strip().strip("\"'").lower() for name in names)
        return self.svg_fonts

    def measure(self, style: Style, context: Context) -> Measure:
        """Return what relative lengths refer to for an element of ``style`` drawn in ``context``."""
        key = ("measure", context.viewport)
        known: Measure | None = style.cache.get(key)
        if known is None:
            known = Measure(style.font_size, style.root_font_size, *context.viewport, self.window)
            style.cache[key] = known
        return known

    def origin(self, element: etree._Element, local: str, context: Context) -> Origin:
        """Return where ``element``, drawn in ``context``, stands in the file."""
        return Origin(
            local,
            context.path,
            line_of(element),
            element.get("id"),
            context.layers[-1] if context.layers else None,
        )

    def lineage(self, element: etree._Element) -> frozenset[etree._Element]:
        """Return ``element`` and all that stands around it."""
        known = self.lineages.get(element)
        if known is None:
            known = frozenset((element, *element.iterancestors()))
            self.lineages[element] = known
        return known

    def place(self, element: etree._Element) -> str:
        """Return where ``element`` stands in the tree, counted from 1 among siblings of its name."""
        steps = []
        current = element
        while (parent := current.getparent()) is not None:
            steps.append(self._step(parent, current))
            current = parent
        return "/svg" + "".join(reversed(steps))

    def _step(self, parent: etree._Element, child: etree._Element) -> str:
        known = self.numbered.get(parent)
        if known is None:
            known = {}
            counts: dict[str, int] = {}
            for sibling in parent:
                local = self.document.local(sibling)
                counts[local] = counts.get(local, 0) + 1
                known[sibling] = counts[local]
            self.numbered[parent] = known
        return f"/{self.document.local(child) or '*'}[{known[child]}]"

    def step(self, child: etree._Element) -> str:
        """Return the last step of `place`."""
        parent = child.getparent()
        return "" if parent is None else self._step(parent, child)

    def say(
        self, kind: RemarkKind, subject: str, origin: Origin | None = None, box: Box | None = None
    ) -> None:
        """Add a remark, once, unless only measuring."""
        if self.measuring or len(self.remarks) > MAX_REMARKS:
            return
        remark = Remark(kind, shortened(subject, 160), origin, box)
        if remark in self.said:
            return
        self.said.add(remark)
        if len(self.remarks) == MAX_REMARKS:
            remark = Remark(RemarkKind.NOTE, f"more than {MAX_REMARKS} remarks; the rest were left out")
        self.remarks.append(remark)

    def visit(self) -> None:
        """Count an element visited; what is only measured counts apart, so that boxes cost no drawing."""
        self.budget.spend("nodes" if not self.measuring else "measured")

    def emit(self, item: Item, context: Context) -> None:
        """Add an item to the drawing."""
        self.items.append(item)
        for layer in context.layers:
            self.layers[layer] = True

    def style_in_place(self, element: etree._Element) -> Style:
        """Return the style of ``element`` where it stands in the file, not where it is used."""
        known = self.styles_in_place.get(element)
        if known is not None:
            return known
        lineage = [element, *element.iterancestors()]
        assert self.initial is not None
        style = self.initial
        for ancestor in reversed(lineage):
            cached = self.styles_in_place.get(ancestor)
            style = self.cascade.computed(ancestor, style) if cached is None else cached
            self.styles_in_place[ancestor] = style
        return style


def bounds(shape: Shape) -> Box | None:
    """Return the exact bounds of a shape's outline in the space its matrix leads to."""
    if not len(shape.path.controls):
        return None
    return shape.path.mapped(shape.matrix).bounds()


def united(boxes: list[Box]) -> Box | None:
    """Return the smallest box around all ``boxes``; None without any."""
    if not boxes:
        return None
    return (
        min(b[0] for b in boxes),
        min(b[1] for b in boxes),
        max(b[2] for b in boxes),
        max(b[3] for b in boxes),
    )


def mapped_point(x: float, y: float, matrix: Matrix) -> tuple[float, float]:
    """Return the point (x, y) mapped through ``matrix``."""
    a, b, c, d, e, f = matrix
    return (a * x + c * y + e, b * x + d * y + f)


def mapped_box(box: Box, matrix: Matrix) -> Box:
    """Return the bounds of ``box`` mapped through ``matrix``."""
    x0, y0, x1, y1 = box
    corners = [mapped_point(x, y, matrix) for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))]
    across, down = [p[0] for p in corners], [p[1] for p in corners]
    return (min(across), min(down), max(across), max(down))


FARTHEST_MM = 1e7
"""What lies more than 10 km from the drawing is left out with a remark: no sign is that large, and
geometry that far out has no precision left."""


def sane(matrix: Matrix) -> bool:
    """Tell whether a matrix can be computed with: finite, and far from the end of the range."""
    return all(-1e15 < value < 1e15 for value in matrix)


def within_reach(matrix: Matrix, reach: float) -> bool:
    """Tell whether points no farther than ``reach`` from the origin map to within 10 km."""
    a, b, c, d, e, f = matrix
    return (abs(a) + abs(c)) * reach + abs(e) < FARTHEST_MM and (abs(b) + abs(d)) * reach + abs(
        f
    ) < FARTHEST_MM
