"""Compressed bodies, deadlines, slow headers, counters, logs, and bounds on what is held."""

from __future__ import annotations

import email
import email.policy
import gzip
import json
import logging
import re
import socket
import subprocess
import sys
import time
import tracemalloc
import zlib
from pathlib import Path

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families

from preflight.report.model import Report
from service import preferences
from service.coding import PIECE_BYTES, Gunzip
from service.held import Held
from service.log import PlainLines
from service.problems import ProblemError
from tests.service.conftest import ROOT, SVG, Server, assert_problem, running
from tests.service.test_workers import hog, wait_until

RAW = {"content-type": "image/svg+xml"}


def test_a_gzip_body_is_taken_like_a_plain_one(client: httpx.Client) -> None:
    # RFC 9110, 8.4.1.3.
    plain = client.post("/v1/reports", content=SVG, headers=RAW)
    for coding in ("gzip", "x-gzip", "GZIP"):
        headers = {**RAW, "content-encoding": coding}
        packed = client.post("/v1/reports", content=gzip.compress(SVG), headers=headers)
        assert (packed.status_code, packed.content) == (200, plain.content)
    form = httpx.Request("POST", "http://x", files={"artwork": SVG})
    headers = {"content-type": form.headers["content-type"], "content-encoding": "gzip"}
    assert client.post("/v1/reports", content=gzip.compress(form.read()), headers=headers).status_code == 200


@pytest.mark.parametrize("coding", ["br", "zstd", "deflate", "gzip, gzip"])
def test_other_codings_are_refused_with_those_taken(client: httpx.Client, coding: str) -> None:
    answer = client.post("/v1/reports", content=SVG, headers={**RAW, "content-encoding": coding})
    assert_problem(answer, "unsupported-media-type", 415)
    # RFC 9110, 12.5.3 and 15.5.16.
    assert answer.headers["accept-encoding"] == "gzip, identity"


PACKED = gzip.compress(SVG)


@pytest.mark.parametrize(
    "body",
    [
        SVG,
        PACKED[:-1],
        PACKED[:-9],
        PACKED[:5],
        PACKED + b"x",
        PACKED * 2,
        PACKED[:-8] + bytes(8),
        zlib.compress(SVG),
    ],
    ids=["plain", "short", "shorter", "header", "more", "twice", "checksum", "zlib"],
)
def test_a_damaged_gzip_body_is_a_problem(client: httpx.Client, body: bytes) -> None:
    answer = client.post("/v1/reports", content=body, headers={**RAW, "content-encoding": "gzip"})
    assert assert_problem(answer, "malformed-request", 400)["code"] == "gzip"


def test_a_body_that_unpacks_past_the_limit_is_refused(small: httpx.Client) -> None:
    # 200 kB are taken; this is 50 MB in about 50 kB.
    bomb = gzip.compress(bytes(50_000_000))
    assert len(bomb) < 100_000
    answer = small.post("/v1/reports", content=bomb, headers={**RAW, "content-encoding": "gzip"})
    assert_problem(answer, "upload-too-large", 413)


def test_a_gzip_body_is_never_unpacked_far_ahead() -> None:
    bomb = gzip.compress(bytes(200_000_000))

    class FullError(Exception):
        pass

    pieces = []

    def feed(piece: bytes) -> None:
        pieces.append(len(piece))
        if sum(pieces) > 1_000_000:
            raise FullError

    tracemalloc.start()
    with pytest.raises(FullError):
        Gunzip(feed)(bomb)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert max(pieces) <= PIECE_BYTES
    assert peak < 4 * PIECE_BYTES + len(bomb)


@pytest.mark.parametrize("step", [1, 7, 1000, 10_000_000])
def test_gzip_comes_out_whole_however_it_arrives(step: int) -> None:
    data = bytes(range(256)) * 3000 + bytes(1_000_000)
    packed = gzip.compress(data)
    out = bytearray()
    gunzip = Gunzip(out.extend)
    for start in range(0, len(packed), step):
        gunzip(packed[start : start + step])
    gunzip.finish()
    assert bytes(out) == data


