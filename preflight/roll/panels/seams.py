"""Where seams lie: dynamic programming, first for how few cuts and panels, then for the best places.

Two passes. The first goes from one end to the other with labels (letters cut, how far the next panel
begins) and keeps only those that no other label beats; between two places where a part begins or ends
nothing changes, so only those places and the farthest a panel reaches need be tried, and the answer is exact
(with very many parts: among panels wider than two overlaps). The second pass takes the number of seams that
the first found and chooses among finely spaced places, those of the first among them, the ones that harm
least.

A seam in a gap may go without registration marks, where panels that both reach the marks would be too wide:
so the first pass leaves them out there, and the second has them wherever it can.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from preflight.curves import Bools, Floats, Ints
from preflight.errors import PreflightError
from preflight.roll.panels.parts import TOUCH, Across
from preflight.units import format_length

MOST_PANELS = 100
_SLACK = 1e-6
_FEW = 600
"""Up to so many places where parts begin or end, the first pass also keeps what only narrow panels make good."""
_STEPS = 240
"""Places tried on the room of one panel in the second pass, beside those that parts give."""
_SHARES = (0.5, 0.1, 0.25, 0.75, 0.9)
"""Places tried in each gap, as shares of it."""
_APART = 1.0
"""Least distance of two seams beyond their overlap, mm: no place lies on three panels."""
_BALANCE = 60.0
"""What a panel much wider or narrower than the others counts, in units of harm."""
HARMLESS = 12_000
"""The most that one seam's harm can count: sums over all seams must not reach the next figure's place."""

Harm = Callable[[Floats], Floats]
"""Harm of a seam at each place, 0 to `HARMLESS`."""


@dataclass(frozen=True, eq=False)
class Parting:
    """Places of the seams (n,), ascending, which of them have marks (n,), and what they cost in all."""

    seams: Floats
    marked: Bools
    cuts: int
    """Parts cut that fit on one panel, once for each seam."""
    holes: int
    harm: float

    @property
    def panels(self) -> int:
        """How many panels there are."""
        return len(self.seams) + 1


@dataclass(frozen=True, slots=True)
class _Label:
    cuts: int
    begins: float
    """Where the next panel begins."""
    seam: float
    before: _Label | None

    def path(self) -> list[float]:
        """Return the seams up to here."""
        found, label = [], self
        while label.before is not None:
            found.append(label.seam)
            label = label.before
        return found[::-1]


def part(across: Across, harm: Harm, *, fewest_panels: bool = False) -> Parting:
    """Return the seams that part a film for its roll.

    In this order: letters and other parts that fit on one panel are cut as seldom as possible, there are
    as few panels as possible (the other way round with ``fewest_panels``), few holes are crossed, and
    ``harm`` is small. Raises `PreflightError` where the roll leaves no room, or too many panels come of it.
    """
    widths = across.widths
    if widths.room < 2 * widths.overlap + 2 * _APART:
        raise PreflightError(
            "panels-no-room",
            f"Between its weed borders the roll leaves {format_length(widths.room)}, too little for panels that "
            f"overlap by {format_length(widths.overlap)}.",
            "Take a wider roll, a narrower weed border, a smaller lap or smaller marks.",
        )
    ahead = _layers(across, fewest_panels=fewest_panels)
    best = ahead[-1]
    count = len(ahead) - 1
    if count == 0:
        return Parting(np.zeros(0), np.zeros(0, bool), 0, 0, 0.0)
    first = min(best, key=lambda label: (label.cuts, -label.begins)).path()
    back = [-np.array([label.seam for label in layer]) for layer in _back(across, count)]
    far = [max(label.seam for label in layer) for layer in ahead[1:]]
    windows = [(min(back[count - i].min(), first[i]), max(far[i], first[i])) for i in range(count)]
    places = [_places(across, low, high, first) for low, high in windows]
    return _best(across, places, harm)


def _layers(across: Across, *, fewest_panels: bool) -> list[list[_Label]]:
    """Return the labels after 0, 1, 2 ... seams; those of the last are only such that no more seam is needed."""
    start = _Label(0, across.start, -np.inf, None)
    layers = [[start]]
    widths = across.widths
    least = (across.end - across.start - widths.overlap) / (widths.room - widths.overlap)
    most = min(2 * int(np.ceil(max(least, 1.0))) + 2, MOST_PANELS)
    found: list[tuple[int, int]] = []
    while len(layers) <= most:
        done = [label for label in layers[-1] if across.end - label.begins <= widths.room + _SLACK]
        if done:
            cuts = min(label.cuts for label in done)
            found.append((cuts, len(layers) - 1))
            if cuts == 0 or fewest_panels:
                break
        following = _following(across, layers[-1])
        if not following:
            break
        layers.append(following)
    if not found:
        raise PreflightError(
            "panels-too-many",
            f"More than {MOST_PANELS} panels would be needed.",
            "Take a wider roll, or make the sign smaller.",
        )
    _, count = min(found)
    layers = layers[: count + 1]
    layers[-1] = [label for label in layers[-1] if across.end - label.begins <= widths.room + _SLACK]
    return layers


def _back(across: Across, count: int) -> list[list[_Label]]:
    """Return the labels of the same film seen from its other end, after 0 to ``count`` seams."""
    turned = across.mirrored()
    layers = [[_Label(0, turned.start, -np.inf, None)]]
    for _ in range(count):
        following = _following(turned, layers[-1])
        layers.append(following or layers[-1])
    return layers


def _following(across: Across, labels: list[_Label]) -> list[_Label]:
    """Return the labels with one seam more that no other one beats."""
    found = [_from(across, label) for label in labels]
    cuts = np.concatenate([one[0] for one in found])
    begins, places = (np.concatenate([one[k] for one in found]) for k in (1, 2))
    owner = np.repeat(np.arange(len(labels)), [len(arrays[0]) for arrays in found])
    if len(across.edges) > _FEW:
        kept = _unbeaten(cuts, begins, places)
    else:
        order = np.lexsort((cuts, places))
        kept = order[np.append(True, np.diff(places[order]) > _SLACK)[: len(order)]]
        kept = kept[~_beaten(cuts[kept], begins[kept], places[kept])]
    return [
        _Label(int(cuts[k]), float(begins[k]), float(places[k]), labels[int(owner[k])]) for k in kept.tolist()
    ]


def _beaten(cuts: Ints, begins: Floats, places: Floats) -> Bools:
    """Return which are beaten in all three: cuts, begin of the next panel, and room for a narrow panel there."""
    order = np.arange(len(cuts))
    better = (
        (cuts[:, None] <= cuts[None])
        & (begins[:, None] >= begins[None])
        & (places[:, None] <= places[None])
        & (order[:, None] != order[None])
    )
    return np.asarray(better.any(axis=0))


def _unbeaten(cuts: Ints, begins: Floats, places: Floats) -> Ints:
    """Return the indices, by cuts, of which begin farther than all with as few cuts."""
    order = np.lexsort((places, -begins, cuts))
    farthest = np.maximum.accumulate(np.append(-np.inf, begins[order]))[:-1]
    return np.asarray(order[begins[order] > farthest + _SLACK], np.int64)


def _from(across: Across, before: _Label) -> tuple[Ints, Floats, Floats]:
    """Return cuts, begin of the next panel, and place for each seam worth trying after ``before``."""
    widths = across.widths
    limit = before.begins + widths.room
    low = max(before.seam + widths.overlap + _APART, before.begins + TOUCH)
    edges = across.edges
    places = np.append(edges[np.searchsorted(edges, low) :], limit - widths.overlap / 2)
    places = places[(places >= low) & (places < across.end - TOUCH) & (places <= limit + _SLACK)]
    bare = np.zeros(1, bool)
    places = places[across.left_reach(places, bare) <= limit + _SLACK]
    cuts, begins = before.cuts + across.cuts(places), across.right_reach(places, bare)
    if len(edges) > _FEW:
        kept = _unbeaten(cuts, begins, places)
        cuts, begins, places = cuts[kept], begins[kept], places[kept]
    ahead = begins > before.begins
    return cuts[ahead], begins[ahead], places[ahead]


def _places(across: Across, low: float, high: float, kept: list[float]) -> Floats:
    """Return the places tried for one seam in the second pass."""
    gaps = across.gaps
    for begin, end in gaps[(gaps[:, 0] <= high + TOUCH) & (gaps[:, 1] >= low - TOUCH)].tolist():
        # Anywhere in a gap is as good for what fits.
        low, high = min(low, begin), max(high, end)
    in_gaps = [gaps[:, 0] + share * (gaps[:, 1] - gaps[:, 0]) for share in _SHARES]
    step = across.widths.room / _STEPS
    grid = across.start + step * np.arange(1, int((across.end - across.start) / step) + 1)
    edges = across.edges
    if len(edges) > 4 * _STEPS:
        edges = gaps.ravel()
    even = across.start + (across.end - across.start) * np.arange(1, len(kept) + 1) / (len(kept) + 1)
    found = np.unique(np.concatenate((*in_gaps, grid, even, edges, np.array([low, high, *kept]))))
    return found[(found >= low - _SLACK) & (found <= high + _SLACK)]


def _best(across: Across, places: list[Floats], harm: Harm) -> Parting:
    widths, count = across.widths, len(places)
    target = (across.end - across.start + count * widths.overlap) / (count + 1)
    begins, at = np.array([across.start]), np.array([-np.inf])
    cuts, other = np.zeros(1, np.int64), np.zeros(1, np.int64)
    trail: list[Ints] = []
    tried: list[tuple[Floats, Bools]] = []
    for spots, marked in (_with_and_without_marks(across, spots) for spots in places):
        width = across.left_reach(spots, marked)[None] - begins[:, None]
        apart = spots[None] - at[:, None] >= widths.overlap + _APART - _SLACK
        allowed = (width <= widths.room + _SLACK) & apart
        came, cuts, other = _least(cuts[:, None], other[:, None] + _uneven(width, target), allowed)
        cuts, other = cuts + across.cuts(spots), other + _figures(across, spots, marked, harm)
        trail.append(came)
        tried.append((spots, marked))
        begins, at = across.right_reach(spots, marked), spots
    last = across.end - begins
    ended, least, _ = _least(
        cuts[:, None], (other + _uneven(last, target))[:, None], (last <= widths.room + _SLACK)[:, None]
    )
    assert least[0] < _NEVER, "the first pass's own seams are among the places"
    index, chosen = int(ended[0]), []
    for (spots, marked), came in zip(reversed(tried), reversed(trail), strict=True):
        chosen.append((float(spots[index]), bool(marked[index])))
        index = int(came[index])
    seams = np.array([u for u, _ in reversed(chosen)])
    holes, cut = int(across.holes(seams).sum()), int(across.cuts(seams).sum())
    has_marks = np.array([one for _, one in reversed(chosen)])
    return Parting(seams, has_marks, cut, holes, float(harm(seams).sum()))


_NEVER = np.int64(2**60)


def _with_and_without_marks(across: Across, spots: Floats) -> tuple[Floats, Bools]:
    """Return the places, those in gaps a second time without marks, and which are with marks."""
    with_marks = across.widths.mark > 0
    gaps = spots[~across.meets(spots)] if with_marks else spots[:0]
    return np.append(spots, gaps), np.append(np.full(len(spots), with_marks), np.zeros(len(gaps), bool))


def _least(cuts: Ints, other: Ints, allowed: Bools) -> tuple[Ints, Ints, Ints]:
    """Return for each column which row has the fewest cuts, then the least of the ``other``, and both figures."""
    cuts = np.where(allowed, cuts, _NEVER)
    other = np.where(cuts == cuts.min(axis=0), other, _NEVER)
    row = other.argmin(axis=0)
    column = np.arange(other.shape[1])
    return row, np.minimum(cuts[row, column], _NEVER), np.minimum(other[row, column], _NEVER)


def _figures(across: Across, spots: Floats, marked: Bools, harm: Harm) -> Ints:
    """Return missing marks, holes and harm of each place as one number that sorts by the first, then the next."""
    small = np.clip(np.rint(harm(spots)), 0, HARMLESS).astype(np.int64)
    holes = np.minimum(across.holes(spots), 2**13 - 1)
    bare = ~marked & (across.widths.mark > 0)
    return np.asarray((bare.astype(np.int64) << 44) + (holes << 22) + small)


def _uneven(width: Floats, target: float) -> Ints:
    share = np.abs(width - target) / target
    return np.asarray(np.minimum(np.rint(_BALANCE * share), _BALANCE), np.int64)
