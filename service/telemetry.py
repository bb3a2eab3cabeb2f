"""Traces of requests and of workers' tasks, by OpenTelemetry: on only where its own variables ask for them.

The variables are those of the OpenTelemetry specification ("Environment Variable Specification"), such as
``OTEL_EXPORTER_OTLP_ENDPOINT``. Without them, or without the extra ``telemetry``, nothing of it is loaded.
Nothing of an artwork is in a span: no content, no file name; a task's kind, outcome and size.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING

from service.settings import SettingsError

if TYPE_CHECKING:
    from fastapi import FastAPI
    from opentelemetry.sdk.trace import TracerProvider
    from opentelemetry.trace import Tracer

NAME = "sign-preflight"
ENDPOINTS = ("OTEL_EXPORTER_OTLP_ENDPOINT", "OTEL_EXPORTER_OTLP_TRACES_ENDPOINT")
PROTOCOLS = ("OTEL_EXPORTER_OTLP_TRACES_PROTOCOL", "OTEL_EXPORTER_OTLP_PROTOCOL")
PROTOCOL = "http/protobuf"
UNTRACED = "/healthz,/readyz,/metrics"
"""What probes ask for every few seconds tells nobody anything."""


class Tracing:
    """The tracing of one process; it does nothing until it has begun."""

    def __init__(self) -> None:
        self._provider: TracerProvider | None = None
        self._tracer: Tracer | None = None

    def begin(self, environment: Mapping[str, str] = os.environ) -> None:
        """Begin to trace where ``environment`` asks for it.

        Raises `SettingsError` where what it asks for is not there.
        """
        if not asked_for(environment):
            return
        protocol = next((environment[name] for name in PROTOCOLS if environment.get(name)), PROTOCOL)
        if protocol != PROTOCOL:
            raise SettingsError(f"Traces are sent by {PROTOCOL}; {protocol!r} is not supported.")
        # Before the instrumentation is loaded, which reads it then: the names that are stable.
        os.environ.setdefault("OTEL_SEMCONV_STABILITY_OPT_IN", "http")
        try:
            from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter  # noqa: PLC0415
            from opentelemetry.sdk.resources import SERVICE_NAME, Resource  # noqa: PLC0415
            from opentelemetry.sdk.trace import TracerProvider  # noqa: PLC0415
            from opentelemetry.sdk.trace.export import BatchSpanProcessor  # noqa: PLC0415
        except ImportError as error:
            raise SettingsError(
                "OpenTelemetry is asked for and not installed: pip install 'sign-preflight[telemetry]', or set"
                " OTEL_SDK_DISABLED=true."
            ) from error
        named = environment.get("OTEL_SERVICE_NAME") or "service.name=" in environment.get(
            "OTEL_RESOURCE_ATTRIBUTES", ""
        )
        self._provider = TracerProvider(resource=Resource.create({} if named else {SERVICE_NAME: NAME}))
        self._provider.add_span_processor(BatchSpanProcessor(OTLPSpanExporter()))
        self._tracer = self._provider.get_tracer(NAME)

    def instrument(self, app: FastAPI) -> None:
        """Trace the requests of ``app``."""
        if self._provider is None:
            return
        from opentelemetry.instrumentation.fastapi import FastAPIInstrumentor  # noqa: PLC0415

        # Every piece of an upload would be a span of its own.
        FastAPIInstrumentor.instrument_app(
            app,
            tracer_provider=self._provider,
            excluded_urls=UNTRACED,
            exclude_spans=["receive", "send"],
        )

    @contextmanager
    def task(self, kind: str, artwork_bytes: int) -> Iterator[Callable[[str], None]]:
        """Trace a worker's task of this ``kind``, the wait for a worker included; yield what takes its outcome.

        What is raised is noted by its type only: a text could quote the artwork.
        """
        if self._tracer is None:
            yield _unheard
            return
        from opentelemetry.trace import StatusCode  # noqa: PLC0415

        attributes: dict[str, str | int] = {
            "preflight.task.kind": kind,
            "preflight.task.artwork_bytes": artwork_bytes,
        }
        with self._tracer.start_as_current_span(
            f"task {kind}", attributes=attributes, record_exception=False, set_status_on_exception=False
        ) as span:
            try:
                yield lambda outcome: span.set_attribute("preflight.task.outcome", outcome)
            except BaseException as error:
                span.set_attribute("error.type", type(error).__name__)
                if isinstance(error, Exception):
                    span.set_status(StatusCode.ERROR)
                raise

    def end(self) -> None:
        """Send what has not been sent, and stop; waits for the receiver."""
        if self._provider is not None:
            self._provider.shutdown()
            self._provider = self._tracer = None


def asked_for(environment: Mapping[str, str]) -> bool:
    """Return whether ``environment`` asks for traces. Raises `SettingsError` for an exporter that is not here."""
    if environment.get("OTEL_SDK_DISABLED", "").lower() == "true":
        return False
    exporter = environment.get("OTEL_TRACES_EXPORTER", "")
    if exporter not in ("", "none", "otlp"):
        raise SettingsError(f"OTEL_TRACES_EXPORTER is {exporter!r}: otlp and none are supported.")
    return exporter == "otlp" or (exporter == "" and any(environment.get(name) for name in ENDPOINTS))


def _unheard(outcome: str) -> None:
    """Take an outcome that nobody traces."""


TRACING = Tracing()
"""A process has one, as it has one log."""
