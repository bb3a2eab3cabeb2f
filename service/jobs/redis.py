"""Jobs in Redis, handed out by SAQ: for workers on any number of machines.

What is kept of a job, and its state, is ours (`service.jobs.redis_scripts`); SAQ only carries the
names of units to workers. SAQ takes a unit of a dead worker off all its lists before it queues it
again, some seconds later; should the process that does so die in between, or Redis lose its last
writes, `sweep` finds the unit among those that have not ended and queues it again.
"""

from __future__ import annotations

import asyncio
import logging
from contextlib import suppress
from json import loads
from typing import Any, ClassVar, TypeVar

from redis.asyncio import Redis
from redis.asyncio.retry import Retry
from redis.backoff import ExponentialBackoff
from redis.exceptions import ConnectionError as RedisGoneError
from redis.exceptions import RedisError
from saq import Job as Message
from saq import Worker
from saq.queue.redis import RedisQueue
from saq.utils import now as now_ms

from service.jobs import redis_scripts as scripts
from service.jobs.model import (
    Event,
    File,
    NewJob,
    Outcome,
    Record,
    Tally,
    Unit,
    WebhookState,
    Work,
    about_of,
    item_of,
)
from service.jobs.store import FullError, Handle, StoreError
from service.log import event

T = TypeVar("T")

PREFIX = "sign-preflight:"
QUEUE = "sign-preflight"
DEQUEUE_SECONDS = 2.0
SOCKET_SECONDS = 6.0
"""A Redis that is silent so long counts as away; longer than a worker waits for a unit in one go."""
RETRY_SECONDS = 0.5
UNLIMITED = 1_000_000
"""Attempts SAQ may make; ours are counted in `RedisStore.begin`, where giving up is an outcome."""
SWEEP_SECONDS = 2
KEPT_SECONDS = 60
"""How long SAQ keeps what it knows of a unit that has ended: its sweeper still looks at it."""


class _Queue(RedisQueue):
    """SAQ's queue; while Redis is away its workers wait instead of spinning."""

    async def dequeue(self, timeout: float = 0.0, poll_interval: float = 0.0) -> Message | None:
        try:
            return await super().dequeue(timeout, poll_interval)
        except RedisError as error:
            event(logging.WARNING, "queue-unreachable", error=type(error).__name__)
            await asyncio.sleep(RETRY_SECONDS)
            return None


class _Worker(Worker[Any]):
    """SAQ's worker; signals are for the process that embeds it."""

    SIGNALS: ClassVar[list[Any]] = []  # type: ignore[misc]


