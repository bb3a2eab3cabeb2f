"""Jobs: work accepted now and done later, for one file or many."""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import logging
import time
import uuid
from dataclasses import replace
from functools import partial
from typing import Annotated

from fastapi import APIRouter, Header, Path, Query, Request
from fastapi.responses import Response, StreamingResponse

from service import idempotency, uploads
from service.held import Held
from service.jobs import contract as jobs_contract
from service.jobs import events, webhooks
from service.jobs.desk import RETRY_AFTER, Desk
from service.jobs.model import OUTPUTS, File, NewJob, Operation, Order, Record, Webhook
from service.jobs.shown import JOBS, JobInfo, JobPage, shown
from service.jobs.store import FullError, Store
from service.log import event
from service.problems import (
    BUSY,
    BY_SLUG,
    INVALID_PARAMETER,
    INVALID_WEBHOOK,
    JOBS_FULL,
    KEY_REUSED,
    NO_RESULT,
    UNKNOWN_JOB,
    ProblemError,
)
from service.settings import Settings
from service.tasks import NARROWEST, PICTURE_WIDTH, WIDEST
from service.uploads import Batch
from service.work import received

router = APIRouter(prefix=JOBS, tags=["jobs"])

TEXTS = ("webhook", "webhook_secret", "options")
PAGE_LIMIT = 100
NAMESPACE = uuid.UUID("c4f6a6f0-6a57-4d5e-9d6e-0f2f6f9a1b3c")
"""Of the ids that are made of Idempotency-Keys (RFC 9562, 5.5)."""
JobId = Annotated[str, Path(description="The job's UUID")]


@router.post(
    "",
    operation_id="createJob",
    summary="Accept a job",
    status_code=202,
    response_model=JobInfo,
    openapi_extra=jobs_contract.takes_batch(),
    responses=jobs_contract.answers_accepted(),
)
async def create_job(
    request: Request,
    response: Response,
    *,
    operation: Annotated[Operation, Query(description="What to do with each file")] = "report",
    format: Annotated[
        str | None,
        Query(
            max_length=20,
            description="Format of the results. report: json, text; picture: svg, png; repair: json, svg, pdf,"
            " dxf, dxf-polylines, hpgl; jobsheet: json, html, pdf; rehearsal: json, svg, png, html; layout and panels:"
            " json, svg, png. Left out, the first of these",
        ),
    ] = None,
    width: Annotated[
        int, Query(ge=NARROWEST, le=WIDEST, description="Width of pictures, in px")
    ] = PICTURE_WIDTH,
    words: Annotated[bool, Query(description="Whether pictures have their summary and legend")] = True,
) -> JobInfo:
    """Accept one file or many, to be worked on later with the same settings.

    One file is the raw body, or several are parts `artwork` of a multipart form, with at most one part `job`
    and one part `options`. Each file is worked on by itself: a layout is that of one file in its copies.
    When the answer is there, the job is kept: it survives a crash of the service, and each file is worked on
    at least once and has one result. A part `webhook` is an https address that is told when the job is over,
    signed with the part `webhook_secret`.
    """
    settings: Settings = request.app.state.settings
    outputs = OUTPUTS[operation]
    chosen = format or next(iter(outputs))
    if chosen not in outputs:
        raise ProblemError(
            INVALID_PARAMETER, f"format: {operation} has the formats {', '.join(outputs)}, not {chosen!r}."
        )
    store = _desk(request).store
    held: Held = request.app.state.held
    with held.account() as request.state.account:
        batch = await received(request, partial(uploads.receive_batch, request, settings, TEXTS))
        first = batch.uploads[0]
        options = batch.texts.get("options", "")
        order = Order(operation, chosen, width, words, first.job, first.job_format, options)
        record = await _accepted(request, store, _job(request, batch, order))
    response.headers["Location"] = f"{JOBS}/{record.id}"
    response.headers["Retry-After"] = "1"
    return shown(record)


