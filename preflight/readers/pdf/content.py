"""The operators of content streams (ISO 32000-1, annex A), save those of text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pikepdf

from preflight.artwork import Cap, Join, PaintKind, Picture, RemarkKind
from preflight.curves import IDENTITY
from preflight.errors import printable, shortened
from preflight.readers.pdf import text, tokens
from preflight.readers.pdf.colours import CMYK, GREY, RGB, Space, space
from preflight.readers.pdf.frame import Frame
from preflight.readers.pdf.outline import Outline
from preflight.readers.pdf.painting import PAINTING, paint_path, paint_shading
from preflight.readers.pdf.state import Graphics, Ink, hidden_by, mapped_box
from preflight.readers.pdf.streams import filters, stream_bytes
from preflight.readers.pdf.tokens import InlineImage, Operand
from preflight.readers.pdf.values import Word, box, entry, identity, items, matrix, name, number, numbers

_CAPS = (Cap.BUTT, Cap.ROUND, Cap.SQUARE)
_JOINS = (Join.MITER, Join.ROUND, Join.BEVEL)
_MEDIA = {"DCTDecode": "image/jpeg", "DCT": "image/jpeg", "JPXDecode": "image/jp2"}


class Runner:
    """Runs one frame's content, and the forms it draws."""

    def __init__(self, frame: Frame, around: tuple[tuple[int, int], ...] = ()) -> None:
        self._frame = frame
        self._around = around
        """The forms one stands inside of."""
        self._spaces: dict[str, Space | None] = {}

    def run(self, content: bytes) -> None:
        """Run ``content``; what in it makes no sense is passed over, with a remark."""
        frame = self._frame
        damaged = tokens.run(content, self._operator, frame.scene.budget)
        text.finish_line(frame)
        if damaged:
            frame.scene.say(
                RemarkKind.PATH_ERROR, f"the content of {frame.place} is damaged in {damaged} places"
            )

    def _operator(self, operator: str, operands: list[Operand]) -> None:
        frame = self._frame
        if operator in PAINTING:
            paint_path(frame, operator)
        elif operator in _PATHS:
            self._construct(operator, operands)
        elif operator in text.OPERATORS:
            if not text.OPERATORS[operator](frame, operands):
                self._unread(operator)
        elif operator in _OPERATORS:
            if not _OPERATORS[operator](self, operands):
                self._unread(operator)
        elif operator not in _IGNORED:
            frame.scene.say(
                RemarkKind.PATH_ERROR, f"unknown operator “{shortened(printable(operator))}” in {frame.place}"
            )

    def _unread(self, operator: str) -> None:
        frame = self._frame
        frame.scene.say(RemarkKind.BAD_VALUE, f"values of the operator {operator} in {frame.place}")

    def _construct(self, operator: str, operands: list[Operand]) -> None:
        outline = self._frame.outline
        found = numbers(operands, _PATHS[operator])
        if found is None or (operator not in ("m", "re") and outline.at is None):
            self._unread(operator)
        elif operator == "m":
            outline.move(found[0], found[1])
        elif operator == "l":
            outline.line(found[0], found[1])
        elif operator == "re":
            outline.rectangle(found[0], found[1], found[2], found[3])
        elif operator == "h":
            outline.close()
        else:
            _curve(outline, operator, found)
        # Counted when it is painted; a path that is only ever added to must end before memory does.
        self._frame.scene.budget.check("path_segments", len(outline))

    # Graphics state

    def _save(self, _: list[Operand]) -> bool:
        self._frame.push()
        return True

    def _restore(self, _: list[Operand]) -> bool:
        self._frame.pop()
        return True

    def _concatenate(self, operands: list[Operand]) -> bool:
        found = matrix(operands)
        return found is not None and self._frame.concatenate(found)

    def _set_line(self, field: str, operands: list[Operand]) -> bool:
        found = numbers(operands, 1)
        if found is None or found[0] < 0:
            return False
        value = found[0]
        if field == "width":
            self._frame.change(width=value)
        elif field == "miter":
            self._frame.change(miter_limit=max(value, 1.0))
        elif value not in (0, 1, 2):
            return False
        elif field == "cap":
            self._frame.change(cap=_CAPS[int(value)])
        else:
            self._frame.change(join=_JOINS[int(value)])
        return True

    def _set_dash(self, operands: list[Operand]) -> bool:
        if len(operands) != 2:
            return False
        lengths, phase = numbers(operands[0]), number(operands[1])
        if lengths is None or phase is None or any(length < 0 for length in lengths):
            return False
        self._frame.scene.budget.check("dashes", len(lengths))
        self._frame.change(dashes=lengths, dash_offset=phase)
        return True

    def _set_state(self, operands: list[Operand]) -> bool:
        """Take over what an external graphics state (operator gs) sets."""
        frame = self._frame
        table = self._resource("ExtGState", operands)
        if not isinstance(table, pikepdf.Dictionary):
            return False
        for key, operator in (("LW", "width"), ("LC", "cap"), ("LJ", "join"), ("ML", "miter")):
            value = number(entry(table, key))
            if value is not None:
                self._set_line(operator, [value])
        dash = items(entry(table, "D"))
        if len(dash) == 2:
            self._set_dash([list(numbers(dash[0]) or ()), number(dash[1])])
        for key, field in (("ca", "fill_alpha"), ("CA", "stroke_alpha")):
            value = number(entry(table, key))
            if value is not None:
                frame.change(**{field: min(max(value, 0.0), 1.0)})
        if (mask := entry(table, "SMask")) is not None:
            frame.change(mask=name(mask) != "None")
        mode = entry(table, "BM")
        if mode is not None:
            words = [name(mode)] if name(mode) else [name(one) for one in items(mode)]
            first = words[0] if words and words[0] else "Normal"
            frame.change(blend="" if first in ("Normal", "Compatible") else shortened(printable(first)))
        if True in (entry(table, "OP"), entry(table, "op")):
            frame.scene.say(RemarkKind.NOTE, "overprint is set; it was judged as if each colour covered")
        text.set_from_state(frame, entry(table, "Font"))
        return True

    # Colour

    def _set_device(self, stroke: bool, operands: list[Operand]) -> bool:
        by_count = {1: GREY, 3: RGB, 4: CMYK}
        found = numbers(operands)
        if found is None or len(found) not in by_count:
            return False
        self._set_ink(stroke, Ink(by_count[len(found)], _unit(found)))
        return True

    def _set_space(self, stroke: bool, operands: list[Operand]) -> bool:
        called = name(operands[0]) if len(operands) == 1 else None
        if called is None:
            return False
        frame = self._frame
        if called not in self._spaces:
            self._spaces[called] = space(operands[0], frame.resources, frame.scene.budget)
        found = self._spaces[called]
        if found is None:
            frame.scene.say(RemarkKind.BAD_VALUE, f"colour space {called}, taken as grey")
            found = GREY
        self._set_ink(stroke, Ink(found, found.initial))
        return True

    def _set_colour(self, stroke: bool, operands: list[Operand]) -> bool:
        graphics = self._frame.graphics
        ink = graphics.stroke if stroke else graphics.fill
        if operands and isinstance(operands[-1], Word):
            called = operands[-1].text
            pattern = entry(entry(self._frame.resources, "Pattern"), called)
            if pattern is None:
                return False
            kind = PaintKind.GRADIENT if number(entry(pattern, "PatternType")) == 2 else PaintKind.PATTERN
            self._set_ink(stroke, replace(ink, pattern=(kind, called)))
            return True
        found = numbers(operands)
        if found is None or len(found) != ink.space.components:
            return False
        self._set_ink(stroke, Ink(ink.space, found))
        return True

    def _set_ink(self, stroke: bool, ink: Ink) -> None:
        if stroke:
            self._frame.change(stroke=ink)
        else:
            self._frame.change(fill=ink)

    # Clips, shadings, marked content

    def _set_clip(self, rule: str, _: list[Operand]) -> bool:
        self._frame.pending_clip = rule
        return True

    def _shade(self, operands: list[Operand]) -> bool:
        shading = self._resource("Shading", operands)
        if shading is None:
            return False
        paint_shading(self._frame, shading, name(operands[0]) or "")
        return True

    def _begin_marked(self, operands: list[Operand]) -> bool:
        frame = self._frame
        if name(operands[0] if operands else None) == "OC" and len(operands) == 2:
            content = entry(entry(frame.resources, "Properties"), name(operands[1]) or "")
            layers = frame.scene.layers
            frame.enter(layers.title(content), layers.shown(content))
        else:
            frame.enter(None, True)
        return True

    def _end_marked(self, _: list[Operand]) -> bool:
        self._frame.leave()
        return True

    # Objects drawn

    def _draw(self, operands: list[Operand]) -> bool:
        target = self._resource("XObject", operands)
        if not isinstance(target, pikepdf.Stream):
            self._frame.scene.say(
                RemarkKind.MISSING_REFERENCE, f"object {name(operands[0] if operands else None)} is not there"
            )
            return True
        content = entry(target, "OC")
        layers = self._frame.scene.layers
        if content is not None:
            self._frame.enter(layers.title(content), layers.shown(content))
        kind = name(entry(target, "Subtype"))
        if kind == "Image":
            self._image(filters(target), number(entry(target, "Length")) or 0, _pixels(target))
        elif kind == "Form":
            self._form(target)
        else:
            self._frame.scene.say(
                RemarkKind.UNSUPPORTED, f"object of the kind {kind}", self._frame.origin("object")
            )
        if content is not None:
            self._frame.leave()
        return True

    def _draw_inline(self, operands: list[Operand]) -> bool:
        image = operands[0] if operands else None
        if not isinstance(image, InlineImage):
            return False
        found = image.entries.get("F", image.entries.get("Filter"))
        used = [name(one) or "" for one in found] if isinstance(found, list) else [name(found) or ""]
        size = [
            number(image.entries.get(a, image.entries.get(b))) for a, b in (("W", "Width"), ("H", "Height"))
        ]
        self._image(used, image.size, f"{size[0] or 0:.0f} × {size[1] or 0:.0f} pixels")
        return True

    def _image(self, used: list[str], size: float, pixels: str) -> None:
        frame = self._frame
        media = next((_MEDIA[one] for one in used if one in _MEDIA), None)
        area = mapped_box((0.0, 0.0, 1.0, 1.0), frame.graphics.matrix)
        frame.emit(
            Picture(
                box=area,
                origin=frame.origin("image"),
                embedded=True,
                media_type=media,
                reference=pixels,
                size_bytes=int(size),
                hidden=hidden_by(frame.shown, frame.graphics.fill_alpha * frame.graphics.opacity > 0),
            )
        )

    def _form(self, form: pikepdf.Stream) -> None:
        frame = self._frame
        scene = frame.scene
        scene.budget.spend("use_instances")
        scene.budget.check("nesting_depth", len(self._around) + 1)
        key = identity(form)
        place = frame.step("form")
        if key is not None and key in self._around:
            scene.say(RemarkKind.CYCLE, f"{place} draws itself")
            return
        content = stream_bytes(form, scene.budget)
        if content is None:
            scene.say(RemarkKind.PATH_ERROR, f"{place} cannot be unpacked, left out")
            return
        inner = Frame(
            scene, entry(form, "Resources") or frame.resources, frame.graphics, place, tuple(frame.marked)
        )
        if not inner.concatenate(matrix(entry(form, "Matrix")) or IDENTITY):
            return
        _bound(inner, form)
        if name(entry(entry(form, "Group"), "S")) == "Transparency":
            inner.graphics = _grouped(inner.graphics)
        Runner(inner, (*self._around, *((key,) if key is not None else ()))).run(content)

    def _resource(self, kind: str, operands: list[Operand]) -> object:
        called = name(operands[0]) if len(operands) == 1 else None
        return entry(entry(self._frame.resources, kind), called) if called is not None else None