@pytest.mark.parametrize(
    ("header", "seconds"),
    [
        # RFC 7240, 2 and 4.3; its own examples among them.
        (None, None),
        ("wait=10", 10),
        ("respond-async, wait=10", 10),
        ("respond-async, wait=100, handling=lenient", 100),
        ("Wait=5; foo=bar", 5),
        ('wait="7"', 7),
        ("wait=3, wait=9", 3),
        ("wait=0", None),
        ("wait", None),
        ("wait=soon", None),
        ("wait=-1", None),
        ("waiting=4", None),
        ("wait=99999999999999", None),
    ],
)
def test_the_wait_preference(header: str | None, seconds: int | None) -> None:
    assert preferences.wait(header) == seconds


def test_a_client_that_waits_less_than_the_limit_is_answered_by_then(small: httpx.Client) -> None:
    answer = small.post("/v1/reports", files={"artwork": b"HOG:sleep"}, headers={"prefer": "wait=1"})
    problem = assert_problem(answer, "time-limit", 504)
    assert "after 1 seconds" in problem["detail"]
    # It never lengthens the limit.
    answer = small.post("/v1/reports", files={"artwork": b"HOG:sleep"}, headers={"prefer": "wait=600"})
    assert "after 3 seconds" in assert_problem(answer, "time-limit", 504)["detail"]
    answer = small.post("/v1/reports", files={"artwork": SVG}, headers={"prefer": "wait=2"})
    # RFC 7240, 3.
    assert (answer.status_code, answer.headers["preference-applied"]) == (200, "wait=2")


def test_a_report_and_its_picture_come_of_one_check(server: Server, client: httpx.Client) -> None:
    headers = {**RAW, "accept": "multipart/form-data"}
    answer = client.post("/v1/reports?width=640&words=false", content=SVG, headers=headers)
    assert answer.status_code == 200
    # RFC 7578, read by the standard library's parser of MIME messages.
    head = f"Content-Type: {answer.headers['content-type']}\r\n\r\n".encode()
    message = email.message_from_bytes(head + answer.content, policy=email.policy.HTTP)
    parts = {str(part.get_param("name", header="content-disposition")): part for part in message.iter_parts()}
    assert list(parts) == ["report", "picture"]
    report = client.post("/v1/reports", content=SVG, headers=RAW)
    picture = client.post("/v1/pictures?width=640&words=false", content=SVG, headers=RAW)
    assert parts["report"].get_content_type() == "application/json"
    assert parts["report"].get_payload(decode=True) == report.content
    assert parts["picture"].get_content_type() == "image/svg+xml"
    assert parts["picture"].get_payload(decode=True) == picture.content
    assert Report.model_validate_json(report.content).source.size_bytes == len(SVG)
    own = answer.headers["x-request-id"]
    assert [e["kind"] for e in server.entries() if e.get("request_id") == own and e["event"] == "task"] == [
        "report-form"
    ]


def exchange(server: Server, *pieces: bytes, pause: float) -> tuple[bytes, float]:
    """Send ``pieces`` with a pause after each, and return what came back and after how many seconds."""
    port = int(server.url.rsplit(":", 1)[1])
    begun = time.monotonic()
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
        for piece in pieces:
            try:
                line.sendall(piece)
            except OSError:
                break
            time.sleep(pause)
        got = bytearray()
        try:
            while chunk := line.recv(65536):
                got += chunk
        except ConnectionResetError:
            pass
    return bytes(got), time.monotonic() - begun


def test_headers_that_never_end_are_given_up(tmp_path: Path) -> None:
    with running("service", tmp_path, header_seconds=1, workers=1) as server:
        slow = [b"GET /healthz HTTP/1.1\r\n", *(b"X-%d: y\r\n" % n for n in range(12))]
        answer, _ = exchange(server, *slow, pause=0.2)
        assert answer.startswith(b"HTTP/1.1 408 ")
        # A connection without a word is closed without one.
        assert exchange(server, pause=0)[0] == b""
        # The second request of a connection is held to it too.
        first = b"GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n"
        answer, _ = exchange(server, first, *slow, pause=0.2)
        assert answer.startswith(b"HTTP/1.1 200 ")
        assert b"HTTP/1.1 408 " in answer
        with server.client() as client:
            assert client.get("/healthz").status_code == 200
            time.sleep(1.3)
            # A connection that pauses between requests is no late one.
            assert client.get("/healthz").status_code == 200


def samples(text: str) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    """Read the exposition format with the reference library's own parser."""
    return {
        (one.name, tuple(sorted(one.labels.items()))): one.value
        for family in text_string_to_metric_families(text)
        for one in family.samples
    }


