"""One run of the irregular search: in a process of its own, or where none may be started, in this one."""

from __future__ import annotations

import json
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any

from preflight.errors import shortened
from preflight.roll.nesting import child
from preflight.roll.nesting.model import Asked, Ended, NestingError

Better = Callable[[float], None]

_NO_START = "running away"
"""In the engine's words where it could not lay in all pieces even one behind the other."""


class NoStartError(NestingError):
    """The engine found no first arrangement: a piece takes nearly the whole width."""


class _EndedError(Exception):
    """The caller wants no more, or time is up."""

    def __init__(self, ended: Ended) -> None:
        super().__init__(ended)
        self.ended = ended


class _Best:
    """The best solution that an engine has told of."""

    def __init__(self, better: Better) -> None:
        self.better = better
        self.found: dict[str, Any] | None = None

    def take(self, found: dict[str, Any]) -> None:
        if self.found is None or found["length"] <= self.found["length"]:
            self.found = found
            self.better(found["length"])


def run_here(
    task: dict[str, Any], better: Better, deadline: float, asked: Asked | None
) -> tuple[dict[str, Any], Ended]:
    """Run ``task`` in threads of this process; return the best solution and how the search ended.

    The engine cannot be interrupted: where the caller wants no more, its threads go on until the time
    in ``task`` is over. A panic becomes a `NestingError`.
    """
    best = _Best(better)
    told: queue.Queue[dict[str, Any]] = queue.Queue()
    broken: list[BaseException] = []

    def work() -> None:
        try:
            child.solve(task, told.put)
        except BaseException as error:  # what a panic raises is no Exception; it is told below
            broken.append(error)

    # No daemon: the interpreter would end while the engine is at work, which aborts the process.
    thread = threading.Thread(target=work)
    thread.start()
    try:
        while thread.is_alive():
            _end_where_asked(deadline, asked)
            try:
                best.take(told.get(timeout=child.POLL))
            except queue.Empty:
                continue
    except _EndedError as stop:
        return _answer(best, stop.ended, "")
    while not told.empty():
        best.take(told.get())
    return _answer(best, "complete", str(broken[0]) if broken else "")


def run_apart(
    task: dict[str, Any], better: Better, deadline: float, asked: Asked | None
) -> tuple[dict[str, Any], Ended]:
    """Run ``task`` in a process of its own, which is killed when the search is ended."""
    return _Child(task, better).follow(deadline, asked)


def _end_where_asked(deadline: float, asked: Asked | None) -> None:
    if asked is not None and asked():
        raise _EndedError("cancelled")
    if time.monotonic() >= deadline:
        raise _EndedError("out-of-time")


class _Child:
    def __init__(self, task: dict[str, Any], better: Better) -> None:
        self.best = _Best(better)
        self.process = _started()
        self.lines: queue.Queue[str | None] = queue.Queue()
        self.complaint: list[str] = []
        assert self.process.stdin
        assert self.process.stdout
        assert self.process.stderr
        self.readers = [
            threading.Thread(target=self._read, args=(self.process.stdout,), daemon=True),
            threading.Thread(target=self._complaints, args=(self.process.stderr,), daemon=True),
        ]
        for reader in self.readers:
            reader.start()
        try:
            self.process.stdin.write(json.dumps(task))
            self.process.stdin.close()
        except BrokenPipeError:
            pass  # it ended already: `follow` tells why

    def _read(self, stream: IO[str]) -> None:
        for line in stream:
            self.lines.put(line)
        self.lines.put(None)

    def _complaints(self, stream: IO[str]) -> None:
        self.complaint.extend(line for line in stream.read().splitlines() if line.strip())

    def follow(self, deadline: float, asked: Asked | None) -> tuple[dict[str, Any], Ended]:
        """Take what the child tells until it is done, time is up, or the caller has had enough."""
        ended: Ended = "complete"
        try:
            while True:
                _end_where_asked(deadline, asked)
                try:
                    line = self.lines.get(timeout=child.POLL)
                except queue.Empty:
                    continue
                if line is None:
                    break
                self.best.take(json.loads(line))
        except _EndedError as stop:
            ended = stop.ended
        finally:
            self.process.kill()
            self.process.wait()
            for reader in self.readers:
                reader.join()
            for stream in (self.process.stdout, self.process.stderr):
                assert stream
                stream.close()
        return _answer(self.best, ended, self.complaint[-1] if self.complaint else "")


def _started() -> subprocess.Popen[str]:
    try:
        return subprocess.Popen(
            [sys.executable, str(Path(child.__file__))],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
        )
    except OSError as error:
        raise NestingError(
            "nesting-process",
            f"No process could be started for the search: {error.strerror or 'no reason given'}.",
            "Let the search run in this process (isolated=False).",
        ) from None


def _answer(best: _Best, ended: Ended, complaint: str) -> tuple[dict[str, Any], Ended]:
    if best.found is not None:
        return best.found, ended
    if ended == "complete":
        kind = NoStartError if _NO_START in complaint else NestingError
        raise kind(
            "nesting-failed",
            f"The nesting engine ended without a result: {shortened(complaint or 'it gave no reason')}",
            "Nest the pieces as their bounding rectangles, or leave out the piece that it names.",
        )
    word, code = ("cancelled", "cancelled") if ended == "cancelled" else ("out of time", "time")
    raise NestingError(
        f"nesting-{code}",
        f"The nesting was {word} before any arrangement was found.",
        "Give it more time.",
    )
