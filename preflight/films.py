"""Films: which painted layers are cut from one film, what stays of it, and what the knife meets."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.curves import Ints
from preflight.errors import LimitError
from preflight.geometry.appearance import PaintedLayer, Part, polygonal, union
from preflight.geometry.coincidence import NearPlace, near_lines, near_places
from preflight.geometry.knife import Inside, KnifeLines, Knifing, classify
from preflight.geometry.thickness import ThinKind, ThinPart, known_walls, narrow_gaps, thin_parts
from preflight.geometry.walls import Walls
from preflight.job import FilmSpec, Job, ResolvedLimits, Roll, WeedingSpec, stock

if TYPE_CHECKING:
    from preflight.analysis import Analysis

RoleWord = Literal["film", "substrate", "knife", "guide", "none"]


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a paint stands for. ``film`` is the key of its film where it is one."""

    role: RoleWord
    stated: bool
    film: str | None = None


def meaning_of(colour: str | None, layer: str | None, job: Job) -> Meaning:
    """Return what a paint of this colour on this layer stands for.

    Nothing stated: a solid colour is a film of its own; a gradient or pattern is none.
    """
    role = job.role_of(colour, layer)
    if role is None:
        return Meaning("film", False, colour) if colour else Meaning("none", False)
    if role.role != "film":
        return Meaning(role.role, True)
    if role.film is not None:
        return Meaning("film", True, role.film)
    return Meaning("film", True, colour) if colour else Meaning("none", True)


