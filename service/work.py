"""From a request to a worker's answer; shared by the routes that take artwork."""

from __future__ import annotations

import asyncio
import hashlib
import json
import logging
import time
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

from fastapi import Request
from fastapi.responses import Response
from starlette.requests import ClientDisconnect

from service import idempotency, preferences, uploads
from service.catalogue import Facts
from service.documents import page_headers
from service.files import file_headers, unframed
from service.held import Held
from service.log import event
from service.metrics import Metrics
from service.negotiation import known
from service.problems import (
    ARTWORK_LIMIT,
    BUSY,
    CANNOT_BE_DONE,
    INTERNAL_ERROR,
    INVALID_JOB,
    MEMORY_LIMIT,
    NOT_INSTALLED,
    TIME_LIMIT,
    UNKNOWN_ANSWER,
    UNREADABLE_ARTWORK,
    UNWRITABLE_FILE,
    WORKER_CRASHED,
    ProblemError,
)
from service.settings import Settings
from service.shelf import Shelf
from service.tasks import PICTURE_WIDTH, Answer, Kind, Task, encode_task
from service.workers import (
    BusyError,
    MemoryLimitError,
    StoppingError,
    TimeLimitError,
    WorkerCrashedError,
    WorkerPool,
)

T = TypeVar("T")

RETRY_AFTER = {"Retry-After": "5"}
MARK = 32
"""Hexadecimal digits that stand for an answer: 128 bits of a digest."""
NEWLINE = b"\r\n"
MEDIA = {
    "report-json": "application/json",
    "report-text": "text/plain",
    "picture-svg": "image/svg+xml",
    "picture-png": "image/png",
    "jobsheet-json": "application/json",
    "jobsheet-html": "text/html",
    "jobsheet-pdf": "application/pdf",
    "rehearsal-json": "application/json",
    "rehearsal-html": "text/html",
    "rehearsal-svg": "image/svg+xml",
    "rehearsal-png": "image/png",
    "layout-json": "application/json",
    "layout-svg": "image/svg+xml",
    "layout-png": "image/png",
    "panels-json": "application/json",
    "panels-svg": "image/svg+xml",
    "panels-png": "image/png",
}


@dataclass(frozen=True, slots=True)
class Kept:
    """An answer that is kept."""

    kind: str
    body: bytes


async def answered(
    request: Request,
    kind: Kind,
    *,
    width_px: int = PICTURE_WIDTH,
    words: bool = True,
    format: str = "svg",
    options: str = "",
    artworks: int | None = 0,
) -> bytes:
    """Receive the upload of ``request``, have a worker do ``kind`` with it, return the answer's body.

    ``options`` is a JSON object of what the kind takes besides. With ``artworks`` the upload may be a form
    with so many of them (None: as many as a job may have), and with a part “options” that becomes the
    member of that name. The same content again is answered from memory, for the same caller only. Raises
    `ProblemError` for whatever stands in the way.
    """
    state = request.app.state
    settings: Settings = state.settings
    desk: idempotency.Desk = state.idempotency
    held: Held = state.held
    with held.account() as account:
        request.state.account = account
        if artworks == 0:
            batch = uploads.Batch((await received(request, partial(uploads.receive, request, settings)),))
        else:
            receive = partial(uploads.receive_batch, request, settings, ("options",), artworks)
            batch = await received(request, receive)
        task = _task(batch, Task(kind, width_px=width_px, words=words, format=format, options=options))
        facts: Facts = state.facts
        mark = fingerprint(task, facts.version)
        request.state.mark = mark
        return await desk.once(request, mark, partial(_done, request, task, mark))


def _task(batch: uploads.Batch, task: Task) -> Task:
    """Return ``task`` with what was received."""
    first = batch.uploads[0]
    if len(batch.uploads) == 1:
        task = replace(task, artwork=first.artwork, name=first.name)
    else:
        artwork = b"".join(upload.artwork for upload in batch.uploads)
        files = tuple((upload.name, len(upload.artwork)) for upload in batch.uploads)
        task = replace(task, artwork=artwork, files=files)
    if batch.texts:
        task = replace(task, options=json.dumps(json.loads(task.options or "{}") | batch.texts))
    return replace(task, job=first.job, job_format=first.job_format)


async def _done(request: Request, task: Task, mark: str) -> bytes:
    state = request.app.state
    settings: Settings = state.settings
    cache: Shelf[Kept] = state.cache
    place = (request.state.caller, mark)
    request_id = request.state.request_id
    within = preferences.wait(request.headers.get("prefer"))
    request.state.waited = within
    kept = cache.get(place, time.monotonic())
    event(
        logging.INFO,
        "task",
        request_id=request_id,
        kind=task.kind,
        artwork_bytes=len(task.artwork),
        cached=kept is not None,
    )
    if kept is not None:
        return kept.body
    answer = await _arrived(_unless_gone(request, state.pool, task, within), settings, request_id)
    body = _body(request_id, answer)
    metrics: Metrics = state.metrics
    metrics.findings(answer.findings)
    cache.put(place, Kept(task.kind, body), len(body), time.monotonic())
    return body


