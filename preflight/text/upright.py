"""How characters stand in vertical text (Unicode Standard Annex 50, Vertical_Orientation)."""

from __future__ import annotations

from enum import Enum

from fontTools.unicodedata import script


class Stand(Enum):
    """How a character stands in vertical text."""

    UPRIGHT = "upright"
    SIDEWAYS = "sideways"
    EITHER = "either"
    """Upright in a form of its own where the font has one, else on its side (Tr)."""
    UNKNOWN = "unknown"


_UPRIGHT_SCRIPTS = frozenset(("Hani", "Hira", "Kana", "Hang", "Bopo", "Yiii", "Tang", "Nshu", "Kits"))
# Ranges from UAX 50's data file, revision 30 (from memory); what is in doubt is not listed.
_EITHER = ((0x3008, 0x3011), (0x3014, 0x301F), (0x3030, 0x3030), (0x30A0, 0x30A0), (0x30FC, 0x30FC),
           (0xFF08, 0xFF09), (0xFF0D, 0xFF0D), (0xFF1A, 0xFF1E), (0xFF3B, 0xFF3B), (0xFF3D, 0xFF3D),
           (0xFF3F, 0xFF3F), (0xFF5B, 0xFF60), (0xFFE3, 0xFFE3), (0x2329, 0x232A))  # fmt: skip
_UPRIGHT = ((0x2E80, 0x3007), (0x3012, 0x3013), (0x3020, 0x302F), (0x3031, 0xA4CF), (0xAC00, 0xD7FF),
            (0xF900, 0xFAFF), (0xFE10, 0xFE1F), (0xFE30, 0xFE48), (0xFE50, 0xFE57), (0xFF01, 0xFF07),
            (0xFF0A, 0xFF0C), (0xFF0E, 0xFF19), (0xFF1F, 0xFF3A), (0xFF3C, 0xFF3C), (0xFF3E, 0xFF3E),
            (0xFF40, 0xFF5A), (0xFFE0, 0xFFE2), (0xFFE4, 0xFFE7), (0x1F000, 0x1FAFF),
            (0x20000, 0x3FFFD))  # fmt: skip
_DOUBTFUL = ((0x2016, 0x2017), (0x2020, 0x2021), (0x202F, 0x2BFF))
_DOUBTFUL_SIGNS = frozenset("§©®±¼½¾×÷")


def _among(code: int, ranges: tuple[tuple[int, int], ...]) -> bool:
    return any(low <= code <= high for low, high in ranges)


def stand(letter: str, orientation: str) -> Stand:
    """Return how ``letter`` stands where text-orientation is ``orientation`` (CSS Writing Modes 4, 5.1)."""
    if orientation != "mixed":
        return {"upright": Stand.UPRIGHT, "sideways": Stand.SIDEWAYS}.get(orientation, Stand.UNKNOWN)
    code = ord(letter)
    if _among(code, _EITHER):
        return Stand.EITHER
    if _among(code, _UPRIGHT) or (script(letter) in _UPRIGHT_SCRIPTS and not 0xFF61 <= code <= 0xFFDC):
        return Stand.UPRIGHT
    doubtful = _among(code, _DOUBTFUL) or letter in _DOUBTFUL_SIGNS
    return Stand.UNKNOWN if doubtful else Stand.SIDEWAYS
