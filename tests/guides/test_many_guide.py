"""From one machine to many: the guide's own commands, on one machine and on free ports."""

from __future__ import annotations

import getpass
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import httpx
import pytest

from tests.guides.blocks import GUIDES, blocks, languages
from tests.service.conftest import ROOT, SVG, environment_of
from tests.service.jobs.conftest import WITHOUT_REDIS
from tests.service.jobs.crew import REDIS, free_port
from tests.service.test_workers import wait_until

GUIDE = "one-to-many.md"
COMMANDS = blocks(GUIDE, "run")
PORTS = ("6379", "8080", "8081", "8082", "9091", "9092")
NGINX = shutil.which("nginx")
STARTED = ("redis", "service-a", "service-b", "worker-1", "worker-2")

pytestmark = pytest.mark.skipif(
    REDIS is None or shutil.which("curl") is None, reason=f"{WITHOUT_REDIS}; curl is needed too"
)


class Machines:
    """All that the guide starts, each in a process group of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.ports = {port: str(free_port()) for port in PORTS}
        self.running: dict[str, subprocess.Popen[bytes]] = {}
        # The guide's python3 is the one that runs these tests.
        (folder / "bin").mkdir()
        (folder / "bin" / "python3").symlink_to(sys.executable)
        self.environment = environment_of({}) | {
            "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
            "NO_PROXY": "*",
        }

    def placed(self, text: str) -> str:
        """Return a block with its ports replaced by free ones."""
        return re.sub(rf"\b({'|'.join(PORTS)})\b", lambda found: self.ports[found[1]], text)

    def start(self, name: str, command: list[str], cwd: Path) -> None:
        with (self.folder / f"{name}.log").open("wb") as log:
            self.running[name] = subprocess.Popen(
                command, cwd=cwd, env=self.environment, stdout=log, stderr=log, start_new_session=True
            )

    def run(self, name: str) -> None:
        # Redis writes where it is started, the service is started from the project.
        self.start(
            name, ["bash", "-c", self.placed(COMMANDS[name])], self.folder if name == "redis" else ROOT
        )

    def answers(self, port: str, path: str = "/readyz") -> bool:
        try:
            url = f"http://127.0.0.1:{self.ports[port]}{path}"
            return httpx.get(url, trust_env=False).status_code == 200
        except httpx.TransportError:
            return False

    def close(self) -> None:
        for process in reversed(self.running.values()):
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGTERM)
                try:
                    process.wait(20)
                except subprocess.TimeoutExpired:
                    os.killpg(process.pid, signal.SIGKILL)
                    process.wait()


@pytest.fixture(scope="module")
def machines(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machines]:
    made = Machines(tmp_path_factory.mktemp("machines"))
    with ExitStack() as stack:
        stack.callback(made.close)
        for name in STARTED:
            made.run(name)
        for port in ("8081", "8082"):
            wait_until(lambda port=port: made.answers(port), 60)
        for port in ("9091", "9092"):
            wait_until(lambda port=port: made.answers(port, "/metrics"), 60)
        yield made


def test_every_block_is_taken_out() -> None:
    files = blocks(GUIDE, "file")
    assert set(COMMANDS) == {*STARTED, "try"}
    assert len(COMMANDS) + len(files) == len(languages(GUIDE))
    # No port in the guide is left as it is by these tests.
    assert set(re.findall(r"(?::|PORT=|port )(\d{4})\b", (GUIDES / GUIDE).read_text())) <= set(PORTS)


def test_a_job_of_one_replica_is_told_of_by_the_other(machines: Machines) -> None:
    done = subprocess.run(
        ["bash", "-e", "-c", machines.placed(COMMANDS["try"])],
        cwd=ROOT,
        env=machines.environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    assert '"verdict"' in done.stdout
    assert '"name":"stall-banner.svg"' in done.stdout.replace(" ", "")


def test_work_goes_on_where_a_worker_is_lost(machines: Machines) -> None:
    url = f"http://127.0.0.1:{machines.ports['8082']}"
    with httpx.Client(base_url=url, trust_env=False) as client:
        jobs = [client.post("/v1/jobs", files=[("artwork", SVG)] * 5).json()["id"] for _ in range(4)]
        os.killpg(machines.running["worker-1"].pid, signal.SIGKILL)
        for job in jobs:
            wait_until(lambda job=job: client.get(f"/v1/jobs/{job}").json()["state"] == "done", 90)
            assert client.get(f"/v1/jobs/{job}").json()["progress"]["failed"] == 0


@pytest.mark.skipif(NGINX is None, reason="no nginx on this machine: its configuration is not tried")
def test_the_load_balancer_passes_on_what_the_service_needs(machines: Machines) -> None:
    assert NGINX
    folder = machines.folder
    text = machines.placed(blocks(GUIDE, "file")["nginx.conf"])
    # What a system's own configuration says otherwise: where it may write.
    own = f"user {getpass.getuser()}; pid {folder}/nginx.pid; error_log stderr; daemon off;\n"
    temporary = "".join(
        f"{name}_temp_path {folder}/nginx-{name};"
        for name in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    (folder / "nginx.conf").write_text(own + text.replace("http {", f"http {{ access_log off; {temporary}"))
    machines.start("nginx", [NGINX, "-p", str(folder), "-c", str(folder / "nginx.conf")], folder)
    wait_until(lambda: machines.answers("8080"))
    url = f"http://127.0.0.1:{machines.ports['8080']}"
    with httpx.Client(base_url=url, trust_env=False, timeout=60) as client:
        assert client.post("/v1/reports", files={"artwork": SVG}).json()["verdict"] == "pass"
        # Larger than nginx takes by itself, within what the service takes.
        large = SVG.replace(b"</svg>", b" " * 3_000_000 + b"</svg>")
        assert client.post("/v1/reports", files={"artwork": large}).status_code == 200
        job = client.post("/v1/jobs", files=[("artwork", SVG)]).json()["id"]
        with client.stream("GET", f"/v1/jobs/{job}/events") as events:
            lines = [line for line in events.iter_lines() if line.startswith("data:")]
        assert '"state":"done"' in lines[-1].replace(" ", "")
