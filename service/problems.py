"""Every error the service answers with, as problem details for HTTP APIs (RFC 9457).

The list of types is here and nowhere else; their slugs never change. The handbook page
``docs/problems.md`` and the answers of ``GET /problems/...`` are made from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field

MEDIA_TYPE = "application/problem+json"

ROOT = "/problems/"


@dataclass(frozen=True, slots=True)
class ProblemType:
    """A kind of problem. ``title`` is the same for every occurrence (RFC 9457, 3.1.3)."""

    slug: str
    status: int
    title: str
    meaning: str
    advice: str
    example: str = ""
    """A detail as it really occurs; empty where the library words it."""

    @property
    def uri(self) -> str:
        """The type's URI reference; a client may compare it and a person may open it."""
        return ROOT + self.slug


MALFORMED_REQUEST = ProblemType(
    "malformed-request",
    400,
    "The request could not be understood",
    "The multipart body is broken off, has a part that is not asked for, or has the same part twice.",
    "Send one part named “artwork” and at most one named “job”.",
    "There is a part 'artwrk'; only “artwork” and “job” are asked for.",
)
NOT_FOUND = ProblemType(
    "not-found",
    404,
    "There is nothing at this address",
    "The path is not one of the service's.",
    "Look up the paths in /openapi.json.",
    "There is nothing at /v1/report.",
)
UNAUTHORIZED = ProblemType(
    "unauthorized",
    401,
    "A key is needed",
    "This service answers holders of a key only. The request has none, or one that is unknown or has ended.",
    "Send your key as “Authorization: Bearer <key>”. The operator of the service hands out keys.",
    "The request has no key.",
)
FORBIDDEN = ProblemType(
    "forbidden",
    403,
    "The key is not for this",
    "The key is good, and its scopes do not include what was asked for.",
    "Ask the operator of the service for a key with the scope that the detail names.",
    "This needs the scope “repairs”; the key has reports, pictures.",
)
UNKNOWN_ANSWER = ProblemType(
    "unknown-answer",
    404,
    "This answer is not kept",
    "Answers are kept in memory for a short while, for the caller who sent the artwork, and then forgotten.",
    "Send the artwork again.",
    "There is no answer 4bf5122f344554c5 for you, or it has been forgotten.",
)
UNKNOWN_RULE = ProblemType(
    "unknown-rule",
    404,
    "There is no rule with this code",
    "The rule's code is not in the catalogue.",
    "Look up the codes with GET /v1/rules.",
    "There is no rule “thin-features”. Did you mean “thin-feature”?",
)
METHOD_NOT_ALLOWED = ProblemType(
    "method-not-allowed",
    405,
    "This address does not take this method",
    "The path exists and takes other methods only; the Allow header names them.",
    "Use a method that the Allow header names.",
    "/v1/reports does not take GET; it takes POST.",
)
NOT_ACCEPTABLE = ProblemType(
    "not-acceptable",
    406,
    "The answer cannot be had in the form asked for",
    "None of the media types in the Accept header is one that this address answers with.",
    "Ask for one of the media types that the detail names, or send no Accept header.",
    "The Accept header asks for 'application/xml'; this address answers with application/json or text/plain.",
)
RECEIVE_TIMEOUT = ProblemType(
    "receive-timeout",
    408,
    "The upload took too long to arrive",
    "The request's body was not complete within the time allowed for receiving it.",
    "Send it again; on a slow line, make the file smaller first.",
    "180224 bytes had arrived after 30 seconds, and more were to come.",
)
IN_FLIGHT = ProblemType(
    "in-flight",
    409,
    "The same request is still being worked on",
    "A request with this Idempotency-Key and this content is being worked on and has no answer yet.",
    "Send it again after the seconds that the Retry-After header names.",
    "The first request with this Idempotency-Key is still being worked on.",
)
UPLOAD_TOO_LARGE = ProblemType(
    "upload-too-large",
    413,
    "The upload is too large",
    "The artwork or the job has more bytes than the service takes.",
    "Remove embedded pictures and unused content from the file, then send it again.",
    "The body has 31457280 bytes or more; at most 25000000 are taken.",
)
UNSUPPORTED_MEDIA_TYPE = ProblemType(
    "unsupported-media-type",
    415,
    "The body is not in a form the service takes",
    "The Content-Type or the Content-Encoding of the request is not one the service takes.",
    "Send multipart/form-data, image/svg+xml, application/pdf or application/octet-stream, plain or with"
    " Content-Encoding: gzip.",
    "The Content-Type is 'text/html'.",
)
KEY_REUSED = ProblemType(
    "key-reused",
    422,
    "The Idempotency-Key belongs to another request",
    "The Idempotency-Key came before with other content or other parameters.",
    "Send a fresh key with each new request, and the same one only with the same request.",
    "This Idempotency-Key came before, with another request.",
)
INVALID_PARAMETER = ProblemType(
    "invalid-parameter",
    422,
    "A parameter of the address is wrong",
    "A value in the path or behind the question mark is not a number, or is out of range.",
    "Correct the parameter that the detail names.",
    "width: Input should be less than or equal to 4096.",
)
MISSING_ARTWORK = ProblemType(
    "missing-artwork",
    422,
    "The request has no artwork",
    "The body, or its part “artwork”, is missing or empty.",
    "Send the artwork's file as the body, or as the part “artwork” of a multipart form.",
    "The part “artwork” is missing or empty.",
)
UNREADABLE_ARTWORK = ProblemType(
    "unreadable-artwork",
    422,
    "The artwork could not be read",
    "The bytes are not artwork in a format that is read, or they are damaged. The code says which.",
    "Do what the advice of the answer says, then send the file again.",
)
ARTWORK_LIMIT = ProblemType(
    "artwork-limit",
    422,
    "The artwork is past a limit",
    "The artwork has more parts, or is more deeply built, than is worked on. The code says which limit.",
    "Simplify the artwork as the answer's advice says.",
)
INVALID_JOB = ProblemType(
    "invalid-job",
    422,
    "The job's settings are wrong",
    "The job is not valid JSON or TOML, or a setting is unknown or out of range.",
    "Correct the settings that the detail names.",
)
UNWRITABLE_FILE = ProblemType(
    "unwritable-file",
    422,
    "The file cannot be written in this format",
    "The artwork was read, but the format asked for cannot hold it. The code says why.",
    "Do what the answer's advice says, or ask for another format.",
    "A contour of the film “Green” is too small for plotter units of 0.025 mm.",
)
CANNOT_BE_DONE = ProblemType(
    "cannot-be-done",
    422,
    "This cannot be done with this artwork",
    "The artwork was read, and what was asked for does not make sense for it. The code says why.",
    "Do what the answer's advice says.",
    "There is nothing to cut from film in this artwork, so there is no job sheet for it.",
)
NOT_INSTALLED = ProblemType(
    "not-installed",
    501,
    "The service was set up without this",
    "What was asked for needs a library that the operator of the service has not installed.",
    "Ask the operator to install what the detail names, or ask for something that does not need it.",
    "Nesting needs rectpack, which is not installed.",
)
UNKNOWN_JOB = ProblemType(
    "unknown-job",
    404,
    "There is no job of this id",
    "There never was one, it has expired, it was erased, or it belongs to another key.",
    "Send the job again, or look up your jobs with GET /v1/jobs.",
    "There is no job 7c9e6679-7425-40de-944b-e07fc1f90ae7.",
)
NO_RESULT = ProblemType(
    "no-result",
    409,
    "There is no result yet, or never will be",
    "The file is waiting or being worked on, or its job was cancelled. The code says which.",
    "Ask for the job's state, or follow its events, until the file is done.",
    "File 1 of this job is queued.",
)
INVALID_WEBHOOK = ProblemType(
    "invalid-webhook",
    422,
    "The webhook cannot be used",
    "Its address is no https address of the public internet, or its secret is missing or too weak.",
    "Send a webhook with an https address and a webhook_secret of whsec_ and 24 to 64 bytes as base64.",
    "The webhook's address has the scheme 'ftp'; https is taken.",
)
JOBS_FULL = ProblemType(
    "jobs-full",
    503,
    "No more jobs are taken for now",
    "As many files as the service keeps are already waiting, or their space is used up.",
    "Send the job again after the seconds that the Retry-After header names.",
    "1000 files are waiting; at most 1000 may.",
)
JOBS_UNAVAILABLE = ProblemType(
    "jobs-unavailable",
    503,
    "Jobs cannot be kept right now",
    "The place where jobs are kept does not answer, or there is none. Other requests are served.",
    "Try again after the seconds that the Retry-After header names.",
    "The place where jobs are kept does not answer.",
)
MEMORY_LIMIT = ProblemType(
    "memory-limit",
    422,
    "The artwork needs more memory than one request may use",
    "Working on this artwork was stopped at the memory limit. No other request was touched.",
    "Simplify the artwork: fewer nodes, fewer copies, no embedded pictures.",
    "The work was stopped at 1024 MiB.",
)
TOO_MANY_REQUESTS = ProblemType(
    "too-many-requests",
    429,
    "Too many requests",
    "This key, or this address, has asked more often than it may in the time that RateLimit-Policy names.",
    "Wait the seconds that the Retry-After header names; RateLimit tells how many requests are left.",
    "120 requests in 60 seconds are taken; the next one in 17 seconds.",
)
INTERNAL_ERROR = ProblemType(
    "internal-error",
    500,
    "The service failed",
    "A fault of the service, not of the request.",
    "Report it with the instance or the X-Request-Id of the answer.",
    "The service failed while it handled this request.",
)
WORKER_CRASHED = ProblemType(
    "worker-crashed",
    500,
    "Working on this artwork failed",
    "The process that worked on this request ended before it answered. No other request was touched.",
    "Report it with the instance of the answer and, if you may, the artwork.",
    "The process that worked on this artwork ended before it answered.",
)
BUSY = ProblemType(
    "busy",
    503,
    "The service is busy",
    "As many requests as the service keeps are already waiting.",
    "Send it again after the seconds that the Retry-After header names.",
    "All workers are busy and the queue is full.",
)
KEYS_UNREADABLE = ProblemType(
    "keys-unreadable",
    503,
    "Keys cannot be checked",
    "The service cannot read its file of keys, and lets nobody in until it can.",
    "Send it again after the seconds that the Retry-After header names; tell the operator if it lasts.",
    "The service cannot read its keys.",
)
NOT_READY = ProblemType(
    "not-ready",
    503,
    "The service is not ready",
    "No worker answers yet, or none any more.",
    "Wait the seconds that the Retry-After header names.",
    "No worker answers.",
)
TIME_LIMIT = ProblemType(
    "time-limit",
    504,
    "The artwork takes longer than one request may",
    "Working on this artwork was stopped at the time limit. No other request was touched.",
    "Simplify the artwork: fewer nodes, fewer strokes with dashes, fewer copies.",
    "The work was stopped after 20 seconds.",
)

