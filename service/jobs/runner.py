"""Doing units: from the store to a worker process and back, with the lease renewed meanwhile."""

from __future__ import annotations

import asyncio
import logging
import time
import uuid
from collections import Counter

from service.documents import page_headers
from service.files import file_headers, unframed
from service.jobs.model import Fault, Outcome, Unit, Work
from service.jobs.store import Store, StoreError
from service.log import event
from service.problems import BUSY, INTERNAL_ERROR, WORKER_CRASHED, ProblemError
from service.settings import Settings
from service.tasks import MOST_RULES, Answer, Task
from service.work import settled
from service.workers import WORK, WorkerPool

BUSY_SECONDS = 0.5
RETRY_SECONDS = 0.5


def pool_settings(settings: Settings) -> Settings:
    """Return the settings of the pool that jobs are done with: its own workers and its own time limit."""
    return settings.model_copy(
        update={
            "workers": max(1, settings.job_workers),
            "work_seconds": settings.job_seconds,
            "queue": max(1, settings.job_workers),
        }
    )


def occurrence(unit: Unit) -> str:
    """Return the UUID under which a unit's problem and log entries are found."""
    return str(uuid.uuid5(uuid.UUID(unit.job_id), str(unit.n)))


class Runner:
    """Does the units of a store. Its pool of workers starts with the first unit."""

    def __init__(self, settings: Settings, store: Store, work: str = WORK) -> None:
        self._settings = settings
        self._store = store
        self._limits = pool_settings(settings)
        self._pool = WorkerPool(self._limits, work)
        self._starting = asyncio.Lock()
        self.findings: Counter[str] = Counter()
        """Findings by rule."""
        self._started = False
        self._renew = max(0.25, settings.job_lease_seconds / 4)

    async def run(self, stop: asyncio.Event) -> None:
        """Do units until ``stop`` is set; what is in hand then is given back."""
        while not stop.is_set():
            try:
                await self._store.consume(self.do, stop, self._limits.workers)
            except StoreError as error:
                event(logging.WARNING, "jobs-unreachable", why=str(error))
                await asyncio.sleep(RETRY_SECONDS)

    @property
    def pool(self) -> WorkerPool:
        """The workers; none before the first unit."""
        return self._pool

    async def close(self) -> None:
        """End the workers."""
        await self._pool.close()

    async def do(self, unit: Unit) -> None:
        """Do one unit and store its outcome, unless it is not wanted any more."""
        work = await self._store.begin(unit)
        if work is None:
            return
        begun = time.monotonic()
        try:
            if work.attempt > self._settings.job_attempts:
                outcome: Outcome | None = _given_up(work)
            else:
                await self._start()
                outcome = await self._outcome(work)
        except asyncio.CancelledError:
            await self._give_back(unit)
            raise
        if outcome is None:
            return
        stored = await self._finish(unit, outcome)
        event(
            logging.INFO,
            "job-unit",
            job_id=unit.job_id,
            n=unit.n,
            operation=work.order.operation,
            attempt=work.attempt,
            state=outcome.state,
            stored=stored,
            took_ms=round((time.monotonic() - begun) * 1000),
        )

    async def _start(self) -> None:
        async with self._starting:
            if not self._started:
                await self._pool.start()
                self._started = True

    async def _outcome(self, work: Work) -> Outcome | None:
        """Have a worker do it; None where the work is not wanted any more."""
        task = work.order.task(work.file.artwork, work.file.name, self._limits.longest_search)
        running = asyncio.ensure_future(settled(self._counted(task), self._limits, occurrence(work.unit)))
        try:
            while not running.done():
                await asyncio.wait((running,), timeout=self._renew)
                if not running.done() and not await self._wanted(work.unit):
                    return None
            return _outcome(work, running.result())
        except ProblemError as error:
            if error.kind is BUSY:
                # Every worker is being replaced: the attempt was none.
                await self._give_back(work.unit)
                await asyncio.sleep(BUSY_SECONDS)
                return None
            return Outcome(fault=Fault(error.kind.slug, error.detail, error.code, error.advice))
        finally:
            running.cancel()
            await asyncio.gather(running, return_exceptions=True)

    async def _counted(self, task: Task) -> Answer:
        answer = await self._pool.run(task)
        for rule, count in answer.findings.items():
            if rule in self.findings or len(self.findings) < MOST_RULES:
                self.findings[rule] += max(count, 0)
        return answer

    async def _wanted(self, unit: Unit) -> bool:
        try:
            return await self._store.keep(unit)
        except StoreError as error:
            # Work goes on: the store may be back by the time the outcome is there.
            event(logging.WARNING, "lease-not-renewed", why=str(error))
            return True

    async def _give_back(self, unit: Unit) -> None:
        try:
            await self._store.give_back(unit)
        except StoreError as error:
            event(logging.WARNING, "unit-not-given-back", why=str(error))

    async def _finish(self, unit: Unit, outcome: Outcome) -> bool:
        """Store the outcome, however long the store is away."""
        while True:
            try:
                return await self._store.finish(unit, outcome, time.time())
            except StoreError as error:
                event(logging.WARNING, "outcome-not-stored", why=str(error))
                await asyncio.sleep(RETRY_SECONDS)


def _outcome(work: Work, body: bytes) -> Outcome:
    media = work.order.media_type
    if work.order.operation != "repair" or work.order.format == "json":
        return Outcome(body, media, page_headers(f"{work.order.operation}-html", media))
    try:
        head, data = unframed(body)
    except ValueError:
        detail = "The service failed while it worked on this artwork."
        return Outcome(fault=Fault(INTERNAL_ERROR.slug, detail, INTERNAL_ERROR.slug, INTERNAL_ERROR.advice))
    return Outcome(data, media, file_headers(head))


def _given_up(work: Work) -> Outcome:
    detail = (
        f"The work was begun {work.attempt - 1} times, and each time the service ended before it was done."
    )
    kind = WORKER_CRASHED
    return Outcome(fault=Fault(kind.slug, detail, "too-many-attempts", kind.advice))
