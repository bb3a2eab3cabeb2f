"""Servers, workers and Redis are killed at the worst moments; no accepted job is lost or done twice."""

from __future__ import annotations

import collections
import json
import random
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from preflight import Job, check, read
from preflight.report.json import to_json
from tests.service.conftest import ROOT, SVG
from tests.service.jobs.crew import Crew, RedisServer

GATE = (ROOT / "examples" / "artwork" / "gate-board.svg").read_bytes()
NAP = b"HOG:nap"
SERVING = "tests.service.serving"
WORKING = "tests.service.jobs.working"


def send(crew: Crew, *artworks: bytes) -> str:
    with crew.client() as client:
        answer = client.post("/v1/jobs", files=[("artwork", ("sign.svg", artwork)) for artwork in artworks])
    assert answer.status_code == 202, answer.text
    return str(answer.json()["id"])


def await_running(crew: Crew, job_id: str) -> None:
    until = time.monotonic() + 60
    with crew.client() as client:
        while client.get(f"/v1/jobs/{job_id}").json()["state"] != "running":
            assert time.monotonic() < until, crew.logs()[-3000:]
            time.sleep(0.05)


def steps(crew: Crew, job_id: str) -> list[dict[str, Any]]:
    """Return the data of all events of a job that is over."""
    with crew.client() as client:
        text = client.get(f"/v1/jobs/{job_id}/events").text
    return [json.loads(line[6:]) for line in text.splitlines() if line.startswith("data: ")]


def assert_each_done_once(crew: Crew, job_id: str, files: int) -> None:
    seen = steps(crew, job_id)
    ended = collections.Counter(
        one["item"]["n"] for one in seen if one["kind"] == "item" and one["item"]["state"] == "done"
    )
    assert ended == dict.fromkeys(range(1, files + 1), 1)
    assert [one["state"] for one in seen if one["kind"] == "job"] == ["queued", "done"]
    assert [one["ended"] for one in seen] == sorted(one["ended"] for one in seen)


@pytest.fixture(params=["sqlite", "redis"])
def place(request: pytest.FixtureRequest) -> Iterator[dict[str, object]]:
    """The setting that says where jobs are kept."""
    if request.param == "redis":
        server: RedisServer = request.getfixturevalue("own_redis")
        yield {"redis_url": server.url}
    else:
        yield {}


def test_an_accepted_job_survives_a_killed_service(tmp_path: Path, place: dict[str, object]) -> None:
    with Crew(tmp_path, **place) as crew:
        crew.start_server(SERVING)
        job_id = send(crew, NAP, NAP, SVG)
        await_running(crew, job_id)
        crew.kill_server()
        crew.start_server(SERVING)
        job = crew.wait(job_id)
        assert job["progress"] == {"total": 3, "ended": 3, "failed": 0}
        assert max(item["attempts"] for item in job["items"]) == 2
        assert_each_done_once(crew, job_id, 3)


def test_the_job_of_a_killed_worker_is_done_by_another(tmp_path: Path, place: dict[str, object]) -> None:
    with Crew(tmp_path, job_workers=0, **place) as crew:
        crew.start_server()
        job_id = send(crew, NAP, SVG)
        first = crew.start_worker(WORKING)
        await_running(crew, job_id)
        first.kill()
        first.wait()
        crew.start_worker(WORKING)
        job = crew.wait(job_id)
        assert job["progress"]["failed"] == 0
        assert job["items"][0]["attempts"] == 2
        assert_each_done_once(crew, job_id, 2)


def test_a_worker_that_is_asked_to_end_gives_its_job_back_at_once(
    tmp_path: Path, place: dict[str, object]
) -> None:
    # A lease of ten minutes: nothing is handed out again because it ran out.
    with Crew(tmp_path, job_workers=0, job_lease_seconds=600, **place) as crew:
        crew.start_server()
        job_id = send(crew, NAP)
        first = crew.start_worker(WORKING)
        await_running(crew, job_id)
        first.terminate()
        assert first.wait(20) == 0, crew.logs()[-3000:]
        crew.start_worker(WORKING)
        job = crew.wait(job_id)
        assert job["items"][0]["attempts"] == 1
        assert_each_done_once(crew, job_id, 1)


