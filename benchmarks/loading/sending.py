"""Clients for a load run: raw HTTP/1.1 over kept connections, one thread each."""

from __future__ import annotations

import http.client
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from queue import Empty, SimpleQueue

from benchmarks.loading.uploads import Upload


@dataclass(frozen=True, slots=True)
class Told:
    """What came back: 0 is no answer at all."""

    upload: Upload
    status: int
    body: bytes
    seconds: float
    media: str = ""
    retry: bool = False
    """Whether a 503 said when to come back."""


def send_all(
    port: int, uploads: Sequence[Upload], *, threads: int, wait: int | None = None, again: bool = True
) -> list[Told]:
    """Send ``uploads`` to /v1/reports with ``threads`` at a time, and return what came back, in their order.

    ``wait`` is stated as the deadline (RFC 7240, Prefer: wait) of hostile files. ``again`` sends once more,
    as a client should, what a full queue refused; the time of the last try counts.
    """
    waiting: SimpleQueue[int] = SimpleQueue()
    for number in range(len(uploads)):
        waiting.put(number)
    answers: list[Told | None] = [None] * len(uploads)

    def work() -> None:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
        while True:
            try:
                number = waiting.get_nowait()
            except Empty:
                break
            told = _send(connection, uploads[number], wait)
            while again and told.status == http.client.SERVICE_UNAVAILABLE and told.retry:
                time.sleep(0.5)
                told = _send(connection, uploads[number], wait)
            answers[number] = told
        connection.close()

    crew = [threading.Thread(target=work) for _ in range(threads)]
    for one in crew:
        one.start()
    for one in crew:
        one.join()
    return [told for told in answers if told is not None]


def _send(connection: http.client.HTTPConnection, upload: Upload, wait: int | None) -> Told:
    media = "application/pdf" if upload.name.endswith(".pdf") else "image/svg+xml"
    headers = {"Content-Type": media}
    if wait is not None and upload.sort == "hostile":
        headers["Prefer"] = f"wait={wait}"
    begun = time.monotonic()
    try:
        connection.request("POST", "/v1/reports", body=upload.data, headers=headers)
        answer = connection.getresponse()
        body = answer.read()
    except (OSError, http.client.HTTPException):
        connection.close()
        return Told(upload, 0, b"", time.monotonic() - begun)
    seconds = time.monotonic() - begun
    kind = answer.getheader("Content-Type", "")
    return Told(upload, answer.status, body, seconds, kind, answer.getheader("Retry-After") is not None)