class RedisStore:
    """Implements `service.jobs.store.Store` on the Redis at ``url``.

    ``lease`` and ``keep`` are seconds; ``backlog`` bounds the files that have not ended. The space is
    bounded by the server's own ``maxmemory`` with the policy ``noeviction``.
    """

    def __init__(self, url: str, *, lease: float, keep: float, backlog: int) -> None:
        self._lease = lease
        # SAQ looks every other second, then waits five for a sign of the holder, then hands it out again:
        # with this the whole takes about a lease.
        self._heartbeat = max(2, round(lease / 3))
        self._keep = keep
        self._backlog = backlog
        self._redis: Redis = Redis.from_url(
            url,
            socket_connect_timeout=RETRY_SECONDS * 4,
            socket_timeout=SOCKET_SECONDS,
            health_check_interval=10,
            # Not after a silence: requests would wait for each try.
            retry=Retry(ExponentialBackoff(cap=0.5, base=0.05), 3, supported_errors=(RedisGoneError,)),
        )
        self._queue = _Queue(self._redis, name=QUEUE)

    async def open(self) -> None:
        """Say in the log where Redis would not keep what it was given."""
        try:
            info: Any = await self._redis.info("persistence")
        except RedisError as error:
            # It may come back: requests for jobs are refused until then, all others are served.
            event(logging.WARNING, "redis-unreachable", error=type(error).__name__)
            return
        if not info.get("aof_enabled"):
            event(logging.WARNING, "redis-not-durable", advice="set appendonly yes and appendfsync always")

    async def close(self) -> None:
        """Let go of the connections."""
        with suppress(RedisError):
            await self._redis.aclose()

    async def ping(self) -> None:
        """Raise `StoreError` where Redis does not answer."""
        try:
            await self._redis.execute_command("PING")  # type: ignore[no-untyped-call]
        except RedisError as error:
            raise _unreachable(error) from error

    async def add(self, job: NewJob) -> None:
        """Keep ``job`` in one step, then queue its files; `sweep` queues what a crash left out."""
        arguments: list[str | bytes | int | float] = [
            job.owner,
            job.created,
            job.about(),
            "pending" if job.webhook else "none",
            self._backlog,
        ]
        for file in job.files:
            arguments += [file.name or "", file.artwork]
        waiting = await self._script(scripts.ADD, job.id, *arguments)
        if waiting >= 0:
            raise FullError(f"{waiting} files are waiting; at most {self._backlog} may")
        try:
            for n in range(1, len(job.files) + 1):
                await self._enqueue(f"{job.id}.{n}")
        except RedisError as error:
            raise _unreachable(error) from error

    async def _enqueue(self, name: str) -> None:
        """Queue a unit; one that is queued or worked on already stays as it is."""
        await self._queue.enqueue(
            Message(
                function="work",
                kwargs={"name": name},
                key=name,
                timeout=0,
                heartbeat=self._heartbeat,
                retries=UNLIMITED,
                ttl=KEPT_SECONDS,
            )
        )

    async def record(self, job_id: str) -> Record | None:
        """Return the state of a job."""
        found = await self._script(scripts.READ, job_id)
        return _record(job_id, found) if found else None

    async def page(self, owner: str, limit: int, before: tuple[float, str] | None) -> list[Record]:
        """Return the owner's jobs, newest first."""
        key = f"{PREFIX}owned:{owner}"
        highest: float | str = "+inf"
        if before:
            highest = before[0]
        records: list[Record] = []
        offset = 0
        while len(records) < limit:
            names = await self._do(
                "ZREVRANGEBYSCORE", key, highest, "-inf", "WITHSCORES", "LIMIT", offset, limit
            )
            if not names:
                break
            offset += len(names) // 2
            for name, score in zip(names[::2], names[1::2], strict=True):
                job_id = name.decode()
                if before and (float(score), job_id) >= before:
                    continue
                record = await self.record(job_id)
                if record and len(records) < limit:
                    records.append(record)
        return records

    async def begin(self, unit: Unit) -> Work | None:
        """Count an attempt and return the work."""
        found = await self._script(scripts.BEGIN, unit.job_id, unit.n)
        if not found:
            return None
        attempts, name, about, artwork = found
        return Work(unit, attempts, about_of(about).order, File(artwork, name.decode() or None))

    async def keep(self, unit: Unit) -> bool:
        """Return whether the work is still wanted; the lease itself is SAQ's, renewed by `consume`."""
        state = await self._do("HGET", f"{PREFIX}item:{unit.job_id}:{unit.n}", "state")
        return state in (b"queued", b"running")

    async def finish(self, unit: Unit, outcome: Outcome, now: float) -> bool:
        """Store the outcome unless there is one."""
        failed = int(outcome.fault is not None)
        values = (outcome.state, outcome.head(), outcome.body, failed, now, self._keep)
        return bool(await self._script(scripts.FINISH, unit.job_id, unit.n, *values))

    async def give_back(self, unit: Unit) -> None:
        """Take the attempt back; SAQ queues the unit again when its task is cancelled."""
        await self._script(scripts.GIVE_BACK, unit.job_id, unit.n)

    async def cancel(self, job_id: str, now: float) -> None:
        """End a job's files that have not ended."""
        await self._script(scripts.CANCEL, job_id, now, self._keep)

    async def erase(self, job_id: str) -> bool:
        """Remove a job with all its files and results."""
        return bool(await self._script(scripts.ERASE, job_id))

    async def body(self, job_id: str, n: int) -> bytes | None:
        """Return a result's body."""
        found: bytes | None = await self._do("GET", f"{PREFIX}body:{job_id}:{n}")
        return found

    async def events(self, job_id: str, after: int) -> list[Event]:
        """Return a job's events whose number is above ``after``."""
        found = await self._do("LRANGE", f"{PREFIX}events:{job_id}", max(0, after), -1)
        return [Event(seq, loads(data)) for seq, data in enumerate(found, max(0, after) + 1)]

    async def due_webhook(self, now: float, lease: float) -> Record | None:
        """Return a job whose webhook is due."""
        job_id = await self._script(scripts.DUE_WEBHOOK, now, now + lease)
        return await self.record(job_id.decode()) if job_id else None

    async def settle_webhook(self, job_id: str, state: WebhookState, due: float | None) -> None:
        """Count an attempt and keep what came of it."""
        await self._script(scripts.SETTLE_WEBHOOK, job_id, state, "" if due is None else due)

    async def sweep(self, now: float) -> None:
        """Remove what has expired; queue again what has not ended and is in no queue any more."""
        for job_id in await self._do("ZRANGEBYSCORE", f"{PREFIX}expiry", "-inf", now, "LIMIT", 0, 100):
            await self.erase(job_id.decode())
        # One process at a time looks for what was lost.
        if not await self._do("SET", f"{PREFIX}sweep", "1", "NX", "PX", max(500, round(self._lease * 500))):
            return
        names = sorted(name.decode() for name in await self._do("SMEMBERS", f"{PREFIX}open"))
        if not names:
            return
        try:
            for name, message in zip(names, await self._queue.jobs(names), strict=True):
                touched = max(message.touched, message.queued) if message else 0
                if now_ms() - touched > self._lease * 2000:
                    await self._enqueue(name)
        except RedisError as error:
            raise _unreachable(error) from error

    async def tally(self) -> Tally:
        """Return what is counted."""
        counters, unended, running, oldest = await self._script(scripts.TALLY)
        counted = {
            name.decode(): int(value) for name, value in zip(counters[::2], counters[1::2], strict=True)
        }
        accepted = counted.pop("accepted", 0)
        return Tally(accepted, counted, unended - running, running, float(oldest) if oldest else None)

    async def consume(self, handle: Handle, stop: asyncio.Event, concurrency: int) -> None:
        """Hand units to ``handle`` until ``stop`` is set; then cancel what is not done."""
        renew = self._heartbeat / 3

        async def work(context: Any, *, name: str) -> None:
            job_id, _, n = name.rpartition(".")
            beating = asyncio.ensure_future(_beat(context["job"], renew))
            try:
                await handle(Unit(job_id, int(n)))
            finally:
                beating.cancel()
                await asyncio.gather(beating, return_exceptions=True)

        worker: Worker[Any] = _Worker(
            self._queue,
            [("work", work)],
            concurrency=concurrency,
            timers={"sweep": SWEEP_SECONDS, "abort": 1, "worker_info": 30, "schedule": 5},
            dequeue_timeout=DEQUEUE_SECONDS,
            shutdown_grace_period_s=0,
            cancellation_hard_deadline_s=5.0,
        )
        running = asyncio.ensure_future(worker.start())
        stopped = asyncio.ensure_future(stop.wait())
        try:
            await asyncio.wait((running, stopped), return_when=asyncio.FIRST_COMPLETED)
        finally:
            stopped.cancel()
            worker.event.set()
            await asyncio.gather(running, return_exceptions=True)

    async def _script(self, script: str, *arguments: str | bytes | int | float) -> Any:
        try:
            return await self._redis.register_script(script)(keys=[PREFIX], args=list(arguments))
        except RedisError as error:
            raise _unreachable(error) from error

    async def _do(self, *command: str | bytes | int | float) -> Any:
        try:
            return await self._redis.execute_command(*command)  # type: ignore[no-untyped-call]
        except RedisError as error:
            raise _unreachable(error) from error