def test_counters_count(small: httpx.Client) -> None:
    def read() -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
        answer = small.get("/metrics")
        assert answer.headers["content-type"].startswith("text/plain; version=0.0.4")
        return samples(answer.text)

    before = read()
    thin = SVG.replace(b"h260v60H20z", b"h260v.1H20z").replace(b'id="bar"', b'id="thin"')
    report = small.post("/v1/reports", files={"artwork": thin}).json()
    codes = [finding["code"] for finding in report["findings"]]
    assert codes
    hog(small, "exit")
    hog(small, "cpu")
    hog(small, "memory")
    small.get("/none/<script>")
    after = read()

    def grown(name: str, **labels: str) -> float:
        at = (name, tuple(sorted(labels.items())))
        return after.get(at, 0.0) - before.get(at, 0.0)

    requests = {"method": "POST", "route": "/v1/reports"}
    assert grown("sign_preflight_requests_total", **requests, status="200") == 1
    assert grown("sign_preflight_requests_total", **requests, status="500") == 1
    assert grown("sign_preflight_requests_total", method="GET", route="none", status="404") == 1
    assert grown("sign_preflight_request_seconds_count", route="/v1/reports") == 4
    for cause in ("crash", "time", "memory"):
        assert grown("sign_preflight_workers_ended_total", cause=cause) == 1
    for code in set(codes):
        assert grown("sign_preflight_findings_total", rule=code) == codes.count(code)
    assert after["sign_preflight_queue", ()] == 0
    # Those that were ended are being replaced at this moment.
    wait_until(lambda: read()["sign_preflight_workers_idle", ()] == 2)
    assert after["process_resident_memory_bytes", ()] > 0


def test_bytes_of_all_requests_together_are_bounded() -> None:
    held = Held(100)
    with held.account() as one:
        one.add(60)
        with held.account() as other:
            other.add(30)
            with pytest.raises(ProblemError) as caught:
                other.add(20)
        assert caught.value.kind.slug == "busy"
        assert held.size == 60
    assert held.size == 0


def test_more_artwork_than_the_service_may_hold_is_refused_as_busy(tmp_path: Path) -> None:
    # One of these is received and holds all but 48 kB of what may be held.
    settings = {"held_bytes": 1_048_576, "upload_bytes": 1_000_000, "receive_seconds": 60, "workers": 1}
    with running("service", tmp_path, **settings) as server, server.client() as client:
        port = int(server.url.rsplit(":", 1)[1])
        with socket.create_connection(("127.0.0.1", port)) as line:
            head = b"POST /v1/reports HTTP/1.1\r\nHost: x\r\nContent-Type: image/svg+xml\r\nContent-Length: 1000000\r\n"
            line.sendall(head + b"\r\n" + b" " * 999_000)
            wait_until(
                lambda: samples(client.get("/metrics").text)["sign_preflight_held_bytes", ()] == 999_000
            )
            artwork = SVG + b" " * 60_000

            def refused() -> bool:
                answer = client.post("/v1/reports", content=artwork, headers=RAW)
                return answer.status_code == 503 and answer.json()["code"] == "memory"

            assert refused()
            assert client.post("/v1/reports", content=SVG, headers=RAW).status_code == 200
        wait_until(lambda: not refused())


def test_the_services_own_process_does_not_load_the_library() -> None:
    # What keeps its start short and its memory small.
    code = (
        "import sys, service.app, service.server;"
        "print([m for m in ('numpy', 'shapely', 'preflight') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_plain_log_lines_are_lines(tmp_path: Path) -> None:
    with running("service", tmp_path, log_format="text", workers=1) as server, server.client() as client:
        client.get("/healthz?secret")
        wait_until(lambda: "route" in server.log.read_text())
        lines = server.log.read_text().splitlines()
        (line,) = [line for line in lines if 'route="/healthz"' in line]
        form = r"\S+\+00:00 info request request_id=\S+ method=\"GET\" route=\S+ status=200 took_ms=\S+"
        assert re.fullmatch(form, line)
        assert "secret" not in line
    record = logging.makeLogRecord({"msg": "x", "levelname": "INFO", "fields": {"a": "b\nc d"}})
    assert json.loads(PlainLines().format(record).partition("a=")[2]) == "b\nc d"
