"""What every store has to do: both kinds pass the same tests."""

from __future__ import annotations

import asyncio
import time
import uuid
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from service.jobs.model import Fault, File, NewJob, Order, Outcome, Unit, Webhook
from service.jobs.sqlite import SqliteStore
from service.jobs.store import FullError, Store, StoreError
from tests.service.jobs.conftest import MakeStore
from tests.service.jobs.crew import RedisServer

# Settings that are no text at all have to come through, so that a worker can say so.
SETTINGS = bytes(range(256))
OUTCOME = Outcome(b"\x00\xff the result", "text/plain", {"Preflight-Standing": "not-proved"})
FAULT = Outcome(fault=Fault("unreadable-artwork", "No “artwork”.", "not-xml", "Send another."))


def new_job(files: int = 1, owner: str = "", created: float | None = None) -> NewJob:
    return NewJob(
        id=str(uuid.uuid4()),
        owner=owner,
        created=time.time() if created is None else created,
        order=Order("picture", "png", 640, False, SETTINGS, "toml"),
        files=tuple(
            File(f"artwork {n}".encode() + b"\x00\xff", f"schild-{n}-ü.svg") for n in range(1, files + 1)
        ),
    )


@asynccontextmanager
async def opened(*stores: Store) -> AsyncIterator[None]:
    for store in stores:
        await store.open()
    try:
        yield
    finally:
        for store in stores:
            await store.close()


def on(make: MakeStore, check: Callable[[Store], Awaitable[None]], **changes: float) -> None:
    async def run() -> None:
        store = make(**changes)
        async with opened(store):
            await check(store)

    asyncio.run(run())


def test_a_job_comes_back_as_it_was_given(make_store: MakeStore) -> None:
    async def check(store: Store) -> None:
        job = replace(new_job(2, "alder"), webhook=Webhook("https://shop.example/", "whsec_" + "A" * 32))
        await store.add(job)
        record = await store.record(job.id)
        assert record is not None
        assert (record.id, record.owner, record.order) == (job.id, "alder", job.order)
        assert record.created == pytest.approx(job.created)
        assert (record.state, record.webhook, record.webhook_state) == ("queued", job.webhook, "pending")
        assert [(i.n, i.name, i.state) for i in record.items] == [
            (1, "schild-1-ü.svg", "queued"),
            (2, "schild-2-ü.svg", "queued"),
        ]
        assert await store.record(str(uuid.uuid4())) is None

    on(make_store, check)


def test_an_outcome_is_stored_once_and_the_artwork_let_go(make_store: MakeStore) -> None:
    async def check(store: Store) -> None:
        job = new_job()
        unit = Unit(job.id, 1)
        await store.add(job)
        first, second = await store.begin(unit), await store.begin(unit)
        assert first is not None
        assert second is not None
        assert (first.attempt, second.attempt) == (1, 2)
        assert first.file == job.files[0]
        assert first.order == job.order
        assert await store.body(job.id, 1) in (None, b"")
        results = await asyncio.gather(*(store.finish(unit, OUTCOME, time.time()) for _ in range(4)))
        assert sorted(results) == [False, False, False, True]
        assert not await store.finish(unit, FAULT, time.time())
        assert await store.begin(unit) is None
        assert not await store.keep(unit)
        assert await store.body(job.id, 1) == OUTCOME.body
        record = await store.record(job.id)
        assert record is not None
        (item,) = record.items
        assert (record.state, item.state, item.size) == ("done", "done", len(OUTCOME.body))
        assert (item.media_type, item.headers) == (OUTCOME.media_type, OUTCOME.headers)

    on(make_store, check)


