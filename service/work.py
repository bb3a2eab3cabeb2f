"""From a request to a worker's answer; shared by the routes that take artwork."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Iterator
from contextlib import contextmanager

from fastapi import Request
from starlette.requests import ClientDisconnect

from service import uploads
from service.log import event
from service.problems import (
    ARTWORK_LIMIT,
    BUSY,
    INTERNAL_ERROR,
    INVALID_JOB,
    MEMORY_LIMIT,
    TIME_LIMIT,
    UNREADABLE_ARTWORK,
    UNWRITABLE_FILE,
    WORKER_CRASHED,
    ProblemError,
)
from service.settings import Settings
from service.tasks import PICTURE_WIDTH, Answer, Kind, Task
from service.uploads import Upload
from service.workers import BusyError, MemoryLimitError, TimeLimitError, WorkerCrashedError, WorkerPool

RETRY_AFTER = {"Retry-After": "5"}


async def answered(
    request: Request,
    kind: Kind,
    *,
    width_px: int = PICTURE_WIDTH,
    words: bool = True,
    format: str = "svg",
) -> bytes:
    """Receive the upload of ``request``, have a worker do ``kind`` with it, return the answer's body.

    Raises `ProblemError` for whatever stands in the way.
    """
    settings: Settings = request.app.state.settings
    pool: WorkerPool = request.app.state.pool
    upload = await _received(request, settings)
    task = Task(kind, upload.artwork, upload.name, upload.job, upload.job_format, width_px, words, format)
    event(
        logging.INFO,
        "task",
        request_id=request.state.request_id,
        kind=kind,
        artwork_bytes=len(upload.artwork),
    )
    return await settled(_unless_gone(request, pool, task), settings, request.state.request_id)


async def settled(working: Awaitable[Answer], settings: Settings, request_id: str) -> bytes:
    """Wait for a worker's answer and return its body; whatever stands in the way is a `ProblemError`.

    ``settings`` are those of the pool that works; ``request_id`` is the UUID for the log.
    """
    try:
        answer = await working
    except BusyError:
        raise ProblemError(BUSY, "All workers are busy and the queue is full.", headers=RETRY_AFTER) from None
    except TimeLimitError:
        raise ProblemError(
            TIME_LIMIT, f"The work was stopped after {settings.work_seconds:g} seconds."
        ) from None
    except MemoryLimitError:
        raise ProblemError(MEMORY_LIMIT, f"The work was stopped at {settings.memory_mb} MiB.") from None
    except WorkerCrashedError as error:
        event(logging.ERROR, "crash", request_id=request_id, how=str(error))
        raise ProblemError(
            WORKER_CRASHED, "The process that worked on this artwork ended before it answered."
        ) from None
    return _body(request_id, answer)


async def _received(request: Request, settings: Settings) -> Upload:
    with receiving(request):
        return await uploads.receive(request, settings)


@contextmanager
def receiving(request: Request) -> Iterator[None]:
    """Count an upload while it is received. Raises the problem ``busy`` past the bound."""
    state = request.app.state
    settings: Settings = state.settings
    if state.receiving >= settings.uploads:
        raise ProblemError(
            BUSY, f"{settings.uploads} uploads are already being received.", headers=RETRY_AFTER
        )
    state.receiving += 1
    try:
        yield
    finally:
        state.receiving -= 1


async def _unless_gone(request: Request, pool: WorkerPool, task: Task) -> Answer:
    """Run ``task``; stop as soon as the client has gone, and raise `ClientDisconnect`."""
    work = asyncio.ensure_future(pool.run(task))
    gone = asyncio.ensure_future(_gone(request))
    try:
        await asyncio.wait((work, gone), return_when=asyncio.FIRST_COMPLETED)
        if not work.done():
            raise ClientDisconnect
        return work.result()
    finally:
        work.cancel()
        gone.cancel()


async def _gone(request: Request) -> None:
    while (await request.receive())["type"] != "http.disconnect":
        pass


def _body(request_id: str, answer: Answer) -> bytes:
    match answer.outcome:
        case "done":
            return answer.body
        case "artwork":
            kind = UNREADABLE_ARTWORK
        case "limit":
            kind = ARTWORK_LIMIT
        case "job":
            kind = INVALID_JOB
        case "write":
            kind = UNWRITABLE_FILE
        case _:
            event(
                logging.ERROR,
                "failure",
                request_id=request_id,
                error=answer.code,
                trace=answer.trace,
            )
            raise ProblemError(INTERNAL_ERROR, "The service failed while it worked on this artwork.")
    raise ProblemError(kind, answer.message, code=answer.code, advice=answer.advice or None)
