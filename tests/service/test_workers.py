"""Workers are stopped, crash or run out of memory, and no other request notices."""

from __future__ import annotations

import os
import re
import signal
import threading
import time
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest

from tests.service.conftest import SVG, Server, assert_problem, running
from tests.service.hogs import SECRET


def hog(client: httpx.Client, way: str) -> httpx.Response:
    return client.post("/v1/reports", files={"artwork": f"HOG:{way}".encode()})


def send(server: Server, artwork: bytes) -> httpx.Response:
    with server.client() as client:
        return client.post("/v1/reports", files={"artwork": artwork})


def wait_until(condition: object, seconds: float = 20.0) -> None:
    assert callable(condition)
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it never came to pass"
        time.sleep(0.02)


def test_a_calculation_without_end_is_stopped_at_the_time_limit(small: httpx.Client) -> None:
    problem = assert_problem(hog(small, "cpu"), "time-limit", 504)
    assert "3 seconds" in problem["detail"]


def test_memory_without_end_is_stopped_at_the_memory_limit(small: httpx.Client) -> None:
    problem = assert_problem(hog(small, "memory"), "memory-limit", 422)
    assert "512 MiB" in problem["detail"]


def test_memory_that_ends_in_the_c_library_is_the_memory_limit_too(small: httpx.Client) -> None:
    assert_problem(hog(small, "loader"), "memory-limit", 422)


@pytest.mark.parametrize("way", ["segfault", "exit", "flood"])
def test_a_worker_that_ends_or_floods_fails_its_own_request(small: httpx.Client, way: str) -> None:
    assert_problem(hog(small, way), "worker-crashed", 500)


def test_an_exception_is_a_problem_and_its_text_stays_out_of_the_log(
    small_server: Server, small: httpx.Client
) -> None:
    answer = hog(small, "exception")
    assert_problem(answer, "internal-error", 500)
    assert SECRET not in answer.text
    mine = [e for e in small_server.entries() if e.get("request_id") == answer.headers["x-request-id"]]
    assert any(e["event"] == "failure" and e["error"] == "ValueError" and e["trace"] for e in mine)
    assert SECRET not in small_server.log.read_text()


def test_the_system_holds_workers_to_their_limits(small: httpx.Client) -> None:
    assert hog(small, "limits").text == "write open"


def test_a_worker_killed_in_the_middle_fails_its_request_and_no_other(small_server: Server) -> None:
    with ThreadPoolExecutor(1) as threads:
        victim: Future[httpx.Response] = threads.submit(send, small_server, b"HOG:sleep")
        wait_until(lambda: tasks_logged(small_server) == 1)
        # One of the two sleeps in its task, so every answer comes from the other, which says who it is.
        with small_server.client() as client:
            awake = int(hog(client, "pid").text)
        wait_until(lambda: len(small_server.workers() - {awake}) == 1)
        (asleep,) = small_server.workers() - {awake}
        os.kill(asleep, signal.SIGKILL)
        assert_problem(victim.result(), "worker-crashed", 500)
    assert send(small_server, SVG).status_code == 200
    wait_until(lambda: len(small_server.workers()) == 2)
    assert asleep not in small_server.workers()


def test_idle_workers_that_were_killed_are_replaced_before_they_are_used(small_server: Server) -> None:
    wait_until(lambda: len(small_server.workers()) == 2)
    old = small_server.workers()
    for pid in old:
        os.kill(pid, signal.SIGKILL)
    wait_until(lambda: not any(Path(f"/proc/{pid}").exists() for pid in old))
    assert send(small_server, SVG).status_code == 200
    wait_until(lambda: len(small_server.workers()) == 2)
    assert not old & small_server.workers()


def test_the_service_outlives_its_fork_server(tmp_path: Path) -> None:
    with running("tests.service.serving", tmp_path, workers=2) as server:
        old = server.workers()
        status = Path(f"/proc/{min(old)}/status").read_text()
        (parent,) = re.findall(r"^PPid:\s+(\d+)$", status, re.MULTILINE)
        assert int(parent) != server.process.pid
        os.kill(int(parent), signal.SIGKILL)
        assert send(server, SVG).status_code == 200
        wait_until(lambda: len(server.workers() - old) == 2)
        assert send(server, SVG).status_code == 200


def test_past_the_queue_requests_are_refused_and_told_when_to_come_back(small_server: Server) -> None:
    # Two workers and a queue of one hold three of these; a fourth would have to wait behind them.
    with ThreadPoolExecutor(7) as threads:
        answers = list(threads.map(lambda _: send(small_server, b"HOG:sleep"), range(7)))
    held = [one for one in answers if one.status_code != 503]
    refused = [one for one in answers if one.status_code == 503]
    assert 1 <= len(held) <= 3
    for one in held:
        assert_problem(one, "time-limit", 504)
    for one in refused:
        assert_problem(one, "busy", 503)
        # RFC 9110, 10.2.3: Retry-After is a number of seconds or a date.
        assert int(one.headers["retry-after"]) > 0
    assert send(small_server, SVG).status_code == 200


def tasks_logged(server: Server) -> int:
    """Return how many of the last tasks are not answered yet."""
    entries = server.entries()
    begun = {e["request_id"] for e in entries if e["event"] == "task"}
    ended = {e["request_id"] for e in entries if e["event"] == "request"}
    return len(begun - ended)


def test_a_client_that_goes_away_frees_its_worker(small_server: Server) -> None:
    wait_until(lambda: len(small_server.workers()) == 2)
    before = small_server.workers()
    with small_server.client() as client, pytest.raises(httpx.ReadTimeout):
        client.post("/v1/reports", files={"artwork": b"HOG:sleep"}, timeout=0.5)
    wait_until(lambda: len(before - small_server.workers()) == 1)
    assert send(small_server, SVG).status_code == 200


def test_many_at_once_each_get_their_own_answer(server: Server) -> None:
    def one(number: int) -> tuple[int, float]:
        artwork = SVG.replace(b'width="300mm" height="100mm"', b'width="%dmm"' % number).replace(
            b' viewBox="0 0 300 100"', b' height="%dmm" viewBox="0 0 300 100"' % number
        )
        with server.client() as client:
            while (answer := client.post("/v1/reports", files={"artwork": artwork})).status_code == 503:
                time.sleep(0.05)
            return number, answer.json()["measures"]["width_mm"]

    with ThreadPoolExecutor(8) as threads:
        for number, width in threads.map(one, range(100, 140)):
            assert width == pytest.approx(number)


def test_workers_are_recycled(tmp_path: Path) -> None:
    with running("tests.service.serving", tmp_path, workers=1, tasks_per_worker=2, cache_bytes=0) as server:
        with server.client() as client:
            pids = [hog(client, "pid").text for _ in range(6)]
        assert len(set(pids)) >= 3


def test_when_the_service_ends_its_workers_end(tmp_path: Path) -> None:
    with running("tests.service.serving", tmp_path, workers=2, work_seconds=3) as server:
        workers = server.workers()
        assert len(workers) == 2
        gone = threading.Thread(target=_swallow, args=(server,), daemon=True)
        gone.start()
        wait_until(lambda: tasks_logged(server) == 1)
    wait_until(lambda: not any(Path(f"/proc/{pid}").exists() for pid in workers))


def _swallow(server: Server) -> None:
    # The server is stopped while this request is being worked on: how it ends is not the test's concern.
    try:
        send(server, b"HOG:sleep")
    except httpx.TransportError:
        return
