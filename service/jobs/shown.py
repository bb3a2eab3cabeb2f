"""A job as the service shows it: in answers, in events and in webhooks."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from service.jobs.model import Event, Item, ItemState, JobState, Operation, Record, Unit, WebhookState
from service.jobs.runner import occurrence
from service.problems import BY_SLUG, Problem

JOBS = "/v1/jobs"


class _Shown(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class ItemInfo(_Shown):
    """One file of a job."""

    n: Annotated[int, Field(description="The file's number in the job, counted from 1")]
    name: Annotated[str | None, Field(description="The file's name as it was sent")]
    state: ItemState
    attempts: Annotated[int, Field(description="How often it was begun")]
    result: Annotated[str | None, Field(description="Path of the result, once it is done")] = None
    media_type: Annotated[str | None, Field(description="Of the result")] = None
    size_bytes: Annotated[int | None, Field(description="Of the result")] = None
    standing: Annotated[
        str | None,
        Field(description="Of a repaired file: geometry-proved, or not-proved and not to be cut as it is"),
    ] = None
    problem: Annotated[Problem | None, Field(description="Why there is no result, where it failed")] = None


class Progress(_Shown):
    """How far a job is."""

    total: Annotated[int, Field(description="Files in the job")]
    ended: Annotated[int, Field(description="Files that are done, failed or cancelled")]
    failed: Annotated[int, Field(description="Files that failed")]


class Links(_Shown):
    """Paths that belong to a job."""

    self: str
    events: str
    cancel: str


class JobInfo(_Shown):
    """A job. It is done when each of its files has a result or a problem."""

    id: str
    operation: Operation
    format: str
    state: JobState
    created: Annotated[str, Field(description="RFC 3339, UTC")]
    finished: str | None
    expires: Annotated[
        str | None, Field(description="When it and its results are erased; null: not over yet")
    ]
    progress: Progress
    items: tuple[ItemInfo, ...]
    webhook: Annotated[WebhookState, Field(description="Whether the end of the job was told")]
    links: Links


class JobPage(_Shown):
    """Some jobs, newest first."""

    jobs: tuple[JobInfo, ...]
    next: Annotated[str | None, Field(description="Path of the next page; null: this is the last")]


class EventInfo(_Shown):
    """The data of an event."""

    kind: Annotated[str, Field(description="item: a file changed its state; job: the job did")]
    state: JobState
    total: int
    ended: int
    failed: int
    item: Annotated[dict[str, Any] | None, Field(description="n and state of the file")] = None


def shown(record: Record) -> JobInfo:
    """Return what the service shows of ``record``."""
    path = f"{JOBS}/{record.id}"
    states = [item.state for item in record.items]
    return JobInfo(
        id=record.id,
        operation=record.order.operation,
        format=record.order.format,
        state=record.state,
        created=_time(record.created) or "",
        finished=_time(record.finished),
        expires=_time(record.expires),
        progress=Progress(
            total=len(states),
            ended=sum(state not in ("queued", "running") for state in states),
            failed=states.count("failed"),
        ),
        items=tuple(_item(record, item) for item in record.items),
        webhook=record.webhook_state,
        links=Links(self=path, events=f"{path}/events", cancel=f"{path}/cancel"),
    )


def _item(record: Record, item: Item) -> ItemInfo:
    done = item.state == "done"
    problem = None
    if item.fault:
        kind = BY_SLUG[item.fault.slug]
        problem = Problem(
            type=kind.uri,
            title=kind.title,
            status=kind.status,
            detail=item.fault.detail,
            instance=f"urn:uuid:{occurrence(Unit(record.id, item.n))}",
            code=item.fault.code,
            advice=item.fault.advice,
        )
    return ItemInfo(
        n=item.n,
        name=item.name,
        state=item.state,
        attempts=item.attempts,
        result=f"{JOBS}/{record.id}/results/{item.n}" if done else None,
        media_type=item.media_type if done else None,
        size_bytes=item.size if done else None,
        standing=item.headers.get("Preflight-Standing"),
        problem=problem,
    )


def _time(seconds: float | None) -> str | None:
    if seconds is None:
        return None
    return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def event_frame(event: Event) -> bytes:
    """Return ``event`` as a server-sent event (HTML standard, 9.2)."""
    data = json.dumps(event.data, separators=(",", ":"))
    return f"id: {event.seq}\nevent: {event.data['kind']}\ndata: {data}\n\n".encode()


def webhook_body(record: Record) -> bytes:
    """Return the message that a job is over, with the members the Standard Webhooks recommend."""
    message = {
        "type": f"job.{record.state}",
        "timestamp": _time(record.finished),
        "data": shown(record).model_dump(mode="json"),
    }
    return json.dumps(message, ensure_ascii=False, separators=(",", ":")).encode()