async def _beat(message: Message, seconds: float) -> None:
    """Renew SAQ's lease on ``message`` for as long as this runs."""
    while True:
        await asyncio.sleep(seconds)
        try:
            await message.update()
        except RedisError as error:
            event(logging.WARNING, "lease-not-renewed", error=type(error).__name__)


def _unreachable(error: Exception) -> StoreError:
    # The text could hold the address with its password.
    return StoreError(f"Redis: {type(error).__name__}")


def _record(job_id: str, found: Any) -> Record:
    fields = {key.decode(): value for key, value in zip(found[0][::2], found[0][1::2], strict=True)}
    about = about_of(fields["about"])
    items = [
        item_of(n, name.decode() or None, state.decode(), int(attempts), head)
        for n, (name, state, attempts, head) in enumerate(found[2:], 1)
    ]

    def when(name: str) -> float | None:
        return float(fields[name]) if name in fields else None

    return Record(
        id=job_id,
        owner=about.owner,
        created=about.created,
        order=about.order,
        state=fields["state"].decode(),
        items=tuple(items),
        finished=when("finished"),
        expires=when("expires"),
        webhook=about.webhook,
        mark=about.mark,
        webhook_state=fields["hook"].decode(),
        webhook_attempts=int(fields["hook_attempts"]),
        last_event=found[1],
    )
