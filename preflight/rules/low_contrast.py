"""Colours that stand out little from what lies around them, where the job asks for the comparison."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.analysis import Analysis
from preflight.artwork import Box, Origin, PaintKind
from preflight.colour import contrast
from preflight.report.model import Finding, Place, Severity
from preflight.rules.build import Fault, counted, findings, place
from preflight.rules.lettering import asked, indication
from preflight.rules.rule import Parameter, Rule
from preflight.standards import standards

SMALL_SHARE = 0.05
"""A ground along less than this share of a shape's edge is left out."""

MEETING = 0.01
"""Shapes that overlap by less than this share of the smaller one lie side by side."""


@dataclass(slots=True)
class _Pair:
    """All shapes in one colour on one ground."""

    ratio: float
    on_film: bool
    places: list[Place] = field(default_factory=list)


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each colour whose contrast with its ground is low, once for every ground."""
    if not asked(analysis, "accessible-signs"):
        return
    scene = _Scene(analysis)
    pairs: dict[tuple[str, str], _Pair] = {}

    def note(colour: str, ground: str | None, on_film: bool, spot: Place) -> None:
        if ground is not None and ground != colour:
            pair = pairs.setdefault((colour, ground), _Pair(contrast(colour, ground), on_film))
            pair.places.append(spot)

    for colour, ground, on_film, spot in (*scene.shapes(), *scene.texts()):
        note(colour, ground, on_film, spot)
    for case, on_film in (("on-substrate", False), ("on-film", True)):
        faults = [
            _fault(colour, ground, pair)
            for (colour, ground), pair in pairs.items()
            if pair.on_film is on_film and pair.ratio < standards().contrast.least
        ]
        yield from findings(RULE, case, analysis, faults)


class _Scene:
    """The painted layers, which of them lie on which, and what the sign's own colour is."""

    def __init__(self, analysis: Analysis) -> None:
        self.analysis = analysis
        self.substrate = analysis.job.ground_colour
        pairs = zip(analysis.painting.layers, analysis.meanings, strict=True)
        self.layers = [
            (layer, meaning)
            for layer, meaning in pairs
            if meaning.role not in ("guide", "knife") and not layer.region.is_empty
        ]
        self.regions = np.array([layer.region for layer, _ in self.layers], object)
        shapely.prepare(self.regions)
        self.tree = shapely.STRtree(self.regions)
        self.under: list[list[int]] = [[] for _ in self.layers]
        self.carries = np.zeros(len(self.layers), bool)
        a, b = self.tree.query(self.regions, predicate="intersects")
        for low, high in zip(a[a < b].tolist(), b[a < b].tolist(), strict=True):
            self._relate(low, high)

    def colour(self, index: int) -> str | None:
        """Return a layer's colour; None: it is not one."""
        layer, meaning = self.layers[index]
        return self.substrate if meaning.role == "substrate" else layer.paint.color

    def _relate(self, low: int, high: int) -> None:
        one, other = self.regions[low], self.regions[high]
        if one.covers(other) or other.covers(one):
            lap = MEETING
        else:
            lap = shapely.intersection(one, other).area / min(one.area, other.area)
        if lap < MEETING and _fills_hole(other, one):
            low, high = high, low
        elif lap < MEETING and not _fills_hole(one, other):
            return
        self.under[high].append(low)
        self.carries[low] |= self.colour(low) != self.colour(high) and self.layers[high][1].role == "film"

    def shapes(self) -> Iterator[tuple[str, str | None, bool, Place]]:
        """Yield colour, ground, whether the ground is a film, and place of every film shape that carries nothing."""
        texts = self._under_texts()
        for index, (layer, meaning) in enumerate(self.layers):
            colour = layer.paint.color
            if meaning.role != "film" or colour is None or self.carries[index] or index in texts:
                continue
            origin = self.analysis.shapes[layer.shape].origin
            spot = place(layer.region.bounds, None, origin)
            edge = layer.region.boundary
            total, left = edge.length, edge
            for lower in sorted(self.under[index], reverse=True):
                if left.is_empty:
                    break
                region = self.regions[lower]
                covered = left if region.covers(left) else shapely.intersection(left, region)
                left = shapely.difference(left, covered)
                if covered.length > SMALL_SHARE * total:
                    on_film = self.layers[lower][1].role != "substrate"
                    yield colour, self.colour(lower), on_film, spot
            if left.length > SMALL_SHARE * total:
                yield colour, self.substrate, False, spot

    def _text_spots(self) -> list[tuple[str, BaseGeometry, Origin, Box]]:
        found: list[tuple[str, BaseGeometry, Origin, Box]] = []
        for text in self.analysis.texts:
            x, y = text.position
            box = text.box or (x, y - text.size, x + text.size, y)
            paint = text.fill
            if text.text.strip() and paint is not None and paint.kind is PaintKind.SOLID and paint.color:
                middle = shapely.Point((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
                found.append((paint.color, middle, text.origin, box))
        return found

    def _under_texts(self) -> set[int]:
        return {
            index
            for _, spot, _, _ in self._text_spots()
            for index in self.tree.query(spot, predicate="intersects").tolist()
        }

    def texts(self) -> Iterator[tuple[str, str | None, bool, Place]]:
        """Yield the same for every live text; its ground is the topmost shape at its middle."""
        for colour, spot, origin, box in self._text_spots():
            under = self.tree.query(spot, predicate="intersects").tolist()
            top = max(under, default=None)
            ground = self.substrate if top is None else self.colour(top)
            on_film = top is not None and self.layers[top][1].role != "substrate"
            yield colour, ground, on_film, place(box, None, origin)


def _fills_hole(outer: BaseGeometry, inner: BaseGeometry) -> bool:
    """Return whether ``inner`` lies in an opening of ``outer``."""
    if not np.any(shapely.get_num_interior_rings(shapely.get_parts(outer)) > 0):
        return False
    rings = shapely.get_exterior_ring(shapely.get_parts(outer))
    spot = shapely.point_on_surface(inner)
    return bool(np.any(shapely.contains(shapely.polygons(rings), spot)))


def _fault(colour: str, ground: str, pair: _Pair) -> Fault:
    book = standards().contrast
    what = "the film" if pair.on_film else "the sign's own surface"
    return Fault(
        message=f"{colour} stands out little from {ground}, {what} around it: contrast {pair.ratio:.2f} to 1, where "
        f"{book.least:g} to 1 is asked for large letters and pictures. {indication()}",
        detail=f"Contrast ratio {pair.ratio:.2f}:1 by relative luminance of the colours as drawn, at "
        f"{counted(len(pair.places), 'place')}. {book.source}. On signs the accessibility standard asks for light on "
        "dark or dark on light and gives no number (2010 ADA Standards, 703.5.1); the film's own colour and gloss are "
        "not known.",
        places=tuple(pair.places),
        measured=pair.ratio,
        limit=book.least,
        unit=":1",
        badness=-pair.ratio,
    )


RULE = Rule(
    code="low-contrast",
    title="Colour stands out little from its ground",
    why="Letters are read by the difference between light and dark. Two colours of nearly the same lightness run "
    "together from a distance, at dusk, and for many people with low or colour-deficient sight.",
    how_measured="Only where the job asks for accessible-signs. For each film shape that carries no other film, the "
    "contrast ratio of its colour with what lies around its edge: the film underneath, or the substrate where its "
    "colour is stated. Colours are taken as drawn. The ratios come from a standard made for screens; the result is an "
    "indication, never a verdict of compliance.",
    remedy="Make one of the two colours clearly lighter or darker.",
    cases={"on-substrate": Severity.WARNING, "on-film": Severity.WARNING},
    repairable=False,
    check=check,
    parameters=(
        Parameter(
            "lettering.standards",
            "Least contrast ratio: 3 to 1 for large text and for graphics",
            ":1",
            "WCAG 2.x, 1.4.3 and 1.4.11 (from memory)",
        ),
        Parameter(
            "substrate_colour",
            "Colour of the sign's own surface; without it, only films on films are compared",
            "",
            "stated in the job; there is no stock value",
        ),
    ),
)
