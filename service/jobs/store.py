"""The one interface behind which jobs are kept and handed out: SQLite in one file, or Redis."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from typing import Any, Protocol

from service.jobs.model import Event, NewJob, Outcome, Record, Tally, Unit, WebhookState, Work

Handle = Callable[[Unit], Awaitable[None]]


class StoreError(Exception):
    """Jobs cannot be kept or read right now; the message says why, for the log."""


class FullError(Exception):
    """No more jobs are taken until some are done or have expired; the message says which bound was met."""


class Store(Protocol):
    """Keeps jobs and hands out their units, each at least once until it has ended.

    A unit that is handed out has a lease, which `keep` renews; when its holder dies, the lease runs
    out and the unit is handed out again. A unit's outcome is stored once: the first `finish` counts.
    Every method raises `StoreError` when the store cannot be reached.
    """

    async def open(self) -> None:
        """Make it ready; may wait for another process that does the same."""

    async def close(self) -> None:
        """Let go of files and connections."""

    async def ping(self) -> None:
        """Raise `StoreError` where the store cannot be reached."""

    async def add(self, job: NewJob) -> None:
        """Keep ``job`` and queue its files, all or none. When this returns, the job survives a crash.

        Where there is a job of this id already, nothing is changed. Raises `FullError` when the backlog,
        or the space, is used up.
        """

    async def record(self, job_id: str) -> Record | None:
        """Return the state of a job; None where there is none of this id."""

    async def page(self, owner: str, limit: int, before: tuple[float, str] | None) -> list[Record]:
        """Return the owner's jobs, newest first, those created before (time, id)."""

    async def begin(self, unit: Unit) -> Work | None:
        """Count an attempt and return the work; None where it is not wanted any more."""

    async def keep(self, unit: Unit) -> bool:
        """Renew the lease; False where the work is not wanted any more."""

    async def finish(self, unit: Unit, outcome: Outcome, now: float) -> bool:
        """Store the outcome and let the artwork go; False where the unit had already ended."""

    async def give_back(self, unit: Unit) -> None:
        """Hand the unit to somebody else at once; the attempt does not count."""

    async def cancel(self, job_id: str, now: float) -> None:
        """End a job's files that have not ended."""

    async def erase(self, job_id: str) -> bool:
        """Remove a job with all its files and results; False where there is none."""

    async def body(self, job_id: str, n: int) -> bytes | None:
        """Return a result's body."""

    async def events(self, job_id: str, after: int) -> list[Event]:
        """Return a job's events whose number is above ``after``."""

    async def due_webhook(self, now: float, lease: float) -> Record | None:
        """Return a job whose webhook is due, and put the next attempt off by ``lease`` seconds."""

    async def settle_webhook(self, job_id: str, state: WebhookState, due: float | None) -> None:
        """Count an attempt; keep what came of it and when the next one is due."""

    async def sweep(self, now: float) -> None:
        """Remove what has expired and queue again what was lost."""

    async def tally(self) -> Tally:
        """Return what the store counts."""

    async def consume(self, handle: Handle, stop: asyncio.Event, concurrency: int) -> None:
        """Hand units to ``handle``, so many at a time, until ``stop`` is set; then cancel them."""


def progress(kind: str, counts: Mapping[str, Any], item: tuple[int, str] | None) -> dict[str, Any]:
    """Return an event's data of the job's state and ``counts``; every store writes the same."""
    data = {"kind": kind} | {name: counts[name] for name in ("state", "total", "ended", "failed")}
    if item:
        data["item"] = {"n": item[0], "state": item[1]}
    return data
