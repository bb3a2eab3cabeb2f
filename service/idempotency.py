"""`Idempotency-Key`: a request sent again gets the first one's answer (draft-ietf-httpapi-idempotency-key-header).

Same key and same content: the same answer, also where it was a problem that sending again cannot mend.
Same key and other content: 422. Same key while the first is still being worked on: 409. What may come out
otherwise the next time (busy, time limit, a crash) is not kept, so that trying again makes sense.
"""

from __future__ import annotations

import re
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from fastapi import Request

from service.problems import (
    IN_FLIGHT,
    KEY_REUSED,
    MALFORMED_REQUEST,
    RECEIVE_TIMEOUT,
    TOO_MANY_REQUESTS,
    ProblemError,
)
from service.settings import Settings
from service.shelf import Shelf

HEADER = "Idempotency-Key"
ENTRY_BYTES = 500
"""What an entry takes beside its answer, about."""
ENTRIES = 10_000

# The draft asks for a string of RFC 8941, in quotation marks; many clients send a bare UUID.
_QUOTED = re.compile(r'"((?:[\x20-\x21\x23-\x5b\x5d-\x7e]|\\["\\]){1,255})"')
_BARE = re.compile(r"[\x21\x23-\x2b\x2d-\x3a\x3c-\x5b\x5d-\x7e]{1,255}")
_PASSING = {IN_FLIGHT.slug, RECEIVE_TIMEOUT.slug, TOO_MANY_REQUESTS.slug}


@dataclass(frozen=True, slots=True)
class _Answered:
    fingerprint: str
    body: bytes = b""
    problem: ProblemError | None = None


class Desk:
    """Remembers the answers to requests with a key. Belongs to one event loop."""

    def __init__(self, settings: Settings) -> None:
        self._shelf: Shelf[_Answered] = Shelf(
            settings.idempotency_bytes, ENTRIES, settings.idempotency_seconds
        )
        self._in_flight: dict[tuple[str, str, str], str] = {}

    async def once(self, request: Request, fingerprint: str, work: Callable[[], Awaitable[bytes]]) -> bytes:
        """Return what ``work`` returns, or what it returned for the first request with this key.

        ``fingerprint`` stands for the request's content. Keys of different callers and of different
        paths have nothing to do with each other. Raises the problems of ``work``, ``in-flight``,
        ``key-reused``, and ``malformed-request`` for a key that is no string.
        """
        key = key_of(request)
        if key is None:
            return await work()
        slot = (str(request.state.caller), f"{request.method} {request.url.path}", key)
        known = self._shelf.get(slot, time.monotonic())
        before = known.fingerprint if known else self._in_flight.get(slot)
        if before is not None and before != fingerprint:
            raise ProblemError(KEY_REUSED, "This Idempotency-Key came before, with another request.")
        if known:
            if known.problem:
                raise known.problem
            return known.body
        if before is not None:
            raise ProblemError(
                IN_FLIGHT,
                "The first request with this Idempotency-Key is still being worked on.",
                headers={"Retry-After": "1"},
            )
        return await self._first(slot, fingerprint, work)

    async def _first(
        self, slot: tuple[str, str, str], fingerprint: str, work: Callable[[], Awaitable[bytes]]
    ) -> bytes:
        self._in_flight[slot] = fingerprint
        try:
            body = await work()
        except ProblemError as problem:
            if problem.kind.status < 500 and problem.kind.slug not in _PASSING:
                self._keep(slot, _Answered(fingerprint, problem=problem))
            raise
        finally:
            del self._in_flight[slot]
        self._keep(slot, _Answered(fingerprint, body))
        return body

    def _keep(self, slot: tuple[str, str, str], answered: _Answered) -> None:
        self._shelf.put(slot, answered, len(answered.body) + ENTRY_BYTES, time.monotonic())


def key_of(request: Request) -> str | None:
    """Return the request's key; None where it has none. Raises ``malformed-request`` for what is no string."""
    text = request.headers.get(HEADER)
    if text is None:
        return None
    if quoted := _QUOTED.fullmatch(text.strip()):
        return re.sub(r"\\(.)", r"\1", quoted[1])
    if bare := _BARE.fullmatch(text.strip()):
        return bare[0]
    raise ProblemError(
        MALFORMED_REQUEST,
        "The Idempotency-Key is not a string of 1 to 255 printable ASCII characters.",
        code="idempotency-key",
        advice='Send a fresh UUID in quotation marks, such as "5d4b1e0a-…", with each new request.',
    )
