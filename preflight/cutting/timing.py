"""How long a machine takes to follow knife lines: speed up, slow down at corners, lift and drop.

The model is that of motion planners with a trapezoid profile: the speed never exceeds the set speed,
changes by at most the set acceleration, and at a corner is at most what lets the machine round it
with that acceleration while it strays by no more than the cornering deviation d. With h the angle
between the two legs (180 degrees: straight on), v^2 = a d sin(h/2) / (1 - sin(h/2)): the fastest way
round an arc that touches both legs and passes the corner at distance d. (This "junction deviation"
is common in open machine controllers' planners; derived again here, no standard.) Along a curve the
speed is also held to v^2 = a R. Real machines differ in force ramps and look-ahead: a calculated
time is an estimate, and whoever knows a machine's figures states them in `Machine`.

All lengths mm, times s, speeds mm/s, accelerations mm/s^2, angles radians.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from preflight.curves import Bools, Floats, Ints, Polylines
from preflight.errors import JobError
from preflight.job.machine import MachineSpec
from preflight.job.stock import stock

_STOCK = stock().machine


@dataclass(frozen=True, slots=True)
class Machine:
    """What the time depends on. Stock values: common practice, no source; machines differ.

    ``speed`` and ``acceleration`` hold for cutting, ``travel_speed`` and ``travel_acceleration`` for
    moves with the knife up, each in the direction of the move. ``cornering`` is the deviation d at
    corners, ``drop`` and ``lift`` the time the knife takes to go down and up.
    """

    speed: float = _STOCK.speed.value
    acceleration: float = _STOCK.acceleration.value
    travel_speed: float = _STOCK.travel_speed.value
    travel_acceleration: float = _STOCK.travel_acceleration.value
    cornering: float = _STOCK.cornering.value
    drop: float = _STOCK.drop.value
    lift: float = _STOCK.lift.value

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            zero_allowed = item.name in ("drop", "lift")
            if not (np.isfinite(value) and (value > 0 or (zero_allowed and value == 0))):
                raise JobError(
                    "machine-setting",
                    f"machine.{item.name} is {value:g}; it must be "
                    f"{'0 or more' if zero_allowed else 'more than 0'}.",
                    "State it in mm, mm/s, mm/s² or s as the machine's manual gives it.",
                )


def machine_of(settings: MachineSpec) -> Machine:
    """Return the figures of a job's ``machine`` that times are calculated from."""
    return Machine(**{item.name: getattr(settings, item.name) for item in fields(Machine)})


@dataclass(frozen=True, slots=True)
class CutTime:
    """Seconds spent cutting, moving with the knife up, and lifting and dropping it; ways in mm."""

    cutting: float
    travelling: float
    knife: float
    cut_length: float
    travel_length: float
    contours: int

    @property
    def total(self) -> float:
        """All of it, s."""
        return self.cutting + self.travelling + self.knife


def corner_speed(turn: Floats | float, acceleration: float, deviation: float) -> Floats:
    """Return the speed (n,) at corners where the direction changes by ``turn`` (n,) radians, any sign.

    Straight on it is infinite, straight back 0.
    """
    # h is the angle between the legs, pi less the turn, so sin(h/2) = cos(turn/2).
    half = np.abs(np.asarray(turn, float)) / 2
    near = 2 * np.sin(half / 2) ** 2  # 1 - cos(turn/2) without cancellation
    with np.errstate(divide="ignore"):
        speed: Floats = np.sqrt(acceleration * deviation * np.maximum(np.cos(half), 0.0) / near)
    return speed


def chord_times(length: Floats, enter: Floats, leave: Floats, speed: float, acceleration: float) -> Floats:
    """Return the least time (n,) for chords of ``length`` (n,) with the speeds at their ends given.

    The profile is a trapezoid under ``speed``, or a triangle where the chord is too short for that.
    The end speeds must be within reach of each other, as `end_speeds` makes them.
    """
    peak = np.minimum(np.sqrt((enter**2 + leave**2) / 2 + acceleration * length), speed)
    ramps = (2 * peak - enter - leave) / acceleration
    ramped = (2 * peak**2 - enter**2 - leave**2) / (2 * acceleration)
    times: Floats = ramps + np.maximum(length - ramped, 0.0) / peak
    return times


def move_times(length: Floats, speed: float, acceleration: float) -> Floats:
    """Return the time (n,) of moves of ``length`` (n,) from standstill to standstill."""
    still = np.zeros(np.shape(length))
    return chord_times(np.asarray(length, float), still, still, speed, acceleration)


def chord_position(
    since: float, time: float, length: float, *, ends: tuple[float, float], speed: float, acceleration: float
) -> float:
    """Return how much of a chord (0 to 1) is behind the machine ``since`` s after it began it.

    ``time`` is the chord's own, from `chord_times` with the same speeds; ``ends`` are those at its ends.
    """
    enter, leave = ends
    if not length > 0 or since >= time:
        return 1.0
    if since <= 0:
        return 0.0
    peak = min(((enter**2 + leave**2) / 2 + acceleration * length) ** 0.5, speed)
    rising, left = (peak - enter) / acceleration, time - since
    if since <= rising:
        way = enter * since + acceleration * since**2 / 2
    elif left <= (peak - leave) / acceleration:
        way = length - leave * left - acceleration * left**2 / 2
    else:
        way = (peak**2 - enter**2) / (2 * acceleration) + peak * (since - rising)
    return min(max(way / length, 0.0), 1.0)


