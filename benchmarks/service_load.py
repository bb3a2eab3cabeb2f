"""The service under load: what HTTP and isolation cost, how late answers are, and what stands up to 1,000 uploads.

``python -m benchmarks.service_load [--files FOLDER] [--rounds 9] [--at-once 4] [--uploads 1000] [--seed 1]``

All on loopback; the service is a process of its own with its stock two workers and no cache, this process
is the client. Prints JSON.

**throughput**: each round checks all files once over HTTP (kept connections, ``--at-once`` of them), and
once in two plain processes that take the next file as soon as they are free. Rounds alternate, and
the ratio is the median of the rounds' ratios (files a second of the service over the plain ones'),
since other work on the machine comes and goes; **processor_ratio** compares processor time
instead, client included, which other work hardly touches. The plain processes are started like the workers, from a
process that has the library loaded, do exactly what a worker does with a task and keep no more than a
digest; but on two cores the service has client and server on the same cores as its workers, the plain
processes have both cores to themselves. Every answer is compared with the plain one, byte for byte.

**latency** is that of the same requests: 99th percentile over median.

**uploads**: real, hostile and huge ones, shuffled, 32 at once. Each answer is compared with what the library
answers in a process with the same limit on memory: the same bytes, or the problem with the same code. Where
the library needs more than a third of the time limit, or runs out of memory, being stopped is right as well. A
client that is told to come back comes back. Memory is that of all processes, shared pages once, when nothing
is worked on: after the first 100 and after all.

**start**: from the start of the process to the first time that it says it is ready, the least of three; and
the resident memory of workers that have done nothing.

Bars: throughput 0.75 of the plain processes'; 99th percentile 6 times the median; none lost, wrong or
unanswered; memory 10 % up; no upload at work more than 0.5 s past the limit; start 1.5 s; idle worker 80 MB.
"""

from __future__ import annotations

import argparse
import asyncio
import hashlib
import json
import multiprocessing
import os
import random
import resource
import statistics
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from benchmarks.drawings import blobs
from service import tasks
from service.settings import MEBIBYTE, Settings
from tests.service import hostile
from tests.service.conftest import ROOT, Server, running
from tests.service.firing import Hit, Shot, fire, processor_seconds, resident, weight

PLAIN = 2
UPLOADS_AT_ONCE = 32
FIRST = 100
WORK_SECONDS = 10.0
SHARES = {"hostile": 0.15, "huge": 0.04, "slow": 0.01}
"""What is not among them is real."""
REAL = ".svg"
"""How names of real ones end."""
HUGE_SEGMENTS = (5_000, 10_000, 20_000)
ANY_STOP = frozenset(("time-limit", "memory-limit"))
SLUGS = {"artwork": "unreadable-artwork", "limit": "artwork-limit", "memory": "memory-limit"}
CONTEXT = multiprocessing.get_context("forkserver")


def task(artwork: bytes) -> tasks.Task:
    """Return what the service asks a worker for when `Shot` is sent."""
    return tasks.Task("report-json", artwork, "sign.svg")


def digest(body: bytes) -> str:
    return hashlib.sha256(body).hexdigest()


def plain(line: Connection, artworks: Sequence[bytes], turn: Any) -> None:
    """Check what ``turn`` counts to, round after round. Runs in a process of its own."""
    work = tasks.work_named("service.library:run")
    while line.recv():
        done = {}
        while (number := _next(turn)) < len(artworks):
            done[number] = digest(tasks.attempt(task(artworks[number]), work).body)
        line.send(done)


def _next(turn: Any) -> int:
    with turn.get_lock():
        turn.value += 1
        return int(turn.value) - 1


class Plain:
    """Two processes that do the workers' work without a service."""

    def __init__(self, artworks: Sequence[bytes]) -> None:
        self._turn = CONTEXT.Value("i", 0)
        self._lines: list[Connection] = []
        self.pids: list[int] = []
        for _ in range(PLAIN):
            ours, theirs = CONTEXT.Pipe()
            process = CONTEXT.Process(target=plain, args=(theirs, artworks, self._turn), daemon=True)
            process.start()
            self.pids.append(process.pid or 0)
            self._lines.append(ours)

    def round(self) -> tuple[float, dict[int, str]]:
        """Return the seconds for all files and the digests of their reports."""
        self._turn.value = 0
        begun = time.perf_counter()
        for line in self._lines:
            line.send(True)
        done: dict[int, str] = {}
        for line in self._lines:
            done |= line.recv()
        return time.perf_counter() - begun, done

    def close(self) -> None:
        """Let the processes end."""
        for line in self._lines:
            line.send(False)


