"""A pool of worker processes that can be stopped at any time without touching the others.

Why not a ready-made pool: the usual ones hand results back as pickles, which the service would
unpickle although a hostile artwork may have got hold of the process that made them; and they accept
work without bound. Here a worker is a forkserver process with a socket, its answer is bytes, and a
request past the queue's end is refused. Workers come from a fork server that has the library loaded,
so that a replacement takes milliseconds and the memory of the loaded library is shared.
"""

from __future__ import annotations

import asyncio
import json
import logging
import multiprocessing
import signal
import socket
import time
from collections import Counter
from dataclasses import dataclass
from multiprocessing.context import ForkServerContext, ForkServerProcess
from typing import get_args

from service import tasks
from service.confinement import ON
from service.log import event
from service.memory import resident
from service.settings import MEBIBYTE, Settings
from service.tasks import LENGTH, TOGETHER_BYTES, Answer, Bounds, Task
from service.telemetry import TRACING

HEAD_BYTES = 65_536
ENDS = {signal.SIGXCPU.name: "time", "exit status 127": "memory"}
"""What the ends of workers mean that are no crashes. The GNU C library ends a process with 127 where a thread's own
data found no memory ("cannot allocate memory for thread-local data"); nothing else here ends with it."""
WORK = "service.library:run"
"""What workers do, by name: the service's own process does not load the library."""
PRELOADED = [WORK.partition(":")[0], "service.warm"]
"""What the fork server has loaded before it starts a worker."""
GROWN_BYTES = 160 * MEBIBYTE
"""A worker that is left with more is replaced: large artwork leaves the heap in pieces. One that has done all
kinds of work with small artwork is at 115 MB."""
PING_SECONDS = 2.0
RESTART_SECONDS = 0.5
"""Pause before trying again when a replacement could not be started."""


class BusyError(Exception):
    """No worker became free in time, or the queue is full."""


class StoppingError(BusyError):
    """The pool is about to close and takes up nothing new."""


class TimeLimitError(Exception):
    """The task was stopped at the time limit of ``seconds``."""

    def __init__(self, seconds: float) -> None:
        super().__init__(f"{seconds:g} s")
        self.seconds = seconds


class MemoryLimitError(Exception):
    """The task was stopped at the memory limit."""


class WorkerCrashedError(Exception):
    """The worker ended, or spoke nonsense, before it had answered."""


@dataclass(slots=True, eq=False)
class Worker:
    """One process and the service's end of its socket."""

    process: ForkServerProcess
    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    done: int = 0

    @property
    def alive(self) -> bool:
        """Whether the process still runs."""
        return self.process.exitcode is None

    @property
    def grown(self) -> bool:
        """Whether it keeps more memory than a worker between two tasks should."""
        return resident(self.process.pid or 0) > GROWN_BYTES

    def kill(self) -> None:
        """End the process at once, whatever it is doing."""
        # Asked first: the id of a process that is gone may be another's by now.
        if self.alive:
            self.process.kill()
        self.writer.close()

    def how_it_ended(self) -> str:
        """Wait for the ended process and say how it ended, for the log."""
        self.process.join(1.0)
        code = self.process.exitcode
        if code is None:
            return "still running"
        return signal.Signals(-code).name if code < 0 else f"exit status {code}"

    async def receive(self, most: int) -> bytes:
        """Return the next frame. Raises `WorkerCrashedError` when it is longer than ``most`` bytes."""
        (length,) = LENGTH.unpack(await self.reader.readexactly(LENGTH.size))
        if length > most:
            raise WorkerCrashedError(f"an answer of {length} bytes; at most {most} are taken")
        return await self.reader.readexactly(length)

    async def ask(self, task: Task, most: int) -> Answer:
        """Send ``task`` and return the answer, its body at most ``most`` bytes."""
        pieces = tasks.encode_task(task)
        # Small ones in one go: every write may wake the worker, and waking costs more than copying.
        if sum(map(len, pieces)) <= TOGETHER_BYTES:
            pieces = (b"".join(pieces),)
        for piece in pieces:
            self.writer.write(piece)
            await self.writer.drain()
        head = await self.receive(HEAD_BYTES)
        body = await self.receive(most)
        return _answer(head, body)


