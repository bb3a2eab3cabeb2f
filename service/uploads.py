"""Receiving an upload within bounds: bytes, parts and time are all limited while it arrives."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING

from fastapi import Request
from python_multipart.exceptions import FormParserError
from python_multipart.multipart import MultipartParser, parse_options_header

from service.coding import Gunzip
from service.held import Account
from service.problems import (
    MALFORMED_REQUEST,
    MISSING_ARTWORK,
    RECEIVE_TIMEOUT,
    UNSUPPORTED_MEDIA_TYPE,
    UPLOAD_TOO_LARGE,
    ProblemError,
)
from service.settings import Settings

if TYPE_CHECKING:
    from python_multipart.multipart import MultipartCallbacks

RAW_TYPES = ("image/svg+xml", "application/pdf", "application/octet-stream")
MULTIPART = "multipart/form-data"
GZIP = ("gzip", "x-gzip")
"""RFC 9110, 8.4.1.3: the two names of one coding."""
JOB_FORMATS = {"application/json": "json", "application/toml": "toml"}

FRAME_BYTES = 32_768
"""What boundaries and part headers may take on top of the parts themselves."""
DRAIN_SECONDS = 2.0
DRAIN_TIMES = 4
NAME_LENGTH = 200


@dataclass(frozen=True, slots=True)
class Upload:
    """What came in: the artwork, and the job where one was sent."""

    artwork: bytes
    name: str | None = None
    job: bytes | None = None
    job_format: str | None = None


@dataclass(frozen=True, slots=True)
class Batch:
    """What came in for a job: one upload a file, all with the same settings, and the other parts' text."""

    uploads: tuple[Upload, ...]
    texts: dict[str, str] = field(default_factory=dict)


TEXT_BYTES = 4096
"""Longest text part of a batch."""


async def receive_batch(
    request: Request, settings: Settings, texts: tuple[str, ...], most: int | None = None
) -> Batch:
    """Receive a raw body, or a form with artworks, one job and parts named in ``texts``.

    At most ``most`` artworks are taken; None: as many as a job may have files.

    Raises the problems of `receive`.
    """
    kind, options = _content_type(request)
    if kind != MULTIPART:
        return Batch((await receive(request, settings),))
    limits = {"artwork": settings.upload_bytes, "job": settings.job_bytes} | dict.fromkeys(texts, TEXT_BYTES)
    together = settings.upload_bytes if most == 1 else settings.batch_bytes
    form = _Form(options[b"boundary"], limits, most or settings.job_files, together)
    frames = FRAME_BYTES + 1024 * settings.job_files
    whole = settings.batch_bytes + settings.job_bytes + frames + TEXT_BYTES * len(texts)
    await _receive_body(request, whole, settings.batch_bytes, settings, form.feed)
    form.finish()
    job = form.one("job")
    # A browser sends an empty part for a file field that was left alone.
    uploads = tuple(
        Upload(
            bytes(part.data),
            _plain_name(part.filename),
            bytes(job.data) if job.data.strip() else None,
            _job_format(job),
        )
        for part in form.all("artwork")
        if part.data
    )
    if not uploads:
        raise ProblemError(MISSING_ARTWORK, "There is no part “artwork”, or all of them are empty.")
    given = {name: form.one(name).data.decode("utf-8", "replace").strip() for name in texts}
    return Batch(uploads, {name: text for name, text in given.items() if text})


async def receive(request: Request, settings: Settings) -> Upload:
    """Receive the artwork and the job of ``request``.

    A raw body is the artwork alone; only a multipart form carries a job. Raises the problems
    ``unsupported-media-type``, ``upload-too-large``, ``receive-timeout``, ``malformed-request`` and
    ``missing-artwork``.
    """
    kind, options = _content_type(request)
    most = settings.upload_bytes
    if kind == MULTIPART:
        most += settings.job_bytes + FRAME_BYTES
    limits = {"artwork": settings.upload_bytes, "job": settings.job_bytes}
    form = _Form(options[b"boundary"], limits) if kind == MULTIPART else None
    raw = bytearray()
    await _receive_body(request, most, settings.upload_bytes, settings, form.feed if form else raw.extend)
    upload = form.upload() if form else Upload(bytes(raw))
    if not upload.artwork:
        raise ProblemError(
            MISSING_ARTWORK,
            "The part “artwork” is missing or empty." if form else "The body is empty.",
            advice=None if form else "Send the artwork's bytes as the body.",
        )
    return upload