def test_every_step_is_an_event_with_its_number(make_store: MakeStore) -> None:
    async def check(store: Store) -> None:
        job = new_job(2)
        await store.add(job)
        for n, outcome in ((1, OUTCOME), (2, FAULT)):
            await store.begin(Unit(job.id, n))
            await store.finish(Unit(job.id, n), outcome, time.time())
        events = await store.events(job.id, 0)
        assert [one.seq for one in events] == [1, 2, 3, 4, 5, 6]
        steps = [
            (e.data["kind"], e.data["state"], e.data["ended"], e.data["failed"], e.data.get("item"))
            for e in events
        ]
        assert steps == [
            ("job", "queued", 0, 0, None),
            ("item", "running", 0, 0, {"n": 1, "state": "running"}),
            ("item", "running", 1, 0, {"n": 1, "state": "done"}),
            ("item", "running", 1, 0, {"n": 2, "state": "running"}),
            ("item", "running", 2, 1, {"n": 2, "state": "failed"}),
            ("job", "done", 2, 1, None),
        ]
        assert {one.data["total"] for one in events} == {2}
        assert await store.events(job.id, 4) == events[4:]
        assert await store.events(job.id, 6) == []
        record = await store.record(job.id)
        assert record is not None
        assert record.last_event == 6
        assert record.items[1].fault == FAULT.fault

    on(make_store, check)


def test_cancelling_ends_what_has_not_ended_and_keeps_what_has(make_store: MakeStore) -> None:
    async def check(store: Store) -> None:
        job = new_job(3)
        await store.add(job)
        await store.begin(Unit(job.id, 1))
        await store.finish(Unit(job.id, 1), OUTCOME, time.time())
        await store.begin(Unit(job.id, 2))
        await store.cancel(job.id, time.time())
        record = await store.record(job.id)
        assert record is not None
        assert record.state == "cancelled"
        assert [item.state for item in record.items] == ["done", "cancelled", "cancelled"]
        assert not await store.keep(Unit(job.id, 2))
        assert not await store.finish(Unit(job.id, 2), OUTCOME, time.time())
        assert await store.begin(Unit(job.id, 3)) is None
        assert await store.body(job.id, 1) == OUTCOME.body
        # A job that is over stays as it is.
        await store.cancel(job.id, time.time() + 5)
        assert await store.record(job.id) == record

    on(make_store, check)


def test_an_erased_job_leaves_nothing(make_store: MakeStore) -> None:
    async def check(store: Store) -> None:
        job = new_job(2)
        await store.add(job)
        await store.begin(Unit(job.id, 1))
        await store.finish(Unit(job.id, 1), OUTCOME, time.time())
        assert await store.erase(job.id)
        assert not await store.erase(job.id)
        assert await store.record(job.id) is None
        assert await store.body(job.id, 1) is None
        assert await store.events(job.id, 0) == []
        assert await store.page("", 10, None) == []
        assert await store.begin(Unit(job.id, 2)) is None
        assert not await store.finish(Unit(job.id, 2), OUTCOME, time.time())

    on(make_store, check)


def test_a_job_expires_after_its_end_and_not_before(make_store: MakeStore) -> None:
    async def check(store: Store) -> None:
        waiting, over = new_job(), new_job()
        now = time.time()
        for job in (waiting, over):
            await store.add(job)
        await store.begin(Unit(over.id, 1))
        await store.finish(Unit(over.id, 1), OUTCOME, now)
        await store.sweep(now + 59)
        assert await store.record(over.id) is not None
        await store.sweep(now + 61)
        assert await store.record(over.id) is None
        assert await store.body(over.id, 1) is None
        assert await store.record(waiting.id) is not None

    on(make_store, check, keep=60.0)


def test_the_backlog_is_bounded_and_takes_a_job_whole_or_not(make_store: MakeStore) -> None:
    async def check(store: Store) -> None:
        kept, refused = new_job(3), new_job(2)
        await store.add(kept)
        with pytest.raises(FullError, match="3 files are waiting; at most 4 may"):
            await store.add(refused)
        assert await store.record(refused.id) is None
        await store.cancel(kept.id, time.time())
        await store.add(refused)

    on(make_store, check, backlog=4)


