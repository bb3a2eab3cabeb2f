"""Text: what is shown, in which font and where (ISO 32000-1, 9). Each line becomes one `LiveText`."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import pikepdf

from preflight.artwork import Hidden, LiveText, Paint, RemarkKind
from preflight.curves import IDENTITY, Matrix, largest_stretch, multiply
from preflight.readers.pdf.fonts import UNKNOWN, Font, font
from preflight.readers.pdf.frame import Frame
from preflight.readers.pdf.state import hidden_by, stroke_of
from preflight.readers.pdf.tokens import Operand
from preflight.readers.pdf.values import entry, items, matrix, name, number, numbers

_SPACE = 0.2
"""em: a jump along the line wider than this stands for a space between words."""
_ABOVE, _BELOW = 0.8, 0.2
"""em: a rough box from the baseline; for pointing only."""
_INVISIBLE, _FIRST_CLIPPING = 3, 4


@dataclass(slots=True)
class _Line:
    """A line of text being shown: pieces of one font and size on one baseline."""

    text: str
    font: Font
    size: float
    start: Matrix
    """Text space to mm where it starts."""
    end: float
    """How far it runs, text-space units at its start."""
    fill: Paint | None
    hidden: Hidden | None
    stroke: Paint | None
    unit: Matrix


def _begin_text(frame: Frame, _: list[Operand]) -> bool:
    frame.in_text = True
    frame.text_matrix = frame.line_matrix = IDENTITY
    return True


def _end_text(frame: Frame, _: list[Operand]) -> bool:
    finish_line(frame)
    frame.in_text = False
    return True


def _change(frame: Frame, **values: object) -> None:
    frame.change(lettering=replace(frame.graphics.lettering, **values))  # type: ignore[arg-type]


def _scalar(field: str, factor: float = 1.0) -> Callable[[Frame, list[Operand]], bool]:
    def set_it(frame: Frame, operands: list[Operand]) -> bool:
        found = numbers(operands, 1)
        if found is None:
            return False
        _change(frame, **{field: found[0] * factor})
        return True

    return set_it


def _set_mode(frame: Frame, operands: list[Operand]) -> bool:
    found = numbers(operands, 1)
    if found is None or found[0] not in range(8):
        return False
    _change(frame, mode=int(found[0]))
    return True


def _set_font(frame: Frame, operands: list[Operand]) -> bool:
    called = name(operands[0]) if len(operands) == 2 else None
    size = number(operands[1]) if called is not None else None
    if called is None or size is None:
        return False
    found = entry(entry(frame.resources, "Font"), called)
    if found is None:
        frame.scene.say(RemarkKind.MISSING_REFERENCE, f"font {called} is not there")
    _change(frame, font=font(found, frame.scene.budget), size=size)
    return True


def set_from_state(frame: Frame, value: object) -> None:
    """Take over the font that an external graphics state sets."""
    parts = items(value)
    size = number(parts[1]) if len(parts) == 2 else None
    if size is not None and isinstance(parts[0], pikepdf.Dictionary):
        _change(frame, font=font(parts[0], frame.scene.budget), size=size)


def _move(frame: Frame, operands: list[Operand]) -> bool:
    found = numbers(operands, 2)
    if found is None:
        return False
    frame.line_matrix = multiply(frame.line_matrix, (1.0, 0.0, 0.0, 1.0, found[0], found[1]))
    frame.text_matrix = frame.line_matrix
    return True


def _move_leading(frame: Frame, operands: list[Operand]) -> bool:
    found = numbers(operands, 2)
    if found is None:
        return False
    _change(frame, leading=-found[1])
    return _move(frame, operands)


def _next_line(frame: Frame, _: list[Operand]) -> bool:
    return _move(frame, [0.0, -frame.graphics.lettering.leading])


def _set_matrix(frame: Frame, operands: list[Operand]) -> bool:
    found = matrix(operands)
    if found is None:
        return False
    frame.text_matrix = frame.line_matrix = found
    return True


def _show_text(frame: Frame, operands: list[Operand]) -> bool:
    if len(operands) != 1 or not isinstance(operands[0], bytes):
        return False
    _show(frame, operands)
    return True


def _show_spaced(frame: Frame, operands: list[Operand]) -> bool:
    if len(operands) != 1 or not isinstance(operands[0], list):
        return False
    _show(frame, operands[0])
    return True


def _show_next(frame: Frame, operands: list[Operand]) -> bool:
    _next_line(frame, [])
    return _show_text(frame, operands)


def _show_next_spaced(frame: Frame, operands: list[Operand]) -> bool:
    gaps = numbers(operands[:2], 2)
    if len(operands) != 3 or gaps is None:
        return False
    _change(frame, word_gap=gaps[0], character_gap=gaps[1])
    return _show_next(frame, operands[2:])


def _show(frame: Frame, pieces: list[Operand]) -> None:
    """Show strings, with numbers between them that move back by thousandths of the em."""
    lettering = frame.graphics.lettering
    used = lettering.font
    if used is None or lettering.size == 0:
        frame.scene.say(RemarkKind.BAD_VALUE, f"text without a font in {frame.place}, left out")
        return
    said: list[str] = []
    along = 0.0
    for piece in pieces:
        if isinstance(piece, bytes):
            for text, advance, is_space in used.letters(piece):
                said.append(text)
                gap = lettering.character_gap + (lettering.word_gap if is_space else 0.0)
                along += (advance * lettering.size + gap) * lettering.stretch
        elif isinstance(piece, float):
            along -= piece / 1000 * lettering.size * lettering.stretch
            if -piece / 1000 > _SPACE and said and not said[-1].isspace():
                said.append(" ")
    text = "".join(said)
    if text:
        _join(frame, text, along)
    frame.text_matrix = multiply(frame.text_matrix, (1.0, 0.0, 0.0, 1.0, along, 0.0))


def _join(frame: Frame, text: str, along: float) -> None:
    """Add ``text`` to the line being shown, or begin a line."""
    graphics = frame.graphics
    lettering = graphics.lettering
    assert lettering.font is not None
    start = multiply(graphics.matrix, multiply(frame.text_matrix, (1.0, 0.0, 0.0, 1.0, 0.0, lettering.rise)))
    filled = lettering.mode % 4 in (0, 2)
    stroked = lettering.mode % 4 in (1, 2)
    fill = frame.scene.painted(graphics.fill, graphics.fill_alpha) if filled else None
    line_paint = frame.scene.painted(graphics.stroke, graphics.stroke_alpha) if stroked else None
    hidden = hidden_by(frame.shown, graphics.opacity > 0)
    if hidden is None and lettering.mode % 4 == _INVISIBLE:
        hidden = Hidden.NOT_VISIBLE
    if lettering.mode >= _FIRST_CLIPPING and frame.shown:
        frame.scene.say(RemarkKind.UNSUPPORTED, f"text that clips what follows: “{text[:40]}”")
    new = _Line(text, lettering.font, lettering.size, start, along, fill, hidden, line_paint, graphics.matrix)
    line = frame.running[-1] if frame.running else None
    if isinstance(line, _Line):
        offset = _continues(line, new)
        if offset is not None:
            if offset - line.end > _SPACE * abs(line.size) and not line.text.endswith(" "):
                line.text += " "
            line.text += text
            line.end = offset + along
            return
        finish_line(frame)
    frame.running.append(new)


def _continues(line: _Line, new: _Line) -> float | None:
    """Return where along ``line`` a piece begins that goes on with it; None: it does not."""
    same = (line.font is new.font or line.font == new.font, line.size == new.size, line.fill == new.fill)
    if not all(same) or line.hidden is not new.hidden or line.stroke != new.stroke:
        return None
    a, b, c, d, e, f = line.start
    scale = max(largest_stretch(line.start), 1e-12)
    if max(abs(p - q) for p, q in zip(line.start[:4], new.start[:4], strict=True)) > 1e-3 * scale:
        return None
    determinant = a * d - b * c
    if determinant == 0:
        return None
    x, y = new.start[4] - e, new.start[5] - f
    along, across = (d * x - c * y) / determinant, (a * y - b * x) / determinant
    em = abs(line.size)
    if abs(across) > 0.05 * em or not -0.5 * em < along - line.end < 3 * em:
        return None
    return along


def finish_line(frame: Frame) -> None:
    """Emit the line being shown, if any."""
    if not frame.running:
        return
    line = frame.running.pop()
    assert isinstance(line, _Line)
    origin = frame.origin("text")
    a, b, c, d, e, f = line.start
    if not all(-1e7 < value < 1e7 for value in line.start):
        frame.scene.say(RemarkKind.BAD_VALUE, "text lies more than 10 km away, left out", origin)
        return
    em = line.size * math.hypot(c, d)
    if UNKNOWN in line.text:
        frame.scene.say(RemarkKind.NOTE, "text whose characters the file does not tell", origin)
    corners = [
        (a * x + c * y + e, b * x + d * y + f)
        for x in (0.0, line.end)
        for y in (-_BELOW * line.size, _ABOVE * line.size)
    ]
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    graphics = frame.graphics
    frame.emit(
        LiveText(
            text=line.text,
            families=line.font.families,
            size=abs(em),
            position=(e, f),
            origin=origin,
            fill=line.fill,
            weight=line.font.weight,
            italic=line.font.italic,
            hidden=line.hidden,
            box=(min(xs), min(ys), max(xs), max(ys)),
            matrix=line.unit,
            stroke=stroke_of(graphics, line.stroke, graphics.width) if line.stroke is not None else None,
            opacity=graphics.opacity,
            clips=graphics.clips,
        )
    )


OPERATORS: dict[str, Callable[[Frame, list[Operand]], bool]] = {
    "BT": _begin_text,
    "ET": _end_text,
    "Tc": _scalar("character_gap"),
    "Tw": _scalar("word_gap"),
    "Tz": _scalar("stretch", 0.01),
    "TL": _scalar("leading"),
    "Ts": _scalar("rise"),
    "Tr": _set_mode,
    "Tf": _set_font,
    "Td": _move,
    "TD": _move_leading,
    "Tm": _set_matrix,
    "T*": _next_line,
    "Tj": _show_text,
    "TJ": _show_spaced,
    "'": _show_next,
    '"': _show_next_spaced,
}
