"""What the compose file and the Dockerfile say is what the service understands: run here without an engine."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
import yaml
from prometheus_client.parser import text_string_to_metric_families

from service.server import SPARE_SECONDS
from service.settings import PREFIX, Settings, from_environment
from tests.service.conftest import ROOT, SVG, environment_of, running
from tests.service.jobs.conftest import WITHOUT_REDIS
from tests.service.jobs.crew import REDIS, RedisServer, end, free_port

LIVE_TEXT = (ROOT / "examples" / "artwork" / "live-text.svg").read_bytes()


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load((ROOT / "compose.yaml").read_text("utf-8"))
    return loaded


def settings_of(service: dict[str, Any]) -> dict[str, str]:
    return {str(name): str(value) for name, value in service.get("environment", {}).items()}


def image_settings() -> dict[str, str]:
    """Return the environment that the image itself brings."""
    text = (ROOT / "Dockerfile").read_text("utf-8")
    return dict(re.findall(rf"({PREFIX}\w+)=(\S+)", text))


def with_settings(monkeypatch: pytest.MonkeyPatch, values: dict[str, str]) -> Settings:
    for name in list(os.environ):
        if name.startswith(PREFIX):
            monkeypatch.delenv(name)
    for name, value in values.items():
        monkeypatch.setenv(name, value)
    return from_environment()


@pytest.mark.parametrize("name", ["service", "worker"])
def test_settings_in_the_compose_file_are_settings(
    name: str, compose: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    values = settings_of(compose["services"][name])
    assert values
    assert all(one.startswith(PREFIX) for one in values)
    settings = with_settings(monkeypatch, image_settings() | values)
    assert settings.redis_url.startswith("redis://redis:")
    # The limit of the container leaves room for all workers at their own limit.
    room = int(compose["services"][name]["mem_limit"].removesuffix("g")) * 1024
    workers = settings.workers if name == "service" else settings.job_workers
    assert room >= workers * settings.memory_mb
    grace = int(compose["services"][name]["stop_grace_period"].removesuffix("s"))
    assert grace > settings.work_seconds


def test_all_containers_are_hardened(compose: dict[str, Any]) -> None:
    for service in compose["services"].values():
        assert service["read_only"] is True
        assert service["cap_drop"] == ["ALL"]
        assert service["security_opt"] == ["no-new-privileges:true"]
        assert service["pids_limit"] > 0
        assert not service.keys() & {"privileged", "cap_add", "pid", "network_mode"}


def test_redis_is_out_of_reach_and_the_service_is_for_this_machine_only(compose: dict[str, Any]) -> None:
    redis, service = compose["services"]["redis"], compose["services"]["service"]
    assert "ports" not in redis
    assert all(compose["networks"][name]["internal"] for name in redis["networks"])
    assert all(port.startswith("127.0.0.1:") for port in service["ports"])


@pytest.fixture
def as_composed(compose: dict[str, Any], tmp_path: Path) -> Iterator[RedisServer]:
    """A Redis with the options of the compose file."""
    if REDIS is None:
        pytest.skip(WITHOUT_REDIS)
    program, *options = compose["services"]["redis"]["command"]
    assert program == "redis-server"
    server = RedisServer(tmp_path)
    place = [
        "--port",
        str(server.port),
        "--bind",
        "127.0.0.1",
        "--dir",
        str(tmp_path),
        "--logfile",
        "redis.log",
    ]
    process = subprocess.Popen([REDIS, *options, *place], cwd=tmp_path)
    until(server._answers)
    yield server
    end(process)


def until(condition: Any, seconds: float = 60.0) -> None:
    limit = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < limit, "it never came to pass"
        time.sleep(0.1)


def test_redis_keeps_what_it_is_given(as_composed: RedisServer) -> None:
    import redis as library

    with library.Redis(port=as_composed.port, decode_responses=True) as client:
        kept = client.config_get("*")
    assert kept["appendonly"] == "yes"
    assert kept["appendfsync"] == "always"
    assert kept["maxmemory-policy"] == "noeviction"
    assert kept["maxmemory"] == str(2 * 1024**3)
    assert kept["save"] == ""


def test_what_is_composed_takes_a_job_and_does_it(
    compose: dict[str, Any], as_composed: RedisServer, tmp_path: Path
) -> None:
    ports = {"service": free_port(), "worker": free_port()}
    place = {"HOST": "127.0.0.1", "REDIS_URL": as_composed.url}
    running = {}

    def environment(name: str) -> dict[str, str]:
        said = image_settings() | settings_of(compose["services"][name])
        own = {"PORT": ports["service"], "METRICS_PORT": ports["worker"] if name == "worker" else 0}
        here = {f"{PREFIX}{key}": str(value) for key, value in (place | own).items()}
        return environment_of({}) | said | here

    def command(words: list[str]) -> list[str]:
        assert words[0] == "python3"
        return [sys.executable, *words[1:]]

    def healthy(name: str, words: list[str]) -> bool:
        done = subprocess.run(
            command(words), cwd=ROOT, env=environment(name), capture_output=True, check=False
        )
        return done.returncode == 0

    dockerfile = (ROOT / "Dockerfile").read_text("utf-8")
    entry = re.search(r"^ENTRYPOINT (\[.*\])$", dockerfile, re.M)
    check = re.search(r"^  CMD (\[.*\])$", dockerfile, re.M)
    assert entry
    assert check
    worker = compose["services"]["worker"]
    starts = {"service": yaml.safe_load(entry[1]), "worker": worker["entrypoint"]}
    checks = {"service": yaml.safe_load(check[1]), "worker": worker["healthcheck"]["test"][1:]}
    try:
        for name, words in starts.items():
            with (tmp_path / f"{name}.log").open("wb") as log:
                running[name] = subprocess.Popen(command(words), cwd=ROOT, env=environment(name), stderr=log)
        for name, words in checks.items():
            until(lambda name=name, words=words: healthy(name, words))
        with httpx.Client(base_url=f"http://127.0.0.1:{ports['service']}", trust_env=False) as client:
            job = client.post("/v1/jobs", files=[("artwork", SVG)]).raise_for_status().json()
            until(lambda: client.get(f"/v1/jobs/{job['id']}").json()["state"] == "done")
    finally:
        for process in running.values():
            end(process)


def test_the_ci_scripts_say_which_tool_is_missing(tmp_path: Path) -> None:
    # A path with the shell's own tools and none of those that build images.
    for tool in ("bash", "sed", "dirname", "env"):
        found = subprocess.run(["sh", "-c", f"command -v {tool}"], capture_output=True, text=True, check=True)
        (tmp_path / tool).symlink_to(found.stdout.strip())
    done = subprocess.run(
        [ROOT / ".ci" / "image"],
        env={"PATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 77
    assert "no buildah here" in done.stdout


def test_shell_scripts_are_well_formed() -> None:
    for script in ("image", "run"):
        path = ROOT / ".ci" / script
        assert os.access(path, os.X_OK)
        subprocess.run(["bash", "-n", str(path)], check=True)
        assert shlex.split(path.read_text().splitlines()[0][2:]) == ["/usr/bin/env", "bash"]


def handbook_blocks(language: str) -> list[str]:
    text = (ROOT / "docs" / "operations.md").read_text("utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.M | re.S)


def kubernetes() -> dict[tuple[str, str], dict[str, Any]]:
    manifests, _ = handbook_blocks("yaml")
    return {(one["kind"], one["metadata"]["name"]): one for one in yaml.safe_load_all(manifests)}


def test_the_handbooks_settings_are_settings() -> None:
    text = (ROOT / "docs" / "operations.md").read_text("utf-8")
    known = {name.upper() for name in Settings.model_fields}
    # Written without the prefix, with their value or alone; what is not ours is named here.
    named = set(re.findall(r"`([A-Z][A-Z_]+)(?:=[^`]*)?`", text.replace(PREFIX, "")))
    named |= set(re.findall(rf"{PREFIX}([A-Z_]+)", text))
    others = {"EXTRAS", "POST", "SIGTERM"}
    assert named - known - others - {name for name in named if name.startswith("OTEL_")} == set()
    assert len(named & known) > 20


@pytest.mark.parametrize("name", ["preflight", "preflight-worker"])
def test_pods_of_the_handbook_are_what_the_image_is(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    pod = kubernetes()["Deployment", name]["spec"]["template"]["spec"]
    (container,) = pod["containers"]
    # Pod Security Standards of Kubernetes, “restricted”.
    assert pod["securityContext"]["runAsNonRoot"] is True
    assert pod["securityContext"]["seccompProfile"] == {"type": "RuntimeDefault"}
    assert container["securityContext"]["allowPrivilegeEscalation"] is False
    assert container["securityContext"]["capabilities"] == {"drop": ["ALL"]}
    assert container["securityContext"]["readOnlyRootFilesystem"] is True
    user = re.search(r"^USER (\d+):(\d+)$", (ROOT / "Dockerfile").read_text("utf-8"), re.M)
    assert user
    assert (pod["securityContext"]["runAsUser"], pod["securityContext"]["runAsGroup"]) == (
        int(user[1]),
        int(user[2]),
    )
    values = {one["name"]: one["value"] for one in container["env"]}
    settings = with_settings(monkeypatch, image_settings() | values)
    assert settings.confinement == "require"
    room = int(container["resources"]["limits"]["memory"].removesuffix("Gi")) * 1024
    workers = settings.workers if name == "preflight" else settings.job_workers
    assert room >= workers * settings.memory_mb
    if name == "preflight":
        pause = int(container["lifecycle"]["preStop"]["exec"]["command"][1])
        assert pod["terminationGracePeriodSeconds"] > pause + settings.work_seconds + SPARE_SECONDS
        assert container["ports"][0]["containerPort"] == settings.port
        probes = {probe: container[probe]["httpGet"]["path"] for probe in ("livenessProbe", "readinessProbe")}
        assert probes == {"livenessProbe": "/healthz", "readinessProbe": "/readyz"}
    else:
        assert container["ports"][0]["containerPort"] == settings.metrics_port


def test_metrics_of_the_handbook_are_metrics(tmp_path: Path) -> None:
    text = (ROOT / "docs" / "operations.md").read_text("utf-8")
    _, rules = handbook_blocks("yaml")
    asked = set(re.findall(r"\b(sign_preflight_\w+)", rules))
    asked |= {one["external"]["metric"]["name"] for one in _scaled()}
    table = set(re.findall(r"`(sign_preflight_\w+)", text))
    with running("service", tmp_path, workers=1) as server, server.client() as client:
        assert client.post("/v1/jobs", files=[("artwork", LIVE_TEXT)]).status_code == 202
        # With findings, which are counted from the first on.
        assert client.post("/v1/reports", files={"artwork": LIVE_TEXT}).status_code == 200
        until(lambda: client.get("/v1/jobs").json()["jobs"][0]["state"] == "done")
        families = list(text_string_to_metric_families(client.get("/metrics").text))
    shown = {one.name for one in families} | {sample.name for one in families for sample in one.samples}
    # A worker's own; see tests/service/jobs/test_tally.py.
    assert asked | table <= shown | {"sign_preflight_worker_beat_seconds"}


def _scaled() -> list[dict[str, Any]]:
    scaler = kubernetes()["HorizontalPodAutoscaler", "preflight-worker"]
    metrics: list[dict[str, Any]] = scaler["spec"]["metrics"]
    return metrics


def test_alerts_of_the_handbook_can_be_read() -> None:
    _, rules = handbook_blocks("yaml")
    (group,) = yaml.safe_load(rules)["groups"]
    assert all({"alert", "expr"} <= rule.keys() for rule in group["rules"])
    if (promtool := shutil.which("promtool")) is None:
        pytest.skip("no promtool on this machine: only the form of the rules was looked at")
    subprocess.run([promtool, "check", "rules", "/dev/stdin"], input=rules, text=True, check=True)
