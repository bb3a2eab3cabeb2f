"""Accepted jobs while services, workers and Redis are killed at random: none may be lost or done twice.

``python -m benchmarks.jobs [--jobs 200] [--kills 30] [--seed 1] [--store sqlite|redis] [--format json]``
``python -m benchmarks.jobs --redo [--lease 15]``: seconds from a worker's death to its job's next attempt

One service that also works, and one worker process on the same store. A client sends reports one after
the other, again under the same Idempotency-Key where it got no answer; meanwhile processes are ended with
SIGKILL at seeded moments and started again. Counted: accepted jobs, jobs kept in the store, jobs whose
result is not byte for byte what the library answers, and begun attempts past the first. A job with no
or two results ends the run with an error. ``redis`` needs redis-server (append-only file, synced at each
write) and takes part in the killing.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from tests.service.jobs.crew import REDIS, Crew, RedisServer
from tests.service.jobs.test_crashes import WORKING, await_running, random_kills, send

SLOW = b"HOG:sleep"
"""Work of a minute."""


def measure(store: str, jobs: int, kills: int, seed: int) -> dict[str, Any]:
    """Run once and return the counts, and seconds from the first request to the last result."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        settings: dict[str, object] = {"job_attempts": 1000, "job_backlog": 10_000}
        redis = _redis(stack, folder) if store == "redis" else None
        if redis:
            settings["redis_url"] = redis.url
        crew = stack.enter_context(Crew(folder, **settings))
        begun = time.monotonic()
        result = random_kills(crew, redis, jobs=jobs, seed=seed, kills=kills)
        return {"store": store, "jobs": jobs, **result, "seconds": round(time.monotonic() - begun, 1)}


def _redis(stack: ExitStack, folder: Path) -> RedisServer:
    if REDIS is None:
        raise SystemExit("redis-server is not installed (Debian: apt-get install redis-server)")
    kept = folder / "redis"
    kept.mkdir()
    redis = RedisServer(kept)
    redis.start()
    stack.callback(redis.stop)
    return redis


def redo(store: str, lease: float) -> dict[str, Any]:
    """Kill a worker at work while another one is idle; return how long its job then waits."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        settings: dict[str, object] = {"job_lease_seconds": lease, "job_workers": 0}
        if store == "redis":
            settings["redis_url"] = _redis(stack, folder).url
        crew = stack.enter_context(Crew(folder, **settings))
        crew.start_server()
        doomed = crew.start_worker(WORKING)
        job_id = send(crew, SLOW)
        await_running(crew, job_id)
        other = crew.start_worker(WORKING)
        # Time for the other worker to be ready; the doomed one sleeps in its work far longer.
        time.sleep(5)
        doomed.kill()
        died = time.monotonic()
        with crew.client() as client:
            while client.get(f"/v1/jobs/{job_id}").json()["items"][0]["attempts"] < 2:
                time.sleep(0.05)
        waited = time.monotonic() - died
        other.kill()
        return {"store": store, "lease": lease, "redone_after_seconds": round(waited, 1)}


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--jobs", type=int, default=200)
    parser.add_argument("--kills", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--store", choices=("sqlite", "redis", "both"), default="both")
    parser.add_argument("--redo", action="store_true")
    parser.add_argument("--lease", type=float, default=15.0)
    parser.add_argument("--format", choices=("text", "json"), default="text")
    options = parser.parse_args()
    stores = ("sqlite", "redis") if options.store == "both" else (options.store,)
    if options.redo:
        results = [redo(store, options.lease) for store in stores]
    else:
        results = [measure(store, options.jobs, options.kills, options.seed) for store in stores]
    if options.format == "json":
        print(json.dumps(results, indent=1))
        return
    for result in results:
        print("  ".join(f"{name} {value}" for name, value in result.items()))


if __name__ == "__main__":
    main()
