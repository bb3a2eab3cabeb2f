"""Our own single-stroke lettering, so that a picture's words never depend on a font being there.

Upright drafting letters drawn with one line, in units of which ten are the height of a capital: y up
from the baseline, x-height 7, descenders to -3. Each glyph is an advance and a little drawing:
``M x y`` moves, ``L x y`` draws a line, ``Q`` and ``C`` curves as in SVG path data, ``E cx cy rx ry
a b`` draws the part of an ellipse from angle a to angle b (degrees, counted from the right,
anticlockwise when b > a), joined on by a line where a drawing is under way.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterator
from functools import cache

CAP_HEIGHT = 10.0
SPACING = 0.35
"""Added to every advance: small sizes read better a little open."""

_GLYPHS: dict[str, tuple[float, str]] = {
    " ": (3.6, ""),
    "!": (3.2, "M1.6 10L1.6 3.4M1.6 .4L1.6 .1"),
    '"': (5, "M1.6 10L1.6 7.4M3.4 10L3.4 7.4"),
    "#": (8.4, "M3.2 0L4.2 10M5.6 0L6.6 10M1 3.2L7.6 3.2M1.4 6.8L8 6.8"),
    "$": (
        7.6,
        "M6.5 7.4E4.2 7 2.6 1.9 20 90E4 7.2 2.6 1.7 90 180Q1.4 5.5 4 5Q6.7 4.5 6.7 2.9"
        "E4 2.9 2.7 2.1 0 -90E3.8 2.9 2.8 2.1 -90 -170M3.9 10.6L3.9 -.8",
    ),
    "%": (10.6, "M8.4 10L2.2 0ME2.6 7.6 1.7 2.3 0 360ME8 2.4 1.7 2.3 0 360"),
    "&": (
        9,
        "M8 0L2.9 6.2Q1.8 7.7 2.6 9Q3.3 10 4.4 9.9Q5.9 9.6 5.9 8.1Q5.8 6.8 3.5 5.5Q1 4.2 1 2.6"
        "Q1.1 0 3.9 -.1Q6.9 0 7.7 4.6",
    ),
    "'": (3, "M1.5 10L1.5 7.4"),
    "(": (3.8, "M3 11Q1 8.4 1 4.6Q1 .8 3 -1.8"),
    ")": (3.8, "M.8 11Q2.8 8.4 2.8 4.6Q2.8 .8 .8 -1.8"),
    "*": (6, "M3 9.8L3 5.4M1.1 8.7L4.9 6.5M1.1 6.5L4.9 8.7"),
    "+": (7, "M3.5 7L3.5 1M.6 4L6.4 4"),
    ",": (3.2, "M1.8 .7L1.8 .2Q1.8 -1 1 -1.9"),
    "-": (4.6, "M.8 3.8L3.8 3.8"),
    ".": (3.2, "M1.6 .3L1.6 0"),
    "/": (5.2, "M.6 -1L4.6 10.6"),
    "0": (7.4, "ME3.7 5 2.8 5.1 0 360"),
    "1": (5.2, "M1 7.9L3.3 10L3.3 0"),
    "2": (7, "M1 7.7E3.5 7.3 2.5 2.7 170 0Q6 5.9 4.4 4.2L.9 0L6.3 0"),
    "3": (
        7,
        "M1.1 8.2Q1.8 10.1 3.5 10.1Q5.8 10 5.8 7.7Q5.8 5.4 3 5.4Q6.3 5.3 6.3 2.7Q6.2 -.1 3.4 -.1Q1.4 0 .8 2",
    ),
    "4": (7.4, "M5.3 0L5.3 10L.8 3L6.9 3"),
    "5": (7, "M5.8 10L1.7 10L1.3 5.5Q2.3 6.3 3.5 6.3Q6.3 6.2 6.3 3.1Q6.2 -.1 3.3 -.1Q1.4 0 .8 1.7"),
    "6": (7.2, "M5.6 10Q.9 7.5 .9 3.2E3.6 3.1 2.7 3.2 180 540"),
    "7": (6.6, "M.7 10L6 10L2.4 0"),
    "8": (7.2, "ME3.6 7.6 2.3 2.4 -90 270ME3.6 2.6 2.8 2.7 90 450"),
    "9": (7.2, "M1.6 0Q6.3 2.5 6.3 6.8E3.6 6.9 2.7 3.2 0 360"),
    ":": (3.2, "M1.6 .3L1.6 0M1.6 5.6L1.6 5.3"),
    ";": (3.2, "M1.8 .7L1.8 .2Q1.8 -1 1 -1.9M1.7 5.6L1.7 5.3"),
    "<": (7, "M6.2 7L.8 4L6.2 1"),
    "=": (7, "M.7 5.4L6.3 5.4M.7 2.6L6.3 2.6"),
    ">": (7, "M.8 7L6.2 4L.8 1"),
    "?": (6.4, "M.9 8Q1.4 10.1 3.2 10.1Q5.4 10 5.4 7.9Q5.4 6.6 4.2 5.6Q3.1 4.7 3.1 3.2M3.1 .4L3.1 .1"),
    "@": (
        11,
        "M7.4 6.4Q6.7 7.2 5.6 7.2Q3.4 7.1 3.3 4.5Q3.3 2.2 5.3 2.2Q7.2 2.3 7.4 4.6L7.5 7L7.4 4"
        "Q7.4 2.2 8.6 2.2Q10.2 2.4 10.2 5.2Q10 9.9 5.6 10Q.9 9.8 .8 4.4Q.9 -1 5.8 -1.2Q7.4 -1.2 8.6 -.6",
    ),
    "A": (8.2, "M.5 0L4.1 10L7.7 0M1.8 3.3L6.4 3.3"),
    "B": (
        7.8,
        "M1.2 0L1.2 10L3.9 10Q6.3 9.9 6.3 7.7Q6.3 5.4 3.9 5.3L1.2 5.3M3.9 5.3Q6.9 5.2 6.9 2.7"
        "Q6.9 0 3.9 0L1.2 0",
    ),
    "C": (8.2, "M7.4 8.2Q6.5 10.1 4.5 10.1Q.9 10 .9 5Q.9 0 4.5 -.1Q6.5 -.1 7.4 1.8"),
    "D": (8.6, "M1.2 0L1.2 10L3.5 10Q7.6 9.9 7.6 5Q7.6 .1 3.5 0L1.2 0"),
    "E": (7, "M6.3 10L1.2 10L1.2 0L6.4 0M1.2 5.3L5.6 5.3"),
    "F": (6.8, "M6.2 10L1.2 10L1.2 0M1.2 5.1L5.5 5.1"),
    "G": (8.6, "M7.4 8.2Q6.5 10.1 4.5 10.1Q.9 10 .9 5Q.9 0 4.6 -.1Q6.4 -.1 7.5 1.1L7.5 4.6L4.8 4.6"),
    "H": (8.6, "M1.2 0L1.2 10M7.4 0L7.4 10M1.2 5.2L7.4 5.2"),
    "I": (3.4, "M1.7 0L1.7 10"),
    "J": (6, "M4.7 10L4.7 2.6Q4.6 -.1 2.5 -.1Q1 -.1 .5 1.7"),
    "K": (7.8, "M1.2 0L1.2 10M7 10L1.2 3.8M3.2 5.9L7.3 0"),
    "L": (6.6, "M1.2 10L1.2 0L6.1 0"),
    "M": (10, "M1.2 0L1.2 10L5 3L8.8 10L8.8 0"),
    "N": (8.8, "M1.2 0L1.2 10L7.6 0L7.6 10"),
    "O": (9.2, "ME4.6 5 3.7 5.1 90 450"),
    "P": (7.4, "M1.2 0L1.2 10L3.8 10Q6.7 9.9 6.7 7.2Q6.7 4.4 3.8 4.3L1.2 4.3"),
    "Q": (9.2, "ME4.6 5 3.7 5.1 90 450M5.4 2L8.3 -1"),
    "R": (7.8, "M1.2 0L1.2 10L3.8 10Q6.6 9.9 6.6 7.3Q6.6 4.7 3.8 4.6L1.2 4.6M4 4.6L7.2 0"),
    "S": (
        7.4,
        "M6.4 8.2Q5.7 10.1 3.7 10.1Q1.2 10 1.2 7.7Q1.2 5.9 3.8 5.2Q6.6 4.6 6.6 2.5Q6.6 0 3.7 -.1"
        "Q1.3 -.1 .7 2",
    ),
    "T": (7.2, "M.4 10L6.8 10M3.6 10L3.6 0"),
    "U": (8.4, "M1.2 10L1.2 3.4Q1.3 -.1 4.2 -.1Q7.1 -.1 7.2 3.4L7.2 10"),
    "V": (8, "M.5 10L4 0L7.5 10"),
    "W": (11.4, "M.6 10L3.1 0L5.7 9.2L8.3 0L10.8 10"),
    "X": (7.6, "M.7 10L6.9 0M6.9 10L.7 0"),
    "Y": (7.6, "M.5 10L3.8 4.8L7.1 10M3.8 4.8L3.8 0"),
    "Z": (7.4, "M.9 10L6.5 10L.8 0L6.7 0"),
    "[": (3.8, "M3 10.8L1.2 10.8L1.2 -1.6L3 -1.6"),
    "\\": (5.2, "M.6 10.6L4.6 -1"),
    "]": (3.8, "M.8 10.8L2.6 10.8L2.6 -1.6L.8 -1.6"),
    "^": (6, "M1 6.6L3 9.8L5 6.6"),
    "_": (6.4, "M.2 -1.4L6.2 -1.4"),
    "`": (3.4, "M1 10L2.4 8.4"),
    "a": (6.5, "M5.4 7L5.4 0M5.4 5.4Q4.6 7.1 3.1 7.1Q.8 7 .8 3.5Q.8 0 3.1 -.1Q4.6 -.1 5.4 1.6"),
    "b": (6.7, "M1.1 10L1.1 0M1.1 5.4Q1.9 7.1 3.5 7.1Q5.9 7 5.9 3.5Q5.9 0 3.5 -.1Q1.9 -.1 1.1 1.6"),
    "c": (5.9, "M5.3 5.7Q4.7 7.1 3.3 7.1Q.8 7 .8 3.5Q.8 0 3.3 -.1Q4.7 -.1 5.3 1.3"),
    "d": (6.7, "M5.6 10L5.6 0M5.6 5.4Q4.8 7.1 3.2 7.1Q.8 7 .8 3.5Q.8 0 3.2 -.1Q4.8 -.1 5.6 1.6"),
    "e": (6.3, "M.9 3.7L5.6 3.7Q5.5 7.1 3.3 7.1Q.8 7 .8 3.5Q.8 0 3.3 -.1Q4.8 -.1 5.4 1.3"),
    "f": (4.2, "M4 9.8Q3.7 10.1 3.2 10.1Q1.7 10.1 1.7 8.2L1.7 0M.3 6.8L3.7 6.8"),
    "g": (
        6.6,
        "M5.5 7L5.5 -.4Q5.4 -3.1 3.1 -3.1Q1.7 -3.1 .9 -2.2M5.5 5.4Q4.7 7.1 3.2 7.1Q.8 7 .8 3.5"
        "Q.8 .1 3.2 0Q4.7 0 5.5 1.6",
    ),
    "h": (6.5, "M1.1 10L1.1 0M1.1 5.2Q2 7.1 3.5 7.1Q5.4 7.1 5.4 4.6L5.4 0"),
    "i": (2.6, "M1.3 7L1.3 0M1.3 9.8L1.3 9.6"),
    "j": (2.8, "M1.5 7L1.5 -1Q1.5 -3.1 -.2 -3.1M1.5 9.8L1.5 9.6"),
    "k": (6, "M1.1 10L1.1 0M5.3 7L1.1 2.8M2.6 4.3L5.6 0"),
    "l": (2.9, "M1.2 10L1.2 1.4Q1.2 0 2.4 0"),
    "m": (
        9.9,
        "M1.1 7L1.1 0M1.1 5.2Q1.9 7.1 3.2 7.1Q4.9 7.1 4.9 4.6L4.9 0M4.9 5Q5.7 7.1 7.1 7.1"
        "Q8.8 7.1 8.8 4.6L8.8 0",
    ),
    "n": (6.5, "M1.1 7L1.1 0M1.1 5.2Q2 7.1 3.5 7.1Q5.4 7.1 5.4 4.6L5.4 0"),
    "o": (6.8, "ME3.4 3.5 2.6 3.6 90 450"),
    "p": (6.7, "M1.1 7L1.1 -3M1.1 5.4Q1.9 7.1 3.5 7.1Q5.9 7 5.9 3.5Q5.9 0 3.5 -.1Q1.9 -.1 1.1 1.6"),
    "q": (6.7, "M5.6 7L5.6 -3M5.6 5.4Q4.8 7.1 3.2 7.1Q.8 7 .8 3.5Q.8 0 3.2 -.1Q4.8 -.1 5.6 1.6"),
    "r": (4.5, "M1.1 7L1.1 0M1.1 4.8Q1.7 7.1 4.1 7"),
    "s": (
        5.6,
        "M4.8 5.8Q4.3 7.1 2.8 7.1Q1 7.1 1 5.4Q1 4.2 2.9 3.7Q4.9 3.2 4.9 1.7Q4.9 -.1 2.8 -.1Q1.1 -.1 .6 1.4",
    ),
    "t": (4.3, "M1.7 9L1.7 1.7Q1.7 -.1 3.1 -.1Q3.6 -.1 3.9 .1M.3 6.8L3.8 6.8"),
    "u": (6.5, "M1.1 7L1.1 2.4Q1.1 -.1 3 -.1Q4.5 -.1 5.4 1.8M5.4 7L5.4 0"),
    "v": (5.9, "M.5 7L2.95 0L5.4 7"),
    "w": (8.9, "M.6 7L2.5 0L4.45 6.4L6.4 0L8.3 7"),
    "x": (5.9, "M.6 7L5.3 0M5.3 7L.6 0"),
    "y": (5.9, "M.5 7L3 0M5.4 7L2.6 -1.2Q2 -3.1 .4 -3"),
    "z": (5.7, "M.8 7L4.9 7L.7 0L5.1 0"),
    "{": (4.2, "M3.4 10.8Q1.9 10.8 1.9 9L1.9 6.2Q1.9 4.6 .7 4.6Q1.9 4.6 1.9 3L1.9 .2Q1.9 -1.6 3.4 -1.6"),
    "|": (3, "M1.5 11L1.5 -2"),
    "}": (4.2, "M.8 10.8Q2.3 10.8 2.3 9L2.3 6.2Q2.3 4.6 3.5 4.6Q2.3 4.6 2.3 3L2.3 .2Q2.3 -1.6 .8 -1.6"),
    "~": (7, "M.8 3.4Q1.4 4.8 2.5 4.6Q3 4.5 3.8 3.9Q4.6 3.4 5 3.4Q6 3.4 6.2 4.6"),
    "\u00b0": (4.2, "ME2.1 8.5 1.5 1.5 0 360"),
    "\u00b2": (4.2, "M.7 9.2E2.1 9.1 1.3 1.2 170 0Q3.3 8.3 .7 5.6L3.6 5.6"),
    "\u00b5": (6.5, "M1.1 7L1.1 -3M1.1 2.4Q1.1 -.1 3 -.1Q4.5 -.1 5.4 1.8M5.4 7L5.4 0"),
    "\u00b7": (3.2, "M1.6 4.1L1.6 3.8"),
    "\u00d7": (7, "M1.2 6.3L5.8 1.7M5.8 6.3L1.2 1.7"),
    "\u00df": (6.7, "M1.1 0L1.1 7.4Q1.2 10.1 3.3 10.1Q5.2 10 5.2 8Q5.2 6.4 3.4 5.7Q6 5.2 6 2.6Q6 0 3.4 0"),
    "\u00d8": (9.2, "ME4.6 5 3.7 5.1 90 450M1.4 -.6L7.8 10.6"),
    "\u00f8": (6.8, "ME3.4 3.5 2.6 3.6 90 450M.9 -.6L5.9 7.6"),
    "\u2013": (6, "M.5 3.8L5.5 3.8"),
    "\u2014": (9, "M.5 3.8L8.5 3.8"),
    "\u2018": (3, "M1.9 10Q1.1 9.3 1.1 8.4L1.1 7.8"),
    "\u2019": (3, "M1.8 10L1.8 9.4Q1.8 8.5 1 7.8"),
    "\u201c": (5, "M1.9 10Q1.1 9.3 1.1 8.4L1.1 7.8M4.1 10Q3.3 9.3 3.3 8.4L3.3 7.8"),
    "\u201d": (5, "M1.8 10L1.8 9.4Q1.8 8.5 1 7.8M4 10L4 9.4Q4 8.5 3.2 7.8"),
    "\u2026": (8, "M1.4 .3L1.4 0M4 .3L4 0M6.6 .3L6.6 0"),
    "\u2022": (5, "ME2.5 4 .7 .7 0 360"),
}
_ACCENTS = {
    "\u0300": "M-1.3 2L.7 .4",
    "\u0301": "M1.3 2L-.7 .4",
    "\u0302": "M-1.5 .4L0 2L1.5 .4",
    "\u0303": "M-1.8 .6Q-1.2 1.9 -.3 1.4Q.6 .6 1.1 .8Q1.6 1 1.8 1.8",
    "\u0304": "M-1.6 1.1L1.6 1.1",
    "\u0306": "M-1.5 2Q-1.3 .5 0 .5Q1.3 .5 1.5 2",
    "\u0307": "M0 1.5L0 1.2",
    "\u0308": "M-1.3 1.5L-1.3 1.2M1.3 1.5L1.3 1.2",
    "\u030a": "ME0 1.2 1 1 -90 270",
    "\u030b": "M-.2 2L-1.4 .4M1.8 2L.6 .4",
    "\u030c": "M-1.5 2L0 .4L1.5 2",
}
"""Marks over a letter, about the middle of its top."""
_BELOW = {
    "\u0327": "M.2 0Q1.4 -.6 1.2 -1.6Q.9 -2.7 -.8 -2.5",
    "\u0328": "M.4 0Q-1.2 -1.4 -.2 -2.4Q.3 -2.8 1.2 -2.5",
}
"""Marks under a letter, about the middle of the baseline."""
_UNKNOWN = (6.6, "M1 0L5.6 0L5.6 9L1 9L1 0")
"""A character that has no drawing shows as an empty box, never as a different character."""

Command = tuple[str, tuple[float, ...]]


def text_width(text: str, size: float) -> float:
    """Return the width of one line of ``text`` with capitals ``size`` high, in the unit of ``size``."""
    return sum(_glyph(char)[0] + SPACING for char in _plain(text)) * size / CAP_HEIGHT


def text_path(text: str, x: float, y: float, size: float) -> str:
    """Return SVG path data that draws one line of ``text``, to be stroked with round ends.

    ``x`` and ``y`` are the start of the baseline (y down), ``size`` the height of a capital.
    """
    scale = size / CAP_HEIGHT
    out: list[str] = []
    pen = x
    for char in _plain(text):
        advance, commands = _glyph(char)
        for letter, numbers in commands:
            points = [
                f"{pen + px * scale:.2f} {y - py * scale:.2f}"
                for px, py in zip(numbers[::2], numbers[1::2], strict=True)
            ]
            out.append(letter + " ".join(points))
        pen += (advance + SPACING) * scale
    return "".join(out)


def wrap(text: str, size: float, width: float, lines: int) -> list[str]:
    """Break ``text`` into at most ``lines`` lines no wider than ``width``; cut text ends in …."""
    words = _plain(text).split()
    out: list[str] = []
    line = ""
    while words:
        word = words.pop(0)
        longer = f"{line} {word}" if line else word
        if text_width(longer, size) <= width:
            line = longer
            continue
        if not line:
            keep = _fitting(word, size, width)
            line, rest = word[:keep], word[keep:]
            words[:0] = [rest] if rest else []
        else:
            words.insert(0, word)
        out.append(line)
        line = ""
        if len(out) == lines and words:
            out[-1] = _shortened(out[-1], size, width)
            return out
    return [*out, line] if line else out


def _fitting(word: str, size: float, width: float) -> int:
    """Return how many characters of ``word`` fit into ``width``, at least one."""
    keep = 1
    while keep < len(word) and text_width(word[: keep + 1], size) <= width:
        keep += 1
    return keep


def _shortened(line: str, size: float, width: float) -> str:
    while line and text_width(line + "\u2026", size) > width:
        line = line[:-1]
    return line.rstrip(" ,;:.") + "\u2026"


def _plain(text: str) -> str:
    """Return ``text`` composed, with every run of white space and control characters as one space."""
    composed = unicodedata.normalize("NFC", text)
    return " ".join("".join(" " if unicodedata.category(c) in _UNSEEN else c for c in composed).split())


_UNSEEN = {"Cc", "Cf", "Cs", "Zs", "Zl", "Zp"}


@cache
def _glyph(char: str) -> tuple[float, tuple[Command, ...]]:
    """Return a character's advance and its commands M, L, Q and C."""
    if char in _GLYPHS:
        advance, drawing = _GLYPHS[char]
        return advance, tuple(_commands(drawing))
    base, *marks = list(unicodedata.normalize("NFD", char))
    if base in _GLYPHS and marks and all(mark in _ACCENTS or mark in _BELOW for mark in marks):
        advance, drawing = _GLYPHS[base]
        top = 10.6 if base.isupper() or base in "bdfhkl" else 7.8
        commands = list(_commands(drawing))
        if base in "ij":
            commands = commands[:-2]  # the dot gives way to the mark
        for mark in marks:
            height = top if mark in _ACCENTS else 0.0
            commands += _moved(_commands(_ACCENTS.get(mark) or _BELOW[mark]), advance / 2, height)
        return advance, tuple(commands)
    return _UNKNOWN[0], tuple(_commands(_UNKNOWN[1]))