def _curve(outline: Outline, operator: str, found: tuple[float, ...]) -> None:
    at = outline.at
    assert at is not None
    if operator == "c":
        outline.curve(found[:2], found[2:4], found[4:])  # type: ignore[arg-type]
    elif operator == "v":
        outline.curve(at, found[:2], found[2:])  # type: ignore[arg-type]
    else:
        outline.curve(found[:2], found[2:], found[2:])  # type: ignore[arg-type]


def _bound(frame: Frame, form: pikepdf.Stream) -> None:
    """Clip to the form's bounding box, which is required but sometimes missing."""
    limits = box(entry(form, "BBox"))
    if limits is not None:
        outline = Outline()
        outline.rectangle(limits[0], limits[1], limits[2] - limits[0], limits[3] - limits[1])
        frame.clip(outline.path(), frame.graphics.matrix, evenodd=False, drawn=False)


def _grouped(graphics: Graphics) -> Graphics:
    """Return the state in which a transparency group starts (ISO 32000-1, 11.6.6)."""
    return replace(
        graphics,
        fill_alpha=1.0,
        stroke_alpha=1.0,
        opacity=graphics.opacity * graphics.fill_alpha,
        mask=False,
        blend="",
        outer_mask=graphics.mask or graphics.outer_mask,
        outer_blend=graphics.blend or graphics.outer_blend,
    )


