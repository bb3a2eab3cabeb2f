"""A process that only works on jobs: ``python -m service.worker``; start as many as there are machines for.

Its counters are at ``/metrics`` on a port of its own, where one is set; ``python -m service.worker
healthcheck`` asks there whether it is alive.
"""

from __future__ import annotations

import argparse
import asyncio
import logging
import signal
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence
from http.client import HTTPException

from prometheus_client import CollectorRegistry, start_http_server
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.process_collector import ProcessCollector
from prometheus_client.registry import Collector

from service.jobs.desk import Desk
from service.jobs.store import StoreError
from service.log import configure, event
from service.metrics import of_jobs
from service.settings import Settings, SettingsError, from_environment
from service.telemetry import TRACING
from service.workers import WORK

BEAT = "sign_preflight_worker_beat_seconds"
BEAT_SECONDS = 1.0
LATEST_BEAT = 30.0
"""A process whose event loop has not run for so many seconds counts as dead."""
HEALTHCHECK_SECONDS = 4.0


def main(arguments: Sequence[str] | None = None, work: str = WORK) -> int:
    """Run until SIGTERM or SIGINT; return the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m service.worker",
        description="Works on the jobs that the service has accepted. Settings are those of the service.",
    )
    parser.add_argument("action", nargs="?", choices=("work", "healthcheck"), default="work")
    options = parser.parse_args(arguments)
    try:
        settings = from_environment()
        if options.action == "healthcheck":
            return _healthcheck(settings)
        if not settings.job_workers:
            raise SettingsError("SIGN_PREFLIGHT_JOB_WORKERS is 0: this process would do nothing.")
        configure(settings.log_level, settings.log_format)
        TRACING.begin()
        return asyncio.run(_work(settings, work))
    except (SettingsError, StoreError) as error:
        print(error, file=sys.stderr)
        return 2
    finally:
        TRACING.end()


async def _work(settings: Settings, work: str) -> int:
    desk = Desk(settings, work)
    ended = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, ended.set)
    counters = _Counters(desk)
    if settings.metrics_port:
        _publish(counters, settings)
    await desk.open(required=True)
    event(logging.INFO, "worker-ready", job_workers=settings.job_workers)
    try:
        while not ended.is_set():
            counters.beat()
            try:
                async with asyncio.timeout(BEAT_SECONDS):
                    await ended.wait()
            except TimeoutError:
                continue
    finally:
        await desk.close()
    return 0


class _Counters(Collector):
    """What this process counts. Read from the thread that answers, so that a stuck event loop shows."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._beat = time.monotonic()

    def beat(self) -> None:
        """Note that the event loop runs."""
        self._beat = time.monotonic()

    def collect(self) -> Iterator[Metric]:
        yield GaugeMetricFamily(BEAT, "Time since the event loop last ran.", time.monotonic() - self._beat)
        if self._desk.pool:
            yield from of_jobs(self._desk.pool, dict(self._desk.findings))


def _publish(counters: _Counters, settings: Settings) -> None:
    registry = CollectorRegistry()
    ProcessCollector(registry=registry)
    registry.register(counters)
    try:
        start_http_server(settings.metrics_port, settings.host, registry)
    except OSError as error:
        where = f"{settings.host}:{settings.metrics_port}"
        raise SettingsError(f"SIGN_PREFLIGHT_METRICS_PORT: {where} cannot be used: {error}.") from error


def _healthcheck(settings: Settings) -> int:
    if not settings.metrics_port:
        raise SettingsError("SIGN_PREFLIGHT_METRICS_PORT is not set: there is nothing to ask.")
    url = f"http://127.0.0.1:{settings.metrics_port}/metrics"
    try:
        with urllib.request.urlopen(url, timeout=HEALTHCHECK_SECONDS) as answer:  # only ever http
            lines = answer.read().decode().splitlines()
        (beat,) = [float(line.split()[1]) for line in lines if line.startswith(BEAT)]
    except (urllib.error.URLError, OSError, HTTPException, ValueError) as error:
        print(f"{url}: {error}", file=sys.stderr)
        return 1
    if beat > LATEST_BEAT:
        print(f"The worker has not been heard of for {beat:.0f} seconds.", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