class WorkerPool:
    """Workers, and the bounded queue in front of them. Belongs to one event loop."""

    def __init__(self, settings: Settings, work: str = WORK) -> None:
        self._settings = settings
        self._work = work
        self._bounds = Bounds(
            settings.memory_mb * MEBIBYTE,
            int(settings.work_seconds) + 2,
            confined=settings.confinement != "off",
            readable=(settings.fonts,) if settings.fonts else (),
            fonts=settings.fonts,
            stand_ins=settings.families,
        )
        # Threads and processes of the service must never be forked: the fork server has neither.
        self._context: ForkServerContext = multiprocessing.get_context("forkserver")
        self._context.set_forkserver_preload([*PRELOADED, work.partition(":")[0]])
        self._idle: asyncio.Queue[Worker] = asyncio.Queue()
        self._workers: set[Worker] = set()
        self._background: set[asyncio.Task[None]] = set()
        self._closing = False
        self._drained = asyncio.Event()
        self.waiting = 0
        """Requests that wait for a worker."""
        self.ended: Counter[str] = Counter()
        """Workers that were ended or ended, by cause."""
        self.confined: dict[str, bool] = {}
        """By means of the kernel, whether the workers are confined by it."""

    async def start(self) -> None:
        """Start all workers and wait until each has answered."""
        await asyncio.gather(*(self._add() for _ in range(self._settings.workers)))

    def drain(self) -> None:
        """Refuse what waits and what is to come; finish what is being worked on."""
        self._drained.set()

    @property
    def drained(self) -> asyncio.Event:
        """Set when nothing new is taken up."""
        return self._drained

    @property
    def idle(self) -> int:
        """How many workers have nothing to do."""
        return self._idle.qsize()

    async def close(self) -> None:
        """End all workers and whatever they are doing."""
        self._closing = True
        for background in tuple(self._background):
            background.cancel()
        for worker in tuple(self._workers):
            worker.kill()
        for worker in tuple(self._workers):
            await asyncio.to_thread(worker.process.join, 2.0)
        self._workers.clear()

    @property
    def pids(self) -> list[int]:
        """Process ids of the workers."""
        return [worker.process.pid for worker in self._workers if worker.process.pid is not None]

    async def ready(self) -> bool:
        """Whether a worker answers: an idle one right now, else any that is at work within its limits."""
        if self._idle.empty():
            return not self._drained.is_set() and any(worker.alive for worker in self._workers)
        try:
            answer = await asyncio.wait_for(self.run(Task("ping")), PING_SECONDS)
        except (TimeoutError, BusyError, TimeLimitError, MemoryLimitError, WorkerCrashedError):
            return False
        return answer.outcome == "done"

    async def run(self, task: Task, *, within: float | None = None) -> Answer:
        """Let a worker do ``task``, waiting and work together at most ``within`` seconds where that is given.

        Raises `BusyError`, `TimeLimitError`, `MemoryLimitError` or `WorkerCrashedError`. When the
        caller is cancelled the worker is ended, so that nobody works for a client who has gone.
        """
        if task.kind == "ping":
            return await self._run(task, within)
        with TRACING.task(task.kind, len(task.artwork)) as outcome:
            answer = await self._run(task, within)
            outcome(answer.outcome)
            return answer

    async def _run(self, task: Task, within: float | None) -> Answer:
        begun = time.monotonic()
        worker = await self._take(within)
        taken = time.monotonic()
        bound = seconds = self._settings.work_seconds
        if within is not None and (left := within - (taken - begun)) < seconds:
            bound, seconds = within, left
        cause = "gone"
        try:
            async with asyncio.timeout(seconds):
                answer = await worker.ask(task, self._settings.answer_bytes)
            worker.done += 1
            # After a refused allocation the heap is in pieces: better a fresh process.
            cause = "memory" if answer.outcome == "memory" else ""
            if answer.outcome == "memory":
                raise MemoryLimitError
            if worker.done >= self._settings.tasks_per_worker or worker.grown:
                cause = "recycled"
            return answer
        except TimeoutError:
            cause = "time"
            raise TimeLimitError(bound) from None
        except (EOFError, ConnectionError) as error:
            self._workers.discard(worker)
            ended = await asyncio.to_thread(worker.how_it_ended)
            event(logging.ERROR, "worker-ended", pid=worker.process.pid, how=ended, kind=task.kind)
            cause = ENDS.get(ended, "crash")
            if cause == "time":
                raise TimeLimitError(self._settings.work_seconds) from error
            if cause == "memory":
                raise MemoryLimitError from error
            raise WorkerCrashedError(ended) from error
        except WorkerCrashedError:
            cause = "crash"
            raise
        finally:
            event(
                logging.DEBUG,
                "worked",
                kind=task.kind,
                pid=worker.process.pid,
                waited_ms=round((taken - begun) * 1000),
                worked_ms=round((time.monotonic() - taken) * 1000),
                ended=cause or None,
            )
            if not cause:
                self._idle.put_nowait(worker)
            else:
                self._replace(worker, cause)

    async def _take(self, within: float | None) -> Worker:
        """Return an idle living worker, waiting for one within the queue's bounds."""
        if self._drained.is_set():
            raise StoppingError
        if self._idle.empty() and self.waiting >= self._settings.queue:
            raise BusyError
        hurried = within is not None and within < self._settings.queue_seconds
        self.waiting += 1
        try:
            async with asyncio.timeout(within if hurried else self._settings.queue_seconds):
                while True:
                    worker = await self._next_idle()
                    if worker.alive:
                        return worker
                    # It ended while idle, which is not the fault of the request in hand.
                    event(logging.WARNING, "idle-worker-ended", pid=worker.process.pid)
                    self._replace(worker, "idle")
        except TimeoutError:
            if hurried and within is not None:
                raise TimeLimitError(within) from None
            raise BusyError from None
        finally:
            self.waiting -= 1

    async def _next_idle(self) -> Worker:
        """Return the next idle worker, or raise `StoppingError` as soon as the pool is drained."""
        if not self._idle.empty():
            return self._idle.get_nowait()
        getting = asyncio.ensure_future(self._idle.get())
        stopping = asyncio.ensure_future(self._drained.wait())
        try:
            await asyncio.wait((getting, stopping), return_when=asyncio.FIRST_COMPLETED)
            if getting.done():
                return getting.result()
            raise StoppingError
        except asyncio.CancelledError:
            if getting.done() and not getting.cancelled():
                self._idle.put_nowait(getting.result())
            raise
        finally:
            getting.cancel()
            stopping.cancel()

    def _replace(self, worker: Worker, cause: str) -> None:
        self.ended[cause] += 1
        self._workers.discard(worker)
        worker.kill()
        if self._closing:
            return
        background = asyncio.get_running_loop().create_task(self._refill(worker))
        self._background.add(background)
        background.add_done_callback(self._background.discard)

    async def _refill(self, old: Worker) -> None:
        """Reap ``old`` and start a worker in its place, however often that takes."""
        await asyncio.to_thread(old.process.join, 2.0)
        while not self._closing:
            try:
                await self._add()
            except (OSError, EOFError, TimeoutError, WorkerCrashedError) as error:
                event(logging.ERROR, "worker-not-started", error=type(error).__name__)
                await asyncio.sleep(RESTART_SECONDS)
            else:
                return

    async def _add(self) -> None:
        """Start one worker and, once it has answered, put it with the idle ones."""
        begun = time.monotonic()
        ours, theirs = socket.socketpair()
        process = self._context.Process(
            target=tasks.serve, args=(theirs, self._bounds, self._work), daemon=True
        )
        try:
            # Blocks while the fork server loads the library for the first time.
            await asyncio.to_thread(process.start)
        except BaseException:
            ours.close()
            raise
        finally:
            theirs.close()
        reader, writer = await asyncio.open_connection(sock=ours, limit=2**20)
        worker = Worker(process, reader, writer)
        self._workers.add(worker)
        try:
            async with asyncio.timeout(self._settings.start_seconds):
                self._note_confinement(await worker.receive(HEAD_BYTES))
        except BaseException:
            self._workers.discard(worker)
            worker.kill()
            raise
        took = round((time.monotonic() - begun) * 1000)
        event(logging.DEBUG, "worker-started", pid=process.pid, took_ms=took)
        self._idle.put_nowait(worker)

    def _note_confinement(self, told: bytes) -> None:
        """Keep and log, once, what a worker's kernel holds it to. Raises `WorkerCrashedError` for too little."""
        states = {str(means): str(state) for means, state in json.loads(told).items()}
        confined = {means: state == ON for means, state in states.items()}
        whole = all(confined.values())
        if confined != self.confined:
            self.confined = confined
            name = "workers-confined" if whole else "workers-not-confined"
            event(logging.INFO if whole else logging.WARNING, name, **states)
        if not whole and self._settings.confinement == "require":
            raise WorkerCrashedError(f"it is not confined as SIGN_PREFLIGHT_CONFINEMENT requires: {states}")


def _answer(head: bytes, body: bytes) -> Answer:
    """Return the answer of its two frames, trusting nothing in them."""
    try:
        fields = json.loads(head)
        outcome = fields["outcome"]
        if outcome not in get_args(tasks.Outcome):
            raise WorkerCrashedError("an answer without a known outcome")
        return Answer(
            outcome,
            body,
            str(fields["code"]),
            str(fields["message"]),
            str(fields["advice"]),
            {str(rule): int(count) for rule, count in fields["findings"].items()},
            tuple(str(line) for line in fields["trace"]),
        )
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise WorkerCrashedError("an answer that cannot be read") from error
