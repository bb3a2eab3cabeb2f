"""A content stream being run: its state, and what all operators need."""

from __future__ import annotations

import itertools
from dataclasses import replace

from preflight.artwork import Clip, ClipPart, Hidden, Item, Origin, RemarkKind
from preflight.curves import IDENTITY, Matrix, Path, multiply
from preflight.readers.pdf.outline import Outline
from preflight.readers.pdf.state import FARTHEST_MM, Graphics, Marked, Scene

_SAME = 0.01
"""mm: a clip this near to the page's edge, or farther out, clips to the page."""


class Frame:
    """One run of a page's, a form's or a glyph's content."""

    def __init__(
        self, scene: Scene, resources: object, graphics: Graphics, place: str, marked: tuple[Marked, ...] = ()
    ) -> None:
        self.scene = scene
        self.resources = resources
        self.graphics = graphics
        self.place = place
        self.stack: list[Graphics] = []
        self.marked: list[Marked] = list(marked)
        self._around = len(self.marked)
        self.outline = Outline()
        self.pending_clip: str | None = None
        self.text_matrix: Matrix = IDENTITY
        self.line_matrix: Matrix = IDENTITY
        self.in_text = False
        self.running: list[object] = []
        """Pieces of the text line being shown; see `text`."""
        self._counts: dict[str, itertools.count[int]] = {}

    @property
    def shown(self) -> bool:
        """Whether all layers around are on."""
        return all(level.shown for level in self.marked)

    @property
    def layer(self) -> str | None:
        """Name of the innermost layer around."""
        return next((level.layer for level in reversed(self.marked) if level.layer is not None), None)

    def step(self, element: str) -> str:
        """Return the place of the next ``element`` in this content, counted from 1."""
        count = self._counts.setdefault(element, itertools.count(1))
        return f"{self.place}/{element}[{next(count)}]"

    def origin(self, element: str) -> Origin:
        """Return the origin of the next ``element``."""
        return Origin(element, self.step(element), layer=self.layer)

    def change(self, **values: object) -> None:
        """Change fields of the graphics state."""
        self.graphics = replace(self.graphics, **values)  # type: ignore[arg-type]

    def push(self) -> None:
        """Save the graphics state."""
        self.scene.budget.check("nesting_depth", len(self.stack) + 1)
        self.stack.append(self.graphics)

    def pop(self) -> None:
        """Restore the graphics state last saved."""
        if self.stack:
            self.graphics = self.stack.pop()

    def concatenate(self, matrix: Matrix) -> bool:
        """Put ``matrix`` under the current one; False where the result is out of all range."""
        found = multiply(self.graphics.matrix, matrix)
        if not all(-1e15 < value < 1e15 for value in found):
            return False
        self.change(matrix=found)
        return True

    def enter(self, layer: str | None, shown: bool) -> None:
        """Begin marked content."""
        self.scene.budget.check("nesting_depth", len(self.marked) + 1)
        self.marked.append(Marked(layer, shown))

    def leave(self) -> None:
        """End marked content begun in this stream."""
        if len(self.marked) > self._around:
            self.marked.pop()

    def emit(self, item: Item) -> None:
        """Add an item, with remarks on effects that it is painted with."""
        scene, graphics = self.scene, self.graphics
        scene.budget.spend("nodes")
        if item.hidden is not Hidden.NOT_DISPLAYED:
            if graphics.mask or graphics.outer_mask:
                scene.say(RemarkKind.MASK, "soft mask", item.origin)
            blend = graphics.blend or graphics.outer_blend
            if blend:
                scene.say(RemarkKind.BLEND, f"blend mode {blend}", item.origin)
        scene.items.append(item)
        for level in self.marked:
            if level.layer is not None:
                scene.used_layers[level.layer] = None

    def clip(
        self, path: Path, matrix: Matrix, *, evenodd: bool, drawn: bool, origin: Origin | None = None
    ) -> None:
        """Keep only what lies within ``path`` too; ``drawn``: a person may have meant it."""
        key = b"".join((path.controls.tobytes(), repr((matrix, evenodd)).encode()))
        if key in self.graphics.clip_keys:
            return
        whole = path.mapped(matrix)
        viewport = not drawn or _covers(whole, self.scene.page)
        clip = Clip((ClipPart(path, matrix, evenodd),), origin=origin, viewport=viewport)
        self.scene.budget.check("clip_depth", len(self.graphics.clips) + 1)
        self.change(clips=(*self.graphics.clips, clip), clip_keys=self.graphics.clip_keys | frozenset((key,)))

    def within_reach(self, path: Path, matrix: Matrix) -> bool:
        """Tell whether all of ``path`` lies within 10 km of the page."""
        controls = path.mapped(matrix).controls
        return bool((abs(controls) < FARTHEST_MM).all())


def _covers(path: Path, page: tuple[float, float, float, float]) -> bool:
    """Tell whether ``path`` (mm) is an upright rectangle that holds the whole page."""
    if len(path) != 1 or len(path.controls) not in (3, 4) or not path.lines.all():
        return False
    starts, ends = path.controls[:, 0], path.controls[:, 3]
    if not (abs(starts - ends).min(axis=1) < 1e-6).all():
        return False
    x0, y0, x1, y1 = path.bounds()
    return x0 <= page[0] + _SAME and y0 <= page[1] + _SAME and x1 >= page[2] - _SAME and y1 >= page[3] - _SAME
