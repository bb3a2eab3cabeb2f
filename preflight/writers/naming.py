"""Names that no two films of one drawing share: of layers, and as parts of files' names."""

from __future__ import annotations

import re


def free_name(wanted: str, taken: set[str], form: str = "{} ({})") -> str:
    """Return ``wanted``, numbered from 2 in ``form`` where it is taken; remember it in ``taken``."""
    name, number = wanted, 1
    while name in taken:
        number += 1
        name = form.format(wanted, number)
    taken.add(name)
    return name


def film_word(film: str, taken: set[str]) -> str:
    """Return a film's name as part of a file's name, numbered where another film has the same."""
    return free_name(re.sub(r"[^a-z0-9]+", "-", film.lower()).strip("-") or "film", taken, "{}-{}")