@dataclass(frozen=True, slots=True)
class Right:
    """What an answer has to be: a report of this digest, or one of these problems."""

    report: str = ""
    slugs: frozenset[str] = frozenset()
    code: str = ""

    def fits(self, hit: Hit) -> bool:
        """Whether ``hit`` is right."""
        if hit.status == 200:
            return digest(hit.body) == self.report
        if hit.slug in ANY_STOP:
            return hit.slug in self.slugs
        return hit.slug in self.slugs and json.loads(hit.body)["code"] == self.code


def alone(line: Connection, artwork: bytes, memory_bytes: int) -> None:
    """Do the work of one upload as a worker does it, within the same memory. Runs in a process of its own."""
    resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    answer = tasks.attempt(task(artwork), tasks.work_named("service.library:run"))
    line.send((answer.outcome, answer.code, digest(answer.body)))


def right(artwork: bytes, settings: Settings) -> Right:
    """Return what the library answers, allowing for what stops it."""
    ours, theirs = CONTEXT.Pipe()
    arguments = (theirs, artwork, settings.memory_mb * MEBIBYTE)
    process = CONTEXT.Process(target=alone, args=arguments, daemon=True)
    process.start()
    theirs.close()
    begun = time.perf_counter()
    try:
        if not ours.poll(settings.work_seconds * 2):
            return Right(slugs=ANY_STOP)
        outcome, code, report = ours.recv()
    except EOFError:
        return Right(slugs=ANY_STOP)
    finally:
        process.kill()
        process.join()
    late = outcome == "memory" or time.perf_counter() - begun > settings.work_seconds / 3
    slugs = ANY_STOP if late else frozenset[str]()
    if outcome == "done":
        return Right(report, slugs)
    return Right("", slugs | {SLUGS.get(outcome, outcome)}, code)


def rights(shots: Sequence[Shot], settings: Settings) -> dict[str, Right]:
    """Return what the answers to ``shots`` have to be, by their names: real ones need no process of their own."""
    artworks = {shot.name: shot.artwork for shot in shots}
    real = {name: artwork for name, artwork in artworks.items() if name.endswith(REAL)}
    reference = Plain(list(real.values()))
    _, digests = reference.round()
    reference.close()
    expected = {name: Right(digests[number]) for number, name in enumerate(real)}
    return expected | {name: right(artworks[name], settings) for name in artworks.keys() - real.keys()}


def throughput(server: Server, artworks: dict[str, bytes], rounds: int, at_once: int) -> dict[str, Any]:
    """Return the figures of alternating rounds."""
    reference = Plain(list(artworks.values()))
    shots = [Shot(name, artwork) for name, artwork in artworks.items()]
    ratios, service, alone_, seconds, wrong = [], [], [], [], 0
    try:
        reference.round(), asyncio.run(fire(server.url, shots, at_once))
        before = spent(server, reference)
        for _ in range(rounds):
            plain_took, digests = reference.round()
            begun = time.perf_counter()
            hits = asyncio.run(fire(server.url, shots, at_once))
            took = time.perf_counter() - begun
            wrong += sum(hit.status != 200 or digest(hit.body) != digests[n] for n, hit in enumerate(hits))
            seconds += [hit.seconds for hit in hits]
            ratios.append(plain_took / took)
            service.append(len(shots) / took)
            alone_.append(len(shots) / plain_took)
        used = {who: after - before[who] for who, after in spent(server, reference).items()}
    finally:
        reference.close()
    median, late = statistics.median(seconds), statistics.quantiles(seconds, n=100)[98]
    return {
        "files": len(shots),
        "rounds": rounds,
        "at_once": at_once,
        "ratio": round(statistics.median(ratios), 3),
        "ratios": [round(ratio, 3) for ratio in ratios],
        "service_per_second": round(statistics.median(service), 1),
        "plain_per_second": round(statistics.median(alone_), 1),
        "processor_ms_a_file": {
            who: round(each / rounds / len(shots) * 1e3, 2) for who, each in used.items()
        },
        "processor_ratio": round(used["plain"] / sum(used[who] for who in used.keys() - {"plain"}), 3),
        "wrong": wrong,
        "latency_ms": {"median": round(median * 1e3, 1), "p99": round(late * 1e3, 1)},
        "p99_over_median": round(late / median, 2),
    }


def spent(server: Server, reference: Plain) -> dict[str, float]:
    """Return the processor seconds so far of all who take part."""
    main, everyone = {server.process.pid}, server.everyone()
    parties = {"plain": reference.pids, "server": main, "workers": everyone - main, "client": [os.getpid()]}
    return {who: sum(map(processor_seconds, pids)) for who, pids in parties.items()}


