"""Everything the rules ask about one artwork and one job, each computed once and shared.

`Analysis` works at the finished size: the artwork is scaled first, so every length below is mm on
the finished sign.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preflight.artwork import Artwork, LiveText, Picture, Shape, SizeBasis
from preflight.curves import IDENTITY, Ints, Matrix, Outlines, flatten
from preflight.films import Film, Meaning, films_of, meaning_of
from preflight.geometry.appearance import Painting, paint, union
from preflight.geometry.copies import copies
from preflight.job import Job, ResolvedLimits
from preflight.lettering import Line, lettering_of
from preflight.result import Difference, differences


class Analysis:
    """Derived geometry of one artwork under one job."""

    def __init__(self, artwork: Artwork, job: Job) -> None:
        """Raises `JobError` where the job's size does not fit the artwork's proportions."""
        self.job = job
        self.scale = job.scale_for(artwork.width, artwork.height)
        self.artwork = artwork.scaled(self.scale)

    @property
    def size_stated(self) -> bool:
        """Whether the finished size is known; if not, nothing that depends on size is an error."""
        return self.job.size.stated or self.artwork.size_basis is SizeBasis.PHYSICAL

    @property
    def to_be_mirrored(self) -> bool:
        """Whether the cut is the drawing mirrored: behind glass, unless it is drawn so already."""
        return (self.job.surface == "second") != (self.job.drawn_as == "mirrored")

    @property
    def cut_matrix(self) -> Matrix:
        """The map from the artwork at its finished size to what is cut: mirrored left to right, or as it is."""
        return (-1.0, 0.0, 0.0, 1.0, self.artwork.width, 0.0) if self.job.cut_mirrored else IDENTITY

    @cached_property
    def tolerance(self) -> float:
        """Chord error of flattening, mm."""
        return min(self.job.tolerances.flattening, self.artwork.flattening_tolerance)

    @cached_property
    def shapes(self) -> tuple[Shape, ...]:
        """The shapes that are seen, in painting order; `Painting` counts in these."""
        return tuple(shape for shape in self.artwork.shapes() if len(shape.path.controls))

    @cached_property
    def texts(self) -> tuple[LiveText, ...]:
        """Live texts that are seen."""
        return tuple(i for i in self.artwork.items if isinstance(i, LiveText) and i.hidden is None)

    @cached_property
    def pictures(self) -> tuple[Picture, ...]:
        """Pictures that are seen."""
        return tuple(i for i in self.artwork.items if isinstance(i, Picture) and i.hidden is None)

    @cached_property
    def painting(self) -> Painting:
        """All painted regions, clipped, in painting order."""
        return paint(self.shapes, self.tolerance)

    @cached_property
    def frame(self) -> BaseGeometry:
        """The drawing area."""
        return shapely.box(0, 0, self.artwork.width, self.artwork.height)

    @cached_property
    def meanings(self) -> tuple[Meaning, ...]:
        """What each painted layer stands for, in painting order."""
        return tuple(
            self._meaning(layer.paint.color, self.shapes[layer.shape].origin.layer)
            for layer in self.painting.layers
        )

    def _meaning(self, colour: str | None, layer: str | None) -> Meaning:
        """Return what the job says of a layer, else what the file declares, else what the colour stands for."""
        declared = dict(self.artwork.layer_roles).get(layer or "")
        if declared is not None and self.job.role_of(None, layer) is None:
            return Meaning(declared, True)
        return meaning_of(colour, layer, self.job)

    @cached_property
    def films(self) -> tuple[Film, ...]:
        """The films, in the order in which their colours first appear."""
        return films_of(self)

    @cached_property
    def film_of_shape(self) -> dict[int, Film]:
        """The film whose knife follows a shape, for every shape that has one."""
        return {shape: film for film in self.films for shape in film.members}

    @cached_property
    def first_contour(self) -> Ints:
        """Where each shape's contours begin among `Painting.contours`, shape (shapes + 1,)."""
        return np.searchsorted(self.painting.contours.path, np.arange(len(self.shapes) + 1))

    def contours_of(self, shape: int) -> range:
        """Return the indices of a shape's contours among `Painting.contours`."""
        return range(int(self.first_contour[shape]), int(self.first_contour[shape + 1]))

    @cached_property
    def lines(self) -> np.ndarray:
        """Every contour as a line (k,), in the order of `Painting.contours`."""
        contours = self.painting.contours
        if not len(contours):
            return np.zeros(0, object)
        which = np.repeat(np.arange(len(contours)), np.diff(contours.starts))
        return np.asarray(shapely.linestrings(contours.points, indices=which))

    def finer_lines(self, contours: Ints, tolerance: float) -> np.ndarray:
        """Return some of `Painting.contours` (k,) as lines flattened to ``tolerance`` mm."""
        owner = self.painting.contours.path[contours]
        shapes = np.unique(owner)
        drawn = [self.shapes[index] for index in shapes]
        fine = flatten(Outlines.of([s.path for s in drawn], [s.matrix for s in drawn]), tolerance)
        first = np.searchsorted(fine.path, np.searchsorted(shapes, owner))
        nth = first + contours - self.first_contour[owner]
        return np.array([shapely.LineString(fine[int(k)]) for k in nth], object)

    def knife_shapes(self) -> Iterator[int]:
        """Yield the shapes a knife would follow if the file were sent as it is (guides are left out)."""
        guides = {
            layer.shape
            for layer, meaning in zip(self.painting.layers, self.meanings, strict=True)
            if meaning.role == "guide"
        }
        return (index for index in range(len(self.shapes)) if index not in guides)

    @cached_property
    def loose_contours(self) -> Ints:
        """Knife lines of their own, in no film: indices among `Painting.contours`, without `repeated_contours`."""
        kept: Ints = np.setdiff1d(self._loose, self.repeated_contours)
        return kept

    @cached_property
    def repeated_contours(self) -> Ints:
        """Knife lines that lie where a film's edge is: one cut makes both. Indices among `Painting.contours`.

        Files for cutting often hold the artwork in one layer and its cut once more in another.
        """
        of = [film.followed_contours for film in self.films]
        edges = np.concatenate([np.zeros(0, np.int64), *of])
        loose = self._loose
        same = copies(self.lines[loose], self.lines[edges], self.job.tolerances.coincidence)
        found: Ints = loose[same]
        return found

    @cached_property
    def _loose(self) -> Ints:
        in_films = {shape for film in self.films for shape in film.followed}
        loose = {
            layer.shape
            for layer, meaning in zip(self.painting.layers, self.meanings, strict=True)
            if meaning.role == "knife" and layer.shape not in in_films
        }
        ranges = [np.asarray(self.contours_of(shape), np.int64) for shape in sorted(loose)]
        return np.concatenate([np.zeros(0, np.int64), *ranges])

    def length_of(self, contours: Ints) -> float:
        """Return the length of some of `Painting.contours`, mm; exact where they are all of a shape's."""
        lines, owner = self.painting.contours, self.painting.contours.path
        flat = shapely.length(self.lines)
        whole, some = (
            np.bincount(owner[c], flat[c], len(self.shapes)) for c in (np.arange(len(lines)), contours)
        )
        share = np.divide(some, whole, out=np.zeros(len(whole)), where=whole > 0)
        return float((share * self.painting.lengths).sum())

    @cached_property
    def cut_length(self) -> float:
        """Length that the knife follows, mm: all knife lines, a line that repeats a film's edge once."""
        followed = float(self.painting.lengths[list(self.knife_shapes())].sum())
        return followed - self.length_of(self.repeated_contours)

    @cached_property
    def stock_limits(self) -> ResolvedLimits:
        """The limits of the job's film, for what belongs to none of the films."""
        return self.job.limits_for(self.job.film)

    @cached_property
    def differences(self) -> list[Difference]:
        """Where each film, cut and weeded, would not look like the artwork."""
        return differences(self)

    @cached_property
    def lettering(self) -> tuple[tuple[Film, Line], ...]:
        """Lines of lettering that were found in the outlines, each with the film it is in."""
        return lettering_of(self.films)

    @cached_property
    def standing(self) -> BaseGeometry:
        """What all films together cover."""
        return union(film.region for film in self.films)
