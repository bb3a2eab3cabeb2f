"""What the contract says of keys, rates, repeated requests and kept answers, for all operations alike."""

from __future__ import annotations

from typing import Any

from service.access import scope_of
from service.problems import FORBIDDEN, KEYS_UNREADABLE, TOO_MANY_REQUESTS, UNAUTHORIZED, ProblemType

Json = dict[str, Any]

EDGE_PROBLEMS: tuple[ProblemType, ...] = (UNAUTHORIZED, FORBIDDEN, TOO_MANY_REQUESTS, KEYS_UNREADABLE)
RETRY = {"Retry-After": {"description": "Seconds to wait", "schema": {"type": "integer"}}}
CHALLENGE = {"WWW-Authenticate": {"description": "What key is needed", "schema": {"type": "string"}}}
RATES = {
    "RateLimit-Policy": {"description": "Quota and window, where there is one", "schema": {"type": "string"}},
    "RateLimit": {"description": "What is left of it", "schema": {"type": "string"}},
}
KEPT = {
    "ETag": {"description": "Stands for artwork, job and what was asked", "schema": {"type": "string"}},
    "Content-Location": {
        "description": "Where this answer is kept for a while",
        "schema": {"type": "string"},
    },
}
SENT_AGAIN: Json = {
    "name": "Idempotency-Key",
    "in": "header",
    "required": False,
    "description": "A fresh string of at most 255 characters; the same request with it gets the same answer",
    "schema": {"type": "string", "minLength": 1, "maxLength": 255, "pattern": "^[A-Za-z0-9_-]+$"},
}
PATIENCE: Json = {
    "name": "Prefer",
    "in": "header",
    "required": False,
    "description": "`wait=N`: give up after N seconds of waiting and work (RFC 7240)",
    "schema": {"type": "string", "pattern": "^wait=[0-9]{1,4}$"},
}
SCHEME: Json = {
    "type": "http",
    "scheme": "bearer",
    "description": "A key from the operator of the service, where it asks for one",
}
AT_ONCE = tuple(
    f"/v1/{name}"
    for name in ("reports", "pictures", "repairs", "jobsheets", "rehearsals", "layouts", "panels")
)


def add_edge(schema: Json, problem_answers: Any) -> None:
    """Add to the framework's ``schema`` what the entrance does; ``problem_answers`` makes its answers."""
    schema.setdefault("components", {})["securitySchemes"] = {"key": SCHEME}
    edge = problem_answers(*EDGE_PROBLEMS)
    for path, item in schema["paths"].items():
        if scope_of(path) is None:
            continue
        for method, operation in item.items():
            # A key or none: which of the two is the operator's choice.
            operation["security"] = [{"key": []}, {}]
            for status, response in edge.items():
                _merge(operation["responses"], str(status), response)
            _headers(operation["responses"])
            if method == "post" and path in AT_ONCE:
                operation.setdefault("parameters", []).extend([SENT_AGAIN, PATIENCE])


def _merge(responses: Json, status: str, more: Json) -> None:
    """Add the problems of ``more`` to those that the operation answers with this status already."""
    if status not in responses:
        responses[status] = {
            **more,
            "content": {media: dict(content) for media, content in more["content"].items()},
        }
        return
    there = responses[status]
    there["description"] = f"{there['description']}; {more['description']}"
    for media, content in more["content"].items():
        slugs = there["content"][media]["x-problems"]
        there["content"][media]["x-problems"] = list(dict.fromkeys([*slugs, *content["x-problems"]]))


def _headers(responses: Json) -> None:
    for status, response in responses.items():
        more: Json = {}
        if status in ("429", "503"):
            more |= RETRY
        if status in ("401", "403"):
            more |= CHALLENGE
        if status.startswith("2") or status == "429":
            more |= RATES
        if more:
            response["headers"] = more | response.get("headers", {})