PROBLEMS: tuple[ProblemType, ...] = (
    MALFORMED_REQUEST,
    UNAUTHORIZED,
    FORBIDDEN,
    NOT_FOUND,
    UNKNOWN_ANSWER,
    UNKNOWN_RULE,
    UNKNOWN_JOB,
    METHOD_NOT_ALLOWED,
    NOT_ACCEPTABLE,
    RECEIVE_TIMEOUT,
    IN_FLIGHT,
    NO_RESULT,
    UPLOAD_TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
    KEY_REUSED,
    INVALID_PARAMETER,
    MISSING_ARTWORK,
    UNREADABLE_ARTWORK,
    ARTWORK_LIMIT,
    INVALID_JOB,
    UNWRITABLE_FILE,
    CANNOT_BE_DONE,
    INVALID_WEBHOOK,
    MEMORY_LIMIT,
    TOO_MANY_REQUESTS,
    INTERNAL_ERROR,
    WORKER_CRASHED,
    NOT_INSTALLED,
    BUSY,
    KEYS_UNREADABLE,
    NOT_READY,
    JOBS_FULL,
    JOBS_UNAVAILABLE,
    TIME_LIMIT,
)

BY_SLUG = {kind.slug: kind for kind in PROBLEMS}


class Problem(BaseModel):
    """Problem details (RFC 9457, 3.1) with two extension members, ``code`` and ``advice``."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    type: Annotated[str, Field(description="URI reference of the problem type; compare this one")]
    title: Annotated[str, Field(description="The same for every problem of the type")]
    status: Annotated[int, Field(ge=400, le=599, description="The HTTP status")]
    detail: Annotated[str, Field(description="What is wrong here, in plain words")]
    instance: Annotated[str, Field(description="URI of this one occurrence; its UUID is X-Request-Id")]
    code: Annotated[str, Field(description="Stable kebab-case word, finer than the type where there is more")]
    advice: Annotated[str, Field(description="What to do next")]


class ProblemError(Exception):
    """Raised anywhere in a request; the application answers it with the problem.

    ``code`` and ``advice`` default to the type's own. ``headers`` are added to the answer.
    """

    def __init__(
        self,
        kind: ProblemType,
        detail: str,
        *,
        code: str | None = None,
        advice: str | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(f"{kind.slug}: {detail}")
        self.kind = kind
        self.detail = detail
        self.code = code or kind.slug
        self.advice = advice or kind.advice
        self.headers = dict(headers or {})


def answer(error: ProblemError, request_id: str) -> Response:
    """Return the HTTP answer for ``error``; ``request_id`` is the request's UUID."""
    problem = Problem(
        type=error.kind.uri,
        title=error.kind.title,
        status=error.kind.status,
        detail=error.detail,
        instance=f"urn:uuid:{request_id}",
        code=error.code,
        advice=error.advice,
    )
    return Response(
        problem.model_dump_json(), error.kind.status, headers=error.headers, media_type=MEDIA_TYPE
    )


def handbook() -> str:
    """Return the handbook page of all problem types as Markdown."""
    lines = [
        "# Problems",
        "",
        "Every error of the service is answered as `application/problem+json` (RFC 9457) with the members"
        " `type`, `title`, `status`, `detail`, `instance`, `code` and `advice`. Compare `type`; where one type"
        " has several causes, `code` tells them apart. `instance` holds the request's id, which the"
        " `X-Request-Id` header repeats and the log entries carry.",
        "",
        "This page is made from `service/problems.py` by `make openapi`.",
        "",
        "| type | status | title |",
        "|---|---|---|",
        *(f"| [`{p.uri}`](#{p.slug}) | {p.status} | {p.title} |" for p in PROBLEMS),
    ]
    for p in PROBLEMS:
        lines += ["", f"## {p.slug}", "", f"Status {p.status}. {p.meaning}", "", f"What to do: {p.advice}"]
    return "\n".join(lines) + "\n"
