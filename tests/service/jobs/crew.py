"""A service, workers and a Redis of their own, each a process that can be killed at any moment."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

import httpx

from tests.service.conftest import ROOT, environment_of

SECONDS = 60.0
REDIS = shutil.which("redis-server")


def free_port() -> int:
    """Return a port of the loopback that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def kill(process: subprocess.Popen[bytes]) -> None:
    """End a process as a power cut would, and wait until it is gone."""
    process.kill()
    process.wait()


def end(process: subprocess.Popen[bytes]) -> None:
    """Ask a process to end; kill it where it does not."""
    process.send_signal(signal.SIGTERM)
    try:
        process.wait(20)
    except subprocess.TimeoutExpired:
        kill(process)


@dataclass
class RedisServer:
    """A real Redis that keeps an append-only file in ``folder``."""

    folder: Path
    port: int = field(default_factory=free_port)
    process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def start(self) -> None:
        """Start it, or start it again with what it has kept."""
        assert REDIS is not None
        options = ["--port", str(self.port), "--bind", "127.0.0.1", "--dir", str(self.folder), "--save", ""]
        # Every write is on the disk before it is answered: what is accepted survives also a power cut.
        options += ["--appendonly", "yes", "--appendfsync", "always", "--logfile", "redis.log"]
        self.process = subprocess.Popen([REDIS, *options], cwd=self.folder)
        until = time.monotonic() + SECONDS
        while not self._answers():
            assert time.monotonic() < until, "redis-server did not start"
            time.sleep(0.05)

    def _answers(self) -> bool:
        try:
            with socket.create_connection(("127.0.0.1", self.port), 1) as connection:
                connection.sendall(b"PING\r\n")
                return connection.recv(16).startswith(b"+PONG")
        except OSError:
            return False

    def kill(self) -> None:
        assert self.process is not None
        kill(self.process)

    def stop(self) -> None:
        if self.process is not None:
            end(self.process)


class Crew:
    """One service and any number of workers on the same store."""

    def __init__(self, folder: Path, **settings: object) -> None:
        self._folder = folder
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        stock = {"jobs_path": folder / "jobs.sqlite3", "job_lease_seconds": 2, "workers": 1}
        self._environment = environment_of({**stock, **settings, "port": self.port})
        self._started = 0
        self.server: subprocess.Popen[bytes] | None = None
        self.workers: list[subprocess.Popen[bytes]] = []
        self._sinks: list[IO[bytes]] = []

    def __enter__(self) -> Crew:
        return self

    def __exit__(self, *_: object) -> None:
        for process in (*self.workers, *([self.server] if self.server else [])):
            if process.poll() is None:
                end(process)
        for sink in self._sinks:
            sink.close()

    def _start(self, module: str, **changes: str) -> subprocess.Popen[bytes]:
        self._started += 1
        sink = (self._folder / f"{self._started:03}-{module}.log").open("wb")
        self._sinks.append(sink)
        return subprocess.Popen(
            [sys.executable, "-m", module], cwd=ROOT, env=self._environment | changes, stderr=sink
        )

    def start_server(self, module: str = "service") -> None:
        """Start the service and wait until it answers."""
        self.server = self._start(module)
        until = time.monotonic() + SECONDS
        while not self._answers():
            assert self.server.poll() is None, self.logs()[-3000:]
            assert time.monotonic() < until, self.logs()[-3000:]
            time.sleep(0.1)

    def _answers(self) -> bool:
        try:
            return httpx.get(f"{self.url}/readyz", trust_env=False).status_code == httpx.codes.OK
        except httpx.TransportError:
            return False

    def start_worker(self, module: str = "service.worker") -> subprocess.Popen[bytes]:
        """Start a worker; it need not be ready yet."""
        # A worker works, also where the service was told not to.
        worker = self._start(module, SIGN_PREFLIGHT_JOB_WORKERS="1")
        self.workers.append(worker)
        return worker

    def kill_server(self) -> None:
        assert self.server is not None
        kill(self.server)

    def client(self) -> httpx.Client:
        return httpx.Client(base_url=self.url, timeout=30.0, trust_env=False)

    def logs(self) -> str:
        """Return all logs so far."""
        return "".join(path.read_text("utf-8") for path in sorted(self._folder.glob("*.log")))

    def wait(self, job_id: str, seconds: float = SECONDS, **wanted: Any) -> dict[str, Any]:
        """Return the job once it is in the wanted ``state`` (stock: done)."""
        state = wanted.get("state", "done")
        until = time.monotonic() + seconds
        while True:
            try:
                with self.client() as client:
                    job: dict[str, Any] = client.get(f"/v1/jobs/{job_id}").json()
                if job.get("state") == state:
                    return job
            except httpx.TransportError:
                job = {}
            assert time.monotonic() < until, f"{job}\n{self.logs()[-3000:]}"
            time.sleep(0.1)


def alive(pid: int) -> bool:
    """Return whether there is a process of this id."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True
