"""A real server on loopback, in a process of its own, ended by its process id."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
import pytest

ROOT = Path(__file__).resolve().parents[2]
START_SECONDS = 60.0

SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="100mm" viewBox="0 0 300 100">'
    b'<path id="bar" fill="#1f5f3a" d="M20 20h260v60H20z"/></svg>'
)


def fresh() -> bytes:
    """Return artwork that nobody has sent before, so that no kept answer will do."""
    return SVG.replace(b'id="bar"', b'id="%s"' % uuid.uuid4().hex.encode())


@dataclass
class Server:
    """A running service."""

    process: subprocess.Popen[bytes]
    url: str
    log: Path

    def client(self, **settings: Any) -> httpx.Client:
        return httpx.Client(base_url=self.url, timeout=30.0, trust_env=False, **settings)

    def entries(self) -> list[dict[str, Any]]:
        """Return the log so far."""
        return [json.loads(line) for line in self.log.read_text("utf-8").splitlines()]

    def workers(self) -> set[int]:
        """Return the process ids of the workers (grandchildren by way of the fork server)."""
        return {pid for child in _children(self.process.pid) for pid in _children(child)}

    def everyone(self) -> set[int]:
        """Return the process ids of the service and of all that it has started."""
        return {self.process.pid} | _children(self.process.pid) | self.workers()


def _children(pid: int) -> set[int]:
    """Return the children of all threads of ``pid`` (Linux: proc(5), task/tid/children)."""
    found: set[int] = set()
    for listed in Path("/proc").glob(f"{pid}/task/*/children"):
        try:
            found.update(map(int, listed.read_text().split()))
        except (FileNotFoundError, ProcessLookupError):
            continue
    return found


def environment_of(settings: Mapping[str, object]) -> dict[str, str]:
    """Return this process's environment with the service's ``settings`` and no others."""
    environment = {k: v for k, v in os.environ.items() if not k.upper().startswith("SIGN_PREFLIGHT_")}
    return environment | {f"SIGN_PREFLIGHT_{k.upper()}": str(v) for k, v in settings.items()}


@contextmanager
def running(module: str, folder: Path, **settings: object) -> Iterator[Server]:
    """Start ``module`` with ``settings`` and yield it once it answers."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    # A developer's own jobs are none of the tests' business.
    kept = {"jobs_path": folder / f"{module}.sqlite3"}
    environment = environment_of({**kept, **settings, "port": port})
    log = folder / f"{module}.log"
    with log.open("wb") as sink:
        process = subprocess.Popen([sys.executable, "-m", module], cwd=ROOT, env=environment, stderr=sink)
    server = Server(process, f"http://127.0.0.1:{port}", log)
    try:
        _await(server)
        yield server
    finally:
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _await(server: Server) -> None:
    end = time.monotonic() + START_SECONDS
    while time.monotonic() < end and server.process.poll() is None:
        # Not with a client of httpx: making one takes longer than the service needs to answer.
        line = http.client.HTTPConnection("127.0.0.1", urlsplit(server.url).port, timeout=30)
        try:
            line.request("GET", "/readyz")
            if line.getresponse().status == 200:
                return
        except (OSError, http.client.HTTPException):
            time.sleep(0.02)
        finally:
            line.close()
    raise RuntimeError(f"the service did not start:\n{server.log.read_text()[-3000:]}")


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The service as it is, with its stock settings."""
    with running("service", tmp_path_factory.mktemp("service")) as one:
        yield one


@pytest.fixture
def client(server: Server) -> Iterator[httpx.Client]:
    """A client of the stock service, which has to serve still when the test is over."""
    with server.client() as one:
        yield one
        assert one.post("/v1/reports", files={"artwork": fresh()}).status_code == 200


@pytest.fixture(scope="session")
def small_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A service with narrow limits, whose workers misbehave on request."""
    folder = tmp_path_factory.mktemp("small")
    limits = {
        "workers": 2,
        "queue": 1,
        "queue_seconds": 20,
        "work_seconds": 3,
        "memory_mb": 512,
        "upload_bytes": 200_000,
        "job_bytes": 2000,
        "receive_seconds": 1.5,
        "answer_bytes": 1_000_000,
        "tasks_per_worker": 1000,
        "cache_bytes": 0,
    }
    with running("tests.service.serving", folder, **limits) as one:
        yield one


@pytest.fixture
def small(small_server: Server) -> Iterator[httpx.Client]:
    """A client of the small service, which has to serve still when the test is over."""
    with small_server.client() as one:
        yield one
        assert one.post("/v1/reports", files={"artwork": SVG}).status_code == 200


def assert_problem(answer: httpx.Response, slug: str, status: int) -> dict[str, Any]:
    """Check ``answer`` against RFC 9457 and return its members.

    Section 3: the media type; 3.1.1 type is a URI reference; 3.1.2 status repeats the answer's own;
    3.1.3 title is the type's, 3.1.5 instance is a URI of this occurrence.
    """
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    problem: dict[str, Any] = answer.json()
    assert set(problem) == {"type", "title", "status", "detail", "instance", "code", "advice"}
    assert problem["type"] == f"/problems/{slug}"
    assert problem["status"] == status
    assert problem["instance"] == f"urn:uuid:{answer.headers['x-request-id']}"
    assert all(isinstance(problem[name], str) and problem[name] for name in problem if name != "status")
    return problem
