"""The service's settings, read from the environment and validated before anything starts."""

from __future__ import annotations

import difflib
import os
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError, field_validator
from pydantic_core import PydanticCustomError
from pydantic_settings import BaseSettings, SettingsConfigDict

PREFIX = "SIGN_PREFLIGHT_"

MEBIBYTE = 1024 * 1024


class SettingsError(Exception):
    """A setting is wrong; the message names the variable, its value and what is allowed."""


class Settings(BaseSettings):
    """All settings with their stock values. Each is the environment variable ``SIGN_PREFLIGHT_<NAME>``."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, frozen=True, extra="forbid")

    host: Annotated[str, Field(min_length=1, description="Address to listen on")] = "127.0.0.1"
    port: Annotated[int, Field(ge=0, le=65535, description="Port to listen on; 0 takes a free one")] = 8080
    workers: Annotated[int, Field(ge=1, le=64, description="Worker processes")] = 2
    queue: Annotated[int, Field(ge=0, le=1000, description="Requests that may wait for a worker")] = 64
    queue_seconds: Annotated[
        float, Field(gt=0, le=600, description="Longest wait for a worker, in seconds")
    ] = 10.0
    uploads: Annotated[int, Field(ge=1, le=1000, description="Uploads received at the same time")] = 64
    held_bytes: Annotated[
        int,
        Field(
            ge=MEBIBYTE,
            le=1024**4,
            description="Bytes of artwork being received, waiting or worked on; more is refused as busy",
        ),
    ] = 400_000_000
    upload_bytes: Annotated[
        int, Field(ge=1024, le=1024 * MEBIBYTE, description="Largest artwork, in bytes")
    ] = 25_000_000
    job_bytes: Annotated[int, Field(ge=256, le=MEBIBYTE, description="Largest job, in bytes")] = 65_536
    receive_seconds: Annotated[
        float, Field(gt=0, le=3600, description="Longest time to receive an upload, in seconds")
    ] = 30.0
    work_seconds: Annotated[
        float, Field(gt=0, le=3600, description="Longest time to work on one request, in seconds")
    ] = 20.0
    search_seconds: Annotated[
        float,
        Field(
            ge=2,
            le=3600,
            description="Longest search for a layout, in seconds; never more than half the time for the work",
        ),
    ] = 8.0
    memory_mb: Annotated[int, Field(ge=256, le=65_536, description="Address space of one worker, in MiB")] = (
        1024
    )
    confinement: Annotated[
        Literal["try", "require", "off"],
        Field(
            description="Whether workers give up sockets, other programs and files (seccomp, Landlock): `try`,"
            " as far as the kernel does it; `require`, or do not start; `off`"
        ),
    ] = "try"
    answer_bytes: Annotated[
        int, Field(ge=1024, le=1024 * MEBIBYTE, description="Largest answer of a worker, in bytes")
    ] = 64 * MEBIBYTE
    tasks_per_worker: Annotated[
        int, Field(ge=1, le=1_000_000, description="Requests after which a worker is replaced by a fresh one")
    ] = 200
    start_seconds: Annotated[
        float, Field(gt=0, le=600, description="Longest time for a worker to start, in seconds")
    ] = 30.0
    fonts: Annotated[
        str,
        Field(
            description="Folder of fonts for text that is not outlined, in repairs, layouts and panels; empty: only"
            " fonts in the artwork itself"
        ),
    ] = ""
    stand_ins: Annotated[
        str,
        Field(
            description="Which of these fonts stand in for which families, as `sans-serif=Source Sans Pro;Arial=…`",
        ),
    ] = ""
    keys_file: Annotated[
        str,
        Field(description="File of API keys, made by `python -m service.keys`; empty: no keys are asked for"),
    ] = ""
    anyone: Annotated[
        bool,
        Field(
            description="Whether a service without keys may listen on more than this machine's own address"
        ),
    ] = False
    rate: Annotated[
        int,
        Field(
            ge=0,
            le=1_000_000,
            description="Requests of a key, or else of an address, in a window; 0: no limit",
        ),
    ] = 0
    rate_seconds: Annotated[int, Field(ge=1, le=86_400, description="Length of that window, in seconds")] = 60
    proxies: Annotated[
        int,
        Field(
            ge=0,
            le=10,
            description="Proxies of your own in front: the caller's address is that many from the right in"
            " X-Forwarded-For; 0: the connection's own",
        ),
    ] = 0
    cors_origins: Annotated[
        str,
        Field(
            pattern=r"^$|^\*$|^https?://[^\s,/]+(\s*,\s*https?://[^\s,/]+)*$",
            description="Origins whose pages may call the service, with commas, or `*`; empty: only its own page",
        ),
    ] = ""
    cache_bytes: Annotated[
        int, Field(ge=0, le=2**40, description="Answers kept in memory, in bytes; 0: none")
    ] = 67_108_864
    cache_entries: Annotated[int, Field(ge=0, le=1_000_000, description="Answers kept in memory")] = 1000
    cache_seconds: Annotated[
        float, Field(gt=0, le=604_800, description="How long an answer is kept, in seconds")
    ] = 600.0
    idempotency_bytes: Annotated[
        int, Field(ge=0, le=2**40, description="Answers kept for requests with an Idempotency-Key, in bytes")
    ] = 67_108_864
    idempotency_seconds: Annotated[
        float, Field(gt=0, le=604_800, description="How long an Idempotency-Key is remembered, in seconds")
    ] = 86_400.0
    send_seconds: Annotated[
        float,
        Field(
            gt=0, le=3600, description="Longest time that a client may take nothing of its answer, in seconds"
        ),
    ] = 30.0
    connections: Annotated[
        int,
        Field(ge=1, le=100_000, description="Connections at the same time; more are told that it is busy"),
    ] = 1000
    header_seconds: Annotated[
        float, Field(gt=0, le=600, description="Longest time to receive a request's headers, in seconds")
    ] = 10.0
    redis_url: Annotated[
        str,
        Field(
            pattern=r"^$|^(redis|rediss|unix)://",
            description="Where jobs are kept, `redis://…`; empty: in the file of JOBS_PATH",
        ),
    ] = ""
    jobs_path: Annotated[
        str,
        Field(
            description="SQLite file for jobs; empty: `sign-preflight/jobs.sqlite3` in the user's state folder"
        ),
    ] = ""
    jobs_bytes: Annotated[
        int, Field(ge=MEBIBYTE, le=2**50, description="Space for jobs in the SQLite file, in bytes")
    ] = 2_000_000_000
    job_workers: Annotated[
        int, Field(ge=0, le=64, description="Files of jobs worked on at a time in this process; 0: none")
    ] = 1
    job_seconds: Annotated[
        float, Field(gt=0, le=3600, description="Longest time to work on one file of a job, in seconds")
    ] = 120.0
    job_files: Annotated[int, Field(ge=1, le=1000, description="Most files in one job")] = 50
    batch_bytes: Annotated[
        int, Field(ge=1024, le=1024 * MEBIBYTE, description="Largest job, all its files together, in bytes")
    ] = 50_000_000
    job_backlog: Annotated[
        int, Field(ge=1, le=1_000_000, description="Most files of jobs that may wait or be worked on")
    ] = 1000
    job_keep_seconds: Annotated[
        float,
        Field(
            ge=1,
            le=31_536_000,
            description="How long a job and its results are kept after its end, in seconds",
        ),
    ] = 86_400.0
    job_lease_seconds: Annotated[
        float,
        Field(
            ge=1, le=600, description="Time after which a silent worker's file goes to another, in seconds"
        ),
    ] = 15.0
    job_attempts: Annotated[
        int, Field(ge=1, le=1000, description="How often a file is begun before it is given up")
    ] = 10
    metrics_port: Annotated[
        int,
        Field(ge=0, le=65535, description="Port of a job worker's own counters and health check; 0: none"),
    ] = 0
    event_streams: Annotated[
        int, Field(ge=0, le=10_000, description="Streams of events sent at the same time")
    ] = 100
    webhook_private: Annotated[
        bool, Field(description="Whether webhooks may go to private addresses and over http")
    ] = False
    log_format: Annotated[
        Literal["json", "text"], Field(description="Form of the log: a JSON object a line, or plain lines")
    ] = "json"
    log_level: Annotated[
        Literal["debug", "info", "warning", "error"], Field(description="Least serious log entry written")
    ] = "info"

    @field_validator("fonts")
    @classmethod
    def _is_folder(cls, value: str) -> str:
        if value and not Path(value).is_dir():
            raise PydanticCustomError("no_folder", "there is no such folder")
        return value

    @field_validator("stand_ins")
    @classmethod
    def _is_pairs(cls, value: str) -> str:
        pairs = [pair.split("=") for pair in value.split(";") if pair.strip()]
        if any(len(pair) != 2 or not all(part.strip() for part in pair) for pair in pairs):
            raise PydanticCustomError("no_pairs", "write it as family=font, with a ; between several")
        return value

    @property
    def families(self) -> tuple[tuple[str, str], ...]:
        """Families of which others stand in, each with the one that does."""
        pairs = (pair.partition("=") for pair in self.stand_ins.split(";") if pair.strip())
        return tuple((family.strip(), font.strip()) for family, _, font in pairs)

    @property
    def longest_search(self) -> float:
        """How long a search for a layout may go on, in seconds."""
        return min(self.search_seconds, self.work_seconds / 2)


def handbook() -> str:
    """Return the table of all settings as Markdown."""
    rows = [
        f"| `{PREFIX}{name.upper()}` | {field.default} | {field.description} |"
        for name, field in Settings.model_fields.items()
    ]
    return "\n".join(["| variable | stock value | meaning |", "|---|---|---|", *rows]) + "\n"


def from_environment() -> Settings:
    """Return the settings of the environment.

    Raises `SettingsError` for a value out of range, and for a variable with the prefix that is no
    setting: a misspelt one would otherwise be ignored in silence.
    """
    known = {PREFIX + name.upper() for name in Settings.model_fields}
    problems: list[str] = []
    for name in sorted(os.environ):
        if name.upper().startswith(PREFIX) and name.upper() not in known:
            near = difflib.get_close_matches(name.upper(), known, 1)
            hint = f" Did you mean {near[0]}?" if near else ""
            problems.append(f"{name} is not a setting.{hint}")
    try:
        settings = Settings()
    except ValidationError as error:
        for one in error.errors(include_url=False):
            name = PREFIX + ".".join(str(part) for part in one["loc"]).upper()
            problems.append(f"{name} is {one['input']!r}: {one['msg']}.")
        raise SettingsError("\n".join(problems)) from None
    if problems:
        raise SettingsError("\n".join(problems))
    return settings
