"""Much at once: real and hostile uploads together, slow senders, connections without end; nobody is forgotten."""

from __future__ import annotations

import asyncio
import gc
import http.client
import json
import random
import socket
import subprocess
import sys
import time
import weakref
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from service import tasks
from service.server import SPARE_CONNECTIONS, SPARE_FILES
from service.uploads import _Form
from tests.service import hostile
from tests.service.conftest import ROOT, SVG, Server, assert_problem, fresh, running
from tests.service.firing import BOUNDARY, Hit, Shot, fire, weight
from tests.service.test_ending import read_all
from tests.service.test_workers import hog, send, wait_until

REAL = {path.name: path.read_bytes() for path in sorted((ROOT / "examples" / "artwork").glob("*.svg"))}
REFUSALS = {"unreadable-artwork", "artwork-limit", "time-limit", "memory-limit"}
UPLOADS = 150
HELD_MB = 60
"""Far less than what the hostile uploads take together, and than one of them unpacked."""


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A service with a short queue, so that a crowd is told to come back."""
    folder = tmp_path_factory.mktemp("loaded")
    limits = {"workers": 2, "queue": 8, "work_seconds": 2, "queue_seconds": 30, "cache_bytes": 0}
    with running("service", folder, **limits) as one:
        yield one


def expected(artwork: bytes) -> bytes:
    """Return the report that the library gives for a shot with ``artwork``."""
    return tasks.attempt(
        tasks.Task("report-json", artwork, "sign.svg"), tasks.work_named("service.library:run")
    ).body


def test_150_mixed_uploads_are_each_answered_and_rightly(loaded: Server) -> None:
    evil = [Shot(name, artwork) for name, artwork in {**hostile.uploads(), **hostile.slow()}.items()]
    real = list(REAL.items())
    good = [Shot(*real[number % len(real)]) for number in range(UPLOADS - len(evil))]
    shots = evil + good
    random.Random(5).shuffle(shots)
    before = weight([loaded.process.pid])
    hits = asyncio.run(fire(loaded.url, shots, 32))

    assert [hit.shot for hit in hits] == shots
    reports = {name: expected(artwork) for name, artwork in REAL.items()}
    for hit in hits:
        if hit.shot.name in REAL:
            assert (hit.status, hit.body) == (200, reports[hit.shot.name]), hit.shot.name
        else:
            assert_judged_or_refused(hit)
    # More came at once than the queue holds.
    assert any(hit.tries > 1 for hit in hits)
    # Under load, too, what is received is let go.
    assert weight([loaded.process.pid]) < before + HELD_MB
    assert send(loaded, SVG).status_code == 200


def assert_judged_or_refused(hit: Hit) -> None:
    what = f"{hit.shot.name}: {hit.status} {hit.body[:300]!r}"
    if hit.status == 200:
        assert json.loads(hit.body)["findings"], what
    else:
        assert hit.slug in REFUSALS, what
        assert len(json.loads(hit.body)["advice"]) > 10, what


def test_slow_senders_are_cut_off_while_others_are_served(small_server: Server) -> None:
    head = (
        b"POST /v1/reports HTTP/1.1\r\nHost: x\r\nContent-Type: image/svg+xml\r\nContent-Length: 1000\r\n\r\n"
    )
    with ExitStack() as stack:
        senders = []
        for _ in range(40):
            line = stack.enter_context(socket.create_connection(address(small_server), timeout=20))
            line.sendall(head + b"<svg")
            senders.append(line)
        hits = asyncio.run(fire(small_server.url, [Shot("sign", SVG)] * 20, 2))
        assert [hit.status for hit in hits] == [200] * 20
        for line in senders:
            answer = read_all(line)
            assert answer.startswith(b"HTTP/1.1 408 ")
            assert b"/problems/receive-timeout" in answer


def address(server: Server) -> tuple[str, int]:
    found = urlsplit(server.url)
    assert found.hostname is not None
    assert found.port is not None
    return found.hostname, found.port


def test_connections_past_the_most_are_told_so_and_then_taken_again(tmp_path: Path) -> None:
    with running("service", tmp_path, workers=1, connections=20) as server:
        with ExitStack() as stack:
            lines = []
            for _ in range(20):
                lines.append(stack.enter_context(socket.create_connection(address(server), timeout=20)))
            with server.client() as client:
                answer = client.post("/v1/reports", files={"artwork": SVG})
                problem = assert_problem(answer, "busy", 503)
                assert problem["code"] == "connections"
                assert int(answer.headers["retry-after"]) > 0
            # Far past it nobody is answered: what would tell them costs a connection itself.
            crowd = []
            for _ in range(SPARE_CONNECTIONS + 20):
                crowd.append(stack.enter_context(socket.create_connection(address(server), timeout=20)))
            assert crowd[-1].recv(1) == b""
            # Those that were there first are served.
            lines[0].sendall(b"GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n")
            assert lines[0].recv(1000).startswith(b"HTTP/1.1 200 ")
        wait_until(lambda: send(server, fresh()).status_code == 200)


@pytest.mark.parametrize(
    ("limit", "wanted", "possible"),
    [
        ((256, 4096), 1000, 1000),
        ((300, 300), 1000, 300 - SPARE_CONNECTIONS - SPARE_FILES),
        ((100, 100), 1000, 1),
    ],
)
def test_connections_are_no_more_than_open_files_allow(
    limit: tuple[int, int], wanted: int, possible: int
) -> None:
    code = (
        f"import resource; resource.setrlimit(resource.RLIMIT_NOFILE, {limit});"
        f"from service.server import connections_possible; print(connections_possible({wanted}))"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True, cwd=ROOT)
    assert int(told.stdout) == possible


def kept_answer(server: Server) -> str:
    """Have an answer of 2 MB kept; return its path."""
    with server.client() as client:
        answer = hog(client, "flood")
        assert len(answer.content) == 2_000_000
        return str(answer.headers["content-location"])


def test_a_client_that_never_reads_is_cut_off_and_one_that_reads_slowly_is_not(tmp_path: Path) -> None:
    times = 20
    with running("tests.service.serving", tmp_path, workers=1, send_seconds=1) as server:
        asked = f"GET {kept_answer(server)} HTTP/1.1\r\nHost: x\r\n".encode()
        many = (asked + b"\r\n") * (times - 1) + asked + b"Connection: close\r\n\r\n"

        with socket.create_connection(address(server), timeout=20) as idle:
            idle.sendall(many)
            wait_until(lambda: any(entry["event"] == "answer-not-taken" for entry in server.entries()))
            # What the two systems had taken over is still there; the rest was thrown away.
            assert len(read_all(idle)) < 2_000_000 * times

        with socket.create_connection(address(server), timeout=20) as slow:
            slow.sendall(many)
            slowly = bytearray()
            while chunk := slow.recv(1 << 20):
                slowly += chunk
                if len(slowly) < 20_000_000:
                    time.sleep(0.1)
        assert slowly.count(b"HTTP/1.1 200 OK") == times
        assert len(slowly) > 2_000_000 * times


def test_a_connection_is_kept_past_the_time_after_which_a_busy_service_wants_to_be_asked_again(
    server: Server,
) -> None:
    line = http.client.HTTPConnection(*address(server), timeout=20)
    line.request("GET", "/healthz")
    line.getresponse().read()
    first = line.sock
    # RFC 9112, 9.3: connections persist; five seconds is what Retry-After says.
    time.sleep(5.5)
    line.request("GET", "/healthz")
    assert line.getresponse().status == 200
    assert line.sock is first
    line.close()


def test_an_upload_is_let_go_as_soon_as_nobody_uses_it() -> None:
    gc.collect()
    gc.disable()
    try:
        form = _Form(BOUNDARY.encode(), {"artwork": 10_000, "job": 100})
        request = Shot("sign", SVG).request()
        form.feed(request[request.index(b"\r\n\r\n") + 4 :])
        assert form.upload().artwork == SVG
        parts = weakref.ref(form._parts)
        del form
        assert parts() is None
    finally:
        gc.enable()
