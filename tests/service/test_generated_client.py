"""A client generated from the contract by openapi-python-client, and used against the service."""

from __future__ import annotations

import importlib
import io
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from tests.service.conftest import ROOT, SVG, Server, running

NAME = "generated_preflight_client"
# The generator knows JSON, forms, text and bytes; a picture in SVG is bytes to it.
CONFIG = "content_type_overrides:\n  image/svg+xml: application/octet-stream\n  image/png: application/octet-stream\n"


@pytest.fixture(scope="module")
def load(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Generate the client and return what imports its modules."""
    folder = tmp_path_factory.mktemp("client")
    (folder / "config.yml").write_text(CONFIG)
    scripts = Path(sys.executable).parent
    done = subprocess.run(
        [
            scripts / "openapi-python-client",
            "generate",
            "--path",
            ROOT / "openapi" / "openapi.json",
            "--output-path",
            folder / NAME,
            "--meta",
            "none",
            "--config",
            folder / "config.yml",
        ],
        env=os.environ | {"PATH": f"{scripts}{os.pathsep}{os.environ.get('PATH', '')}"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    sys.path.insert(0, str(folder))

    def module(name: str) -> ModuleType:
        return importlib.import_module(f"{NAME}.{name}")

    yield module
    sys.path.remove(str(folder))
    for known in [one for one in sys.modules if one.partition(".")[0] == NAME]:
        del sys.modules[known]


@pytest.fixture(scope="module")
def client(load: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    folder = tmp_path_factory.mktemp("client-server")
    with running("service", folder, workers=1, jobs_path=folder / "jobs.sqlite3") as server:
        yield made(load, server)


def made(load: Any, server: Server) -> Any:
    # As everywhere in these tests: no proxy of the environment between client and loopback.
    return load("client").Client(base_url=server.url, httpx_args={"trust_env": False})


def artwork(load: Any, content: bytes = SVG) -> Any:
    return load("types").File(payload=io.BytesIO(content), file_name="bar.svg", mime_type="image/svg+xml")


def test_a_report_comes_as_the_models_of_the_contract(load: Any, client: Any) -> None:
    body = load("models").CreateReportFilesBody(artwork=artwork(load), job='{"size": {"width": "24 in"}}')
    report = load("api.reports.create_report").sync(client=client, body=body)
    assert isinstance(report, load("models").Report)
    # 1 in = 25.4 mm exactly.
    assert report.measures.width_mm == pytest.approx(609.6)
    assert report.source.name == "bar.svg"
    assert report.verdict == "pass"


def test_a_problem_comes_as_one(load: Any, client: Any) -> None:
    body = load("models").CreateReportFilesBody(artwork=artwork(load, b"%!PS-Adobe-3.0"))
    problem = load("api.reports.create_report").sync(client=client, body=body)
    assert isinstance(problem, load("models").Problem)
    assert (problem.type_, problem.status) == ("/problems/unreadable-artwork", 422)


def test_a_picture_comes_as_bytes(load: Any, client: Any) -> None:
    body = load("models").CreatePictureFilesBody(artwork=artwork(load))
    answer = load("api.pictures.create_picture").sync_detailed(client=client, body=body, width=640)
    assert answer.status_code == 200
    assert answer.content.startswith(b"<svg")


def test_rules_can_be_listed_and_looked_up(load: Any, client: Any) -> None:
    listed = load("api.rules.list_rules").sync(client=client).rules
    one = load("api.rules.get_rule").sync(listed[0].code, client=client)
    assert one == listed[0]


def test_a_job_can_be_sent_followed_and_fetched(load: Any, client: Any) -> None:
    files = [artwork(load), artwork(load, SVG.replace(b"260v60", b"250v50"))]
    body = load("models").CreateJobFilesBody(artwork=files)
    job = load("api.jobs.create_job").sync(client=client, body=body)
    assert isinstance(job, load("models").JobInfo), job
    end = time.monotonic() + 60
    while (job := load("api.jobs.get_job").sync(job.id, client=client)).state not in ("done", "failed"):
        assert time.monotonic() < end, job
        time.sleep(0.1)
    assert [item.state for item in job.items] == ["done", "done"]
    result = load("api.jobs.get_job_result").sync_detailed(job.id, 2, client=client)
    report = load("models").Report.from_dict(json.loads(result.content))
    # A rectangle of 250 by 50 mm: the knife follows its perimeter once.
    assert report.measures.cut_length_mm == pytest.approx(600.0)
