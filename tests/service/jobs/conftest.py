"""Stores of both kinds, and a Redis for the tests that need one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from service.jobs.redis import RedisStore
from service.jobs.sqlite import SqliteStore
from service.jobs.store import Store
from tests.service.jobs.crew import REDIS, RedisServer

WITHOUT_REDIS = "redis-server is not installed (Debian: apt-get install redis-server)"

MakeStore = Callable[..., Store]


@pytest.fixture(scope="session")
def redis(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RedisServer]:
    """A Redis for this session; tests that kill one start their own."""
    if REDIS is None:
        pytest.skip(WITHOUT_REDIS)
    server = RedisServer(tmp_path_factory.mktemp("redis"))
    server.start()
    yield server
    server.stop()


@pytest.fixture
def own_redis(tmp_path: Path) -> Iterator[RedisServer]:
    """A Redis that may be killed."""
    if REDIS is None:
        pytest.skip(WITHOUT_REDIS)
    folder = tmp_path / "redis"
    folder.mkdir()
    server = RedisServer(folder)
    server.start()
    yield server
    server.stop()


@pytest.fixture(params=["sqlite", "redis"])
def make_store(request: pytest.FixtureRequest, tmp_path: Path) -> MakeStore:
    """Make a store of each kind; two made in one test are two processes' views of the same jobs."""
    if request.param == "redis":
        server: RedisServer = request.getfixturevalue("redis")
        database = abs(hash(request.node.nodeid)) % 15 + 1
        url = f"redis://127.0.0.1:{server.port}/{database}"
        _flush(server.port, database)

    def make(**changes: Any) -> Store:
        options = {"lease": 1.0, "keep": 60.0, "backlog": 100} | changes
        if request.param == "redis":
            return RedisStore(url, **options)
        return SqliteStore(tmp_path / "jobs.sqlite3", most_bytes=10_000_000, **options)

    return make


def _flush(port: int, database: int) -> None:
    import redis as library

    with library.Redis(port=port, db=database) as client:
        client.flushdb()
