"""A job's progress as server-sent events (HTML standard, 9.2)."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator

from service.jobs.desk import Desk
from service.jobs.model import OPEN_STATES
from service.jobs.shown import event_frame
from service.jobs.store import StoreError

POLL_SECONDS = 0.25
COMMENT_SECONDS = 15.0
"""The standard's advice against proxies that close silent connections."""
RETRY_MS = 2000
LAST_EVENT_DIGITS = 9

MEDIA_TYPE = "text/event-stream"


def last_event_id(value: str | None) -> int:
    """Return the number of the last event a client has seen; 0 where it says nothing that we said."""
    if value and len(value) <= LAST_EVENT_DIGITS and value.isascii() and value.isdigit():
        return int(value)
    return 0


async def stream(desk: Desk, job_id: str, after: int) -> AsyncIterator[bytes]:
    """Yield the events of a job after number ``after`` until it is over, is erased, or the service ends."""
    desk.streams += 1
    try:
        # A field of the first event: some clients take a block without data for an event.
        yield f"retry: {RETRY_MS}\n".encode()
        said = time.monotonic()
        while not desk.stopping:
            try:
                events = await desk.store.events(job_id, after)
                gone = not events and await desk.store.record(job_id) is None
            except StoreError:
                # The client comes back by itself and says where it was.
                return
            for event in events:
                after = event.seq
                yield event_frame(event)
                if event.data["kind"] == "job" and event.data["state"] not in OPEN_STATES:
                    return
            if gone:
                return
            if events:
                said = time.monotonic()
            elif time.monotonic() - said > COMMENT_SECONDS:
                said = time.monotonic()
                yield b": still here\n\n"
            await asyncio.sleep(POLL_SECONDS)
    finally:
        desk.streams -= 1
