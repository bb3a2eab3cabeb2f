"""Work that misbehaves, for a worker process. An "artwork" that starts with HOG: asks for it."""

from __future__ import annotations

import json
import os
import signal
import time

from service import library
from service.tasks import Product, Task
from tests.service.escapes import escapes

SECRET = "the customer's own words"


def work(task: Task) -> Product:
    """Do what the service does, or misbehave as ``HOG:<way>`` asks for."""
    if not task.artwork.startswith(b"HOG:"):
        return library.run(task)
    return Product(_misbehave(task))


def _misbehave(task: Task) -> bytes:
    match task.artwork[4:].decode():
        case "cpu":
            # One call into C that never looks at signals and never lets another thread run.
            return str(pow(7, 10**9)).encode()
        case "memory":
            kept = []
            while True:
                kept.append(bytearray(32 * 1024 * 1024))
        case "segfault":
            os.kill(os.getpid(), signal.SIGSEGV)
        case "sleep" | "nap" | "slow" | "doze" as rest:
            time.sleep({"sleep": 60.0, "nap": 1.0, "slow": 1.5, "doze": 4.0}[rest])
            return b'"rested"'
        case "exception":
            raise ValueError(SECRET)
        case "exit":
            os._exit(3)
        case "loader":
            # As the GNU C library does where memory for a thread's own data is refused.
            os._exit(127)
        case "flood":
            return bytes(2_000_000)
        case "limits":
            return _what_the_system_refuses()
        case "pid":
            return str(os.getpid()).encode()
        case "escape":
            return json.dumps(escapes()).encode()
    raise AssertionError(task.artwork)


def _what_the_system_refuses() -> bytes:
    """Return the names of the things this process tried and was not let do."""
    refused = []
    try:
        with open("/dev/shm/sign-preflight-test", "wb") as file:  # noqa: PTH123
            file.write(b"x")
            file.flush()
    except OSError:
        refused.append("write")
    finally:
        if os.path.exists("/dev/shm/sign-preflight-test"):  # noqa: PTH110
            os.unlink("/dev/shm/sign-preflight-test")  # noqa: PTH108
    opened = []
    try:
        for _ in range(200):
            opened.append(os.open("/dev/null", os.O_RDONLY))
    except OSError:
        refused.append("open")
    finally:
        for number in opened:
            os.close(number)
    return " ".join(refused).encode()
