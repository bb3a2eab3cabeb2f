"""Many uploads at once over kept connections, by a client that costs next to nothing; and what a service weighs."""

from __future__ import annotations

import asyncio
import json
import os
import re
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

BOUNDARY = "part-of-a-form-47d1"
MOST_TRIES = 100
LENGTH = re.compile(rb"\r\ncontent-length: (\d+)", re.IGNORECASE)
RETRY = re.compile(rb"\r\nretry-after: (\d+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Shot:
    """One upload, to be sent as a form."""

    name: str
    artwork: bytes
    path: str = "/v1/reports"

    def request(self) -> bytes:
        """Return the whole request."""
        head = f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="artwork"; filename="sign.svg"\r\n\r\n'
        tail = f"\r\n--{BOUNDARY}--\r\n"
        length = len(head) + len(self.artwork) + len(tail)
        start = (
            f"POST {self.path} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: {length}\r\n"
            f"Content-Type: multipart/form-data; boundary={BOUNDARY}\r\n\r\n"
        )
        return b"".join((start.encode(), head.encode(), self.artwork, tail.encode()))


@dataclass(frozen=True, slots=True)
class Hit:
    """What came back: status 0 where the connection ended without an answer."""

    shot: Shot
    status: int
    body: bytes
    seconds: float
    """From the first byte of the last try to the last byte of its answer."""
    tries: int = 1
    """More than one where the service had said to come back later."""

    @property
    def slug(self) -> str:
        """What kind of problem it is; empty for an answer that is none."""
        return "" if self.status < 400 else str(json.loads(self.body)["type"]).removeprefix("/problems/")


class Line:
    """A connection that is kept and opened again where the service has closed it."""

    def __init__(self, url: str) -> None:
        address = urlsplit(url)
        self._address = (address.hostname, address.port)
        self._streams: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def send(self, request: bytes) -> tuple[int, bytes, bytes]:
        """Return status, head and body of the answer; status 0 where there was none."""
        if self._streams is None or self._streams[0].at_eof():
            self._streams = await asyncio.open_connection(*self._address, limit=2**20)
        reader, writer = self._streams
        try:
            writer.write(request)
            await writer.drain()
            head = await reader.readuntil(b"\r\n\r\n")
            length = LENGTH.search(head)
            body = await reader.readexactly(int(length[1])) if length else b""
        except (ConnectionError, asyncio.IncompleteReadError):
            self.close()
            return 0, b"", b""
        if b"\r\nconnection: close" in head.lower():
            self.close()
        return int(head[9:12]), head, body

    def close(self) -> None:
        if self._streams is not None:
            self._streams[1].close()
            self._streams = None


async def fire(url: str, shots: Sequence[Shot], at_once: int, *, tries: int = MOST_TRIES) -> list[Hit]:
    """Send all ``shots`` over ``at_once`` connections and return what came back, in the order of ``shots``.

    Where the service is busy and says when to come back (503 with Retry-After), the client does, ``tries``
    times in all. Raises `OSError` where nobody listens.
    """
    hits: dict[int, Hit] = {}
    left = iter(enumerate(shots))

    async def gunner() -> None:
        line = Line(url)
        for number, shot in left:
            hits[number] = await _hit(line, shot, tries)
        line.close()

    await asyncio.gather(*(gunner() for _ in range(at_once)))
    return [hits[number] for number in range(len(shots))]


async def _hit(line: Line, shot: Shot, most: int) -> Hit:
    request, tries = shot.request(), 0
    while True:
        tries += 1
        begun = time.perf_counter()
        status, head, body = await line.send(request)
        seconds = time.perf_counter() - begun
        again = RETRY.search(head)
        if status != 503 or again is None or tries == most:
            return Hit(shot, status, body, seconds, tries)
        await asyncio.sleep(int(again[1]))


def weight(pids: Iterable[int]) -> float:
    """Return the memory of these processes together in MB, shared pages counted once (proc(5): Pss)."""
    return sum(_kilobytes(pid, "smaps_rollup", "Pss") for pid in pids) / 1000


def resident(pid: int) -> float:
    """Return the resident memory of one process in MB, shared pages included (proc(5): VmRSS)."""
    return _kilobytes(pid, "status", "VmRSS") / 1000


def processor_seconds(pid: int) -> float:
    """Return the processor time of one process and of those that it has waited for (proc(5): stat, 14 to 17)."""
    after_name = Path(f"/proc/{pid}/stat").read_text("utf-8").rpartition(")")[2].split()
    return sum(map(int, after_name[11:15])) / os.sysconf("SC_CLK_TCK")


def _kilobytes(pid: int, file: str, field: str) -> float:
    text = Path(f"/proc/{pid}/{file}").read_text("ascii")
    found = re.search(rf"^{field}:\s+(\d+) kB$", text, re.MULTILINE)
    assert found is not None, f"no {field} in {file}"
    return int(found[1]) * 1.024
