"""The HTTP server: how many may connect, how long headers and taking an answer may take, and how it ends."""

from __future__ import annotations

import asyncio
import logging
import resource
from types import FrameType

import h11
import uvicorn
from fastapi import FastAPI
from starlette.requests import Request
from starlette.types import Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from service.jobs.desk import Desk
from service.log import event
from service.middleware import Gate
from service.problems import BUSY, ProblemError, answer
from service.settings import Settings
from service.uploads import drain
from service.workers import WorkerPool

LATE = b"HTTP/1.1 408 Request Timeout\r\nConnection: close\r\nContent-Length: 0\r\n\r\n"
SPARE_SECONDS = 2
"""What sending the last answers may take."""
KEPT_SECONDS = 75
"""How long a connection without a request is kept. It must outlast the time after which a busy service asks to
be asked again, and the idle time of a proxy in front (60 s is usual: common practice, no source): whoever sends
into a connection that is just being closed gets no answer."""


SPARE_CONNECTIONS = 100
"""So many more are told that there are too many; what is past them is closed without a word."""
SPARE_FILES = 156
"""What the process opens besides connections: its workers' sockets, the jobs' file, their logs."""
TOLD_BYTES = 100_000_000
RETRY_AFTER = {"Retry-After": "5", "Connection": "close"}


class TimedProtocol(H11Protocol):
    """HTTP/1.1 with bounds on what one client may hold.

    The server itself bounds only the pause between two requests, so that a sender of one header an hour, or a
    client that asks and never reads, would hold a connection and an answer for good.
    """

    header_seconds = 10.0
    """From a connection's or a request's beginning to its last header."""
    send_seconds = 30.0
    """While there is something to send and nothing is taken."""
    connections_most = 1000
    full: Gate
    """What answers on connections past the most."""
    _deadline: asyncio.TimerHandle | None = None
    _stall: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first request."""
        super().connection_made(transport)
        over = len(self.connections) - self.connections_most
        if over > SPARE_CONNECTIONS:
            transport.abort()
        elif over > 0:
            self.app = self.full
        # Whatever is not taken at once counts as waiting, so that the last piece of an answer does too.
        transport.set_write_buffer_limits(0)
        self._await_headers()

    def data_received(self, data: bytes) -> None:
        """Take what came, and wait on where a request has begun and its headers are not all there."""
        super().data_received(data)
        if self.conn.their_state is not h11.IDLE:
            self._stop_waiting()
        elif self.conn.trailing_data[0] and self._deadline is None:
            self._await_headers()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self._stop_waiting()
        self._stop_watching()
        # The server does so only where the connection was not reset.
        self._unset_keepalive_if_required()
        super().connection_lost(exc)

    def pause_writing(self) -> None:
        """Begin to watch whether the client takes what is sent."""
        super().pause_writing()
        self._watch()

    def resume_writing(self) -> None:
        """Everything was taken."""
        self._stop_watching()
        super().resume_writing()

    def _watch(self) -> None:
        self._stop_watching()
        left = self.transport.get_write_buffer_size()
        self._stall = self.loop.call_later(self.send_seconds, self._stalled, left)

    def _stop_watching(self) -> None:
        if self._stall is not None:
            self._stall.cancel()
            self._stall = None

    def _stalled(self, before: int) -> None:
        if self.transport.get_write_buffer_size() < before:
            self._watch()
            return
        event(logging.INFO, "answer-not-taken", left_bytes=before)
        self.transport.abort()

    def _await_headers(self) -> None:
        self._deadline = self.loop.call_later(self.header_seconds, self._late)

    def _stop_waiting(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def _late(self) -> None:
        self._deadline = None
        if self.transport.is_closing():
            return
        # A connection that was opened ahead of need and never used is closed without a word.
        if self.conn.trailing_data[0]:
            event(logging.INFO, "headers-late")
            self.transport.write(LATE)
        self.transport.close()


class Server(uvicorn.Server):
    """A server that, told to end, takes up no work and finishes what is being worked on."""

    def __init__(self, config: uvicorn.Config, app: FastAPI) -> None:
        super().__init__(config)
        self._application = app
        self._loop: asyncio.AbstractEventLoop | None = None

    async def startup(self, sockets: list[object] | None = None) -> None:  # type: ignore[override]
        """Start, and remember the event loop for the signal handler."""
        self._loop = asyncio.get_running_loop()
        await super().startup(sockets=sockets)  # type: ignore[arg-type]

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Take a signal to end: what waits is refused at once, which only the event loop may do."""
        if self._loop is not None:
            self._loop.call_soon_threadsafe(self._drain)
        super().handle_exit(sig, frame)

    def _drain(self) -> None:
        pool: WorkerPool = self._application.state.pool
        desk: Desk = self._application.state.desk
        pool.drain()
        desk.stop()


async def too_many(scope: Scope, receive: Receive, send: Send) -> None:
    """Answer a request on a connection past the most (ASGI)."""
    # A client that is cut off while it sends would see a broken pipe in place of the answer.
    await drain(Request(scope, receive), TOLD_BYTES)
    problem = ProblemError(
        BUSY, "The service has as many connections as it may.", code="connections", headers=RETRY_AFTER
    )
    await answer(problem, scope["state"]["request_id"])(scope, receive, send)


def connections_possible(wanted: int) -> int:
    """Let this process have files for ``wanted`` connections; return for how many it has."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    files = wanted + SPARE_CONNECTIONS + SPARE_FILES
    if soft == resource.RLIM_INFINITY or soft >= files:
        return wanted
    allowed = files if hard == resource.RLIM_INFINITY else min(files, hard)
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, allowed), hard))
    possible = max(1, wanted - (files - max(soft, allowed)))
    if possible < wanted:
        event(logging.WARNING, "few-files", connections=possible, wanted=wanted, open_files_limit=hard)
    return possible


def server(app: FastAPI, settings: Settings) -> Server:
    """Return the server of ``app``, to be run."""

    class Protocol(TimedProtocol):
        header_seconds = settings.header_seconds
        send_seconds = settings.send_seconds
        connections_most = connections_possible(settings.connections)
        full = Gate(too_many, counted=app.state.metrics.request)

    config = uvicorn.Config(
        app,
        host=settings.host,
        port=settings.port,
        http=Protocol,
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_keep_alive=KEPT_SECONDS,
        timeout_graceful_shutdown=int(settings.work_seconds) + SPARE_SECONDS,
    )
    return Server(config, app)
