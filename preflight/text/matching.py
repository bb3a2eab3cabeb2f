"""Which font of a family stands for the style asked for (CSS Fonts 4, 5.2)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from preflight.text.fontfile import FontFile
from preflight.writing import FontWish, Slope

EVERYTHING = ((0, 0x10FFFF),)

_ORDER = {
    Slope.NORMAL: (Slope.NORMAL, Slope.OBLIQUE, Slope.ITALIC),
    Slope.ITALIC: (Slope.ITALIC, Slope.OBLIQUE, Slope.NORMAL),
    Slope.OBLIQUE: (Slope.OBLIQUE, Slope.ITALIC, Slope.NORMAL),
}


@dataclass(frozen=True, eq=False)
class Candidate:
    """A font with the styles it counts for; an @font-face rule may state others than the font's own."""

    font: FontFile
    weight: tuple[float, float]
    stretch: tuple[float, float]
    slopes: frozenset[Slope]
    angles: tuple[float, float]
    ranges: tuple[tuple[int, int], ...] = EVERYTHING

    @classmethod
    def of(cls, font: FontFile) -> Candidate:
        """Return a font as its own tables describe it."""
        return cls(font, font.weight, font.stretch, font.slopes, font.angles)

    def covers(self, character: int) -> bool:
        """Tell whether it is meant for the character and has it."""
        return character in self.font.characters and any(a <= character <= b for a, b in self.ranges)


def best(candidates: Sequence[Candidate], wish: FontWish) -> list[Candidate]:
    """Return the candidates that match best, equal ones in their order; empty without any."""
    left = list(candidates)
    if not left:
        return []
    wanted = wish.stretch
    left = _nearest(left, lambda c: c.stretch, wanted, lower_first=wanted <= 100)
    slopes = next(s for s in _ORDER[wish.slope] if any(s in c.slopes for c in left))
    left = [c for c in left if slopes in c.slopes]
    return _weighed(left, wish.weight)


def _nearest(
    candidates: list[Candidate],
    read: Callable[[Candidate], tuple[float, float]],
    wanted: float,
    *,
    lower_first: bool,
) -> list[Candidate]:
    """Return those whose range has the value, else the nearest ones on one side, else on the other."""
    inside = [c for c in candidates if read(c)[0] <= wanted <= read(c)[1]]
    if inside:
        return inside
    below = [c for c in candidates if read(c)[1] < wanted]
    above = [c for c in candidates if read(c)[0] > wanted]
    if below and (lower_first or not above):
        top = max(read(c)[1] for c in below)
        return [c for c in below if read(c)[1] == top]
    bottom = min(read(c)[0] for c in above)
    return [c for c in above if read(c)[0] == bottom]


def _weighed(candidates: list[Candidate], wanted: float) -> list[Candidate]:
    if 400 <= wanted <= 500 and not any(c.weight[0] <= wanted <= c.weight[1] for c in candidates):
        # From 400 to 500, first what lies above up to 500.
        near = [c for c in candidates if wanted < c.weight[0] <= 500]
        if near:
            least = min(c.weight[0] for c in near)
            return [c for c in near if c.weight[0] == least]
        return _nearest(candidates, lambda c: c.weight, wanted, lower_first=True)
    return _nearest(candidates, lambda c: c.weight, wanted, lower_first=wanted < 400)
