"""Run what is in an image as an engine would, and ask it: read-only root, its own user, no capabilities.

Called by ``.ci/image``; needs root, for namespaces. Ends with a message where something is not as it should be.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

START_SECONDS = 60.0
JOB_SECONDS = 60.0
END_SECONDS = 15.0
STATE = "/var/lib/sign-preflight"
# The root is bound to itself, so that it can be made read-only; what an engine adds is added.
INSIDE = """
set -e
mount --bind "$ROOT" "$ROOT"
mount -t tmpfs -o mode=0700,uid="${OWNER%%:*}",gid="${OWNER##*:}" state "$ROOT/$STATE"
mount -o remount,bind,ro "$ROOT"
mount -t proc proc "$ROOT/proc"
mount -t tmpfs dev "$ROOT/dev"
mkdir "$ROOT/dev/shm"
mount -t tmpfs -o mode=1777 shm "$ROOT/dev/shm"
for device in null zero urandom; do
  touch "$ROOT/dev/$device"
  mount --bind "/dev/$device" "$ROOT/dev/$device"
done
exec chroot "$ROOT" setpriv --reuid="${OWNER%%:*}" --regid="${OWNER##*:}" --clear-groups \
  --no-new-privs --inh-caps=-all --bounding-set=-all "$@"
"""
PROBE = """
import os, errno
assert os.getuid() == 10001 and os.getgid() == 10001, (os.getuid(), os.getgid())
for path in ("/x", "/opt/sign-preflight/x", "/tmp/x"):
    try:
        open(path, "w")
    except OSError as error:
        assert error.errno == errno.EROFS, (path, error)
    else:
        raise AssertionError(path + " can be written")
import importlib.util as u
assert not any(map(u.find_spec, ("pip", "setuptools", "pytest"))), "tools that are not needed to run"
print("user 10001, read-only root, no pip")
"""


def fail(what: str) -> None:
    """End with ``what`` as the message."""
    raise SystemExit(f"image: {what}")


class Image:
    """An unpacked image that can be run."""

    def __init__(self, root: str, user: str, environment: dict[str, str], entrypoint: list[str]) -> None:
        self.root, self.user = root, user
        self.environment, self.entrypoint = environment, entrypoint

    def command(self, *arguments: str) -> list[str]:
        """Return the command that runs ``arguments`` inside."""
        inside = ["env", "-i", *(f"{name}={value}" for name, value in self.environment.items()), *arguments]
        return ["unshare", "--mount", "--pid", "--fork", "--kill-child", "sh", "-c", INSIDE, "sh", *inside]

    def outside(self) -> dict[str, str]:
        """Return the environment of that command."""
        return os.environ | {"ROOT": self.root, "OWNER": self.user, "STATE": STATE}

    def probe(self) -> None:
        """Run a few checks inside."""
        subprocess.run(self.command("python3", "-c", PROBE), env=self.outside(), check=True)


def get(url: str, data: bytes | None = None, media: str = "") -> tuple[int, dict[str, str], bytes]:
    """Return status, headers (names in lower case) and body of what ``url`` answers."""
    headers = {"Content-Type": media} if media else {}
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with opener.open(urllib.request.Request(url, data, headers), timeout=60) as answer:
            return answer.status, {k.lower(): v for k, v in answer.headers.items()}, answer.read()
    except urllib.error.HTTPError as error:
        return error.code, {k.lower(): v for k, v in error.headers.items()}, error.read()


def until(condition: Callable[[], Any], seconds: float, what: str) -> Any:
    """Return what ``condition`` returns once that is true."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            if found := condition():
                return found
        except (urllib.error.URLError, ConnectionError):
            pass
        time.sleep(0.1)
    return fail(what)


def ask(url: str, artwork: bytes) -> None:
    """Ask for a report, have a job done, and look at the counters."""
    status, _, body = get(f"{url}/v1/reports", artwork, "image/svg+xml")
    if status != 200:
        fail(f"/v1/reports answers {status}: {body[:500]!r}")
    report = json.loads(body)
    print(f"report: {report['verdict']}, {len(report['findings'])} findings")
    status, headers, body = get(f"{url}/v1/jobs", artwork, "image/svg+xml")
    if status != 202:
        fail(f"/v1/jobs answers {status}: {body[:500]!r}")
    place = url + headers["location"]

    def ended() -> dict[str, Any] | None:
        job: dict[str, Any] = json.loads(get(place)[2])
        return job if job["state"] in ("done", "failed") else None

    job = until(ended, JOB_SECONDS, "the job does not end")
    if job["state"] != "done":
        fail(f"the job failed: {job}")
    print("job: done")
    counters = get(f"{url}/metrics")[2].decode()
    for means in ("seccomp", "landlock"):
        if f'sign_preflight_workers_confined{{means="{means}"}} 1.0' not in counters:
            fail(f"workers are not confined by {means}")
    print("workers: confined by seccomp and Landlock")


def main() -> int:
    """Try the image of the command line's arguments; return the exit status."""
    root, user, env, entrypoint, artwork = sys.argv[1:]
    environment = dict(line.split("=", 1) for line in Path(env).read_text().splitlines())
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment |= {
        "SIGN_PREFLIGHT_HOST": "127.0.0.1",
        "SIGN_PREFLIGHT_PORT": str(port),
        "SIGN_PREFLIGHT_JOBS_PATH": f"{STATE}/jobs.sqlite3",
        "SIGN_PREFLIGHT_CONFINEMENT": "require",
    }
    image = Image(root, user, environment, Path(entrypoint).read_text().splitlines())
    image.probe()
    url = f"http://127.0.0.1:{port}"
    begun = time.monotonic()
    with subprocess.Popen(image.command(*image.entrypoint), env=image.outside()) as process:
        try:
            until(lambda: get(f"{url}/readyz")[0] == 200, START_SECONDS, "it does not become ready")
            print(f"ready after {time.monotonic() - begun:.1f} s")
            ask(url, Path(artwork).read_bytes())
            children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
            os.kill(int(children[0]), signal.SIGTERM)
            status = process.wait(END_SECONDS)
        finally:
            process.kill()
    if status != 0:
        fail(f"after SIGTERM it ended with status {status}")
    print("ended on SIGTERM")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
