"""Content streams to operators with their operands, one at a time.

qpdf's tokenizer does the work and hands over token by token, so that memory stays bounded however
long the stream is; parsing the whole stream at once took five times the memory and the same time.
"""

from __future__ import annotations

from collections.abc import Callable

import pikepdf
from pikepdf import TokenType

from preflight.errors import ReadError
from preflight.readers.limits import Budget
from preflight.readers.pdf.values import Word, number, unescaped

Operand = object
"""float, bool, None, `Word` (a name), bytes (a string), list or dict."""
_MOST_OPERANDS = 200_000
_DEEPEST = 32
_SPACE, _REAL, _INTEGER, _WORD = TokenType.space, TokenType.real, TokenType.integer, TokenType.word
_SKIPPED = frozenset((TokenType.comment, TokenType.eof))
_OPENING = {TokenType.array_open: list, TokenType.dict_open: dict}
_CLOSING = frozenset((TokenType.array_close, TokenType.dict_close))


class InlineImage:
    """The data of an inline image, its entries and its size in bytes."""

    __slots__ = ("entries", "size")

    def __init__(self, entries: dict[str, Operand], size: int) -> None:
        self.entries = entries
        self.size = size


class Operations(pikepdf.TokenFilter):
    """Calls ``run(operator, operands)`` for each operator met."""

    def __init__(self, run: Callable[[str, list[Operand]], None], budget: Budget) -> None:
        super().__init__()
        self._run = run
        self._budget = budget
        self._operands: list[Operand] = []
        self._open: list[list[Operand]] = []
        self._kinds: list[type] = []
        self._image: list[Operand] | None = None
        self._pending = 0
        self.damaged = 0
        """How many tokens made no sense."""

    def handle_token(self, token: pikepdf.Token) -> None:
        """Take the next token; the filter's own output is not used."""
        kind = token.type_
        # Spaces, numbers and operators are nearly all there is; looking an enum up costs a call.
        if kind is _SPACE:
            return
        if kind is _REAL or kind is _INTEGER:
            self._count()
            self._add(_real(token.raw_value))
        elif kind is _WORD:
            self._count()
            self._word(token.raw_value)
        elif kind not in _SKIPPED:
            self._count()
            self._other(kind, token)

    def _other(self, kind: TokenType, token: pikepdf.Token) -> None:
        if kind == TokenType.name_:
            self._add(Word(unescaped(token.raw_value[1:])))
        elif kind == TokenType.string:
            self._add(_string(token.raw_value))
        elif kind in _OPENING:
            self._begin(_OPENING[kind])
        elif kind in _CLOSING:
            self._end()
        elif kind == TokenType.bool:
            self._add(token.raw_value == b"true")
        elif kind == TokenType.null:
            self._add(None)
        elif kind == TokenType.inline_image:
            self._inline(len(token.raw_value))
        else:
            self.damaged += 1

    def finish(self) -> None:
        """Count what is left at the stream's end."""
        self._budget.spend("pdf_tokens", self._pending)
        self._pending = 0
        self.damaged += len(self._operands) > 0 or len(self._open) > 0

    def _count(self) -> None:
        self._pending += 1
        if self._pending >= 1000:
            self._budget.spend("pdf_tokens", self._pending)
            self._pending = 0

    def _add(self, value: Operand) -> None:
        into = self._open[-1] if self._open else self._operands
        if len(into) >= _MOST_OPERANDS:
            raise ReadError(
                "pdf-content",
                f"The page's content has more than {_MOST_OPERANDS:,} values in a row without an operator: it is "
                "damaged.",
                "Save the file again in the program that made it.",
            )
        into.append(value)

    def _begin(self, kind: type) -> None:
        if len(self._open) >= _DEEPEST:
            self.damaged += 1
            return
        self._open.append([])
        self._kinds.append(kind)

    def _end(self) -> None:
        if not self._open:
            self.damaged += 1
            return
        found, kind = self._open.pop(), self._kinds.pop()
        self._add(_table(found) if kind is dict else found)

    def _word(self, raw: bytes) -> None:
        word = raw.decode("latin-1")
        if word == "BI":
            self._operands = []
        elif word == "ID":
            self._image, self._operands = self._operands, []
        elif word == "EI":
            self._operands = []
        else:
            if self._open:
                self.damaged += 1
                self._open, self._kinds = [], []
            operands, self._operands = self._operands, []
            self._run(word, operands)

    def _inline(self, size: int) -> None:
        if self._image is not None:
            self._run("EI", [InlineImage(_table(self._image), size)])
        self._image = None


def _real(raw: bytes) -> float | None:
    try:
        return number(float(raw))
    except ValueError:
        return None


def _string(raw: bytes) -> bytes:
    try:
        found = pikepdf.Object.parse(raw)
    except (pikepdf.PdfError, ValueError):
        return b""
    return bytes(found) if isinstance(found, pikepdf.String) else b""


def _table(found: list[Operand]) -> dict[str, Operand]:
    pairs = zip(found[::2], found[1::2], strict=False)
    return {key.text: value for key, value in pairs if isinstance(key, Word)}


def run(content: bytes, call: Callable[[str, list[Operand]], None], budget: Budget) -> int:
    """Call ``call`` for each operator of ``content``; return how many tokens made no sense."""
    scratch = pikepdf.new()
    stream = scratch.make_stream(content)
    page = pikepdf.Page(scratch.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.Page, Contents=stream)))
    operations = Operations(call, budget)
    page.get_filtered_contents(operations)
    operations.finish()
    return operations.damaged