def _pixels(image: pikepdf.Stream) -> str:
    wide, high = number(entry(image, "Width")), number(entry(image, "Height"))
    return f"{wide or 0:.0f} × {high or 0:.0f} pixels"


def _unit(found: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(min(max(value, 0.0), 1.0) for value in found)


_PATHS = {"m": 2, "l": 2, "c": 6, "v": 4, "y": 4, "h": 0, "re": 4}
_IGNORED = frozenset(("ri", "i", "MP", "DP", "BX", "EX", "d0", "d1"))
_OPERATORS: dict[str, Callable[[Runner, list[Operand]], bool]] = {
    "q": Runner._save,
    "Q": Runner._restore,
    "cm": Runner._concatenate,
    "w": lambda r, o: r._set_line("width", o),
    "J": lambda r, o: r._set_line("cap", o),
    "j": lambda r, o: r._set_line("join", o),
    "M": lambda r, o: r._set_line("miter", o),
    "d": Runner._set_dash,
    "gs": Runner._set_state,
    **{op: (lambda r, o: r._set_device(True, o)) for op in ("G", "RG", "K")},
    **{op: (lambda r, o: r._set_device(False, o)) for op in ("g", "rg", "k")},
    "CS": lambda r, o: r._set_space(True, o),
    "cs": lambda r, o: r._set_space(False, o),
    **{op: (lambda r, o: r._set_colour(True, o)) for op in ("SC", "SCN")},
    **{op: (lambda r, o: r._set_colour(False, o)) for op in ("sc", "scn")},
    "W": lambda r, o: r._set_clip("nonzero", o),
    "W*": lambda r, o: r._set_clip("evenodd", o),
    "sh": Runner._shade,
    "BMC": Runner._begin_marked,
    "BDC": Runner._begin_marked,
    "EMC": Runner._end_marked,
    "Do": Runner._draw,
    "EI": Runner._draw_inline,
}
