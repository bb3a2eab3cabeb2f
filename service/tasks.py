"""What runs in a worker process: one task's bytes in, one answer's bytes out.

The two processes speak in frames over a socket: eight bytes of length, big-endian, then as many
bytes. A task is three frames (head as JSON, artwork, job), an answer two (head as JSON, body).
Nothing is unpickled, so whatever a hostile artwork makes of the worker, the service only ever parses
a short JSON head and passes the body on.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import socket
import struct
import traceback
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from typing import Literal

# A thread pool for linear algebra would only cost address space. Read when numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from preflight.checking import check
from preflight.errors import JobError, LimitError, PreflightError
from preflight.job import Job
from preflight.readers import read
from preflight.report.json import to_json
from preflight.report.picture import picture_png, picture_svg
from preflight.report.text import to_text

LENGTH = struct.Struct(">Q")

PICTURE_WIDTH = 1200

Kind = Literal["ping", "report-json", "report-text", "picture-svg", "picture-png"]

Outcome = Literal["done", "artwork", "limit", "job", "memory", "failed"]
"""``artwork``, ``limit`` and ``job`` are the library's own errors; ``failed`` is any other exception."""


@dataclass(frozen=True, slots=True)
class Task:
    """What a worker is asked to do."""

    kind: str
    artwork: bytes = b""
    name: str | None = None
    """The artwork's file name, only repeated in the report."""
    job: bytes | None = None
    job_format: str | None = None
    """``json``, ``toml``, or None where it has to be told by the content."""
    width_px: int = PICTURE_WIDTH
    """Width of a picture."""
    words: bool = True
    """Whether a picture has its summary and legend."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a worker answers. ``body`` is there when ``outcome`` is ``done``."""

    outcome: Outcome
    body: bytes = b""
    code: str = ""
    message: str = ""
    advice: str = ""
    trace: tuple[str, ...] = field(default=())
    """Where an unexpected exception came from; never its text, which could quote the artwork."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """What the operating system holds a worker to."""

    memory_bytes: int
    cpu_seconds: int
    """A second net under the time limit: for a worker whose service has died."""


def run(task: Task) -> bytes:
    """Do ``task`` and return the answer's body. Raises the library's errors."""
    if task.kind == "ping":
        return b"pong"
    job = Job() if task.job is None else Job.parse(task.job, _job_format(task.job_format))
    artwork = read(task.artwork, task.name)
    report = check(artwork, job)
    match task.kind:
        case "report-json":
            return to_json(report).encode()
        case "report-text":
            return to_text(report).encode()
        case "picture-svg":
            return picture_svg(artwork, report, width_px=task.width_px, words=task.words).encode()
        case "picture-png":
            return picture_png(artwork, report, width_px=task.width_px, words=task.words)
    raise ValueError(f"no task of the kind {task.kind}")


def _job_format(name: str | None) -> Literal["json", "toml"] | None:
    match name:
        case "json":
            return "json"
        case "toml":
            return "toml"
    return None


def attempt(task: Task, work: Callable[[Task], bytes]) -> Answer:
    """Do ``task`` with ``work`` and turn whatever it raises into an answer."""
    try:
        return Answer("done", work(task))
    except PreflightError as error:
        return Answer(_fault(error), b"", error.code, error.message, error.advice)
    except MemoryError:
        return Answer("memory")
    except Exception as error:
        return _unexpected(error)


def _fault(error: PreflightError) -> Outcome:
    if isinstance(error, LimitError):
        return "limit"
    return "job" if isinstance(error, JobError) else "artwork"


def _unexpected(error: Exception) -> Answer:
    # GEOS is C++: it reports a refused allocation as an error of its own with this text.
    if "bad_alloc" in str(error):
        return Answer("memory")
    frames = traceback.extract_tb(error.__traceback__)[-8:]
    where = tuple(f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames)
    return Answer("failed", b"", type(error).__name__, trace=where)


def serve(channel: socket.socket, bounds: Bounds, work: Callable[[Task], bytes] = run) -> None:
    """Answer tasks from ``channel`` until it closes. Runs in the worker process."""
    # Ctrl-C reaches the whole process group; ending is the service's to decide.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_AS, (bounds.memory_bytes, bounds.memory_bytes))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    resource.setrlimit(resource.RLIMIT_NOFILE, (64, 64))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with channel:
        _send(channel, b"ready")
        while (head := _receive(channel)) is not None:
            artwork, job = _receive(channel), _receive(channel)
            if artwork is None or job is None:
                return
            allow_cpu(bounds.cpu_seconds)
            answer = attempt(decode_task(head, artwork, job), work)
            # The collected artwork of this task must not count against the next one's memory.
            del artwork, job
            _send(channel, encode_head(answer))
            _send(channel, answer.body)


def allow_cpu(seconds: int) -> None:
    """Let this process use ``seconds`` more of processor time; past it, the system ends it."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    _, hard = resource.getrlimit(resource.RLIMIT_CPU)
    resource.setrlimit(resource.RLIMIT_CPU, (int(used.ru_utime + used.ru_stime) + 1 + seconds, hard))


def encode_task(task: Task) -> tuple[bytes, ...]:
    """Return the three frames of ``task`` in pieces, so that the artwork is not copied."""
    head = {
        "kind": task.kind,
        "name": task.name,
        "job": task.job is not None,
        "job_format": task.job_format,
        "width_px": task.width_px,
        "words": task.words,
    }
    parts = (json.dumps(head).encode(), task.artwork, task.job or b"")
    return tuple(piece for part in parts for piece in (LENGTH.pack(len(part)), part))


def decode_task(head: bytes, artwork: bytes, job: bytes) -> Task:
    """Return the task of its three frames."""
    fields = json.loads(head)
    sent_job = job if fields["job"] else None
    return Task(
        fields["kind"],
        artwork,
        fields["name"],
        sent_job,
        fields["job_format"],
        fields["width_px"],
        fields["words"],
    )


def encode_head(answer: Answer) -> bytes:
    """Return the head of ``answer`` as JSON."""
    fields = asdict(answer)
    del fields["body"]
    return json.dumps(fields).encode()


def _send(channel: socket.socket, data: bytes) -> None:
    channel.sendall(LENGTH.pack(len(data)))
    channel.sendall(data)


def _receive(channel: socket.socket) -> bytes | None:
    length = _exactly(channel, LENGTH.size)
    return None if length is None else _exactly(channel, LENGTH.unpack(length)[0])


def _exactly(channel: socket.socket, size: int) -> bytes | None:
    data = bytearray(size)
    view, done = memoryview(data), 0
    while done < size:
        got = channel.recv_into(view[done:])
        if not got:
            return None
        done += got
    return bytes(data)
