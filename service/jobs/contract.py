"""What the contract says of jobs and repairs."""

from __future__ import annotations

import json
from typing import Any

from service.contract import (
    ARTWORK,
    ARTWORKS,
    BINARY,
    JOB,
    UPLOAD_PROBLEMS,
    Json,
    Responses,
    json_example,
    problem_answers,
    upload_body,
)
from service.problems import (
    ARTWORK_LIMIT,
    BUSY,
    INTERNAL_ERROR,
    INVALID_JOB,
    INVALID_PARAMETER,
    INVALID_WEBHOOK,
    JOBS_FULL,
    JOBS_UNAVAILABLE,
    MALFORMED_REQUEST,
    MEMORY_LIMIT,
    METHOD_NOT_ALLOWED,
    MISSING_ARTWORK,
    NO_RESULT,
    RECEIVE_TIMEOUT,
    TIME_LIMIT,
    UNKNOWN_JOB,
    UNREADABLE_ARTWORK,
    UNSUPPORTED_MEDIA_TYPE,
    UNWRITABLE_FILE,
    UPLOAD_TOO_LARGE,
    WORKER_CRASHED,
)

JOB_ID = "0f6c2c1e-2f0a-4b8c-9a53-6d1c9f0f7b21"
WEBHOOK = {"webhook": "https://shop.example/hooks/preflight", "webhook_secret": "whsec_" + "A" * 32}
FILE_HEADERS: Json = {
    "Content-Disposition": {"description": "The file's name", "schema": {"type": "string"}},
    "Preflight-Standing": {
        "description": "Whether the geometry is proved; a file that is not must not be cut as it is",
        "schema": {"type": "string", "enum": ["geometry-proved", "not-proved"]},
    },
    "Preflight-Caution": {
        "description": "To be shown beside the download, in ASCII",
        "schema": {"type": "string"},
    },
}
_RETRY = {
    "Retry-After": {"description": "Seconds to wait before asking again", "schema": {"type": "integer"}}
}
_ONE_JOB = (UNKNOWN_JOB, METHOD_NOT_ALLOWED, JOBS_UNAVAILABLE)

_WORK = (
    UNREADABLE_ARTWORK,
    ARTWORK_LIMIT,
    INVALID_JOB,
    UNWRITABLE_FILE,
    MEMORY_LIMIT,
    INTERNAL_ERROR,
    WORKER_CRASHED,
    TIME_LIMIT,
)
"""What work on a file can end with."""


def takes_batch() -> Json:
    """Return the request body of the operation that accepts a job."""
    form: Json = {
        "type": "object",
        "required": ["artwork"],
        "additionalProperties": False,
        "properties": {
            "artwork": ARTWORKS,
            "job": {"type": "string", "description": "The settings for all files as JSON (see Job) or TOML"},
            "options": {
                "type": "string",
                "description": "The operation's own options as JSON or TOML: see LayoutOptions, PanelOptions",
            },
            "webhook": {"type": "string", "format": "uri", "description": "Told when the job is over; https"},
            "webhook_secret": {
                "type": "string",
                "pattern": "^whsec_[A-Za-z0-9+/]+={0,2}$",
                "description": "Signs the message: whsec_ and 24 to 64 random bytes as base64",
            },
        },
    }
    example = {"artwork": [ARTWORK], "job": json.dumps(JOB), **WEBHOOK}
    told = "One artwork as the raw body, or a form with any number and their settings."
    return upload_body(form, told, example)


def answers_accepted() -> Responses:
    """Return the answers of the operation that accepts a job."""
    upload = (
        MALFORMED_REQUEST,
        RECEIVE_TIMEOUT,
        UPLOAD_TOO_LARGE,
        UNSUPPORTED_MEDIA_TYPE,
        MISSING_ARTWORK,
        INVALID_PARAMETER,
        INVALID_WEBHOOK,
        BUSY,
        JOBS_FULL,
        JOBS_UNAVAILABLE,
    )
    location = {"Location": {"description": "Path of the job", "schema": {"type": "string"}}}
    ok = {"description": "The job is kept", "headers": location | _RETRY, **json_example("job-queued")}
    return {202: ok, **problem_answers(*upload)}


def answers_jobs() -> Responses:
    """Return the answers of the operation that lists jobs."""
    return {
        200: json_example("jobs"),
        **problem_answers(INVALID_PARAMETER, METHOD_NOT_ALLOWED, JOBS_UNAVAILABLE),
    }


def answers_job() -> Responses:
    """Return the answers of the operations that answer with a job's state."""
    return {200: json_example("job"), **problem_answers(*_ONE_JOB)}


def answers_erased() -> Responses:
    """Return the answers of the operation that erases a job."""
    return {204: {"description": "There is no such job any more"}, **problem_answers(*_ONE_JOB)}


def answers_result() -> Responses:
    """Return the answers of the operation that fetches a result."""
    content: dict[str, Any] = {
        "application/json": {
            "schema": {
                "oneOf": [
                    {"$ref": f"#/components/schemas/{name}"}
                    for name in ("Report", "Mended", "JobSheet", "Rehearsal", "LaidOut", "PanelledOut")
                ]
            },
            "x-example": "report",
        },
        "text/plain": {"schema": {"type": "string"}, "x-example": "report-text"},
        "text/html": {"schema": {"type": "string"}, "x-example": "jobsheet-html"},
        "image/svg+xml": {"schema": {"type": "string"}, "x-example": "picture-svg"},
        **_binary("image/png", "application/pdf", "image/vnd.dxf", "application/vnd.hp-hpgl"),
    }
    headers = {name: {**header, "required": False} for name, header in FILE_HEADERS.items()}
    ok = {"description": "The result, in the job's format", "content": content, "headers": headers}
    return {200: ok, **problem_answers(*_WORK, NO_RESULT, INVALID_PARAMETER, *_ONE_JOB)}


def answers_events() -> Responses:
    """Return the answers of the operation that sends events."""
    ok = {
        "description": "Events until the job is over, or the service ends and is to be asked again",
        "content": {"text/event-stream": {"schema": {"type": "string"}, "x-example": "job-events"}},
    }
    none = {"description": "The job is over, and the client has seen its last event"}
    return {200: ok, 204: none, **problem_answers(BUSY, *_ONE_JOB)}


def answers_repair() -> Responses:
    """Return the answers of the operation that repairs."""
    content = {
        "application/json": {"schema": {"$ref": "#/components/schemas/Mended"}, "x-example": "repair"},
        "image/svg+xml": {"schema": {"type": "string"}, "x-example": "repair-svg"},
        **_binary("application/pdf", "image/vnd.dxf", "application/vnd.hp-hpgl"),
    }
    headers = {name: {**header, "required": False} for name, header in FILE_HEADERS.items()}
    ok = {
        "description": "The file for production, with its proof or alone",
        "content": content,
        "headers": headers,
    }
    return {200: ok, **problem_answers(INVALID_PARAMETER, UNWRITABLE_FILE, *UPLOAD_PROBLEMS)}


def _binary(*media_types: str) -> Json:
    return {media: {"schema": BINARY} for media in media_types}
