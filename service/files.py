"""Files for production as the service passes them on: formats, and a worker's answer with a file in it.

`FORMATS` repeats the words and media types of `preflight.writers.WRITERS`, whose libraries only the
workers load; a test holds the two together.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from preflight.writers import Writer

Format = Literal["svg", "pdf", "dxf", "dxf-polylines", "hpgl"]

FORMATS: dict[Format, str] = {
    "svg": "image/svg+xml",
    "pdf": "application/pdf",
    "dxf": "image/vnd.dxf",
    "dxf-polylines": "image/vnd.dxf",
    "hpgl": "application/vnd.hp-hpgl",
}
"""Media type of each format for production; the first is the stock one."""

Standing = Literal["geometry-proved", "not-proved"]
"""A file that is not proved must not be sent to a cutter as it is."""

HEAD_BYTES = 16_384
CAUTION_LENGTH = 2000
"""A caution may repeat every reason why nothing is proved; a header's line must stay short."""


@dataclass(frozen=True, slots=True)
class FileHead:
    """What stands before the file's bytes in a worker's answer."""

    name: str
    media_type: str
    standing: Standing
    caution: str


def head_of(writer: Writer, stem: str, claim: str, *, proved: bool) -> FileHead:
    """Return the head of a file that ``writer`` makes; its name and its caution say where it is not proved."""
    return FileHead(
        name=f"{stem}.{'cut' if proved else 'not-proved'}{writer.ending}",
        media_type=writer.media_type,
        standing="geometry-proved" if proved else "not-proved",
        caution=writer.caution if proved else f"{claim} {writer.caution}",
    )


def framed(head: FileHead, data: bytes) -> bytes:
    """Return the file's bytes with a line of JSON about it before them."""
    return json.dumps(asdict(head) | {"caution": head.caution[:CAUTION_LENGTH]}).encode() + b"\n" + data


def unframed(body: bytes) -> tuple[FileHead, bytes]:
    """Return the head and the file of a worker's answer. Raises `ValueError` for anything else.

    The worker may have been taken over by a hostile artwork: nothing in its head is trusted.
    """
    end = body.find(b"\n", 0, HEAD_BYTES)
    fields: Any = json.loads(body[:end]) if end > 0 else None
    if not isinstance(fields, dict) or fields.get("media_type") not in FORMATS.values():
        raise ValueError("an answer that is no file")
    standing: Standing = "geometry-proved" if fields.get("standing") == "geometry-proved" else "not-proved"
    name, caution = str(fields.get("name", ""))[:300], str(fields.get("caution", ""))[:CAUTION_LENGTH]
    return FileHead(name, fields["media_type"], standing, caution), body[end + 1 :]


def file_headers(head: FileHead) -> dict[str, str]:
    """Return the headers that go with a file for production."""
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "._-") else "_" for c in head.name) or "artwork"
    return {
        "Content-Disposition": f'attachment; filename="{plain}"',
        "Preflight-Standing": head.standing,
        "Preflight-Caution": _header_text(head.caution),
    }


def _header_text(words: str) -> str:
    """Return ``words`` as a header's value may hold them: printable ASCII (RFC 9110, 5.5)."""
    plain = words.translate({0x2019: "'", 0x2018: "'", 0x201C: '"', 0x201D: '"', 0xB2: "2"})
    return "".join(c if " " <= c <= "~" else "?" for c in plain)