def mixed(artworks: dict[str, bytes], count: int, seed: int) -> list[Shot]:
    """Return ``count`` uploads of all kinds, every hostile one among them where there is room."""
    chance = random.Random(seed)
    kinds = {
        "hostile": hostile.uploads(),
        "huge": {f"{segments} segments": blobs(segments) for segments in HUGE_SEGMENTS},
        "slow": hostile.slow(),
    }
    shots = []
    for kind, share in SHARES.items():
        ones = list(kinds[kind].items())
        shots += [Shot(*ones[number % len(ones)]) for number in range(round(count * share))]
    real = list(artworks.items())
    shots += [Shot(*real[number % len(real)]) for number in range(count - len(shots))]
    chance.shuffle(shots)
    return shots


def quiet(server: Server) -> dict[str, float]:
    """Return the memory in MB once the service has nothing to do and all its workers are there."""
    with server.client() as client:
        until = time.monotonic() + 60
        while "sign_preflight_workers_idle 2.0" not in client.get("/metrics").text:
            if time.monotonic() > until:
                raise SystemExit("The service did not come to rest.")
            time.sleep(0.1)
    everyone, workers = server.everyone(), server.workers()
    main = {server.process.pid}
    parts = {"server": main, "workers": workers, "fork_server": everyone - workers - main}
    sizes = {name: round(weight(pids), 1) for name, pids in parts.items()}
    return sizes | {"all": round(sum(sizes.values()), 1)}


def stand(server: Server, shots: list[Shot], settings: Settings) -> dict[str, Any]:
    """Fire ``shots`` and return what became of them."""
    expected = rights(shots, settings)
    begun = time.perf_counter()
    hits = asyncio.run(fire(server.url, shots[:FIRST], UPLOADS_AT_ONCE))
    before = quiet(server)
    hits += asyncio.run(fire(server.url, shots[FIRST:], UPLOADS_AT_ONCE))
    took = time.perf_counter() - begun
    after = quiet(server)
    wrong = [hit for hit in hits if hit.status and not expected[hit.shot.name].fits(hit)]
    worked = [entry["worked_ms"] for entry in server.entries() if entry["event"] == "worked"]
    return {
        "uploads": len(hits),
        "seconds": round(took, 1),
        "unanswered": Counter(hit.shot.name for hit in hits if not hit.status),
        "wrong": Counter(f"{hit.shot.name}: {hit.status} {hit.slug}" for hit in wrong),
        "told_to_come_back": sum(hit.tries > 1 for hit in hits),
        "answers": Counter(hit.slug or "report" for hit in hits),
        "work_limit_ms": settings.work_seconds * 1e3,
        "longest_work_ms": max(worked),
        "memory_mb": {"after_first_100": before, "after_all": after},
        "memory_growth": round(after["all"] / before["all"] - 1, 3),
    }


def start(folder: Path) -> dict[str, Any]:
    """Return the seconds that starting takes, and the resident memory of an idle worker in MB."""
    took, sizes = [], []
    for number in range(3):
        place = folder / str(number)
        place.mkdir()
        begun = time.perf_counter()
        with running("service", place) as server:
            took.append(time.perf_counter() - begun)
            sizes += [resident(pid) for pid in server.workers()]
    return {"start_seconds": round(min(took), 2), "idle_worker_mb": round(max(sizes), 1)}


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--files", type=Path, default=ROOT / "examples" / "artwork", help="folder of small SVG"
    )
    parser.add_argument("--rounds", type=int, default=9)
    parser.add_argument("--at-once", type=int, default=4)
    parser.add_argument("--uploads", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=("start", "throughput", "uploads"))
    options = parser.parse_args()
    artworks = {path.name: path.read_bytes() for path in sorted(options.files.glob("*.svg"))}
    if not artworks:
        print(f"{options.files} has no .svg file.", file=sys.stderr)
        return 2
    CONTEXT.set_forkserver_preload(["service.library"])
    result: dict[str, Any] = {}
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        if options.only in (None, "start"):
            result["start"] = start(folder)
        if options.only in (None, "throughput"):
            with running("service", folder, cache_bytes=0) as server:
                result["throughput"] = throughput(server, artworks, options.rounds, options.at_once)
        if options.only in (None, "uploads"):
            settings = {"cache_bytes": 0, "log_level": "debug", "work_seconds": WORK_SECONDS}
            shots = mixed(artworks, options.uploads, options.seed)
            with running("service", folder, **settings) as server:
                result["uploads"] = stand(server, shots, Settings(work_seconds=WORK_SECONDS))
    print(json.dumps(result, indent=1))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
