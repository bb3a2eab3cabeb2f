"""The HTTP server: how long headers may take, and how it ends."""

from __future__ import annotations

import asyncio
import logging
from types import FrameType

import h11
import uvicorn
from fastapi import FastAPI
from uvicorn.protocols.http.h11_impl import H11Protocol

from service.jobs.desk import Desk
from service.log import event
from service.settings import Settings
from service.workers import WorkerPool

LATE = b"HTTP/1.1 408 Request Timeout\r\nConnection: close\r\nContent-Length: 0\r\n\r\n"
SPARE_SECONDS = 2
"""What sending the last answers may take."""
KEPT_SECONDS = 75
"""How long a connection without a request is kept. It must outlast the time after which a busy service asks to
be asked again, and the idle time of a proxy in front (60 s is usual: common practice, no source): whoever sends
into a connection that is just being closed gets no answer."""


class TimedProtocol(H11Protocol):
    """HTTP/1.1 with a bound on the time from a connection's or a request's beginning to its last header.

    The server itself bounds only the pause between two requests, so that a sender of one header an hour
    would hold a connection for good.
    """

    header_seconds = 10.0
    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first request."""
        super().connection_made(transport)
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
        super().connection_lost(exc)

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


def server(app: FastAPI, settings: Settings) -> Server:
    """Return the server of ``app``, to be run."""

    class Protocol(TimedProtocol):
        header_seconds = settings.header_seconds

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
