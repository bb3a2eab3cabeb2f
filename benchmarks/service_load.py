"""The service under load, over HTTP on loopback, against the same checks without a service.

``python -m benchmarks.service_load [--rounds 7] [--uploads 1000] [--concurrency 32] [--format json]``

Throughput: in each round two plain processes check the small real signs, half each, then the service with
two workers is sent all of them by a client in a process of its own, without kept answers. The ratio is that
of the same round; the median over the rounds counts. Client, server and workers share the machine's cores
with each other, as the plain processes do not with anything: on two cores the client's cost is in the ratio.

Latency: of all those requests, with twice as many at a time as there are workers; the 99th percentile over
the median.

Mixed uploads: real, hostile and huge ones at the concurrency given. An answer is right where it is a report
that is byte for byte the library's own for the same bytes, or, for hostile and huge files, a report or a
problem that tells them apart. Memory is the proportional set size of the server and all that it started. A
hostile file's limit is the deadline that its request states (``Prefer: wait``), waiting for a worker included.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from benchmarks.loading.sending import Told, send_all
from benchmarks.loading.uploads import Upload, mixed, small_signs
from preflight import Job, PreflightError, check, read
from preflight.report.json import to_json
from tests.service.conftest import Server, running

WORKERS = 2
WAIT = 8
"""Seconds that hostile uploads are given."""
PROBLEM = "application/problem+json"
REFUSALS = {
    "missing-artwork", "unreadable-artwork", "artwork-limit", "time-limit", "memory-limit", "unsupported-media-type",
    "upload-too-large",
}  # fmt: skip


@contextmanager
def plain_process() -> Iterator[subprocess.Popen[str]]:
    """Start one plain process and yield it once it has warmed up."""
    process = subprocess.Popen(
        [sys.executable, "-m", "benchmarks.loading.plain"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    process.stdout.readline()
    try:
        yield process
    finally:
        process.kill()
        process.wait()


def plain_round(processes: Sequence[subprocess.Popen[str]], count: int) -> float:
    """Return the seconds that the plain processes take for ``count`` checks, shared evenly."""
    begun = time.monotonic()
    for number, process in enumerate(processes):
        assert process.stdin is not None
        process.stdin.write(" ".join(str(k) for k in range(number, count, len(processes))) + "\n")
        process.stdin.flush()
    for process in processes:
        assert process.stdout is not None
        process.stdout.readline()
    return time.monotonic() - begun


def client_round(port: int) -> tuple[float, list[float]]:
    """Return the seconds that a client process takes for all small signs, and those of each request."""
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.service_load", "--client", str(port)],
        capture_output=True,
        text=True,
        check=True,
    )
    told = json.loads(done.stdout)
    return told["seconds"], told["each"]


def act_as_client(port: int) -> None:
    """Send all small signs and print what it took."""
    signs = small_signs()
    begun = time.monotonic()
    answers = send_all(port, signs, threads=2 * WORKERS)
    seconds = time.monotonic() - begun
    if any(told.status != 200 for told in answers):
        raise SystemExit(f"not answered: {Counter(told.status for told in answers)}")
    print(json.dumps({"seconds": seconds, "each": [told.seconds for told in answers]}))


def throughput(server: Server, rounds: int) -> dict[str, Any]:
    """Return the ratio of throughputs and the latencies' figures."""
    count = len(small_signs())
    port = port_of(server)
    ratios, each = [], []
    client_round(port)  # workers are warm before it counts
    with plain_process() as one, plain_process() as two:
        for _ in range(rounds):
            plain = plain_round((one, two), count)
            served, latencies = client_round(port)
            ratios.append(plain / served)
            each += latencies
    median = statistics.median(each)
    slowest = statistics.quantiles(each, n=100)[98]
    return {
        "signs": count,
        "rounds": rounds,
        "throughput_ratio": round(statistics.median(ratios), 3),
        "throughput_ratios": [round(ratio, 3) for ratio in ratios],
        "median_ms": round(median * 1000, 1),
        "p99_ms": round(slowest * 1000, 1),
        "p99_over_median": round(slowest / median, 2),
    }


def port_of(server: Server) -> int:
    return int(server.url.rsplit(":", 1)[1])


