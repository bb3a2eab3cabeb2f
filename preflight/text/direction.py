"""Which way each character runs (Unicode Standard Annex 9) and what script it is in (Annex 24)."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

from bidi import get_display
from bidi.algorithm import (
    explicit_embed_and_overrides,
    get_embedding_levels,
    get_empty_storage,
    resolve_implicit_levels,
    resolve_neutral_types,
    resolve_weak_types,
)
from fontTools.unicodedata import script as script_of

_RIGHT = frozenset(("R", "AL", "AN", "RLE", "RLO", "RLI"))
_EXPLICIT = frozenset(("LRE", "LRO", "RLE", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI", "BN", "B"))
_NO_SCRIPT = frozenset(("Zyyy", "Zinh", "Zzzz"))


def levels(text: str, *, rtl: bool) -> list[int] | None:
    """Return the embedding level of each character; None where the order is not certain.

    python-bidi has the algorithm twice: an old one that tells levels and a complete one that only
    tells the order. The levels count where both come to the same order.
    """
    classes = [unicodedata.bidirectional(letter) for letter in text]
    if not rtl and not _RIGHT.intersection(classes):
        return [0] * len(text)
    if _EXPLICIT.intersection(classes):
        return None
    storage = get_empty_storage()
    storage["base_level"] = int(rtl)
    storage["base_dir"] = "R" if rtl else "L"
    get_embedding_levels(text, storage)
    explicit_embed_and_overrides(storage)
    resolve_weak_types(storage)
    resolve_neutral_types(storage, False)
    resolve_implicit_levels(storage, False)
    found = [int(char["level"]) for char in storage["chars"]]
    if len(found) != len(text):
        return None
    # Trailing blanks take the paragraph's level (rule L1).
    end = len(text.rstrip(" \t"))
    found[end:] = [int(rtl)] * (len(text) - end)
    shown = "".join(text[i] for i in visual_order(found))
    complete = get_display(text, base_dir="R" if rtl else "L")
    return found if _mirrors_apart(shown, str(complete)) else None


def _mirrors_apart(one: str, other: str) -> bool:
    """Tell whether two lines are the same but for mirrored characters standing in for each other."""
    return len(one) == len(other) and all(
        a == b or (unicodedata.mirrored(a) and unicodedata.mirrored(b))
        for a, b in zip(one, other, strict=True)
    )


def visual_order(found: Sequence[int]) -> list[int]:
    """Return the indices of items of the levels ``found`` from left to right (rule L2)."""
    order = list(range(len(found)))
    for level in range(max(found, default=0), 0, -1):
        start = 0
        while start < len(order):
            if found[order[start]] < level:
                start += 1
                continue
            end = start
            while end < len(order) and found[order[end]] >= level:
                end += 1
            order[start:end] = reversed(order[start:end])
            start = end
    return order


def scripts(text: str) -> list[str]:
    """Return each character's script as four letters; what several scripts share takes its neighbour's."""
    found = [script_of(letter) for letter in text]
    last = ""
    for index, name in enumerate(found):
        if name in _NO_SCRIPT:
            found[index] = last
        else:
            last = name
    first = next((name for name in found if name), "Latn")
    return [name or first for name in found]
