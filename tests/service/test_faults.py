"""Processes are killed, clients go away and the service is ended while requests are running."""

from __future__ import annotations

import asyncio
import os
import random
import re
import signal
import socket
import struct
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.service.conftest import Server, fresh, running
from tests.service.firing import Hit, Shot, fire
from tests.service.test_load import REAL, address, expected
from tests.service.test_workers import send, wait_until

AT_REST = {"sign_preflight_workers_idle": 2.0, "sign_preflight_queue": 0.0}


def shots(count: int) -> list[Shot]:
    """Return real uploads in turn."""
    real = list(REAL.items())
    return [Shot(*real[number % len(real)]) for number in range(count)]


def gauges(server: Server) -> dict[str, float]:
    """Return all counters without labels."""
    with server.client() as client:
        text = client.get("/metrics").text
    return {name: float(value) for name, value in re.findall(r"^(\w+) (\S+)$", text, re.MULTILINE)}


def open_files(server: Server) -> int:
    return len(list(Path(f"/proc/{server.process.pid}/fd").iterdir()))


def test_workers_killed_at_random_fail_their_own_requests_only(tmp_path: Path) -> None:
    kills = 12
    chance = random.Random(3)
    with running("service", tmp_path, workers=2, cache_bytes=0) as server:
        over = threading.Event()
        killed = 0

        def killer() -> None:
            nonlocal killed
            while killed < kills and not over.wait(chance.uniform(0.02, 0.2)):
                for pid in chance.sample(sorted(server.workers()), 1):
                    try:
                        os.kill(pid, signal.SIGKILL)
                        killed += 1
                    except ProcessLookupError:
                        # It was being replaced anyway.
                        continue

        hits: list[Hit] = []
        with ThreadPoolExecutor(1) as threads:
            work = threads.submit(killer)
            while killed < kills:
                hits += asyncio.run(fire(server.url, shots(30), 8))
            over.set()
            work.result()
        reports = {name: expected(artwork) for name, artwork in REAL.items()}
        failed = [hit for hit in hits if hit.status != 200]
        assert {(hit.status, hit.slug) for hit in failed} <= {(500, "worker-crashed")}
        assert len(failed) <= killed
        assert all(hit.body == reports[hit.shot.name] for hit in hits if hit.status == 200)
        wait_until(lambda: gauges(server).items() >= AT_REST.items())
        assert send(server, fresh()).status_code == 200


def test_clients_that_go_away_at_any_moment_leave_nothing_behind(tmp_path: Path) -> None:
    chance = random.Random(11)
    request = Shot("sign", REAL["gate-board.svg"]).request()
    with running("service", tmp_path, workers=2, cache_bytes=0) as server:
        before = open_files(server)
        for number in range(60):
            with socket.create_connection(address(server), timeout=20) as line:
                # In the middle of the upload, during the work, or in the middle of the answer.
                line.sendall(request[: chance.choice((200, len(request) // 2, len(request)))])
                if number % 3 == 0:
                    time.sleep(chance.uniform(0, 0.1))
                # A reset in place of an orderly end (socket(7), SO_LINGER of no seconds).
                if number % 2:
                    line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        wait_until(lambda: gauges(server).items() >= AT_REST.items())
        assert gauges(server)["sign_preflight_held_bytes"] == 0
        wait_until(lambda: open_files(server) <= before)
        assert not [entry for entry in server.entries() if entry["level"] == "error"]
        assert send(server, fresh()).status_code == 200


def test_sigterm_under_load_answers_what_it_has_and_leaves_no_process(tmp_path: Path) -> None:
    with running("service", tmp_path, workers=2, cache_bytes=0) as server:
        everyone = server.everyone()
        with ThreadPoolExecutor(1) as threads:
            load = threads.submit(lambda: asyncio.run(until_refused(server)))
            time.sleep(0.5)
            everyone |= server.everyone()
            server.process.send_signal(signal.SIGTERM)
            hits = load.result()
        assert server.process.wait(20) in (0, -signal.SIGTERM)
        reports = {name: expected(artwork) for name, artwork in REAL.items()}
        done = [hit for hit in hits if hit.status == 200]
        assert done
        assert all(hit.body == reports[hit.shot.name] for hit in done)
        # Answered or told, or sent into a connection that was closed before the request was read.
        assert {(hit.status, hit.slug if hit.status else "") for hit in hits} <= {
            (200, ""),
            (503, "busy"),
            (0, ""),
        }
        wait_until(lambda: not any(Path(f"/proc/{pid}").exists() for pid in everyone))
        assert not [entry for entry in server.entries() if entry["event"] == "failure"]


async def until_refused(server: Server) -> list[Hit]:
    """Send real uploads over eight connections until nobody listens."""
    hits: list[Hit] = []

    async def gunner() -> None:
        try:
            while True:
                hits.extend(await fire(server.url, shots(1), 1, tries=1))
        except OSError:
            return

    await asyncio.gather(*(gunner() for _ in range(8)))
    return hits
