"""Jobs in one SQLite file, in write-ahead mode: for one machine, and any number of processes on it.

All access is on one thread of its own, so that the event loop never waits for the disk. What was
deleted is overwritten (``secure_delete``), since it was a customer's artwork.
"""

from __future__ import annotations

import asyncio
import os
import sqlite3
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from json import dumps, loads
from pathlib import Path
from typing import Any, TypeVar

from service.jobs.model import (
    OPEN_STATES,
    Event,
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
from service.jobs.model import File as JobFile
from service.jobs.store import FullError, Handle, StoreError, progress

T = TypeVar("T")

BUSY_MS = 15_000
POLL_SECONDS = 0.25
"""How often an idle process looks for units that another process has queued."""

_SCHEMA = """
CREATE TABLE IF NOT EXISTS jobs (
    id TEXT PRIMARY KEY, owner TEXT NOT NULL, created REAL NOT NULL, about TEXT NOT NULL,
    total INTEGER NOT NULL, ended INTEGER NOT NULL DEFAULT 0, failed INTEGER NOT NULL DEFAULT 0,
    state TEXT NOT NULL DEFAULT 'queued', finished REAL, expires REAL, seq INTEGER NOT NULL DEFAULT 0,
    hook TEXT NOT NULL DEFAULT 'none', hook_due REAL, hook_attempts INTEGER NOT NULL DEFAULT 0
);
CREATE INDEX IF NOT EXISTS jobs_by_owner ON jobs (owner, created, id);
CREATE INDEX IF NOT EXISTS jobs_by_expiry ON jobs (expires) WHERE expires IS NOT NULL;
CREATE INDEX IF NOT EXISTS jobs_by_hook ON jobs (hook_due) WHERE hook_due IS NOT NULL;
CREATE TABLE IF NOT EXISTS items (
    job TEXT NOT NULL REFERENCES jobs (id) ON DELETE CASCADE, n INTEGER NOT NULL, name TEXT,
    state TEXT NOT NULL DEFAULT 'queued', attempts INTEGER NOT NULL DEFAULT 0, due REAL NOT NULL,
    head TEXT, artwork BLOB, body BLOB, PRIMARY KEY (job, n)
);
CREATE INDEX IF NOT EXISTS items_open ON items (due) WHERE state IN ('queued', 'running');
CREATE TABLE IF NOT EXISTS events (
    job TEXT NOT NULL REFERENCES jobs (id) ON DELETE CASCADE, seq INTEGER NOT NULL, data TEXT NOT NULL,
    PRIMARY KEY (job, seq)
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS counters (name TEXT PRIMARY KEY, value INTEGER NOT NULL) WITHOUT ROWID;
"""
_OPEN = "state IN ('queued', 'running')"


class SqliteStore:
    """Implements `service.jobs.store.Store` in the file ``path``.

    ``lease`` and ``keep`` are seconds; ``backlog`` bounds the files that have not ended, ``most_bytes``
    the space that is taken up.
    """

    def __init__(self, path: Path, *, lease: float, keep: float, backlog: int, most_bytes: int) -> None:
        self._path = path
        self._lease = lease
        self._keep = keep
        self._backlog = backlog
        self._most_bytes = most_bytes
        self._thread = ThreadPoolExecutor(1, "jobs-store")
        self._connection: sqlite3.Connection | None = None
        self._queued = asyncio.Event()

    async def open(self) -> None:
        """Create the file where there is none. Raises `StoreError` where that cannot be done."""

        def connect() -> None:
            self._path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            # Created before SQLite does it: nobody else is to read artwork.
            os.close(os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600))
            db = sqlite3.connect(self._path, isolation_level=None)
            db.row_factory = sqlite3.Row
            db.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
            db.execute("PRAGMA auto_vacuum = INCREMENTAL")
            db.execute("PRAGMA journal_mode = WAL")
            # An accepted job is on the disk before its answer is sent, even if the power goes.
            db.execute("PRAGMA synchronous = FULL")
            db.execute("PRAGMA foreign_keys = ON")
            db.execute("PRAGMA secure_delete = ON")
            db.executescript(_SCHEMA)
            self._connection = db

        await self._call(connect)

    async def close(self) -> None:
        """Close the file."""
        if self._connection is not None:
            await self._call(self._connection.close)
            self._connection = None
        self._thread.shutdown(wait=False)

    async def ping(self) -> None:
        """Raise `StoreError` where the file cannot be read."""
        await self._run(lambda db: db.execute("SELECT 1 FROM jobs LIMIT 1").fetchone())

    async def add(self, job: NewJob) -> None:
        """Keep ``job`` and queue its files in one transaction."""

        def insert(db: sqlite3.Connection) -> None:
            if db.execute("SELECT 1 FROM jobs WHERE id = ?", (job.id,)).fetchone():
                return
            self._require_room(db, job)
            db.execute(
                "INSERT INTO jobs (id, owner, created, about, total, hook) VALUES (?, ?, ?, ?, ?, ?)",
                (
                    job.id,
                    job.owner,
                    job.created,
                    job.about(),
                    len(job.files),
                    "pending" if job.webhook else "none",
                ),
            )
            db.executemany(
                "INSERT INTO items (job, n, name, due, artwork) VALUES (?, ?, ?, ?, ?)",
                [(job.id, n, file.name, job.created, file.artwork) for n, file in enumerate(job.files, 1)],
            )
            _count(db, "accepted")
            _emit(db, job.id, "job")

        await self._change(insert)
        self._queued.set()

    def _require_room(self, db: sqlite3.Connection, job: NewJob) -> None:
        (waiting,) = db.execute(f"SELECT count(*) FROM items WHERE {_OPEN}").fetchone()
        if waiting + len(job.files) > self._backlog:
            raise FullError(f"{waiting} files are waiting; at most {self._backlog} may")
        pages, free, size = (
            db.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("page_count", "freelist_count", "page_size")
        )
        new = sum(len(file.artwork) for file in job.files)
        if (pages - free) * size + new > self._most_bytes:
            raise FullError(f"the space for jobs, {self._most_bytes} bytes, is used up")

    async def record(self, job_id: str) -> Record | None:
        """Return the state of a job."""

        def select(db: sqlite3.Connection) -> Record | None:
            row = db.execute("SELECT * FROM jobs WHERE id = ?", (job_id,)).fetchone()
            return _record(db, row) if row else None

        return await self._change(select)

    async def page(self, owner: str, limit: int, before: tuple[float, str] | None) -> list[Record]:
        """Return the owner's jobs, newest first."""
        created, job_id = before or (float("inf"), "")

        def select(db: sqlite3.Connection) -> list[Record]:
            rows = db.execute(
                "SELECT * FROM jobs WHERE owner = ? AND (created, id) < (?, ?)"
                " ORDER BY created DESC, id DESC LIMIT ?",
                (owner, created, job_id, limit),
            ).fetchall()
            return [_record(db, row) for row in rows]

        return await self._change(select)

    async def begin(self, unit: Unit) -> Work | None:
        """Count an attempt and return the work."""

        def start(db: sqlite3.Connection) -> Work | None:
            row = db.execute(
                "UPDATE items SET state = 'running', attempts = attempts + 1, due = ?"
                f" WHERE job = ? AND n = ? AND {_OPEN} RETURNING attempts, name, artwork",
                (time.time() + self._lease, unit.job_id, unit.n),
            ).fetchone()
            if row is None:
                return None
            job = db.execute(
                "UPDATE jobs SET state = 'running' WHERE id = ? RETURNING about", (unit.job_id,)
            ).fetchone()
            _emit(db, unit.job_id, "item", (unit.n, "running"))
            file = JobFile(row["artwork"], row["name"])
            return Work(unit, row["attempts"], about_of(job["about"]).order, file)

        return await self._change(start)

    async def keep(self, unit: Unit) -> bool:
        """Renew the lease."""

        def renew(db: sqlite3.Connection) -> bool:
            sql = f"UPDATE items SET due = ? WHERE job = ? AND n = ? AND {_OPEN}"
            return db.execute(sql, (time.time() + self._lease, unit.job_id, unit.n)).rowcount == 1

        return await self._change(renew)

    async def finish(self, unit: Unit, outcome: Outcome, now: float) -> bool:
        """Store the outcome unless there is one."""

        def store(db: sqlite3.Connection) -> bool:
            sql = (
                "UPDATE items SET state = ?, head = ?, body = ?, artwork = NULL"
                f" WHERE job = ? AND n = ? AND {_OPEN}"
            )
            values = (outcome.state, outcome.head(), outcome.body, unit.job_id, unit.n)
            if db.execute(sql, values).rowcount != 1:
                return False
            db.execute(
                "UPDATE jobs SET ended = ended + 1, failed = failed + ? WHERE id = ?",
                (outcome.fault is not None, unit.job_id),
            )
            _emit(db, unit.job_id, "item", (unit.n, outcome.state))
            self._close_ended(db, unit.job_id, "done", now)
            return True

        return await self._change(store)

    def _close_ended(self, db: sqlite3.Connection, job_id: str, state: str, now: float) -> None:
        """End the job where all its files have ended."""
        closed = db.execute(
            "UPDATE jobs SET state = ?, finished = ?, expires = ?,"
            " hook_due = CASE hook WHEN 'pending' THEN ? END"
            f" WHERE id = ? AND ended = total AND {_OPEN} RETURNING failed",
            (state, now, now + self._keep, now, job_id),
        ).fetchone()
        if closed:
            _count(db, "failed" if state == "done" and closed["failed"] else state)
            _emit(db, job_id, "job")

    async def give_back(self, unit: Unit) -> None:
        """Hand the unit to somebody else at once."""

        def release(db: sqlite3.Connection) -> None:
            db.execute(
                "UPDATE items SET state = 'queued', attempts = max(0, attempts - 1), due = ?"
                f" WHERE job = ? AND n = ? AND {_OPEN}",
                (time.time(), unit.job_id, unit.n),
            )

        await self._change(release)

    async def cancel(self, job_id: str, now: float) -> None:
        """End a job's files that have not ended."""

        def end(db: sqlite3.Connection) -> None:
            ended = db.execute(
                f"UPDATE items SET state = 'cancelled', artwork = NULL WHERE job = ? AND {_OPEN}", (job_id,)
            ).rowcount
            if ended:
                db.execute("UPDATE jobs SET ended = ended + ? WHERE id = ?", (ended, job_id))
                self._close_ended(db, job_id, "cancelled", now)

        await self._change(end)

    async def erase(self, job_id: str) -> bool:
        """Remove a job with all its files and results."""

        def delete(db: sqlite3.Connection) -> bool:
            row = db.execute("DELETE FROM jobs WHERE id = ? RETURNING state", (job_id,)).fetchone()
            if row and row["state"] in OPEN_STATES:
                _count(db, "cancelled")
            return row is not None

        return await self._change(delete)

    async def body(self, job_id: str, n: int) -> bytes | None:
        """Return a result's body."""

        def select(db: sqlite3.Connection) -> bytes | None:
            sql = "SELECT body FROM items WHERE job = ? AND n = ? AND state = 'done'"
            row = db.execute(sql, (job_id, n)).fetchone()
            return row["body"] if row else None

        return await self._run(select)

    async def events(self, job_id: str, after: int) -> list[Event]:
        """Return a job's events whose number is above ``after``."""

        def select(db: sqlite3.Connection) -> list[Event]:
            sql = "SELECT seq, data FROM events WHERE job = ? AND seq > ? ORDER BY seq"
            return [Event(row["seq"], loads(row["data"])) for row in db.execute(sql, (job_id, after))]

        return await self._run(select)

    async def due_webhook(self, now: float, lease: float) -> Record | None:
        """Return a job whose webhook is due."""

        def claim(db: sqlite3.Connection) -> Record | None:
            row = db.execute(
                "UPDATE jobs SET hook_due = ? WHERE id ="
                " (SELECT id FROM jobs WHERE hook_due <= ? ORDER BY hook_due LIMIT 1) RETURNING *",
                (now + lease, now),
            ).fetchone()
            return _record(db, row) if row else None

        return await self._change(claim)

    async def settle_webhook(self, job_id: str, state: WebhookState, due: float | None) -> None:
        """Count an attempt and keep what came of it."""

        def update(db: sqlite3.Connection) -> None:
            sql = "UPDATE jobs SET hook = ?, hook_due = ?, hook_attempts = hook_attempts + 1 WHERE id = ?"
            db.execute(sql, (state, due, job_id))

        await self._change(update)

    async def sweep(self, now: float) -> None:
        """Remove what has expired, and give its space back to the disk."""

        def delete(db: sqlite3.Connection) -> int:
            return db.execute("DELETE FROM jobs WHERE expires <= ?", (now,)).rowcount

        await self._change(delete)
        log = self._path.with_name(self._path.name + "-wal")
        if log.exists() and log.stat().st_size:

            def shrink(db: sqlite3.Connection) -> None:
                db.execute("PRAGMA incremental_vacuum").fetchall()
                # The log holds old pages, and with them old artwork, until it is cut off.
                db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()

            await self._run(shrink)

    async def tally(self) -> Tally:
        """Return what is counted."""

        def count(db: sqlite3.Connection) -> Tally:
            counters = {row["name"]: row["value"] for row in db.execute("SELECT name, value FROM counters")}
            files = dict(db.execute(f"SELECT state, count(*) FROM items WHERE {_OPEN} GROUP BY state"))
            (oldest,) = db.execute(
                "SELECT min(created) FROM jobs WHERE id IN"
                f" (SELECT job FROM items INDEXED BY items_open WHERE {_OPEN})"
            ).fetchone()
            accepted = counters.pop("accepted", 0)
            return Tally(accepted, counters, files.get("queued", 0), files.get("running", 0), oldest)

        return await self._run(count)

    async def consume(self, handle: Handle, stop: asyncio.Event, concurrency: int) -> None:
        """Hand units to ``handle`` until ``stop`` is set; then cancel what is not done."""
        loops = [asyncio.ensure_future(self._consume_one(handle)) for _ in range(concurrency)]
        stopped = asyncio.ensure_future(stop.wait())
        try:
            await asyncio.wait([*loops, stopped], return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in (*loops, stopped):
                task.cancel()
            results = await asyncio.gather(*loops, return_exceptions=True)
        for result in results:
            if isinstance(result, Exception):
                raise result

    async def _consume_one(self, handle: Handle) -> None:
        while True:
            self._queued.clear()
            unit = await self._change(self._claim)
            if unit is not None:
                await handle(unit)
                continue
            try:
                async with asyncio.timeout(POLL_SECONDS):
                    await self._queued.wait()
            except TimeoutError:
                continue

    def _claim(self, db: sqlite3.Connection) -> Unit | None:
        now = time.time()
        row = db.execute(
            "UPDATE items SET due = ? WHERE rowid = (SELECT rowid FROM items"
            f" WHERE {_OPEN} AND due <= ? ORDER BY due LIMIT 1) RETURNING job, n",
            (now + self._lease, now),
        ).fetchone()
        return Unit(row["job"], row["n"]) if row else None

    async def _change(self, what: Callable[[sqlite3.Connection], T]) -> T:
        """Do ``what`` in one transaction."""

        def within(db: sqlite3.Connection) -> T:
            db.execute("BEGIN IMMEDIATE")
            try:
                result = what(db)
            except BaseException:
                db.execute("ROLLBACK")
                raise
            db.execute("COMMIT")
            return result

        return await self._run(within)

    async def _run(self, what: Callable[[sqlite3.Connection], T]) -> T:
        def connected() -> T:
            if self._connection is None:
                raise StoreError(f"{self._path} is not open")
            return what(self._connection)

        return await self._call(connected)

    async def _call(self, what: Callable[[], T]) -> T:
        loop = asyncio.get_running_loop()
        try:
            return await loop.run_in_executor(self._thread, what)
        except (sqlite3.Error, OSError) as error:
            raise StoreError(f"{self._path}: {error}") from error


def _count(db: sqlite3.Connection, name: str) -> None:
    db.execute(
        "INSERT INTO counters VALUES (?, 1) ON CONFLICT (name) DO UPDATE SET value = value + 1", (name,)
    )


def _emit(db: sqlite3.Connection, job_id: str, kind: str, item: tuple[int, str] | None = None) -> None:
    row = db.execute(
        "UPDATE jobs SET seq = seq + 1 WHERE id = ? RETURNING seq, state, total, ended, failed", (job_id,)
    ).fetchone()
    data = progress(kind, {name: row[name] for name in row.keys()}, item)  # noqa: SIM118  (a row, no mapping)
    db.execute("INSERT INTO events (job, seq, data) VALUES (?, ?, ?)", (job_id, row["seq"], dumps(data)))


def _record(db: sqlite3.Connection, row: Any) -> Record:
    about = about_of(row["about"])
    items: Sequence[Any] = db.execute(
        "SELECT n, name, state, attempts, head FROM items WHERE job = ? ORDER BY n", (row["id"],)
    ).fetchall()
    return Record(
        id=row["id"],
        owner=about.owner,
        created=about.created,
        order=about.order,
        state=row["state"],
        items=tuple(item_of(i["n"], i["name"], i["state"], i["attempts"], i["head"]) for i in items),
        finished=row["finished"],
        expires=row["expires"],
        webhook=about.webhook,
        mark=about.mark,
        webhook_state=row["hook"],
        webhook_attempts=row["hook_attempts"],
        last_event=row["seq"],
    )
