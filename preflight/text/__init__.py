"""Live text to outlines: fonts, shaping, layout, shapes.

`outline` turns a run of `LiveText` into shapes with the fonts of a `FontSource`.
"""

from __future__ import annotations

from preflight.text.fontfile import FontError
from preflight.text.fonts import FontSource, Rejected
from preflight.text.outlining import FontUsed, OutlinedText, outline
from preflight.text.problems import MissingGlyphs, TextProblem, Trouble

__all__ = [
    "FontError",
    "FontSource",
    "FontUsed",
    "MissingGlyphs",
    "OutlinedText",
    "Rejected",
    "TextProblem",
    "Trouble",
    "outline",
]
