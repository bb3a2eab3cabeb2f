"""What code that got hold of a worker would try: each by itself, with what came of it."""

from __future__ import annotations

import ctypes
import os
import resource
import socket
import subprocess
import threading
from collections.abc import Callable
from pathlib import Path


def escapes() -> dict[str, str]:
    """Return what came of each attempt: ``done``, or the kind of error."""
    return {name: _tried(attempt) for name, attempt in {**FORBIDDEN, **ALLOWED}.items()}


def _tried(attempt: Callable[[], object]) -> str:
    try:
        attempt()
    except Exception as error:
        return type(error).__name__
    return "done"


def _fork() -> None:
    if os.fork() == 0:
        os._exit(0)


def _thread() -> None:
    ran = []
    thread = threading.Thread(target=lambda: ran.append(_tried(socket.socket)))
    thread.start()
    thread.join()
    # What a process gave up, its threads have given up.
    if ran != ["PermissionError"]:
        raise AssertionError(ran)


def _trace() -> None:
    libc = ctypes.CDLL(None, use_errno=True)
    attach = 16  # PTRACE_ATTACH, linux/ptrace.h
    if libc.ptrace(attach, os.getppid(), 0, 0) < 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))


FORBIDDEN: dict[str, Callable[[], object]] = {
    "socket": socket.socket,
    "socketpair": socket.socketpair,
    "name-lookup": lambda: socket.create_connection(("127.0.0.1", 9)),
    "exec": lambda: os.execv("/bin/true", ["true"]),
    "subprocess": lambda: subprocess.run(["/bin/true"], check=True),
    "spawn": lambda: os.posix_spawn("/bin/true", ["true"], {}),
    "fork": _fork,
    "trace": _trace,
    "signal-to-the-service": lambda: os.kill(os.getppid(), 0),
    "signal-to-the-group": lambda: os.kill(0, 0),
    "limits-of-the-service": lambda: resource.prlimit(os.getppid(), resource.RLIMIT_CORE),
    "read-a-file-of-the-system": Path("/etc/passwd").read_bytes,
    "read-the-environment-of-another": lambda: Path(f"/proc/{os.getppid()}/environ").read_bytes(),
    "list-the-root": lambda: list(Path("/").iterdir()),
    "write-a-file": lambda: Path("/dev/shm/sign-preflight-escape").write_bytes(b""),
    "make-a-folder": lambda: Path("/dev/shm/sign-preflight-escapes").mkdir(),
    "remove-a-file": lambda: Path("/dev/shm/sign-preflight-none").unlink(),
}
ALLOWED: dict[str, Callable[[], object]] = {
    "thread": _thread,
    "read-a-module": Path(os.__file__).read_bytes,
    "signal-to-itself": lambda: os.kill(os.getpid(), 0),
    "own-limits": lambda: resource.getrlimit(resource.RLIMIT_AS),
}