def fingerprint(task: Task, version: str) -> str:
    """Return what stands for the content, the settings and what was asked: equal ones have equal answers."""
    digest = hashlib.sha256(version.encode())
    for piece in encode_task(task):
        digest.update(piece)
    return digest.hexdigest()[:MARK]


def shown(request: Request, body: bytes, media: str, path: str = "", *, kind: str = "") -> Response:
    """Return ``body`` as the answer to the request that `answered` gave it for.

    Its entity tag stands for artwork, job, what was asked and the library's version. While the answer is
    kept, Content-Location leads to it below ``path``, that of the resource: a POST cannot be conditional
    in the way of a GET (RFC 9110, 13.1.2), the address of its answer can. ``kind`` is that of a page.
    """
    mark = request.state.mark
    headers = {"Vary": "Accept", "ETag": f'"{mark}"', **page_headers(kind, media)}
    cache: Shelf[Kept] = request.app.state.cache
    if path and (request.state.caller, mark) in cache:
        headers["Content-Location"] = f"{path}/{mark}"
    if (waited := getattr(request.state, "waited", None)) is not None:
        headers["Preference-Applied"] = f"wait={waited}"
    return Response(body, media_type=media, headers=headers)


def shown_file(request: Request, body: bytes, media: str) -> Response:
    """Return the file for production in a worker's answer, with the headers that belong to it."""
    try:
        head, data = unframed(body)
    except ValueError:
        raise ProblemError(INTERNAL_ERROR, "The service failed while it worked on this artwork.") from None
    response = shown(request, data, media)
    response.headers.update(file_headers(head))
    return response


def shown_again(request: Request, mark: str, kinds: str) -> Response:
    """Return the kept answer ``mark`` of the caller, of a kind whose name begins with ``kinds``.

    Raises the problem ``unknown-answer``.
    """
    cache: Shelf[Kept] = request.app.state.cache
    kept = cache.get((request.state.caller, mark), time.monotonic())
    if kept is None or not kept.kind.startswith(kinds):
        raise ProblemError(
            UNKNOWN_ANSWER, f"There is no answer {mark[:MARK]!r} for you, or it has been forgotten."
        )
    headers = {"ETag": f'"{mark}"', "Cache-Control": "private, no-cache"}
    if known(request.headers.get("if-none-match"), headers["ETag"]):
        return Response(None, 304, headers)
    media = media_of(kept.kind, kept.body)
    return Response(kept.body, media_type=media, headers=headers | page_headers(kept.kind, media))


def media_of(kind: str, body: bytes) -> str:
    """Return the media type of what `answered` gave for ``kind``."""
    if kind == "report-form":
        # A multipart body begins with its own boundary (RFC 2046, 5.1.1).
        return f"multipart/form-data; boundary={body[2 : body.index(NEWLINE)].decode('ascii')}"
    return MEDIA[kind]


async def settled(working: Awaitable[Answer], settings: Settings, request_id: str) -> bytes:
    """Wait for a worker's answer and return its body; whatever stands in the way is a `ProblemError`.

    ``settings`` are those of the pool that works; ``request_id`` is the UUID for the log.
    """
    return _body(request_id, await _arrived(working, settings, request_id))


async def _arrived(working: Awaitable[Answer], settings: Settings, request_id: str) -> Answer:
    try:
        return await working
    except StoppingError:
        raise _stopping() from None
    except BusyError:
        raise ProblemError(BUSY, "All workers are busy and the queue is full.", headers=RETRY_AFTER) from None
    except TimeLimitError as error:
        raise ProblemError(TIME_LIMIT, f"The work was stopped after {error.seconds:g} seconds.") from None
    except MemoryLimitError:
        raise ProblemError(MEMORY_LIMIT, f"The work was stopped at {settings.memory_mb} MiB.") from None
    except WorkerCrashedError as error:
        event(logging.ERROR, "crash", request_id=request_id, how=str(error))
        raise ProblemError(
            WORKER_CRASHED, "The process that worked on this artwork ended before it answered."
        ) from None


def _stopping() -> ProblemError:
    # RFC 9112, 9.6: the connection ends too, so that the client tries elsewhere.
    headers = RETRY_AFTER | {"Connection": "close"}
    return ProblemError(BUSY, "The service is about to stop.", code="stopping", headers=headers)


async def received(request: Request, receive: Callable[[], Awaitable[T]]) -> T:
    """Return what ``receive`` returns, or refuse it as soon as the service is about to stop."""
    pool: WorkerPool = request.app.state.pool
    with receiving(request):
        receipt = asyncio.ensure_future(receive())
        stop = asyncio.ensure_future(pool.drained.wait())
        try:
            await asyncio.wait((receipt, stop), return_when=asyncio.FIRST_COMPLETED)
            if not receipt.done():
                raise _stopping()
            return receipt.result()
        finally:
            receipt.cancel()
            stop.cancel()


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


async def _unless_gone(request: Request, pool: WorkerPool, task: Task, within: float | None) -> Answer:
    """Run ``task``; stop as soon as the client has gone, and raise `ClientDisconnect`."""
    work = asyncio.ensure_future(pool.run(task, within=within))
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
        case "undone":
            kind = CANNOT_BE_DONE
        case "absent":
            kind = NOT_INSTALLED
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