def test_accepted_jobs_survive_a_killed_redis(tmp_path: Path, own_redis: RedisServer) -> None:
    with Crew(tmp_path, redis_url=own_redis.url) as crew:
        crew.start_server(SERVING)
        job_id = send(crew, NAP, NAP, SVG)
        await_running(crew, job_id)
        own_redis.kill()
        with crew.client() as client:
            refused = client.post("/v1/jobs", content=SVG, headers={"content-type": "image/svg+xml"})
            assert refused.status_code == 503
            assert refused.json()["type"] == "/problems/jobs-unavailable"
            # What needs no jobs is served.
            assert client.post("/v1/reports", files={"artwork": SVG}).status_code == 200
        own_redis.start()
        job = crew.wait(job_id)
        assert job["progress"] == {"total": 3, "ended": 3, "failed": 0}
        assert_each_done_once(crew, job_id, 3)


def test_a_file_that_ends_the_process_each_time_is_given_up(tmp_path: Path, place: dict[str, object]) -> None:
    with Crew(tmp_path, job_workers=0, job_attempts=2, **place) as crew:
        crew.start_server()
        job_id = send(crew, NAP)
        for attempt in (1, 2):
            worker = crew.start_worker(WORKING)
            _await_attempt(crew, job_id, attempt)
            worker.kill()
            worker.wait()
        crew.start_worker(WORKING)
        job = crew.wait(job_id)
        assert job["items"][0]["problem"]["code"] == "too-many-attempts"
        assert "begun 2 times" in job["items"][0]["problem"]["detail"]


def _await_attempt(crew: Crew, job_id: str, attempt: int) -> None:
    until = time.monotonic() + 60
    with crew.client() as client:
        while client.get(f"/v1/jobs/{job_id}").json()["items"][0]["attempts"] < attempt:
            assert time.monotonic() < until, crew.logs()[-3000:]
            time.sleep(0.05)


def random_kills(crew: Crew, redis: RedisServer | None, jobs: int, seed: int, kills: int) -> dict[str, int]:
    """Send ``jobs`` jobs while ``kills`` processes are killed; return what came of it.

    A job counts as accepted when its 202 has arrived; a request that got no answer, or a 503, is sent again
    under its Idempotency-Key, as a client would.
    """
    choice = random.Random(seed)
    crew.start_server()
    crew.start_worker()
    killed: collections.Counter[str] = collections.Counter()
    enough = threading.Event()

    def disturb() -> None:
        for _ in range(kills):
            if enough.wait(choice.uniform(0.3, 2.5)):
                return
            what = choice.choice(["worker", "server", "redis"] if redis else ["worker", "server"])
            killed[what] += 1
            if what == "worker":
                crew.workers[-1].kill()
                crew.workers[-1].wait()
                crew.start_worker()
            elif what == "server":
                crew.kill_server()
                crew.start_server()
            elif redis:
                redis.kill()
                redis.start()

    disturber = threading.Thread(target=disturb)
    disturber.start()
    try:
        accepted = [_insist(crew, f"{seed}-{n}", GATE if n % 4 else SVG) for n in range(jobs)]
        disturber.join()
    finally:
        enough.set()
        disturber.join()
    wrong = again = 0
    for n, job_id in enumerate(accepted):
        again += crew.wait(job_id, 180)["items"][0]["attempts"] - 1
        assert_each_done_once(crew, job_id, 1)
        with crew.client() as client:
            body = client.get(f"/v1/jobs/{job_id}/results/1").content
        wrong += body != (REPORTS[GATE] if n % 4 else REPORTS[SVG])
    with crew.client() as client:
        kept = 0
        path = "/v1/jobs?limit=100"
        while path:
            page = client.get(path).json()
            kept += len(page["jobs"])
            path = page["next"]
    return {"accepted": len(set(accepted)), "kept": kept, "wrong": wrong, "begun_again": again, **killed}


def _report(artwork: bytes) -> bytes:
    return to_json(check(read(artwork, "sign.svg"), Job())).encode()


REPORTS = {artwork: _report(artwork) for artwork in (GATE, SVG)}


def _insist(crew: Crew, key: str, artwork: bytes) -> str:
    until = time.monotonic() + 120
    while True:
        try:
            with crew.client() as client:
                answer = client.post(
                    "/v1/jobs",
                    files={"artwork": ("sign.svg", artwork)},
                    headers={"idempotency-key": f'"{key}"'},
                )
            if answer.status_code == 202:
                return str(answer.json()["id"])
            assert answer.status_code == 503, answer.text
        except httpx.TransportError:
            pass
        assert time.monotonic() < until, crew.logs()[-3000:]
        time.sleep(0.1)


def test_forty_jobs_through_random_kills(tmp_path: Path, place: dict[str, object], request: Any) -> None:
    redis = request.getfixturevalue("own_redis") if place else None
    with Crew(tmp_path, job_attempts=100, **place) as crew:
        result = random_kills(crew, redis, jobs=40, seed=20261125, kills=6)
    assert (result["accepted"], result["kept"], result["wrong"]) == (40, 40, 0), result