def end_speeds(length: Floats, limit: Floats, acceleration: float) -> Floats:
    """Return the speeds (n + 1,) at the ends of chords (n,) in a row that keep every limit (n + 1,).

    The largest speeds for which no chord needs more than ``acceleration``: v_i^2 is the least over all
    j of limit_j^2 + 2 a |s_i - s_j|. A limit of 0 parts the row into runs that do not depend on
    each other.
    """
    rise = 2 * acceleration * np.concatenate(([0.0], np.cumsum(length)))
    square = limit**2
    forward = np.minimum.accumulate(square - rise) + rise
    backward = np.minimum.accumulate((forward + rise)[::-1])[::-1] - rise
    reached: Floats = np.sqrt(np.maximum(backward, 0.0))
    return np.minimum(reached, limit)


@dataclass(frozen=True, eq=False)
class Motion:
    """How polylines are followed, point by point; every polyline begins and ends at standstill.

    ``speed`` (n,) is the speed at each point, ``time`` (n,) s since the knife went down at the first
    point of the point's own polyline, ``duration`` (k,) the whole time of each polyline.
    """

    speed: Floats
    time: Floats
    duration: Floats


def motion(points: Floats, starts: Ints, machine: Machine, *, corners: Bools | None = None) -> Motion:
    """Return how a machine cuts polylines: ``points`` (n, 2), bounded by ``starts`` (k + 1,).

    ``corners`` (n,) marks true corners; at the other points, which stand for a curve, the speed is also
    held to that of the curve's radius. By default all are corners. Points in one spot are passed over
    in no time. Raises ValueError where a polyline has no point.
    """
    count = len(points)
    if count == 0:
        return Motion(np.zeros(0), np.zeros(0), np.zeros(len(starts) - 1))
    if (np.diff(starts) < 1).any():
        raise ValueError("a polyline has one point or more")
    first = np.zeros(count, bool)
    first[starts[:-1]] = True
    step = np.diff(points, axis=0)
    step[first[1:]] = 0.0  # from one polyline to the next is no cut
    size = np.hypot(step[:, 0], step[:, 1])
    limit = np.minimum(_corner_limits(step, size, machine, corners), machine.speed)
    limit[first] = 0.0
    limit[starts[1:] - 1] = 0.0
    speed = end_speeds(size, limit, machine.acceleration)
    times = np.zeros(len(size))
    long = size > 0
    times[long] = chord_times(
        size[long], speed[:-1][long], speed[1:][long], machine.speed, machine.acceleration
    )
    total = np.concatenate(([0.0], np.cumsum(times)))
    since = total - np.repeat(total[starts[:-1]], np.diff(starts))
    return Motion(speed, since, total[starts[1:] - 1] - total[starts[:-1]])


def _corner_limits(step: Floats, size: Floats, machine: Machine, corners: Bools | None) -> Floats:
    """Return the corner speed (n + 1,) at each point between chords (n, 2); infinite at the ends.

    Chords of no length take the place of none: the turn is that between the chords around them.
    """
    limit = np.full(len(size) + 1, np.inf)
    long = np.flatnonzero(size > 0)
    if len(long) < 2:
        return limit
    a, b = step[long[:-1]], step[long[1:]]
    turn = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1))
    speed = corner_speed(turn, machine.acceleration, machine.cornering)
    if corners is not None:
        mean = (size[long[:-1]] + size[long[1:]]) / 2
        bent = ~corners[long[1:]] & (turn != 0)
        radius = mean[bent] / np.abs(turn[bent])
        speed[bent] = np.minimum(speed[bent], np.sqrt(machine.acceleration * radius))
    limit[long[1:]] = speed
    return limit


def cut_time(lines: Polylines, travel: Floats, machine: Machine) -> CutTime:
    """Return the time to cut ``lines`` in their order with moves ``travel`` (m,) in mm in between.

    A closed line's corner at its start is rounded from standstill, as every start is.
    """
    followed = motion(lines.points, lines.starts, machine, corners=lines.corners)
    step = np.diff(lines.points, axis=0)
    inside = np.ones(len(step), bool)
    inside[lines.starts[1:-1] - 1] = False
    moves = move_times(travel[travel > 0], machine.travel_speed, machine.travel_acceleration)
    return CutTime(
        cutting=float(followed.duration.sum()),
        travelling=float(moves.sum()),
        knife=len(lines) * (machine.drop + machine.lift),
        cut_length=float(np.hypot(*step[inside].T).sum()),
        travel_length=float(travel.sum()),
        contours=len(lines),
    )