async def _receive_body(
    request: Request, most: int, stated: int, settings: Settings, feed: Callable[[bytes], None]
) -> None:
    """Feed the body as it arrives, at most ``most`` bytes; ``stated`` is what the problem says."""
    await _refuse_declared(request, most, stated)
    account: Account | None = getattr(request.state, "account", None)
    size = unpacked = 0

    def count(data: bytes) -> None:
        nonlocal unpacked
        unpacked += len(data)
        if unpacked > most:
            raise _too_large("The body", unpacked, stated)
        if account:
            account.add(len(data))
        feed(data)

    gunzip = Gunzip(count) if _is_gzip(request) else None
    take = gunzip or count
    try:
        async with asyncio.timeout(settings.receive_seconds):
            async for chunk in request.stream():
                size += len(chunk)
                if size > most:
                    raise _too_large("The body", size, stated)
                take(chunk)
        if gunzip:
            gunzip.finish()
    except TimeoutError:
        raise ProblemError(
            RECEIVE_TIMEOUT,
            f"{size} bytes had arrived after {settings.receive_seconds:g} seconds, and more were to come.",
            headers={"Connection": "close"},
        ) from None
    except ProblemError:
        await drain(request, most * DRAIN_TIMES)
        raise


def _content_type(request: Request) -> tuple[str, dict[bytes, bytes]]:
    kind, options = parse_options_header(request.headers.get("content-type"))
    media = kind.decode("latin-1")
    coding = _coding(request)
    if coding not in ("", "identity", *GZIP):
        # RFC 9110, 12.5.3: Accept-Encoding in the answer tells which codings would have been taken.
        raise ProblemError(
            UNSUPPORTED_MEDIA_TYPE,
            f"The body has the Content-Encoding {coding[:40]!r}; bodies are taken plain or with gzip.",
            headers={"Accept-Encoding": "gzip, identity"},
            advice="Send the body without Content-Encoding. A file that is itself compressed is fine.",
        )
    accept = {"Accept": ", ".join((MULTIPART, *RAW_TYPES))}
    if media != MULTIPART and media not in RAW_TYPES:
        said = f"is {media[:80]!r}" if media else "is missing"
        raise ProblemError(UNSUPPORTED_MEDIA_TYPE, f"The Content-Type {said}.", headers=accept)
    if media == MULTIPART and not options.get(b"boundary"):
        raise ProblemError(UNSUPPORTED_MEDIA_TYPE, "The multipart Content-Type has no boundary.")
    return media, options


def _coding(request: Request) -> str:
    return request.headers.get("content-encoding", "identity").strip().lower()


def _is_gzip(request: Request) -> bool:
    return _coding(request) in GZIP


async def _refuse_declared(request: Request, most: int, stated: int) -> None:
    """Refuse a body whose Content-Length alone says that it is too large."""
    declared = request.headers.get("content-length", "")
    if not declared.isdecimal() or int(declared) <= most:
        return
    # A client that waits for "100 Continue" has sent nothing yet: reading would invite the body.
    if "100-continue" not in request.headers.get("expect", "").lower():
        await drain(request, most * DRAIN_TIMES)
    raise _too_large("The body", int(declared), stated)


async def drain(request: Request, most: int) -> None:
    """Throw away what is still arriving, within bounds.

    A connection closed while the client is still sending resets it, and the client then sees a
    broken pipe in place of the answer.
    """
    left = most
    with suppress(TimeoutError):
        async with asyncio.timeout(DRAIN_SECONDS):
            while left > 0:
                message = await request.receive()
                left -= len(message.get("body", b""))
                if message["type"] != "http.request" or not message.get("more_body"):
                    return


def _too_large(what: str, size: int, most: int) -> ProblemError:
    return ProblemError(
        UPLOAD_TOO_LARGE,
        f"{what} has {size} bytes or more; at most {most} are taken.",
        headers={"Connection": "close"},
    )


@dataclass(slots=True)
class _Part:
    headers: dict[str, str] = field(default_factory=dict)
    data: bytearray = field(default_factory=bytearray)
    name: str = ""
    filename: str | None = None
    most: int = 0