class Film:
    """All that is cut from one film. Regions are mm at the finished size."""

    def __init__(
        self,
        key: str,
        colour: str,
        spec: FilmSpec,
        layers: tuple[int, ...],
        analysis: Analysis,
    ) -> None:
        self.key = key
        self.colour = colour
        self.spec = spec
        self.layers = layers
        """Indices among `Painting.layers`, in painting order."""
        self._analysis = analysis

    @property
    def name(self) -> str:
        """The film's name in the job, else its colour."""
        return self.spec.name or self.key

    @cached_property
    def limits(self) -> ResolvedLimits:
        """The limits that hold for this film."""
        return self._analysis.job.limits_for(self.spec)

    @property
    def has_holes(self) -> bool:
        """Whether shapes in the substrate's colour are cut out of this film."""
        return bool(self.holes)

    @property
    def flattened(self) -> float:
        """Chord error of its lines and regions, mm."""
        return self._analysis.tolerance

    @property
    def roll(self) -> Roll | None:
        """The roll it is cut from; None: not stated."""
        return self._analysis.job.roll_for(self.spec)

    @property
    def weed_border(self) -> float:
        """Strip of waste around the cut, mm: as the roll states it, else stock."""
        return self.roll.weed_border if self.roll else stock().roll.weed_border.value

    @property
    def weeding(self) -> WeedingSpec:
        """Where weed lines may go."""
        return self._analysis.job.weeding

    def _layers(self) -> list[tuple[int, PaintedLayer]]:
        painted = self._analysis.painting.layers
        return [(index, painted[index]) for index in self.layers]

    @cached_property
    def members(self) -> tuple[int, ...]:
        """Shapes whose fill is this film, and holes cut into it: their contours are its edges."""
        own = [layer.shape for _, layer in self._layers() if layer.part is Part.FILL]
        return tuple(sorted({*own, *(layer.shape for _, layer in self.holes)}))

    @cached_property
    def stroked(self) -> tuple[int, ...]:
        """Shapes whose stroke is this film."""
        return tuple(layer.shape for _, layer in self._layers() if layer.part is Part.STROKE)

    @cached_property
    def holes(self) -> list[tuple[int, PaintedLayer]]:
        """Layers in the substrate's colour that lie above this film and meet it."""
        painted, meanings = self._analysis.painting.layers, self._analysis.meanings
        found = []
        for index, (layer, meaning) in enumerate(zip(painted, meanings, strict=True)):
            if meaning.role == "substrate" and any(
                below < index and shapely.intersects(painted[below].region, layer.region)
                for below in self.layers
            ):
                found.append((index, layer))
        return found

    def _standing(
        self, layers: list[tuple[int, BaseGeometry]], holes: dict[int, BaseGeometry]
    ) -> BaseGeometry:
        if not holes:
            return union(region for _, region in layers)
        return union(
            polygonal(
                shapely.difference(region, union(hole for above, hole in holes.items() if above > index))
            )
            for index, region in layers
        )

    @cached_property
    def shapes_region(self) -> BaseGeometry:
        """What the artwork shows in this film: fills and strokes, clipped, less the holes."""
        return self._standing(
            [(index, layer.region) for index, layer in self._layers()],
            {index: layer.region for index, layer in self.holes},
        )

    @cached_property
    def fills_region(self) -> BaseGeometry:
        """The fills alone, unclipped, less the holes: what the contours enclose."""
        return self._standing(
            [(i, layer.unclipped) for i, layer in self._layers() if layer.part is Part.FILL],
            {index: layer.unclipped for index, layer in self.holes},
        )

    @property
    def surround_stays(self) -> bool:
        """Whether what surrounds the shapes stays and the shapes come off."""
        return self._analysis.job.polarity == "surround"

    @cached_property
    def region(self) -> BaseGeometry:
        """What stays of this film: the shapes, or with the other polarity what surrounds them."""
        if not self.surround_stays:
            return self.shapes_region
        return polygonal(shapely.difference(self._analysis.frame, self.shapes_region))

    @cached_property
    def contours(self) -> Ints:
        """Indices among `Painting.contours` of all members' contours."""
        ranges = [np.asarray(self._analysis.contours_of(shape)) for shape in self.members]
        return np.concatenate(ranges).astype(np.int64) if ranges else np.zeros(0, np.int64)

    @cached_property
    def knife(self) -> KnifeLines:
        """The members' contours, noded and classed."""
        lines = self._analysis.lines
        return classify(lines[self.contours], self.contours, self.fills_region)

    @cached_property
    def near(self) -> list[NearPlace]:
        """Where knife lines run so near along each other that they are cut as one line."""
        distance, tolerance = self._analysis.job.tolerances.coincidence, self._analysis.tolerance
        if distance == 0:
            return []
        contours = self.contours[self._near_something(distance + 2 * tolerance)]
        suspects = near_lines(self._analysis.lines[contours], distance + 2 * tolerance)
        if not len(suspects):
            return []
        # The lines that matter are flattened so finely that it does not blur the distance.
        lines = self._analysis.finer_lines(contours[suspects], distance / 50)
        return near_places(lines, contours[suspects], distance, Inside(self.fills_region))

    def _near_something(self, distance: float) -> Ints:
        """Return which of `contours` may come within ``distance`` mm of another or of themselves.

        Two edges that near leave a part or a gap that is too narrow, or what they enclose together is no
        film's edge: all of that is known already, and in most artwork it is nothing.
        """
        limits, shapes = self.limits, self._analysis.shapes
        least = min(limits.solid_part.warning, limits.gap.warning)
        # What a clip or a stroke hides is followed all the same, and is in no narrow part that is seen.
        hidden = bool(self.stroked) or any(shapes[index].clips for index in self.members)
        if least < 2 * distance or hidden:
            return np.arange(len(self.contours))
        narrow = [p.box for p in (*self.thin, *self.gaps) if p.kind != ThinKind.NECK or p.width < distance]
        pieces = self.knife.pieces.lines[self.knife.kinds != Knifing.EDGE]
        boxes = np.concatenate((np.reshape(narrow, (-1, 4)), shapely.bounds(pieces)))
        x0, y0, x1, y1 = boxes.T
        areas = shapely.box(x0 - distance, y0 - distance, x1 + distance, y1 + distance)
        tree = shapely.STRtree(self._analysis.lines[self.contours])
        return np.unique(tree.query(np.atleast_1d(areas), predicate="intersects")[1])

    @cached_property
    def near_runs(self) -> shapely.STRtree:
        """A tree over all stretches of the lines in `near`."""
        return shapely.STRtree(np.array([run for place in self.near for run in place.runs], object))

    @cached_property
    def followed(self) -> tuple[int, ...]:
        """Shapes the knife follows for this film: members and strokes."""
        return tuple(sorted({*self.members, *self.stroked}))

    @cached_property
    def cut_bounds(self) -> tuple[float, float, float, float] | None:
        """Bounds of all knife lines; None: there are none."""
        if not len(self.followed_contours):
            return None
        x0, y0, x1, y1 = shapely.total_bounds(self._analysis.lines[self.followed_contours])
        return (float(x0), float(y0), float(x1), float(y1))

    @cached_property
    def followed_contours(self) -> Ints:
        """Indices among `Painting.contours` of all contours the knife follows for this film."""
        ranges = [np.asarray(self._analysis.contours_of(shape), np.int64) for shape in self.followed]
        return np.concatenate(ranges) if ranges else np.zeros(0, np.int64)

    @cached_property
    def line_tree(self) -> shapely.STRtree:
        """A tree over the lines of `followed_contours`, in their order."""
        return shapely.STRtree(self._analysis.lines[self.followed_contours])

    @cached_property
    def thin(self) -> list[ThinPart]:
        """Places where what stays is narrower than the warning limit; empty where that is not judged."""
        return self._narrow(self.limits.solid_part.warning, solid=True)

    @cached_property
    def gaps(self) -> list[ThinPart]:
        """Places where what is weeded away is narrower than the warning limit; empty where not judged."""
        return self._narrow(self.limits.gap.warning, solid=False)

    @cached_property
    def unjudged(self) -> dict[str, str]:
        """What could not be judged of this film, and why; filled by `thin` and `gaps`."""
        return {}

    @cached_property
    def _walls(self) -> Walls:
        return known_walls(self.shapes_region, self._analysis.tolerance)

    def _narrow(self, width: float, *, solid: bool) -> list[ThinPart]:
        search = thin_parts if solid != self.surround_stays else narrow_gaps
        try:
            return search(self.shapes_region, width, tolerance=self._analysis.tolerance, walls=self._walls)
        except LimitError as error:
            self.unjudged["narrow parts" if solid else "narrow gaps"] = str(error)
            return []


def films_of(analysis: Analysis) -> tuple[Film, ...]:
    """Return the films of an analysis, in the order in which they first appear."""
    job = analysis.job
    layers: dict[str, list[int]] = {}
    colours: dict[str, str] = {}
    specs: dict[str, FilmSpec] = {}
    pairs = zip(analysis.painting.layers, analysis.meanings, strict=True)
    for index, (layer, meaning) in enumerate(pairs):
        if meaning.role != "film" or meaning.film is None:
            continue
        key = meaning.film
        layers.setdefault(key, []).append(index)
        colours.setdefault(key, layer.paint.color or key)
        origin = analysis.shapes[layer.shape].origin
        specs.setdefault(key, job.film_for(layer.paint.color, origin.layer))
    return tuple(Film(key, colours[key], specs[key], tuple(layers[key]), analysis) for key in layers)
