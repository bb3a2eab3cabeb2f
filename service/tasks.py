"""What runs in a worker process: one task's bytes in, one answer's bytes out.

The two processes speak in frames over a socket: eight bytes of length, big-endian, then as many
bytes. A task is three frames (head as JSON, artwork, job), an answer two (head as JSON, body).
Nothing is unpickled, so whatever a hostile artwork makes of the worker, the service only ever parses
a short JSON head and passes the body on.

This module knows nothing of the library, so that the service's own process need not load it: what is
done with a task is named (``service.library:run``) and looked up in the worker.
"""

from __future__ import annotations

import importlib
import json
import resource
import signal
import socket
import struct
import traceback
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from typing import Literal, cast

from service.confinement import confine

LENGTH = struct.Struct(">Q")
TOGETHER_BYTES = 262_144
"""Frames of so many bytes in all are sent in one piece."""

PICTURE_WIDTH = 1200
NARROWEST, WIDEST = 480, 4096
"""Widths of a picture, in px: the library's own limits."""

Kind = Literal[
    "ping",
    "facts",
    "report-json",
    "report-text",
    "report-form",
    "picture-svg",
    "picture-png",
    "repair-json",
    "repair-file",
    "jobsheet-json",
    "jobsheet-html",
    "jobsheet-pdf",
    "rehearsal-json",
    "rehearsal-html",
    "rehearsal-svg",
    "rehearsal-png",
    "layout-json",
    "layout-svg",
    "layout-png",
    "layout-file",
    "panels-json",
    "panels-svg",
    "panels-png",
    "panels-file",
]

Outcome = Literal["done", "artwork", "limit", "job", "write", "undone", "absent", "memory", "failed"]
"""``artwork``, ``limit``, ``job`` and ``write`` are the library's own errors, ``undone`` is any other of them;
``absent`` is a library that is not installed, ``failed`` any other exception."""


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
    format: str = "svg"
    """Format of a file for production, one of `service.files.FORMATS`."""
    files: tuple[tuple[str | None, int], ...] = ()
    """Where there are several artworks: each one's name and size, in their order in ``artwork``."""
    options: str = ""
    """What else the kind takes, as a JSON object."""
    fonts: str = ""
    """Folder of the operator's fonts. The worker knows it: it is not sent."""
    stand_ins: tuple[tuple[str, str], ...] = ()
    """Which of them stand in for which families."""


MOST_RULES = 200
"""Rules whose findings are counted apart: a bound on what a broken worker could make up."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a worker answers. ``body`` is there when ``outcome`` is ``done``."""

    outcome: Outcome
    body: bytes = b""
    code: str = ""
    message: str = ""
    advice: str = ""
    findings: dict[str, int] = field(default_factory=dict)
    """How many findings there are by rule."""
    trace: tuple[str, ...] = field(default=())
    """Where an unexpected exception came from; never its text, which could quote the artwork."""


@dataclass(frozen=True, slots=True)
class Product:
    """What work on a task made."""

    body: bytes
    findings: dict[str, int] = field(default_factory=dict)
    """How many findings there are by rule, for the service's counters."""


class RefusedError(Exception):
    """What was asked for cannot be done, and it is for the client to hear why."""

    def __init__(self, outcome: Outcome, code: str, message: str, advice: str) -> None:
        super().__init__(message)
        self.outcome = outcome
        self.code = code
        self.message = message
        self.advice = advice


Work = Callable[[Task], Product]


@dataclass(frozen=True, slots=True)
class Bounds:
    """What the operating system holds a worker to."""

    memory_bytes: int
    cpu_seconds: int
    """A second net under the time limit: for a worker whose service has died."""
    confined: bool = True
    """Whether it gives up sockets, other programs and files, as far as the kernel knows how."""
    readable: tuple[str, ...] = ()
    """Files and folders that it reads nevertheless, besides the interpreter and its libraries."""
    fonts: str = ""
    """Folder of the operator's fonts."""
    stand_ins: tuple[tuple[str, str], ...] = ()