class _Parts:
    """What the parser of a form tells: parts with names in ``most``, which are their largest sizes."""

    def __init__(self, most: Mapping[str, int], artworks: int, together: int) -> None:
        self._most = most
        self._artworks = artworks
        self._together = together
        self._size = 0
        self._part = _Part()
        self._header = bytearray()
        self._value = bytearray()
        self.parts: dict[str, list[_Part]] = {}
        self.ended = False

    def callbacks(self) -> MultipartCallbacks:
        return {
            "on_part_begin": self._begin,
            "on_part_data": self._data,
            "on_header_field": self._header_field,
            "on_header_value": self._header_value,
            "on_header_end": self._header_end,
            "on_headers_finished": self._headers_finished,
            "on_end": self._end,
        }

    def _begin(self) -> None:
        self._part = _Part()

    def _header_field(self, data: bytes, start: int, end: int) -> None:
        self._header += data[start:end]

    def _header_value(self, data: bytes, start: int, end: int) -> None:
        self._value += data[start:end]

    def _header_end(self) -> None:
        self._part.headers[self._header.decode("latin-1").lower()] = self._value.decode("utf-8", "replace")
        self._header.clear()
        self._value.clear()

    def _headers_finished(self) -> None:
        part = self._part
        disposition = part.headers.get("content-disposition", "")
        # The parser of header options works in latin-1; browsers send names as UTF-8.
        _, options = parse_options_header(disposition.encode("utf-8").decode("latin-1"))
        part.name = options.get(b"name", b"").decode("utf-8", "replace")
        filename = options.get(b"filename")
        part.filename = None if filename is None else filename.decode("utf-8", "replace")
        if part.name not in self._most:
            *names, last = (f"“{name}”" for name in self._most)
            raise _malformed(
                f"There is a part {part.name[:40]!r}; only {', '.join(names)} and {last} are asked for."
            )
        same = self.parts.setdefault(part.name, [])
        most = self._artworks if part.name == "artwork" else 1
        if len(same) >= most:
            how = "twice" if most == 1 else f"more than {most} times"
            raise _malformed(f"The part “{part.name}” is there {how}.")
        part.most = self._most[part.name]
        same.append(part)

    def _data(self, data: bytes, start: int, end: int) -> None:
        part = self._part
        if len(part.data) + end - start > part.most:
            raise _too_large(f"The part “{part.name}”", len(part.data) + end - start, part.most)
        if part.name == "artwork":
            self._size += end - start
            if self._size > self._together:
                raise _too_large("All artwork together", self._size, self._together)
        part.data += data[start:end]

    def _end(self) -> None:
        self.ended = True


class _Form:
    """A multipart form (RFC 7578) with no parts but those in ``limits``, which are their largest sizes.

    At most ``artworks`` parts may be called “artwork”, together ``together`` bytes, and one each of the others.
    """

    def __init__(
        self, boundary: bytes, limits: Mapping[str, int], artworks: int = 1, together: int | None = None
    ) -> None:
        # The parser holds the parts and the parts do not hold the parser: in a circle, megabytes of artwork
        # would stay until a collection of garbage comes by.
        self._parts = _Parts(limits, artworks, limits["artwork"] if together is None else together)
        try:
            self._parser = MultipartParser(boundary, self._parts.callbacks())
        except FormParserError as error:
            raise _malformed(str(error)) from None

    def feed(self, chunk: bytes) -> None:
        try:
            self._parser.write(chunk)
        except FormParserError:
            raise _malformed("The multipart body is not built as RFC 7578 says.") from None

    def finish(self) -> None:
        if not self._parts.ended:
            raise _malformed("The multipart body ends before its closing boundary.")

    def all(self, name: str) -> list[_Part]:
        return self._parts.parts.get(name, [])

    def one(self, name: str) -> _Part:
        return next(iter(self.all(name)), _Part())

    def upload(self) -> Upload:
        self.finish()
        artwork, job = self.one("artwork"), self.one("job")
        # A browser sends an empty part for a file field that was left alone.
        return Upload(
            bytes(artwork.data),
            _plain_name(artwork.filename),
            bytes(job.data) if job.data.strip() else None,
            _job_format(job),
        )


def _malformed(detail: str) -> ProblemError:
    return ProblemError(MALFORMED_REQUEST, detail)


def _job_format(part: _Part) -> str | None:
    kind, _ = parse_options_header(part.headers.get("content-type"))
    if known := JOB_FORMATS.get(kind.decode("latin-1")):
        return known
    suffix = PurePosixPath(part.filename or "").suffix.lower()
    return {".json": "json", ".toml": "toml"}.get(suffix)


def _plain_name(filename: str | None) -> str | None:
    """Return the file's own name without folders and control characters, shortened."""
    if not filename:
        return None
    name = PureWindowsPath(PurePosixPath(filename).name).name
    kept = "".join(char for char in name if char.isprintable())
    return kept[:NAME_LENGTH] or None
