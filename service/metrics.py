"""What is counted, in the text format of Prometheus at ``/metrics``. One registry an application."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.process_collector import ProcessCollector
from prometheus_client.registry import Collector

from service.held import Held
from service.shelf import Shelf
from service.workers import WorkerPool

MEDIA_TYPE = "text/plain; version=0.0.4; charset=utf-8"
SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 20.0, 30.0, 60.0)
MOST_RULES = 200
"""Rules that are counted apart: a bound on what a broken worker could make up."""


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

    def text(self) -> bytes:
        """Return everything in the exposition format."""
        return generate_latest(self._registry)


class _Live(Collector):
    """What the pool and the cache count themselves."""

    def __init__(self, pool: WorkerPool, cache: Shelf[Any], held: Held) -> None:
        self._pool = pool
        self._cache = cache
        self._held = held

    def collect(self) -> Iterator[Metric]:
        ended = CounterMetricFamily(
            "sign_preflight_workers_ended", "Workers that were ended or ended, by cause.", labels=["cause"]
        )
        for cause, count in sorted(self._pool.ended.items()):
            ended.add_metric([cause], count)
        yield ended
        confined = GaugeMetricFamily(
            "sign_preflight_workers_confined", "Whether the kernel confines workers.", labels=["means"]
        )
        for means, holds in self._pool.confined.items():
            confined.add_metric([means], holds)
        yield confined
        gauges = {
            "queue": ("Requests waiting for a worker.", self._pool.waiting),
            "workers": ("Worker processes.", len(self._pool.pids)),
            "workers_idle": ("Worker processes without work.", self._pool.idle),
            "held_bytes": ("Bytes of artwork being received, waiting or worked on.", self._held.size),
            "cache_bytes": ("Bytes of answers that are kept.", self._cache.size),
            "cache_entries": ("Answers that are kept.", len(self._cache)),
        }
        for name, (meaning, value) in gauges.items():
            yield GaugeMetricFamily(f"sign_preflight_{name}", meaning, value)
        for name, value in (("hits", self._cache.hits), ("misses", self._cache.misses)):
            yield CounterMetricFamily(f"sign_preflight_cache_{name}", f"Cache {name}.", value)
