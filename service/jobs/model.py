"""What a job is made of. Times are seconds since the epoch; files are counted from 1."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from service.files import FORMATS
from service.tasks import PICTURE_WIDTH, Task, options_of

Operation = Literal["report", "picture", "repair", "jobsheet", "rehearsal", "layout", "panels"]

OUTPUTS: dict[Operation, dict[str, tuple[str, str]]] = {
    "report": {"json": ("report-json", "application/json"), "text": ("report-text", "text/plain")},
    "picture": {"svg": ("picture-svg", "image/svg+xml"), "png": ("picture-png", "image/png")},
    "repair": {
        "json": ("repair-json", "application/json"),
        **{word: ("repair-file", media) for word, media in FORMATS.items()},
    },
    "jobsheet": {
        "json": ("jobsheet-json", "application/json"),
        "html": ("jobsheet-html", "text/html"),
        "pdf": ("jobsheet-pdf", "application/pdf"),
    },
    "rehearsal": {
        "json": ("rehearsal-json", "application/json"),
        "svg": ("rehearsal-svg", "image/svg+xml"),
        "png": ("rehearsal-png", "image/png"),
        "html": ("rehearsal-html", "text/html"),
    },
    "layout": {
        "json": ("layout-json", "application/json"),
        "svg": ("layout-svg", "image/svg+xml"),
        "png": ("layout-png", "image/png"),
    },
    "panels": {
        "json": ("panels-json", "application/json"),
        "svg": ("panels-svg", "image/svg+xml"),
        "png": ("panels-png", "image/png"),
    },
}
"""For each operation its formats, the stock one first: the worker's task, and the media type."""

ItemState = Literal["queued", "running", "done", "failed", "cancelled"]
JobState = Literal["queued", "running", "done", "cancelled"]
WebhookState = Literal["none", "pending", "delivered", "given-up"]

OPEN_STATES = ("queued", "running")


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be done with each file of a job."""

    operation: Operation
    format: str
    width_px: int = PICTURE_WIDTH
    words: bool = True
    settings: bytes | None = None
    """The job's settings as they came, JSON or TOML."""
    settings_format: str | None = None
    options: str = ""
    """The operation's own options as they came, JSON or TOML."""

    @property
    def media_type(self) -> str:
        """Of each result."""
        return OUTPUTS[self.operation][self.format][1]

    def task(self, artwork: bytes, name: str | None, search_seconds: float) -> Task:
        """Return the worker's task for one file; no search in it goes on longer than ``search_seconds``."""
        kind = OUTPUTS[self.operation][self.format][0]
        return Task(
            kind,
            artwork,
            name,
            self.settings,
            self.settings_format,
            self.width_px,
            self.words,
            self.format if kind == "repair-file" else "svg",
            options=options_of(kind, self.options, search_seconds=search_seconds),
        )


@dataclass(frozen=True, slots=True)
class Webhook:
    """Where the end of a job is told. ``secret`` is ``whsec_`` and base64."""

    url: str
    secret: str


@dataclass(frozen=True, slots=True)
class File:
    """One file of a job."""

    artwork: bytes
    name: str | None = None


@dataclass(frozen=True, slots=True)
class NewJob:
    """A job as it is accepted."""

    id: str
    owner: str
    created: float
    order: Order
    files: tuple[File, ...]
    webhook: Webhook | None = None
    mark: str = ""
    """Stands for the content; tells a request sent again from another one under the same key."""

    def about(self) -> str:
        """Return as JSON what never changes about the job, without the files themselves."""
        order = asdict(self.order)
        if self.order.settings is not None:
            # Latin-1 carries every byte there and back, also of settings that are no text.
            order["settings"] = self.order.settings.decode("latin-1")
        return json.dumps(
            {
                "owner": self.owner,
                "created": self.created,
                "order": order,
                "webhook": asdict(self.webhook) if self.webhook else None,
                "mark": self.mark,
            }
        )


@dataclass(frozen=True, slots=True)
class Fault:
    """Why a file has no result: what the service answers as a problem."""

    slug: str
    detail: str
    code: str
    advice: str


@dataclass(frozen=True, slots=True)
class Unit:
    """One file of one job: what is worked on at a time."""

    job_id: str
    n: int


@dataclass(frozen=True, slots=True)
class Work:
    """A unit with all that is needed to do it. ``attempt`` counts from 1."""

    unit: Unit
    attempt: int
    order: Order
    file: File


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a unit: a body with its media type and headers, or a fault."""

    body: bytes = b""
    media_type: str = ""
    headers: dict[str, str] = field(default_factory=dict)
    fault: Fault | None = None

    @property
    def state(self) -> Literal["done", "failed"]:
        """The state of a file that ended so."""
        return "failed" if self.fault else "done"

    def head(self) -> str:
        """Return everything but the body as JSON."""
        return json.dumps(
            {
                "media_type": self.media_type,
                "headers": self.headers,
                "fault": asdict(self.fault) if self.fault else None,
                "size": len(self.body),
            }
        )


@dataclass(frozen=True, slots=True)
class Item:
    """The state of one file of a job."""

    n: int
    name: str | None
    state: ItemState
    attempts: int
    media_type: str = ""
    headers: dict[str, str] = field(default_factory=dict)
    size: int = 0
    fault: Fault | None = None


@dataclass(frozen=True, slots=True)
class Record:
    """The state of a job."""

    id: str
    owner: str
    created: float
    order: Order
    state: JobState
    items: tuple[Item, ...]
    finished: float | None = None
    expires: float | None = None
    webhook: Webhook | None = None
    mark: str = ""
    webhook_state: WebhookState = "none"
    webhook_attempts: int = 0
    last_event: int = 0

    @property
    def over(self) -> bool:
        """Whether nothing more will be done."""
        return self.state not in OPEN_STATES


@dataclass(frozen=True, slots=True)
class Tally:
    """What a store counts, over all processes that use it."""

    accepted: int
    """Jobs, since the store is there."""
    ended: dict[str, int]
    """Jobs, since the store is there: ``done``, ``failed`` where a file or more has no result, ``cancelled``."""
    queued: int
    """Files that wait now."""
    running: int
    """Files that are worked on now."""
    oldest: float | None
    """When the oldest job that is not over was accepted."""


@dataclass(frozen=True, slots=True)
class Event:
    """A step of a job's progress. ``seq`` counts from 1 within the job."""

    seq: int
    data: dict[str, Any]


@dataclass(frozen=True, slots=True)
class About:
    """What never changes about a job."""

    owner: str
    created: float
    order: Order
    webhook: Webhook | None
    mark: str


def about_of(text: str | bytes) -> About:
    """Return what `NewJob.about` wrote."""
    fields = json.loads(text)
    order = dict(fields["order"])
    if order["settings"] is not None:
        order["settings"] = order["settings"].encode("latin-1")
    webhook = fields["webhook"]
    return About(
        fields["owner"],
        fields["created"],
        Order(**order),
        Webhook(**webhook) if webhook else None,
        fields["mark"],
    )


def item_of(n: int, name: str | None, state: ItemState, attempts: int, head: str | bytes | None) -> Item:
    """Return a file's state; ``head`` is what `Outcome.head` wrote, or nothing."""
    fields = json.loads(head) if head else {"media_type": "", "headers": {}, "fault": None, "size": 0}
    fault = fields["fault"]
    return Item(
        n,
        name,
        state,
        attempts,
        fields["media_type"],
        fields["headers"],
        fields["size"],
        Fault(**fault) if fault else None,
    )
