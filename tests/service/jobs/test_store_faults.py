"""The place where jobs are kept fills up or falls silent; all else goes on, and jobs go on when it is back."""

from __future__ import annotations

import errno
import os
import resource
import shutil
import signal
import subprocess
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, contextmanager
from itertools import repeat
from pathlib import Path

import httpx
import pytest

from tests.service.conftest import SVG, Server, assert_problem, fresh, running
from tests.service.jobs.crew import RedisServer
from tests.service.test_workers import wait_until

Way = Callable[[Path, int], AbstractContextManager[Callable[[], None]]]


@contextmanager
def full_disk(place: Path, _pid: int) -> Iterator[Callable[[], None]]:
    """A disk that is full until the function that is yielded is called."""
    filler = place / "filler"
    with filler.open("wb", buffering=0) as sink, pytest.raises(OSError, match=os.strerror(errno.ENOSPC)):
        deque(map(sink.write, repeat(bytes(4096))), maxlen=0)
    yield filler.unlink
    filler.unlink(missing_ok=True)


@contextmanager
def no_more_bytes(place: Path, pid: int) -> Iterator[Callable[[], None]]:
    """A limit on the size of files of the running service (getrlimit(2): RLIMIT_FSIZE), lifted by what is yielded."""
    before = resource.prlimit(pid, resource.RLIMIT_FSIZE)
    largest = max(path.stat().st_size for path in place.iterdir())
    resource.prlimit(pid, resource.RLIMIT_FSIZE, (largest, before[1]))

    def lift() -> None:
        resource.prlimit(pid, resource.RLIMIT_FSIZE, before)

    yield lift


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 4 MB."""
    place = tmp_path / "disk"
    place.mkdir()
    mount, umount = shutil.which("mount"), shutil.which("umount")
    if mount is None or umount is None:
        pytest.skip("mount is not installed")
    made = subprocess.run(
        [mount, "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(place)], check=False, capture_output=True
    )
    if made.returncode:
        pytest.skip("this user may not mount a file system of its own")
    yield place
    subprocess.run([umount, str(place)], check=True)


@pytest.mark.parametrize("way", [full_disk, no_more_bytes])
def test_a_full_disk_refuses_jobs_and_nothing_else(
    tmp_path: Path,
    way: Way,
    request: pytest.FixtureRequest,
) -> None:
    place: Path = request.getfixturevalue("small_disk") if way is full_disk else tmp_path / "place"
    place.mkdir(exist_ok=True)
    large = SVG.replace(b"<path", b"<!--" + b"x" * 500_000 + b"--><path")
    # A file whose result could not be kept is done again when its lease has ended.
    settings = {"workers": 1, "job_lease_seconds": 2, "jobs_path": place / "jobs.sqlite3"}
    with running("service", tmp_path, **settings) as server, server.client() as client:
        kept = client.post("/v1/jobs", files=[("artwork", SVG)])
        assert kept.status_code == 202
        with way(place, server.process.pid) as make_room:
            for _ in range(3):
                answer = client.post("/v1/jobs", files=[("artwork", large)])
                problem = assert_problem(answer, "jobs-unavailable", 503)
                assert int(answer.headers["retry-after"]) > 0
                assert len(problem["advice"]) > 20
            # What needs no disk is served, and what was accepted is still there.
            assert client.post("/v1/reports", files={"artwork": fresh()}).status_code == 200
            assert client.get(kept.headers["location"]).status_code == 200
            make_room()
        after = client.post("/v1/jobs", files=[("artwork", large)])
        assert after.status_code == 202
        wait_until(lambda: state(client, after) == state(client, kept) == "done", 60)


def state(client: httpx.Client, job: httpx.Response) -> str:
    return str(client.get(job.headers["location"]).json().get("state"))


def test_a_redis_that_falls_silent_is_not_waited_for_without_end(
    tmp_path: Path, own_redis: RedisServer
) -> None:
    """Stopped, not ended: connections stay open, and nothing comes back."""
    assert own_redis.process is not None
    with (
        running("service", tmp_path, workers=1, redis_url=own_redis.url) as server,
        server.client() as client,
    ):
        kept = client.post("/v1/jobs", files=[("artwork", SVG)])
        assert kept.status_code == 202
        own_redis.process.send_signal(signal.SIGSTOP)
        try:
            with ThreadPoolExecutor(1) as threads:
                refused = threads.submit(post_job, server)
                # Others are served meanwhile.
                assert client.post("/v1/reports", files={"artwork": fresh()}).status_code == 200
                assert_problem(refused.result(), "jobs-unavailable", 503)
        finally:
            own_redis.process.send_signal(signal.SIGCONT)
        wait_until(lambda: client.post("/v1/jobs", files=[("artwork", SVG)]).status_code == 202, 60)
        wait_until(lambda: state(client, kept) == "done", 60)


def post_job(server: Server) -> httpx.Response:
    with server.client() as client:
        return client.post("/v1/jobs", files=[("artwork", SVG)], timeout=60.0)
