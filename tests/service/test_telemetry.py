"""Traces go out by OTLP over HTTP where the standard variables ask for them, and hold nothing of an artwork."""

from __future__ import annotations

import gzip
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest

from service.settings import SettingsError
from service.telemetry import Tracing, asked_for
from tests.service.conftest import ROOT, SVG, environment_of, running
from tests.service.test_workers import wait_until


class Collector:
    """A receiver of traces, speaking the protocol's own messages (opentelemetry-proto)."""

    def __init__(self) -> None:
        self.requests: list[ExportTraceServiceRequest] = []
        collector = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                if self.headers.get("Content-Encoding") == "gzip":
                    body = gzip.decompress(body)
                if self.path == "/v1/traces":
                    collector.requests.append(ExportTraceServiceRequest.FromString(body))
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_address[1]}"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def spans(self) -> list[Any]:
        return [
            span
            for request in list(self.requests)
            for resource in request.resource_spans
            for scope in resource.scope_spans
            for span in scope.spans
        ]

    def text(self) -> str:
        return "".join(str(request) for request in self.requests)


@pytest.fixture
def collector() -> Iterator[Collector]:
    one = Collector()
    yield one
    one.server.shutdown()
    one.server.server_close()


def attributes(span: Any) -> dict[str, object]:
    return {
        one.key: getattr(one.value, one.value.WhichOneof("value") or "string_value")
        for one in span.attributes
    }


def test_a_request_and_its_task_are_one_trace(
    collector: Collector, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("OTEL_EXPORTER_OTLP_ENDPOINT", collector.url)
    monkeypatch.setenv("OTEL_BSP_SCHEDULE_DELAY", "100")
    name = "a-name-nobody-needs-to-know.svg"
    with running("service", tmp_path, workers=1) as server, server.client() as client:
        files = {"artwork": (name, SVG, "image/svg+xml")}
        assert client.post("/v1/reports", files=files).status_code == 200
        bad = {"artwork": (name, b"%!PS", "image/svg+xml")}
        assert client.post("/v1/reports", files=bad).status_code == 422
        assert client.get("/readyz").status_code == 200
        wait_until(lambda: sum(span.name == "POST /v1/reports" for span in collector.spans()) == 2)
    spans = collector.spans()
    requests = [span for span in spans if span.name == "POST /v1/reports"]
    tasks = [span for span in spans if span.name == "task report-json"]
    # The outcome of the first is a report, of the second the library's own refusal.
    assert [attributes(task)["preflight.task.outcome"] for task in tasks] == ["done", "artwork"]
    assert [attributes(task)["preflight.task.artwork_bytes"] for task in tasks] == [len(SVG), 4]
    assert {(task.trace_id, task.parent_span_id) for task in tasks} == {
        (request.trace_id, request.span_id) for request in requests
    }
    # Semantic conventions for HTTP, stable names.
    shown = [attributes(request) for request in requests]
    assert [(one["http.route"], one["http.response.status_code"]) for one in shown] == [
        ("/v1/reports", 200),
        ("/v1/reports", 422),
    ]
    # The task of starting up, and no probes.
    assert {span.name for span in spans} == {"POST /v1/reports", "task report-json", "task facts"}
    assert name not in collector.text()
    assert "path id" not in collector.text()
    (resource,) = {str(one.resource_spans[0].resource) for one in collector.requests}
    assert "sign-preflight" in resource


def test_a_task_that_is_stopped_is_an_error_by_its_type(
    collector: Collector, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("OTEL_EXPORTER_OTLP_TRACES_ENDPOINT", f"{collector.url}/v1/traces")
    monkeypatch.setenv("OTEL_SERVICE_NAME", "preflight-of-the-shop")
    settings = {"workers": 1, "work_seconds": 1}
    with running("tests.service.traced", tmp_path, **settings) as server, server.client() as client:
        assert client.post("/v1/reports", files={"artwork": b"HOG:sleep"}).status_code == 504
    # What was not sent yet is sent at the end.
    (task,) = [span for span in collector.spans() if span.name == "task report-json"]
    assert attributes(task)["error.type"] == "TimeLimitError"
    assert (task.status.code, task.status.message, len(task.events)) == (2, "", 0)
    assert "preflight-of-the-shop" in collector.text()


@pytest.mark.parametrize(
    ("environment", "asked"),
    [
        ({}, False),
        ({"OTEL_SERVICE_NAME": "x"}, False),
        ({"OTEL_EXPORTER_OTLP_ENDPOINT": "http://collector:4318"}, True),
        ({"OTEL_TRACES_EXPORTER": "otlp"}, True),
        ({"OTEL_TRACES_EXPORTER": "none", "OTEL_EXPORTER_OTLP_ENDPOINT": "http://collector:4318"}, False),
        ({"OTEL_SDK_DISABLED": "True", "OTEL_TRACES_EXPORTER": "otlp"}, False),
    ],
)
def test_only_the_standard_variables_switch_it_on(environment: dict[str, str], asked: bool) -> None:
    assert asked_for(environment) is asked


@pytest.mark.parametrize(
    ("environment", "said"),
    [
        ({"OTEL_TRACES_EXPORTER": "zipkin"}, "otlp and none"),
        ({"OTEL_TRACES_EXPORTER": "otlp", "OTEL_EXPORTER_OTLP_PROTOCOL": "grpc"}, "http/protobuf"),
    ],
)
def test_what_is_not_supported_is_said(environment: dict[str, str], said: str) -> None:
    with pytest.raises(SettingsError, match=said):
        Tracing().begin(environment)


def test_the_service_does_not_start_where_traces_cannot_be_sent_as_asked(tmp_path: Path) -> None:
    settings = {"jobs_path": tmp_path / "jobs.sqlite3", "port": 0}
    done = subprocess.run(
        [sys.executable, "-m", "service"],
        cwd=ROOT,
        env=environment_of(settings) | {"OTEL_TRACES_EXPORTER": "console"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "OTEL_TRACES_EXPORTER" in done.stderr


def test_nothing_of_it_is_loaded_where_nobody_asks() -> None:
    code = (
        "import sys, service.app, service.server; from service.telemetry import TRACING; TRACING.begin();"
        "print([m for m in sys.modules if m.startswith(('opentelemetry.sdk', 'opentelemetry.exporter'))])"
    )
    environment = {name: value for name, value in os.environ.items() if not name.startswith("OTEL_")}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