def _moved(commands: Iterator[Command], dx: float, dy: float) -> Iterator[Command]:
    for letter, numbers in commands:
        yield letter, tuple(n + (dy if i % 2 else dx) for i, n in enumerate(numbers))


def _commands(drawing: str) -> Iterator[Command]:
    """Parse a glyph's drawing; ellipses become cubics."""
    started = False
    for letter, arguments in re.findall(r"([MLQCE])([^MLQCE]*)", drawing):
        numbers = tuple(float(n) for n in arguments.split())
        if letter == "E":
            yield from _ellipse(numbers, "L" if started else "M")
            started = True
        elif numbers:
            yield letter, numbers
            started = True
        else:
            started = False


def _ellipse(numbers: tuple[float, ...], join: str) -> Iterator[Command]:
    """Yield part of an ellipse as cubics of at most a quarter each (error 0.03 % of the radius)."""
    cx, cy, rx, ry, start, end = numbers
    pieces = max(math.ceil(abs(end - start) / 90), 1)
    step = math.radians(end - start) / pieces
    handle = 4 / 3 * math.tan(step / 4)

    def at(angle: float) -> tuple[float, float, float, float]:
        return math.cos(angle), math.sin(angle), -math.sin(angle), math.cos(angle)

    angle = math.radians(start)
    c, s, _, _ = at(angle)
    yield join, (cx + rx * c, cy + ry * s)
    for _ in range(pieces):
        c0, s0, u0, v0 = at(angle)
        angle += step
        c1, s1, u1, v1 = at(angle)
        points = (
            (c0 + handle * u0, s0 + handle * v0),
            (c1 - handle * u1, s1 - handle * v1),
            (c1, s1),
        )
        yield "C", tuple(n for px, py in points for n in (cx + rx * px, cy + ry * py))
