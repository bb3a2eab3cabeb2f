"""The one module of the service that calls the library. Loaded in workers only."""

from __future__ import annotations

import hashlib
import os
from collections import Counter
from typing import Literal

# A thread pool for linear algebra would only cost address space. Read when numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from preflight.artwork import Artwork
from preflight.checking import check
from preflight.errors import JobError, LimitError, PreflightError, ReadError, WriteError
from preflight.job import Job
from preflight.readers import read
from preflight.report.json import to_json
from preflight.report.model import Report
from preflight.report.picture import picture_png, picture_svg
from preflight.report.text import to_text
from service.catalogue import facts
from service.files import framed
from service.mending import MendOptions, mend
from service.options import fonts_of, stated
from service.tasks import Outcome, Product, RefusedError, Task

NOT_INSTALLED = frozenset(("nesting-engine-missing",))
"""Codes of the library's errors for what is an extra and is not there."""


def run(task: Task) -> Product:
    """Do ``task``. Raises `RefusedError` for what the library refuses."""
    match task.kind:
        case "ping":
            return Product(b"pong")
        case "facts":
            return Product(facts().model_dump_json().encode())
    try:
        return _checked(task)
    except LimitError as error:
        raise RefusedError("limit", error.code, error.message, error.advice) from error
    except JobError as error:
        raise RefusedError("job", error.code, error.message, error.advice) from error
    except WriteError as error:
        raise RefusedError("write", error.code, error.message, error.advice) from error
    except ReadError as error:
        raise RefusedError("artwork", error.code, error.message, error.advice) from error
    except PreflightError as error:
        outcome: Outcome = "absent" if error.code in NOT_INSTALLED else "undone"
        raise RefusedError(outcome, error.code, error.message, error.advice) from error


def _checked(task: Task) -> Product:
    job = Job() if task.job is None else Job.parse(task.job, _job_format(task.job_format))
    if task.kind.startswith(("layout-", "panels-", "rehearsal-", "jobsheet-")):
        # Only a worker that is asked for these needs what they load.
        from service import workshop  # noqa: PLC0415

        made = workshop.made(task, job)
        return Product(made.body, {} if made.report is None else _findings(made.report))
    artwork = read(task.artwork, task.name)
    if task.kind in ("repair-json", "repair-file"):
        mended, head, data = mend(artwork, job, task.format, stated(task, MendOptions), fonts_of(task))
        body = framed(head, data) if task.kind == "repair-file" else mended.model_dump_json().encode()
        return Product(body, _findings(mended.report))
    report = check(artwork, job)
    return Product(_body(task, artwork, report), _findings(report))


def _findings(report: Report) -> dict[str, int]:
    # A plain dict: `dataclasses.asdict` makes a counter of pairs of a counter.
    return dict(Counter(one.code for one in report.findings))


def _body(task: Task, artwork: Artwork, report: Report) -> bytes:
    match task.kind:
        case "report-json":
            return to_json(report).encode()
        case "report-text":
            return to_text(report).encode()
        case "report-form":
            picture = picture_svg(artwork, report, width_px=task.width_px, words=task.words)
            return form(to_json(report).encode(), picture.encode())
        case "picture-svg":
            return picture_svg(artwork, report, width_px=task.width_px, words=task.words).encode()
        case "picture-png":
            return picture_png(artwork, report, width_px=task.width_px, words=task.words)
    raise ValueError(f"no task of the kind {task.kind}")


def form(report: bytes, picture: bytes) -> bytes:
    """Return both as multipart/form-data (RFC 7578), the same bytes for the same parts."""
    # Of the content, so that no artwork can name the boundary that will part its own answer.
    boundary = hashlib.sha256(report + picture).hexdigest()
    parts = (
        ("report", "report.json", "application/json", report),
        ("picture", "picture.svg", "image/svg+xml", picture),
    )
    pieces = []
    for name, filename, media, content in parts:
        head = (
            f"--{boundary}\r\n"
            f'Content-Disposition: form-data; name="{name}"; filename="{filename}"\r\n'
            f"Content-Type: {media}\r\n\r\n"
        )
        pieces += [head.encode(), content, b"\r\n"]
    return b"".join((*pieces, f"--{boundary}--\r\n".encode()))


def _job_format(name: str | None) -> Literal["json", "toml"] | None:
    match name:
        case "json":
            return "json"
        case "toml":
            return "toml"
    return None
