"""Files of the command line: read with a bound, written with a clear error."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from preflight.errors import PreflightError, quoted

if TYPE_CHECKING:
    from preflight.job import Job


def load_job(name: str | None) -> Job:
    """Return the job of a file, or the stock job; raises `PreflightError` where it cannot be used."""
    from preflight.job import Job  # noqa: PLC0415  (commands load only what they need)
    from preflight.job.parse import LARGEST_JOB  # noqa: PLC0415
    from preflight.rules import RULES  # noqa: PLC0415

    job = Job() if name is None else Job.parse(read_bytes(name, LARGEST_JOB + 1, "The job"))
    job.require_known_codes({rule.code: tuple(rule.cases) for rule in RULES})
    return job


def read_bytes(name: str, most: int, what: str) -> bytes:
    """Return at most ``most`` bytes of a file; the reader that gets them refuses one too many."""
    try:
        if name == "-":
            return sys.stdin.buffer.read(most)
        with Path(name).open("rb") as stream:
            return stream.read(most)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise PreflightError(
            "file-unreadable",
            f"{what} {quoted(name)} could not be opened: {reason}.",
            "Check the name and the rights.",
        ) from None


def write(name: str, data: bytes) -> None:
    """Write a file; raises `PreflightError` where that cannot be done."""
    try:
        Path(name).write_bytes(data)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise PreflightError(
            "file-unwritable", f"{quoted(name)} could not be written: {reason}.", "Name a file that can be."
        ) from None