def work_named(name: str) -> Work:
    """Return the function named as ``module:function``. Raises `ImportError` or `AttributeError`."""
    module, _, function = name.partition(":")
    return cast("Work", getattr(importlib.import_module(module), function))


def attempt(task: Task, work: Work) -> Answer:
    """Do ``task`` with ``work`` and turn whatever it raises into an answer."""
    try:
        product = work(task)
        return Answer("done", product.body, findings=product.findings)
    except RefusedError as error:
        return Answer(error.outcome, b"", error.code, error.message, error.advice)
    except MemoryError:
        return Answer("memory")
    except Exception as error:
        return _unexpected(error)


def _unexpected(error: Exception) -> Answer:
    # GEOS is C++: it reports a refused allocation as an error of its own with this text.
    if "bad_alloc" in str(error):
        return Answer("memory")
    frames = traceback.extract_tb(error.__traceback__)[-8:]
    where = tuple(f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames)
    return Answer("failed", b"", type(error).__name__, trace=where)


def serve(channel: socket.socket, bounds: Bounds, name: str) -> None:
    """Answer tasks from ``channel`` with the work of this ``name`` until it closes. Runs in the worker."""
    # Ctrl-C reaches the whole process group; ending is the service's to decide.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_AS, (bounds.memory_bytes, bounds.memory_bytes))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    resource.setrlimit(resource.RLIMIT_NOFILE, (64, 64))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    work = work_named(name)
    packages = {"preflight", __package__, name.partition(".")[0]}
    states = confine(bounds.readable, packages) if bounds.confined else {}
    with channel:
        _send(channel, json.dumps(states).encode())
        while (head := _receive(channel)) is not None:
            artwork, job = _receive(channel), _receive(channel)
            if artwork is None or job is None:
                return
            allow_cpu(bounds.cpu_seconds)
            task = decode_task(head, artwork, job)
            answer = attempt(replace(task, fonts=bounds.fonts, stand_ins=bounds.stand_ins), work)
            # The collected artwork of this task must not count against the next one's memory.
            del artwork, job, task
            _send(channel, encode_head(answer), answer.body)


def allow_cpu(seconds: int) -> None:
    """Let this process use ``seconds`` more of processor time; past it, the system ends it."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    _, hard = resource.getrlimit(resource.RLIMIT_CPU)
    resource.setrlimit(resource.RLIMIT_CPU, (int(used.ru_utime + used.ru_stime) + 1 + seconds, hard))


def options_of(kind: str, text: str = "", *, search_seconds: float = 0.0, **more: object) -> str:
    """Return what a task of ``kind`` takes besides, as JSON; nothing for kinds that take nothing.

    ``text`` is the client's options, JSON or TOML, which the worker reads. ``search_seconds`` bounds a
    search for a layout.
    """
    operation = kind.partition("-")[0]
    if operation not in ("repair", "jobsheet", "rehearsal", "layout", "panels"):
        return ""
    bounds = {"search_seconds": search_seconds} if operation == "layout" else {}
    return json.dumps({"options": text, **bounds, **more})


def encode_task(task: Task) -> tuple[bytes, ...]:
    """Return the three frames of ``task`` in pieces, so that the artwork is not copied."""
    head = {
        "kind": task.kind,
        "name": task.name,
        "job": task.job is not None,
        "job_format": task.job_format,
        "width_px": task.width_px,
        "words": task.words,
        "format": task.format,
        "files": task.files,
        "options": task.options,
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
        fields["format"],
        tuple((name, size) for name, size in fields["files"]),
        fields["options"],
    )


def encode_head(answer: Answer) -> bytes:
    """Return the head of ``answer`` as JSON."""
    fields = asdict(answer)
    del fields["body"]
    return json.dumps(fields).encode()


def _send(channel: socket.socket, *frames: bytes) -> None:
    pieces = [piece for frame in frames for piece in (LENGTH.pack(len(frame)), frame)]
    if sum(map(len, pieces)) <= TOGETHER_BYTES:
        pieces = [b"".join(pieces)]
    for piece in pieces:
        channel.sendall(piece)


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
