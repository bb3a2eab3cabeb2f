"""Which panel goes on first, and whose edge lies on top."""

from __future__ import annotations

from dataclasses import dataclass

from preflight.job import Job
from preflight.roll.panels.options import Seams


@dataclass(frozen=True, slots=True)
class Order:
    """The order in which panels are put on, told by place: from the left or from the top."""

    reversed: bool
    """Whether the last place goes on first."""
    known: bool
    why: str


def order_of(job: Job, seams: Seams) -> Order:
    """Return the order for a sign whose seams run ``seams``.

    Laps lie like shingles: upper over lower, so that water runs off, and away from the airflow, so that it
    does not get under an edge. Common practice, no source.
    """
    if seams == "horizontal":
        return Order(True, True, "The upper panel laps over the lower one, so that water runs off.")
    behind = job.surface == "second"
    on_vehicle = job.use == "vehicle" or job.mounting.place in ("vehicle", "vehicle-window")
    if behind or not on_vehicle:
        return Order(
            False, True, "Left to right; nothing flows past here, so the other way round would do as well."
        )
    front = job.mounting.front
    if front is None:
        return Order(
            False,
            False,
            "Which panel goes first is not known: the panel nearer to the vehicle’s front has to lap over the other, "
            "and the job does not state where the front is (mounting.front).",
        )
    # Whoever puts it up on the outside sees what a reader sees.
    return Order(
        front == "left",
        True,
        "The panel nearer to the vehicle’s front laps over the one behind it, so that no edge faces the airflow.",
    )