def _job(request: Request, batch: Batch, order: Order) -> NewJob:
    job = NewJob(
        id=_new_id(request),
        owner=_owner(request),
        created=time.time(),
        order=order,
        files=tuple(File(upload.artwork, upload.name) for upload in batch.uploads),
        webhook=_webhook(batch, request.app.state.settings),
    )
    return replace(job, mark=_mark(job))


async def _accepted(request: Request, store: Store, job: NewJob) -> Record:
    """Keep ``job`` and return its state; the state it has already where it came before."""
    try:
        await store.add(job)
    except FullError as error:
        raise ProblemError(JOBS_FULL, f"{str(error).capitalize()}.", headers=RETRY_AFTER) from None
    record = await _record(store, job.id, job.owner)
    if record.mark != job.mark:
        raise ProblemError(KEY_REUSED, "This Idempotency-Key came before, with another request.")
    event(
        logging.INFO,
        "job-accepted",
        request_id=request.state.request_id,
        job_id=job.id,
        operation=job.order.operation,
        files=len(job.files),
        artwork_bytes=sum(len(file.artwork) for file in job.files),
    )
    return record


def _new_id(request: Request) -> str:
    """Return the job's id. A request sent again with its Idempotency-Key has the id of the first one.

    So a client that does not know whether its job was accepted may send it again, to any replica, for as
    long as the job is kept.
    """
    key = idempotency.key_of(request)
    if key is None:
        return str(uuid.uuid4())
    return str(uuid.uuid5(NAMESPACE, json.dumps([_owner(request), key])))


def _mark(job: NewJob) -> str:
    order = replace(job.order, settings=None)
    digest = hashlib.sha256(repr((order, job.order.settings, job.webhook)).encode())
    for file in job.files:
        digest.update(repr((file.name, len(file.artwork))).encode())
        digest.update(file.artwork)
    return digest.hexdigest()


def _webhook(batch: Batch, settings: Settings) -> Webhook | None:
    url, secret = (batch.texts.get(name, "") for name in TEXTS[:2])
    if not url and not secret:
        return None
    if not url:
        raise ProblemError(INVALID_WEBHOOK, "There is a webhook_secret and no webhook.")
    return webhooks.parse(url, secret, settings.webhook_private)


@router.get("", operation_id="listJobs", summary="List jobs", responses=jobs_contract.answers_jobs())
async def list_jobs(
    request: Request,
    limit: Annotated[int, Query(ge=1, le=PAGE_LIMIT, description="Most jobs on the page")] = 20,
    cursor: Annotated[
        str | None, Query(max_length=200, description="Where the page begins: from `next` of the page before")
    ] = None,
) -> JobPage:
    """Return the jobs that are kept, newest first, a page at a time; `next` leads to the page after."""
    store = _desk(request).store
    # One more than asked for tells whether there is another page.
    records = await store.page(_owner(request), limit + 1, _before(cursor) if cursor else None)
    follow = None
    if len(records) > limit:
        records = records[:limit]
        mark = f"{records[-1].created!r} {records[-1].id}".encode()
        follow = f"{JOBS}?limit={limit}&cursor={base64.urlsafe_b64encode(mark).decode().rstrip('=')}"
    return JobPage(jobs=tuple(map(shown, records)), next=follow)


def _before(cursor: str) -> tuple[float, str]:
    try:
        padded = cursor.encode() + b"=" * (-len(cursor) % 4)
        created, _, job_id = base64.b64decode(padded, b"-_", validate=True).decode().partition(" ")
        return float(created), str(uuid.UUID(job_id))
    except (binascii.Error, ValueError):
        raise ProblemError(INVALID_PARAMETER, "cursor: it is not one that this service has given.") from None


@router.get(
    "/{job_id}", operation_id="getJob", summary="Look at a job", responses=jobs_contract.answers_job()
)
async def get_job(request: Request, response: Response, job_id: JobId) -> JobInfo:
    """Return the job's state, how far it is, and the paths of its results."""
    record = await _record(_desk(request).store, job_id, _owner(request))
    if not record.over:
        response.headers["Retry-After"] = "1"
    return shown(record)


