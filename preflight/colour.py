"""Colours compared: how many steps apart, and how much contrast.

Colours are sRGB, written ``#rrggbb``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from preflight.curves import Floats, Ints

_WEIGHTS = np.array([0.2126, 0.7152, 0.0722])
_PLAIN = re.compile(r"#[0-9a-f]{6}")


def plain_colour(colour: str) -> str | None:
    """Return ``colour`` where it is #rrggbb: a film painted with a pattern has its name for a colour."""
    return colour if _PLAIN.fullmatch(colour) else None


def channels(colours: Sequence[str]) -> Floats:
    """Return red, green and blue of every ``#rrggbb``, 0 to 255, shape (n, 3). Raises ValueError for others."""
    for colour in colours:
        if len(colour) != 7 or colour[0] != "#":
            raise ValueError(f"not a colour of the form #rrggbb: {colour!r}")
    numbers = np.array([int(colour[1:], 16) for colour in colours], np.int64)
    return np.stack((numbers >> 16, numbers >> 8 & 255, numbers & 255), axis=-1).astype(float)


def luminance(colour: str) -> float:
    """Return the relative luminance, 0 for black to 1 for white.

    Source: WCAG 2.x, definition of relative luminance. Its threshold 0.03928 and the 0.04045 of
    IEC 61966-2-1 part no two colours of 8 bits a channel.
    """
    part = channels([colour])[0] / 255
    linear = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
    return float(linear @ _WEIGHTS)


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21. Source: WCAG 2.x, definition of contrast ratio."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def difference(one: str, other: str) -> float:
    """Return how many steps of 255 two colours differ in each channel: the root mean square of the three."""
    a, b = channels([one, other])
    return float(np.sqrt(((a - b) ** 2).mean()))


def near_pairs(colours: Sequence[str], limit: float) -> Ints:
    """Return the pairs (k, 2) of indices whose `difference` is less than ``limit``, the lower index first.

    Only colours whose sums of channels are near are compared: by the inequality of means the sums of
    two such colours differ by less than three times the limit.
    """
    values = channels(colours) if colours else np.zeros((0, 3))
    total = values.sum(axis=1)
    order = np.argsort(total, kind="stable")
    values, total = values[order], total[order]
    ends = np.searchsorted(total, total + 3 * limit)
    found = [np.zeros((0, 2), np.int64)]
    for index, end in enumerate(ends.tolist()):
        apart = np.sqrt(((values[index + 1 : end] - values[index]) ** 2).mean(axis=1))
        near = order[index + 1 + np.flatnonzero(apart < limit)]
        found.append(np.stack((np.full(len(near), order[index]), near), axis=1))
    pairs = np.sort(np.concatenate(found), axis=1)
    return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
