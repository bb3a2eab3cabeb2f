"""What stands in the way of outlining a text, in words for the customer."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from preflight.errors import printable, shortened

MOST_NAMED = 12
"""So many characters are named one by one."""


class Trouble(StrEnum):
    """Stable words for kinds of problems."""

    NO_FONT = "no-font"
    NO_STYLE = "no-style"
    """The family is there, but not in the weight, width or slope asked for."""
    FONT_UNREADABLE = "font-unreadable"
    MISSING_GLYPHS = "missing-glyphs"
    NO_OUTLINE = "no-outline"
    """Letters that a font draws as pictures: in colours or pixels."""
    NOT_LAID_OUT = "not-laid-out"
    """The file asks for something this tool does not lay out, or viewers do not agree on."""
    APPROXIMATE = "approximate"
    """Laid out, but viewers differ a little here: worth a look."""


@dataclass(frozen=True, slots=True)
class TextProblem:
    """One problem. Where ``blocking``, the text has no outlines: none are guessed."""

    kind: Trouble
    message: str
    advice: str
    blocking: bool = True


@dataclass(frozen=True, slots=True)
class MissingGlyphs:
    """Characters for which no font that the text names has a glyph."""

    characters: str
    """Each once, in order."""
    families: tuple[str, ...]


@dataclass(slots=True)
class Problems:
    """Problems met so far, each once."""

    found: dict[TextProblem, None] = field(default_factory=dict)
    missing: dict[tuple[str, ...], dict[str, None]] = field(default_factory=dict)

    def add(self, kind: Trouble, message: str, advice: str, *, blocking: bool = True) -> None:
        """Add a problem."""
        self.found.setdefault(TextProblem(kind, message, advice, blocking))

    def add_missing(self, families: tuple[str, ...], characters: str) -> None:
        """Add characters without a glyph."""
        known = self.missing.setdefault(families, {})
        known.update(dict.fromkeys(characters))

    def finished(self) -> tuple[tuple[TextProblem, ...], tuple[MissingGlyphs, ...]]:
        """Return all problems, missing glyphs among them."""
        missing = tuple(MissingGlyphs("".join(letters), fams) for fams, letters in self.missing.items())
        for lack in missing:
            self.add(
                Trouble.MISSING_GLYPHS,
                f"{listed(lack.families)} has no letter for {named(lack.characters)}.",
                "Choose a font that has these characters, or turn the text into outlines in the drawing program.",
            )
        return tuple(self.found), missing


def listed(families: tuple[str, ...]) -> str:
    """Return family names for a message."""
    names = [f"“{shortened(printable(name))}”" for name in families if name]
    return " or ".join(names) or "No font is named, and none"


def named(characters: str) -> str:
    """Return characters for a message, with their code points."""
    shown = [f"“{printable(c)}” (U+{ord(c):04X})" for c in characters[:MOST_NAMED]]
    more = len(characters) - MOST_NAMED
    return ", ".join(shown) + (f" and {more} more" if more > 0 else "")