def memory_of(server: Server) -> float:
    """Return the proportional set size of the server and its descendants, MiB."""
    total = 0
    for pid in (server.process.pid, *_descendants(server.process.pid)):
        try:
            lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
        except (FileNotFoundError, ProcessLookupError):
            continue
        total += sum(int(line.split()[1]) for line in lines if line.startswith("Pss:"))
    return total / 1024


def _descendants(pid: int) -> Iterator[int]:
    for listed in Path("/proc").glob(f"{pid}/task/*/children"):
        for child in map(int, listed.read_text().split()):
            yield child
            yield from _descendants(child)


def expected(uploads: Sequence[Upload]) -> dict[str, bytes]:
    """Return the library's own report for every real upload, by name."""
    reports = {}
    for upload in {one.name: one for one in uploads if one.sort == "real"}.values():
        try:
            reports[upload.name] = to_json(check(read(upload.data, None), Job())).encode()
        except PreflightError as error:
            raise SystemExit(f"{upload.name}: {error}") from error
    return reports


def wrong(told: Told, reports: dict[str, bytes]) -> str:
    """Return what is wrong with an answer; empty: nothing."""
    if told.status == 0:
        return "unanswered"
    if told.upload.sort == "real":
        return (
            "" if told.status == 200 and told.body == reports[told.upload.name] else f"status {told.status}"
        )
    if told.status == 200:
        return "" if json.loads(told.body)["verdict"] else "no verdict"
    if not told.media.startswith(PROBLEM):
        return f"status {told.status} without a problem"
    slug = json.loads(told.body)["type"].rsplit("/", 1)[-1]
    return "" if slug in REFUSALS else slug


def mixed_uploads(server: Server, count: int, concurrency: int, seed: int = 1) -> dict[str, Any]:
    """Send mixed uploads and return what was lost, wrong or late, and memory before and after."""
    uploads = mixed(count, seed)
    reports = expected(uploads)
    port, first = port_of(server), min(100, count // 4)
    answers = send_all(port, uploads[:first], threads=concurrency, wait=WAIT)
    time.sleep(2)
    before = memory_of(server)
    answers += send_all(port, uploads[first:], threads=concurrency, wait=WAIT)
    time.sleep(2)
    after = memory_of(server)
    faults = Counter(f"{t.upload.name}: {fault}" for t in answers if (fault := wrong(t, reports)))
    hostile = [told for told in answers if told.upload.sort == "hostile"]
    return {
        "sent": len(uploads),
        "answered": sum(told.status > 0 for told in answers),
        "statuses": dict(Counter(told.status for told in answers)),
        "faults": dict(faults),
        "hostile": len(hostile),
        "hostile_slowest_s": round(max(told.seconds for told in hostile), 2),
        "hostile_limit_s": WAIT,
        "memory_after_first_mib": round(before, 1),
        "memory_after_all_mib": round(after, 1),
        "memory_growth": round(after / before - 1, 4),
    }


def started(folder: Path) -> dict[str, Any]:
    """Return the seconds from the server's start to its readiness, and an idle worker's resident size."""
    begun = time.monotonic()
    with running("service", folder, workers=WORKERS) as server:
        seconds = time.monotonic() - begun
        sizes = [
            int(line.split()[1]) / 1024
            for pid in server.workers()
            for line in Path(f"/proc/{pid}/status").read_text().splitlines()
            if line.startswith("VmRSS:")
        ]
    return {"start_s": round(seconds, 2), "idle_worker_mib": round(max(sizes), 1)}


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--uploads", type=int, default=1000)
    parser.add_argument("--concurrency", type=int, default=32)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=("throughput", "mixed", "start"))
    parser.add_argument("--format", choices=("text", "json"), default="text")
    parser.add_argument("--client", type=int, metavar="PORT", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.client:
        act_as_client(options.client)
        return
    result: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if options.only in (None, "start"):
            result |= started(folder)
        if options.only in (None, "throughput"):
            with running("service", folder, workers=WORKERS, cache_bytes=0, log_level="warning") as server:
                result |= throughput(server, options.rounds)
        if options.only in (None, "mixed"):
            settings = {"workers": WORKERS, "cache_bytes": 0, "work_seconds": WAIT, "queue_seconds": 120}
            with running("service", folder, log_level="warning", **settings) as server:
                result |= mixed_uploads(server, options.uploads, options.concurrency, options.seed)
    if options.format == "json":
        print(json.dumps(result, indent=1))
        return
    for key, value in result.items():
        print(f"{key}  {value}")


if __name__ == "__main__":
    main()
