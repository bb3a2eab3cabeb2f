"""What is counted, in the text format of Prometheus at ``/metrics``. One registry an application."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.process_collector import ProcessCollector
from prometheus_client.registry import Collector

from service.held import Held
from service.jobs.model import Tally
from service.shelf import Shelf
from service.tasks import MOST_RULES
from service.workers import WorkerPool

MEDIA_TYPE = "text/plain; version=0.0.4; charset=utf-8"
SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 20.0, 30.0, 60.0)
CAUSES = ("crash", "gone", "idle", "memory", "recycled", "time")
"""Why workers end: counted from the start, so that the first one is a change."""
OUTCOMES = ("done", "failed", "cancelled")


class Metrics:
    """The counters of one application."""

    def __init__(self, pool: WorkerPool, cache: Shelf[Any], held: Held) -> None:
        self._registry = CollectorRegistry()
        ProcessCollector(registry=self._registry)
        self._requests = Counter(
            "sign_preflight_requests",
            "Requests by method, route and status.",
            ("method", "route", "status"),
            registry=self._registry,
        )
        self._seconds = Histogram(
            "sign_preflight_request_seconds",
            "Time from a request's first byte to the end of its answer, by route.",
            ("route",),
            buckets=SECONDS,
            registry=self._registry,
        )
        self._findings = Counter(
            "sign_preflight_findings", "Findings by rule.", ("rule",), registry=self._registry
        )
        self._rules: set[str] = set()
        self._registry.register(_Live(pool, cache, held))

    def request(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count a request that has been answered; ``status`` 0 is a client who went away."""
        self._requests.labels(method, route, str(status)).inc()
        self._seconds.labels(route).observe(seconds)

    def findings(self, counts: Mapping[str, int]) -> None:
        """Count what a check found, by rule."""
        for rule, count in counts.items():
            if rule not in self._rules and len(self._rules) >= MOST_RULES:
                continue
            self._rules.add(rule)
            self._findings.labels(rule).inc(max(count, 0))

    def text(self, jobs: JobsNow) -> bytes:
        """Return everything, with what is counted of ``jobs`` now, in the exposition format."""
        return generate_latest(self._registry) + jobs_text(jobs)


def jobs_text(jobs: JobsNow) -> bytes:
    """Return what is counted of jobs in the exposition format."""
    registry = CollectorRegistry()
    registry.register(jobs)
    return generate_latest(registry)


class _Live(Collector):
    """What the pool and the cache count themselves."""

    def __init__(self, pool: WorkerPool, cache: Shelf[Any], held: Held) -> None:
        self._pool = pool
        self._cache = cache
        self._held = held

    def collect(self) -> Iterator[Metric]:
        yield from of_pool("sign_preflight_workers", self._pool)
        yield _confinement(self._pool)
        gauges = {
            "queue": ("Requests waiting for a worker.", self._pool.waiting),
            "held_bytes": ("Bytes of artwork being received, waiting or worked on.", self._held.size),
            "cache_bytes": ("Bytes of answers that are kept.", self._cache.size),
            "cache_entries": ("Answers that are kept.", len(self._cache)),
        }
        for name, (meaning, value) in gauges.items():
            yield GaugeMetricFamily(f"sign_preflight_{name}", meaning, value)
        for name, value in (("hits", self._cache.hits), ("misses", self._cache.misses)):
            yield CounterMetricFamily(f"sign_preflight_cache_{name}", f"Cache {name}.", value)


class JobsNow(Collector):
    """What is counted of jobs at one moment: by their store, over all processes, and by the pool of this one.

    ``tally`` is None where the store cannot be reached, ``findings`` are this process's, by rule. Ages are
    seconds before ``now``, since the epoch.
    """

    def __init__(
        self, tally: Tally | None, pool: WorkerPool | None, findings: Mapping[str, int], now: float
    ) -> None:
        self._tally = tally
        self._pool = pool
        self._findings = findings
        self._now = now

    def collect(self) -> Iterator[Metric]:
        """Return the families; of a store that cannot be reached, only that."""
        yield GaugeMetricFamily(
            "sign_preflight_jobs_store_up", "Whether the store of jobs answers.", self._tally is not None
        )
        if self._pool:
            yield from of_jobs(self._pool, self._findings)
        if self._tally is None:
            return
        yield CounterMetricFamily(
            "sign_preflight_jobs_accepted", "Jobs accepted, by any process.", self._tally.accepted
        )
        ended = CounterMetricFamily(
            "sign_preflight_jobs_ended",
            "Jobs that are over, by outcome; failed: a file or more has no result.",
            labels=["outcome"],
        )
        for outcome in OUTCOMES:
            ended.add_metric([outcome], self._tally.ended.get(outcome, 0))
        yield ended
        files = GaugeMetricFamily(
            "sign_preflight_job_files", "Files of jobs that have not ended, by state.", labels=["state"]
        )
        files.add_metric(["queued"], self._tally.queued)
        files.add_metric(["running"], self._tally.running)
        yield files
        oldest = self._tally.oldest
        yield GaugeMetricFamily(
            "sign_preflight_jobs_oldest_seconds",
            "Age of the oldest job that is not over; 0: there is none.",
            0.0 if oldest is None else max(0.0, self._now - oldest),
        )


def of_pool(prefix: str, pool: WorkerPool) -> Iterator[Metric]:
    """Return what a pool of workers counts."""
    ended = CounterMetricFamily(
        f"{prefix}_ended", "Workers that were ended or ended, by cause.", labels=["cause"]
    )
    for cause in sorted(set(CAUSES) | set(pool.ended)):
        ended.add_metric([cause], pool.ended[cause])
    yield ended
    yield GaugeMetricFamily(prefix, "Worker processes.", len(pool.pids))
    yield GaugeMetricFamily(f"{prefix}_idle", "Worker processes without work.", pool.idle)


def of_jobs(pool: WorkerPool, findings: Mapping[str, int]) -> Iterator[Metric]:
    """Return what a process counts that works on jobs."""
    yield from of_pool("sign_preflight_job_workers", pool)
    found = CounterMetricFamily(
        "sign_preflight_job_findings", "Findings in files of jobs, by rule.", labels=["rule"]
    )
    for rule, count in sorted(findings.items()):
        found.add_metric([rule], count)
    yield found


def _confinement(pool: WorkerPool) -> Metric:
    confined = GaugeMetricFamily(
        "sign_preflight_workers_confined", "Whether the kernel confines workers.", labels=["means"]
    )
    for means, holds in pool.confined.items():
        confined.add_metric([means], holds)
    return confined
