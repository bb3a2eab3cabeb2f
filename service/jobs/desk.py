"""Everything about jobs that one process runs: the store, the runner, webhooks and the sweep."""

from __future__ import annotations

import asyncio
import logging
import os
import time
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path

from service.jobs.model import Tally
from service.jobs.runner import Runner
from service.jobs.sqlite import SqliteStore
from service.jobs.store import Store, StoreError
from service.jobs.webhooks import Sender
from service.log import event
from service.problems import JOBS_UNAVAILABLE, ProblemError
from service.settings import Settings, SettingsError
from service.workers import WORK, WorkerPool

SWEEP_SECONDS = 5.0
CRASH_SECONDS = 1.0
RETRY_AFTER = {"Retry-After": "5"}


def stock_path() -> Path:
    """Return the file of jobs in the user's state folder (XDG Base Directory specification)."""
    state = os.environ.get("XDG_STATE_HOME", "")
    base = Path(state) if Path(state).is_absolute() else Path.home() / ".local" / "state"
    return base / "sign-preflight" / "jobs.sqlite3"


def store_of(settings: Settings) -> Store:
    """Return the store that the settings ask for. Raises `SettingsError` where its library is missing."""
    lease, keep = settings.job_lease_seconds, settings.job_keep_seconds
    if settings.redis_url:
        try:
            from service.jobs.redis import RedisStore  # noqa: PLC0415  (an extra)
        except ImportError as error:
            raise SettingsError(
                "SIGN_PREFLIGHT_REDIS_URL needs the extra “redis”: pip install 'sign-preflight[redis]'"
            ) from error
        return RedisStore(settings.redis_url, lease=lease, keep=keep, backlog=settings.job_backlog)
    path = Path(settings.jobs_path) if settings.jobs_path else stock_path()
    return SqliteStore(
        path, lease=lease, keep=keep, backlog=settings.job_backlog, most_bytes=settings.jobs_bytes
    )


class Desk:
    """Takes jobs and sees that they are done."""

    def __init__(self, settings: Settings, work: str = WORK) -> None:
        self._settings = settings
        self._work = work
        self._store: Store | None = None
        self._runner: Runner | None = None
        self._stop = asyncio.Event()
        self._loops: list[asyncio.Task[None]] = []
        self.streams = 0
        """Streams of events that are being sent."""

    @property
    def store(self) -> Store:
        """The store. Raises the problem ``jobs-unavailable`` where there is none."""
        if self._store is None:
            raise ProblemError(
                JOBS_UNAVAILABLE,
                "This service keeps no jobs: it has no place for them.",
                headers=RETRY_AFTER,
                advice="Use the requests that answer at once, or have the operator set SIGN_PREFLIGHT_JOBS_PATH.",
            )
        return self._store

    @property
    def pool(self) -> WorkerPool | None:
        """The workers of jobs, where this process has any."""
        return self._runner.pool if self._runner else None

    @property
    def findings(self) -> Mapping[str, int]:
        """Findings by rule, in the files that this process has worked on."""
        return self._runner.findings if self._runner else {}

    async def tally(self) -> Tally | None:
        """Return what the store counts; None where it cannot be reached, or there is none."""
        if self._store is None:
            return None
        try:
            return await self._store.tally()
        except StoreError as error:
            event(logging.WARNING, "jobs-unreachable", why=str(error))
            return None

    @property
    def stopping(self) -> bool:
        """Whether the process is about to end."""
        return self._stop.is_set()

    async def open(self, *, required: bool = False) -> None:
        """Open the store and start what this process runs.

        Without a place for jobs the service goes on without them, unless they are ``required`` or a place
        was asked for: then `StoreError` is raised.
        """
        store = store_of(self._settings)
        try:
            await store.open()
        except StoreError as error:
            if required or self._settings.jobs_path or self._settings.redis_url:
                raise
            event(logging.WARNING, "no-jobs", why=str(error))
            return
        self._store = store
        self._start("sweep", self._sweep)
        self._start("webhooks", Sender(self._settings, store).run)
        if self._settings.job_workers:
            self._runner = Runner(self._settings, store, self._work)
            self._start("runner", self._runner.run)

    def _start(self, name: str, run: Callable[[asyncio.Event], Awaitable[None]]) -> None:
        async def always() -> None:
            # A fault in one of these must not end it for good, nor go unheard.
            while not self._stop.is_set():
                try:
                    await run(self._stop)
                except Exception as error:
                    event(logging.ERROR, "loop-failed", loop=name, error=type(error).__name__, why=str(error))
                    await asyncio.sleep(CRASH_SECONDS)

        self._loops.append(asyncio.create_task(always(), name=name))

    async def _sweep(self, stop: asyncio.Event) -> None:
        while not stop.is_set():
            try:
                await self.store.sweep(time.time())
            except StoreError as error:
                event(logging.WARNING, "jobs-unreachable", why=str(error))
            try:
                async with asyncio.timeout(SWEEP_SECONDS):
                    await stop.wait()
            except TimeoutError:
                continue

    def stop(self) -> None:
        """Take up nothing new; may be called from a signal handler of the event loop's thread."""
        self._stop.set()

    async def close(self) -> None:
        """Give back what is in hand, and close the store."""
        self._stop.set()
        runner = [loop for loop in self._loops if loop.get_name() == "runner"]
        for loop in self._loops:
            if loop not in runner:
                loop.cancel()
        await asyncio.gather(*self._loops, return_exceptions=True)
        if self._runner is not None:
            await self._runner.close()
        if self._store is not None:
            await self._store.close()
            self._store = None
