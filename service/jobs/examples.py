"""Examples of jobs and repairs for the contract, made by the code that answers them."""

from __future__ import annotations

import json
from dataclasses import replace

from service import contract, library
from service.jobs.contract import JOB_ID, WEBHOOK
from service.jobs.model import Event, Fault, Item, Order, Record, Webhook
from service.jobs.shown import JobInfo, JobPage, event_frame, shown
from service.jobs.store import progress
from service.problems import UNREADABLE_ARTWORK
from service.tasks import RefusedError, Task

_ACCEPTED, _OVER, _EXPIRES = 1_790_000_000.0, 1_790_000_004.25, 1_790_086_404.25


def make_job_examples() -> contract.Json:
    """Return the examples by name."""
    order = Order("repair", "svg")
    record = Record(
        id=JOB_ID,
        owner="",
        created=_ACCEPTED,
        order=order,
        state="queued",
        items=(Item(1, "gate-board.svg", "queued", 0), Item(2, "logo.eps", "queued", 0)),
        webhook=Webhook(WEBHOOK["webhook"], WEBHOOK["webhook_secret"]),
        webhook_state="pending",
    )
    mended = json.loads(library.run(_task("repair-json")).body)
    content = mended["file"]["content"]
    # The drawing would only fill the contract with numbers.
    mended["file"]["content"] = content.partition("<g ")[0] + "<!-- the films --></svg>\n"
    headers = {"Preflight-Standing": mended["file"]["standing"]}
    done = Item(1, "gate-board.svg", "done", 1, order.media_type, headers, len(content.encode()))
    failed = Item(2, "logo.eps", "failed", 1, fault=_refused())
    over = replace(
        record,
        state="done",
        items=(done, failed),
        finished=_OVER,
        expires=_EXPIRES,
        webhook_state="delivered",
        webhook_attempts=1,
        last_event=6,
    )
    steps = [
        ("job", "queued", 0, 0, None),
        ("item", "running", 0, 0, (1, "running")),
        ("item", "running", 1, 0, (1, "done")),
        ("item", "running", 1, 0, (2, "running")),
        ("item", "running", 2, 1, (2, "failed")),
        ("job", "done", 2, 1, None),
    ]
    frames = b"".join(
        event_frame(
            Event(seq, progress(kind, {"state": state, "total": 2, "ended": ended, "failed": bad}, item))
        )
        for seq, (kind, state, ended, bad, item) in enumerate(steps, 1)
    )
    return {
        "job-queued": _dumped(shown(record)),
        "job": _dumped(shown(over)),
        "jobs": JobPage(jobs=(shown(over),), next=None).model_dump(mode="json"),
        "job-events": frames.decode(),
        "repair": mended,
        "repair-svg": mended["file"]["content"],
    }


def _task(kind: str) -> Task:
    return Task(kind, contract.ARTWORK.encode(), "gate-board.svg", json.dumps(contract.JOB).encode(), "json")


def _refused() -> Fault:
    """Return what the library says of a file that it does not read."""
    try:
        library.run(Task("report-json", b"%!PS-Adobe-3.0 EPSF-3.0\n"))
    except RefusedError as error:
        return Fault(UNREADABLE_ARTWORK.slug, error.message, error.code, error.advice)
    raise AssertionError("an EPS file was read")


def _dumped(info: JobInfo) -> contract.Json:
    return info.model_dump(mode="json")
