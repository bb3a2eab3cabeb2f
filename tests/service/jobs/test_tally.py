"""What is counted of jobs: by both stores alike, and shown by the service and by workers."""

from __future__ import annotations

import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families

from service.jobs.model import Tally, Unit
from service.jobs.store import Store
from tests.service.conftest import ROOT, SVG, environment_of, running
from tests.service.jobs.conftest import WITHOUT_REDIS, MakeStore
from tests.service.jobs.crew import REDIS, Crew, RedisServer, free_port
from tests.service.jobs.test_store import FAULT, OUTCOME, new_job, on
from tests.service.test_workers import wait_until

Samples = dict[str, float]

THIN = SVG.replace(b"h260v60H20z", b"h260v.1H20z")
"""A strip 0.1 mm wide."""


def samples(text: str) -> Samples:
    """Read the exposition format with the reference library's own parser."""
    return {
        one.name + "".join(f" {value}" for value in one.labels.values()): one.value
        for family in text_string_to_metric_families(text)
        for one in family.samples
    }


def read(url: str) -> Samples:
    return samples(httpx.get(f"{url}/metrics", trust_env=False).raise_for_status().text)


def test_a_store_counts_jobs_and_their_files(make_store: MakeStore) -> None:
    async def check(store: Store) -> None:
        assert await store.tally() == Tally(0, {}, 0, 0, None)
        first, second, third = (
            new_job(files, created=created) for files, created in ((2, 100), (1, 90), (3, 95))
        )
        for job in (first, second, third):
            await store.add(job)
        # The same job again is none.
        await store.add(first)
        assert await store.tally() == Tally(3, {}, 6, 0, 90.0)
        await store.begin(Unit(first.id, 1))
        await store.begin(Unit(first.id, 2))
        await store.begin(Unit(second.id, 1))
        # A second attempt is no second file.
        await store.begin(Unit(second.id, 1))
        assert await store.tally() == Tally(3, {}, 3, 3, 90.0)
        await store.give_back(Unit(first.id, 2))
        assert await store.tally() == Tally(3, {}, 4, 2, 90.0)
        for _ in range(2):
            await store.finish(Unit(second.id, 1), OUTCOME, time.time())
        assert await store.tally() == Tally(3, {"done": 1}, 4, 1, 95.0)
        await store.finish(Unit(first.id, 1), OUTCOME, time.time())
        await store.finish(Unit(first.id, 2), FAULT, time.time())
        assert await store.tally() == Tally(3, {"done": 1, "failed": 1}, 3, 0, 95.0)
        await store.begin(Unit(third.id, 3))
        await store.cancel(third.id, time.time())
        ended = {"done": 1, "failed": 1, "cancelled": 1}
        assert await store.tally() == Tally(3, ended, 0, 0, None)

    on(make_store, check)


def test_an_erased_job_counts_as_cancelled_where_it_was_not_over(make_store: MakeStore) -> None:
    async def check(store: Store) -> None:
        unended, over = new_job(2), replace(new_job(1), owner="alder")
        for job in (unended, over):
            await store.add(job)
        await store.begin(Unit(unended.id, 1))
        await store.finish(Unit(over.id, 1), OUTCOME, time.time())
        for job in (unended, over, unended):
            await store.erase(job.id)
        assert await store.tally() == Tally(2, {"done": 1, "cancelled": 1}, 0, 0, None)

    on(make_store, check)


def test_the_service_shows_them(tmp_path: Path) -> None:
    with running("service", tmp_path, workers=1) as server, server.client() as client:
        before = read(server.url)
        assert before["sign_preflight_jobs_store_up"] == 1
        assert before["sign_preflight_jobs_accepted_total"] == 0
        assert before["sign_preflight_jobs_ended_total failed"] == 0
        files = [("artwork", THIN), ("artwork", b"%!PS-Adobe-3.0")]
        assert client.post("/v1/jobs", files=files).status_code == 202
        wait_until(lambda: read(server.url)["sign_preflight_jobs_ended_total failed"] == 1)
        after = read(server.url)
        assert after["sign_preflight_jobs_accepted_total"] == 1
        assert after["sign_preflight_job_files queued"] == after["sign_preflight_job_files running"] == 0
        assert after["sign_preflight_jobs_oldest_seconds"] == 0
        assert after["sign_preflight_job_workers"] == 1
        (report,) = [
            client.get(item["result"]).json()
            for item in client.get("/v1/jobs").json()["jobs"][0]["items"]
            if item["state"] == "done"
        ]
        codes = [one["code"] for one in report["findings"]]
        assert codes
        for code in set(codes):
            assert after[f"sign_preflight_job_findings_total {code}"] == codes.count(code)


def test_a_store_that_is_away_is_said_to_be(own_redis: RedisServer, tmp_path: Path) -> None:
    settings = {"redis_url": own_redis.url, "job_workers": 0, "workers": 1}
    with running("service", tmp_path, **settings) as server, server.client() as client:
        assert client.post("/v1/jobs", files=[("artwork", SVG)]).status_code == 202
        shown = read(server.url)
        assert shown["sign_preflight_job_files queued"] == 1
        assert 0 < shown["sign_preflight_jobs_oldest_seconds"] < 600
        own_redis.kill()
        shown = read(server.url)
        assert shown["sign_preflight_jobs_store_up"] == 0
        # What is not known is left out, not shown as nothing.
        assert "sign_preflight_job_files queued" not in shown


def healthcheck(port: int) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "service.worker", "healthcheck"],
        cwd=ROOT,
        env=environment_of({"metrics_port": port}),
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.skipif(REDIS is None, reason=WITHOUT_REDIS)
def test_a_worker_shows_its_own_counters_and_tells_whether_it_lives(
    own_redis: RedisServer, tmp_path: Path
) -> None:
    port = free_port()
    assert healthcheck(port).returncode == 1
    with Crew(tmp_path, redis_url=own_redis.url, metrics_port=port, job_workers=0) as crew:
        crew.start_server()
        worker = crew.start_worker("tests.service.jobs.working")
        with crew.client() as client:
            job = client.post("/v1/jobs", files=[("artwork", b"HOG:exit")]).json()
        crew.wait(job["id"])
        counted = read(f"http://127.0.0.1:{port}")
        assert counted["sign_preflight_job_workers_ended_total crash"] == 1
        assert counted["process_resident_memory_bytes"] > 0
        assert healthcheck(port).returncode == 0
        worker.terminate()
        assert worker.wait(20) == 0
    dead = healthcheck(port)
    assert dead.returncode == 1
    assert f"127.0.0.1:{port}" in dead.stderr


def test_a_health_check_without_a_port_says_what_to_set() -> None:
    done = healthcheck(0)
    assert done.returncode == 2
    assert "SIGN_PREFLIGHT_METRICS_PORT" in done.stderr