def test_pages_lead_through_all_of_an_owners_jobs_and_no_others(make_store: MakeStore) -> None:
    async def check(store: Store) -> None:
        # Two at the same moment: the id tells them apart.
        jobs = [new_job(owner="alder", created=1000.0 + n // 2) for n in range(7)]
        for job in (*jobs, new_job(owner="birch", created=1001.0)):
            await store.add(job)
        wanted = sorted(((job.created, job.id) for job in jobs), reverse=True)
        seen: list[tuple[float, str]] = []
        for _ in range(10):
            page = await store.page("alder", 2, seen[-1] if seen else None)
            seen += [(record.created, record.id) for record in page]
        assert seen == wanted

    on(make_store, check)


def test_a_given_back_attempt_does_not_count(make_store: MakeStore) -> None:
    async def check(store: Store) -> None:
        job = new_job()
        unit = Unit(job.id, 1)
        await store.add(job)
        for _ in range(3):
            work = await store.begin(unit)
            assert work is not None
            assert work.attempt == 1
            await store.give_back(unit)

    on(make_store, check)


def test_a_webhook_is_due_once_a_job_is_over_and_again_when_its_sender_dies(make_store: MakeStore) -> None:
    async def check(store: Store) -> None:
        job = replace(new_job(), webhook=Webhook("https://shop.example/", "whsec_" + "A" * 32))
        await store.add(job)
        now = time.time()
        assert await store.due_webhook(now, 60) is None
        await store.begin(Unit(job.id, 1))
        await store.finish(Unit(job.id, 1), OUTCOME, now)
        claims = await asyncio.gather(*(store.due_webhook(now + 1, 60) for _ in range(3)))
        assert [claim.id for claim in claims if claim] == [job.id]
        # Its sender died: it is due again when the lease has run out.
        assert await store.due_webhook(now + 60, 60) is None
        again = await store.due_webhook(now + 62, 60)
        assert again is not None
        assert again.webhook_attempts == 0
        await store.settle_webhook(job.id, "pending", now + 100)
        assert await store.due_webhook(now + 99, 60) is None
        third = await store.due_webhook(now + 101, 60)
        assert third is not None
        assert third.webhook_attempts == 1
        await store.settle_webhook(job.id, "delivered", None)
        assert await store.due_webhook(now + 10_000, 60) is None
        record = await store.record(job.id)
        assert record is not None
        assert (record.webhook_state, record.webhook_attempts) == ("delivered", 2)

    on(make_store, check)


def test_units_are_handed_out_side_by_side_and_cancelled_at_the_stop(make_store: MakeStore) -> None:
    async def check(store: Store) -> None:
        job = new_job(3)
        await store.add(job)
        stop, both = asyncio.Event(), asyncio.Event()
        begun: list[Unit] = []
        cancelled: list[Unit] = []

        async def handle(unit: Unit) -> None:
            begun.append(unit)
            if len(begun) == 2:
                both.set()
            try:
                await asyncio.sleep(60)
            except asyncio.CancelledError:
                cancelled.append(unit)
                raise

        consuming = asyncio.ensure_future(store.consume(handle, stop, 2))
        await asyncio.wait_for(both.wait(), 20)
        stop.set()
        await asyncio.wait_for(consuming, 20)
        assert sorted(cancelled, key=str) == sorted(begun, key=str)
        assert len({(unit.job_id, unit.n) for unit in begun}) == 2

    on(make_store, check)


def test_a_unit_whose_holder_is_silent_is_handed_out_again(make_store: MakeStore) -> None:
    async def run() -> None:
        dead, living = make_store(lease=1.0), make_store(lease=1.0)
        async with opened(dead, living):
            job = new_job()
            await dead.add(job)
            taken, redone = asyncio.Event(), asyncio.Event()

            async def die(_: Unit) -> None:
                taken.set()
                await asyncio.sleep(60)

            async def redo(unit: Unit) -> None:
                work = await living.begin(unit)
                if work is not None:
                    await living.finish(unit, OUTCOME, time.time())
                    redone.set()

            dying = asyncio.ensure_future(dead.consume(die, asyncio.Event(), 1))
            await asyncio.wait_for(taken.wait(), 20)
            _cut_off(dead)
            stop = asyncio.Event()
            working = asyncio.ensure_future(living.consume(redo, stop, 1))
            # As every process of the service does.
            sweeping = asyncio.ensure_future(_sweep(living))
            await asyncio.wait_for(redone.wait(), 40)
            sweeping.cancel()
            stop.set()
            await working
            dying.cancel()
            await asyncio.gather(dying, return_exceptions=True)
            record = await living.record(job.id)
            assert record is not None
            assert record.state == "done"

    asyncio.run(run())


async def _sweep(store: Store) -> None:
    while True:
        await store.sweep(time.time())
        await asyncio.sleep(1)


def _cut_off(store: Store) -> None:
    """Have a holder fall silent: what it would say does not reach the store any more."""

    async def unheard(*_: object, **__: object) -> None:
        await asyncio.sleep(0)

    if not isinstance(store, SqliteStore):
        # SAQ's lease is renewed by the message's own update.
        store._queue.update = unheard  # type: ignore[attr-defined]


def test_a_unit_that_is_in_no_queue_any_more_is_queued_again(redis: RedisServer) -> None:
    # SAQ takes a stuck job off all its lists for some seconds; its sweeper may die meanwhile.
    from service.jobs.redis import RedisStore

    async def run() -> None:
        url = f"redis://127.0.0.1:{redis.port}/0"
        store = RedisStore(url, lease=1.0, keep=60.0, backlog=100)
        async with opened(store):
            job = new_job()
            await store.add(job)
            message = await store._queue.job(f"{job.id}.1")
            assert message is not None
            await store._queue.redis.delete(message.id)
            await store._queue.redis.delete("saq:sign-preflight:queued", "saq:sign-preflight:incomplete")
            await store.sweep(time.time())
            assert await store._queue.count("queued") == 1
            # What is queued, or fresh, is left alone.
            await asyncio.sleep(0.6)
            await store.sweep(time.time())
            assert await store._queue.count("queued") == 1

    asyncio.run(run())


def test_artwork_and_results_are_gone_from_the_disk_once_they_are_erased(tmp_path: Path) -> None:
    async def run() -> None:
        store = SqliteStore(tmp_path / "jobs.sqlite3", lease=1, keep=60, backlog=9, most_bytes=10**9)
        async with opened(store):
            job = replace(new_job(), files=(File(b"quirk-artwork" * 2000, "quirk-name.svg"),))
            await store.add(job)
            await store.begin(Unit(job.id, 1))
            await store.finish(Unit(job.id, 1), Outcome(b"quirk-result" * 2000, "text/plain"), time.time())
            await store.sweep(time.time())
            assert b"quirk-artwork" not in _bytes(tmp_path)
            assert b"quirk-result" in _bytes(tmp_path)
            await store.erase(job.id)
            await store.sweep(time.time())
            assert b"quirk" not in _bytes(tmp_path)
            # Nobody but the service's own user may read it.
            assert (tmp_path / "jobs.sqlite3").stat().st_mode & 0o077 == 0

    asyncio.run(run())


def _bytes(folder: Path) -> bytes:
    return b"".join(path.read_bytes() for path in folder.iterdir() if path.is_file())


def test_the_space_for_jobs_is_bounded(tmp_path: Path) -> None:
    async def run() -> None:
        store = SqliteStore(tmp_path / "jobs.sqlite3", lease=1, keep=60, backlog=99, most_bytes=1_000_000)
        async with opened(store):
            large = File(bytes(400_000), None)
            first = replace(new_job(), files=(large, large))
            await store.add(first)
            with pytest.raises(FullError, match="1000000 bytes"):
                await store.add(replace(new_job(), files=(large,)))
            await store.erase(first.id)
            await store.add(replace(new_job(), files=(large,)))

    asyncio.run(run())


def test_a_place_that_cannot_be_used_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    store = SqliteStore(tmp_path / "file" / "jobs.sqlite3", lease=1, keep=60, backlog=9, most_bytes=10**9)

    async def run() -> None:
        with pytest.raises(StoreError, match=r"jobs\.sqlite3"):
            await store.open()
        with pytest.raises(StoreError, match="not open"):
            await store.ping()

    asyncio.run(run())