@router.post(
    "/{job_id}/cancel",
    operation_id="cancelJob",
    summary="Cancel a job",
    responses=jobs_contract.answers_job(),
)
async def cancel_job(request: Request, job_id: JobId) -> JobInfo:
    """End the files that are waiting or being worked on; results that are there are kept.

    A job that is over stays as it is.
    """
    store, owner = _desk(request).store, _owner(request)
    await _record(store, job_id, owner)
    await store.cancel(job_id, time.time())
    return shown(await _record(store, job_id, owner))


@router.delete(
    "/{job_id}",
    operation_id="deleteJob",
    summary="Erase a job",
    status_code=204,
    response_class=Response,
    responses=jobs_contract.answers_erased(),
)
async def delete_job(request: Request, job_id: JobId) -> Response:
    """End the job and erase it at once with its files and all its results; no webhook is sent."""
    store = _desk(request).store
    await _record(store, job_id, _owner(request))
    await store.erase(job_id)
    return Response(status_code=204)


@router.get(
    "/{job_id}/results/{n}",
    operation_id="getJobResult",
    summary="Fetch a result",
    response_class=Response,
    responses=jobs_contract.answers_result(),
)
async def get_result(
    request: Request,
    job_id: JobId,
    n: Annotated[int, Path(ge=1, le=1_000_000, description="The file's number, counted from 1")],
) -> Response:
    """Return what came of a file: what the operation's own request would have answered, or its problem."""
    store = _desk(request).store
    record = await _record(store, job_id, _owner(request))
    if n > len(record.items):
        count = len(record.items)
        raise ProblemError(
            UNKNOWN_JOB, f"This job has {count} file(s); there is no file {n}.", code="no-file"
        )
    item = record.items[n - 1]
    if item.fault:
        fault = item.fault
        raise ProblemError(BY_SLUG[fault.slug], fault.detail, code=fault.code, advice=fault.advice)
    body = await store.body(job_id, n) if item.state == "done" else None
    if body is None:
        headers = {} if record.over else {"Retry-After": "1"}
        raise ProblemError(
            NO_RESULT, f"File {n} of this job is {item.state}.", code=item.state, headers=headers
        )
    return Response(body, media_type=item.media_type, headers=item.headers)


@router.get(
    "/{job_id}/events",
    operation_id="getJobEvents",
    summary="Follow a job",
    response_class=Response,
    responses=jobs_contract.answers_events(),
)
async def get_events(
    request: Request, job_id: JobId, last_event_id: Annotated[str | None, Header()] = None
) -> Response:
    """Send the job's steps as server-sent events, from the first one, until the job is over.

    `Last-Event-ID` continues after that event. When the job is over and its last event has been seen, the
    answer is 204, which tells a browser's EventSource not to come back.
    """
    desk = _desk(request)
    record = await _record(desk.store, job_id, _owner(request))
    after = events.last_event_id(last_event_id)
    if record.over and after >= record.last_event:
        return Response(status_code=204)
    settings: Settings = request.app.state.settings
    if desk.streams >= settings.event_streams:
        raise ProblemError(
            BUSY, f"{settings.event_streams} streams of events are already being sent.", headers=RETRY_AFTER
        )
    return StreamingResponse(events.stream(desk, job_id, after), media_type=events.MEDIA_TYPE)


def _desk(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


def _owner(request: Request) -> str:
    """Return whose job it is: the key's name where keys are used, else everybody's."""
    return str(getattr(request.state, "owner", ""))


async def _record(store: Store, job_id: str, owner: str) -> Record:
    try:
        known = str(uuid.UUID(job_id)) == job_id
    except ValueError:
        known = False
    record = await store.record(job_id) if known else None
    if record is None or record.owner != owner:
        raise ProblemError(UNKNOWN_JOB, f"There is no job {job_id[:60]!r}.")
    return record
