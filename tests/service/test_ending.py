"""SIGTERM: what is being worked on is finished, everything else is refused, and nothing is left behind."""

from __future__ import annotations

import signal
import socket
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import httpx

from tests.service.conftest import Server, assert_problem, running
from tests.service.test_workers import send, tasks_logged, wait_until


def slowly(server: Server) -> tuple[socket.socket, bytes]:
    """Begin an upload that has not all arrived; return its connection."""
    port = int(server.url.rsplit(":", 1)[1])
    line = socket.create_connection(("127.0.0.1", port), timeout=20)
    head = (
        b"POST /v1/reports HTTP/1.1\r\nHost: x\r\nContent-Type: image/svg+xml\r\nContent-Length: 1000\r\n\r\n"
    )
    line.sendall(head + b"<svg")
    return line, head


def read_all(line: socket.socket) -> bytes:
    got = bytearray()
    while chunk := line.recv(65536):
        got += chunk
    return bytes(got)


def test_sigterm_finishes_what_is_worked_on_and_refuses_the_rest(tmp_path: Path) -> None:
    limits = {"workers": 1, "work_seconds": 10, "receive_seconds": 30, "queue_seconds": 30}
    with running("tests.service.serving", tmp_path, **limits) as server, ThreadPoolExecutor(4) as threads:
        line, _ = slowly(server)
        working = threads.submit(send, server, b"HOG:doze")
        wait_until(lambda: tasks_logged(server) == 1)
        waiting: list[Future[httpx.Response]] = [threads.submit(send, server, b"HOG:pid") for _ in range(2)]
        wait_until(lambda: tasks_logged(server) == 3)
        workers = server.workers()
        server.process.send_signal(signal.SIGTERM)

        # Refused at once, although the worker is busy for some seconds more and the upload could go on.
        for one in waiting:
            refused = one.result()
            assert assert_problem(refused, "busy", 503)["code"] == "stopping"
            assert int(refused.headers["retry-after"]) > 0
            assert refused.headers["connection"] == "close"
        answer = read_all(line)
        assert answer.startswith(b"HTTP/1.1 503 ")
        assert b'"stopping"' in answer
        assert not working.done()

        done = working.result()
        assert (done.status_code, done.json()) == (200, "rested")
        assert server.process.wait(15) in (0, -signal.SIGTERM)
        wait_until(lambda: not any(Path(f"/proc/{pid}").exists() for pid in workers))


def test_sigterm_ends_an_idle_service_and_its_idle_connections(tmp_path: Path) -> None:
    with running("service", tmp_path, workers=1) as server, server.client() as client:
        assert client.get("/healthz").status_code == 200
        server.process.send_signal(signal.SIGTERM)
        assert server.process.wait(15) in (0, -signal.SIGTERM)
        events = [entry["event"] for entry in server.entries()]
        assert "failure" not in events


def test_work_past_the_limit_does_not_keep_the_service_from_ending(tmp_path: Path) -> None:
    with running("tests.service.serving", tmp_path, workers=1, work_seconds=2) as server:
        with ThreadPoolExecutor(1) as threads:
            working = threads.submit(send, server, b"HOG:sleep")
            wait_until(lambda: tasks_logged(server) == 1)
            server.process.send_signal(signal.SIGTERM)
            assert_problem(working.result(), "time-limit", 504)
        assert server.process.wait(15) in (0, -signal.SIGTERM)
