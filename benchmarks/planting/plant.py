"""What a planted defect is, and how bad it is made."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from benchmarks.planting.lettering import Setting
from benchmarks.planting.outline import Shape

CLEARLY_BAD = 1.1
"""From this badness on a defect must be found."""
CLEARLY_GOOD = 0.9
"""Up to this badness it must not be reported."""


@dataclass(frozen=True, slots=True)
class Plant:
    """One defect. ``badness`` is size over limit, or limit over size: above 1 it is a defect.

    ``expected`` are the codes of which one must be found at ``spot``; ``follows`` are codes that what
    is drawn gives as well, at any badness.
    """

    form: str
    shapes: tuple[Shape, ...]
    badness: float
    expected: frozenset[str]
    spot: complex
    follows: frozenset[str] = frozenset()


Maker = Callable[[Setting, float], Plant]
"""Draws a form for a setting at a badness; a form may answer with another badness than asked for."""


def drawn_badness(random: np.random.Generator, most: float) -> float:
    """Return a badness: more than half of all well within a factor of two of the limit, on both sides."""
    choice = random.random()
    if choice < 0.3:
        low, high = 0.3, CLEARLY_GOOD
    elif choice < 0.35:
        low, high = CLEARLY_GOOD, CLEARLY_BAD
    elif choice < 0.7:
        low, high = CLEARLY_BAD, min(2.0, most)
    else:
        low, high = min(2.0, most), most
    return float(np.exp(random.uniform(np.log(low), np.log(max(high, low)))))
