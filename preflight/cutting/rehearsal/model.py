"""What a rehearsal tells: the order, the way, the time and the errors of every film's cut.

Places called *artwork* are mm on the finished artwork, from the drawing area's top left. Places called
*machine* are mm on the film as it lies on the machine: x across the roll, y along the feed, from the
corner of the cut's own box. Headings are degrees on the machine, from x towards y.
"""

from __future__ import annotations

from bisect import bisect_right
from functools import cached_property
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from preflight.cutting.timing import chord_position
from preflight.job.stock import FilmKind
from preflight.units import format_length

Point = tuple[float, float]
Entry = Literal["turned", "as-left"]
Kind = Literal["travel", "lower", "cut", "lift"]


class _Shown(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class RehearsalOptions(_Shown):
    """How the cut is rehearsed. What belongs to the machine and the blade stands in the job."""

    small_parts_first: Annotated[
        bool, Field(description="Whether pieces so small that they could lift go first in their window")
    ] = True
    entry: Annotated[
        Entry,
        Field(
            description="How the blade comes down: “turned” to where the cut sets out, as machines do that know "
            "the blade offset, or “as-left” by the cut before"
        ),
    ] = "turned"


class Figure(_Shown):
    """One figure that the rehearsal rests on."""

    name: str
    value: float
    unit: str
    stated: Annotated[bool, Field(description="Whether the job states it; else it is a stock value")]
    source: Annotated[str, Field(description="Where the value is from")]


class ContourCut(_Shown):
    """One contour, as it is cut."""

    number: Annotated[int, Field(description="Its place in the order, from 1")]
    contour: Annotated[
        int, Field(description="Which contour of the drawing it is, in painting order, from 0")
    ]
    closed: bool
    inside: Annotated[int | None, Field(description="Number of the contour around it; none: nothing is")]
    small: Annotated[bool, Field(description="Encloses so little that the piece could lift")]
    start: Annotated[Point, Field(description="Where it is begun, artwork")]
    backward: Annotated[bool, Field(description="Whether an open line is followed from its end")]
    length_mm: Annotated[float, Field(description="Its own length, without overcut")]
    overcut_mm: Annotated[float, Field(description="How far past the start the knife goes on")]
    travel_mm: Annotated[float, Field(description="Way to it with the knife up")]
    heading_deg: Annotated[float, Field(description="Direction in which the cut sets out")]
    turn_deg: Annotated[
        float | None,
        Field(description="How far the blade has to turn from how the last cut left it; none: not known"),
    ]
    lead_mm: Annotated[
        float | None,
        Field(
            description="Way of a straight cut after which the blade, not turned before, would follow within the "
            "corner tolerance; none: how the blade stands is not known"
        ),
    ]
    begin_s: Annotated[float, Field(description="When the way to it begins")]
    end_s: Annotated[float, Field(description="When the knife is up again")]
    travelling_s: float
    cutting_s: float
    knife_s: Annotated[float, Field(description="Lowering and lifting")]


class Event(_Shown):
    """One thing the machine does."""

    kind: Kind
    start_s: float
    end_s: float
    contour: Annotated[int, Field(description="Number of the contour in the order")]
    length_mm: float


class KnifeWay(_Shown):
    """A contour's points on the machine in the order of cutting, overcut included."""

    x_mm: tuple[float, ...]
    y_mm: tuple[float, ...]
    time_s: Annotated[tuple[float, ...], Field(description="Since the knife began to cut it")]
    speed: Annotated[tuple[float, ...], Field(description="mm/s at each point")]


class TipError(_Shown):
    """How far the cut lies beside the line, by the trailing-blade model, mm."""

    largest_mm: Annotated[float, Field(description="Beyond the first four blade offsets of each contour")]
    mean_mm: Annotated[float, Field(description="Over the whole way")]
    at: Annotated[Point | None, Field(description="Where the largest is, artwork; none: there is none")]
    contour: Annotated[int | None, Field(description="Number of its contour in the order")]
    entry_mm: Annotated[float, Field(description="Largest in the first four blade offsets of a contour")]
    entry_contour: int | None


class Feed(_Shown):
    """How the film goes to and fro."""

    window_mm: Annotated[float, Field(description="Film that is cut before the next is fed")]
    back_moves: Annotated[int, Field(description="Moves with the knife up that pull the film back")]
    back_mm: Annotated[float, Field(description="How far these pull it back in all")]
    cutting_back_mm: Annotated[float, Field(description="How far it is pulled back while cutting, in all")]
    farthest_back_mm: Annotated[
        float, Field(description="Farthest that the knife is behind the farthest spot it has been at")
    ]


class Seconds(_Shown):
    """Where the time goes."""

    cutting: float
    travelling: float
    knife: Annotated[float, Field(description="Lowering and lifting")]
    total: float


class Laid(_Shown):
    """How the film lies on the machine."""

    width_mm: Annotated[float, Field(description="Of the cut, across the roll")]
    length_mm: Annotated[float, Field(description="Of the cut, along the feed")]
    mirrored: bool
    turned: Annotated[bool, Field(description="A quarter turn, clockwise")]
    matrix: Annotated[
        tuple[float, float, float, float, float, float],
        Field(description="From artwork to machine: x' = a x + c y + e, y' = b x + d y + f"),
    ]
    fit: Annotated[str, Field(description="How it fits on the roll, in words")]


class Position(_Shown):
    """Where the knife is at some moment."""

    x_mm: Annotated[float, Field(description="On the machine")]
    y_mm: float
    down: bool
    doing: Kind | Literal["waiting", "done"]
    contour: Annotated[int | None, Field(description="Number in the order")]


class FilmRehearsal(_Shown):
    """The cut of one film."""

    film: str
    colour: str
    kind: FilmKind
    laid: Laid
    contours: tuple[ContourCut, ...]
    ways: tuple[KnifeWay, ...]
    events: tuple[Event, ...]
    seconds: Seconds
    cut_length_mm: Annotated[float, Field(description="Without overcut")]
    overcut_mm: float
    travel_mm: float
    file_order_travel_mm: Annotated[float, Field(description="What the travel would be in the file's order")]
    feed: Feed
    compensated: Annotated[
        TipError, Field(description="With the blade offset made up for, where the film can hold the tip")
    ]
    uncompensated: Annotated[TipError, Field(description="If the machine knew nothing of the blade offset")]
    leads_covered: Annotated[
        int,
        Field(
            description="Contours whose overcut goes over the lead, so that a blade not turned does no harm"
        ),
    ]

    @cached_property
    def _begins(self) -> list[float]:
        return [event.start_s for event in self.events]

    def at(self, seconds: float, machine: dict[str, float]) -> Position:
        """Return where the knife is ``seconds`` after the start; ``machine`` holds speeds by name.

        Between two points it moves as the timing model says: with the set acceleration up to a peak.
        """
        if seconds < 0 or not self.events:
            return Position(x_mm=0.0, y_mm=0.0, down=False, doing="waiting", contour=None)
        event = self.events[bisect_right(self._begins, seconds) - 1]
        way = self.ways[event.contour - 1]
        if event is self.events[-1] and seconds >= event.end_s:
            return Position(x_mm=way.x_mm[-1], y_mm=way.y_mm[-1], down=False, doing="done", contour=None)
        since = min(seconds, event.end_s) - event.start_s
        x, y = self._spot(event, way, since, machine)
        return Position(x_mm=x, y_mm=y, down=event.kind == "cut", doing=event.kind, contour=event.contour)

    def _spot(self, event: Event, way: KnifeWay, since: float, machine: dict[str, float]) -> Point:
        if event.kind == "lower":
            return way.x_mm[0], way.y_mm[0]
        if event.kind == "lift":
            return way.x_mm[-1], way.y_mm[-1]
        if event.kind == "travel":
            before = self.ways[event.contour - 2] if event.contour > 1 else None
            start = (before.x_mm[-1], before.y_mm[-1]) if before else (0.0, 0.0)
            end, time = (way.x_mm[0], way.y_mm[0]), event.end_s - event.start_s
            ends, prefix = (0.0, 0.0), "travel_"
        else:
            i = min(max(bisect_right(way.time_s, since) - 1, 0), len(way.time_s) - 2)
            start, end = (way.x_mm[i], way.y_mm[i]), (way.x_mm[i + 1], way.y_mm[i + 1])
            since, time = since - way.time_s[i], way.time_s[i + 1] - way.time_s[i]
            ends, prefix = (way.speed[i], way.speed[i + 1]), ""
        dx, dy = end[0] - start[0], end[1] - start[1]
        share = chord_position(
            since,
            time,
            (dx * dx + dy * dy) ** 0.5,
            ends=ends,
            speed=machine[f"{prefix}speed"],
            acceleration=machine[f"{prefix}acceleration"],
        )
        return start[0] + share * dx, start[1] + share * dy


class Rehearsal(_Shown):
    """The cut of all films of one artwork, rehearsed."""

    tool_version: str
    title: str
    sha256: str
    job_sha256: str
    size_stated: bool
    options: RehearsalOptions
    figures: tuple[Figure, ...]
    films: tuple[FilmRehearsal, ...]
    notes: Annotated[tuple[str, ...], Field(description="What was taken for granted, and what is left out")]
    claim: str

    @property
    def seconds(self) -> float:
        """Time of all films, without changing them."""
        return sum(film.seconds.total for film in self.films)

    @property
    def machine(self) -> dict[str, float]:
        """The figures by name."""
        return {figure.name: figure.value for figure in self.figures}

    def film(self, name: str) -> FilmRehearsal:
        """Return the film of that name; raises `KeyError`."""
        for film in self.films:
            if film.film == name:
                return film
        raise KeyError(name)

    def at(self, film: int, seconds: float) -> Position:
        """Return where the knife is ``seconds`` after the start of the film with this index."""
        return self.films[film].at(seconds, self.machine)


def length_words(mm: float) -> str:
    """Return a length in words, metres from one metre on."""
    return f"{mm / 1000:.2f} m" if mm >= 1000 else format_length(round(mm, 1))
