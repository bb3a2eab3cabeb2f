"""What a repair answers: the report on the file as sent, what was done, the proof, and the file.

Loads the library; in the running service only the workers import this.
"""

from __future__ import annotations

import base64
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from preflight.repair.model import Action, Proof
from preflight.repair.steps import Steps
from preflight.report.model import Report
from preflight.version import __version__
from service.files import FORMATS, FileHead, Format, Standing, head_of

if TYPE_CHECKING:
    from preflight.artwork import Artwork
    from preflight.job import Job
    from preflight.text import FontSource


class MendedFile(BaseModel):
    """The file for production, inside the answer."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: Annotated[
        str, Field(description="A name to keep it under; says “not-proved” where it is not proved")
    ]
    format: Format
    media_type: str
    standing: Annotated[
        Standing, Field(description="A file that is not proved must not be sent to a cutter as it is")
    ]
    caution: Annotated[str, Field(description="To be shown beside the download")]
    encoding: Annotated[
        Literal["utf-8", "base64"],
        Field(description="utf-8: the content is the file's text; base64: its bytes"),
    ]
    content: str


class MendOptions(Steps):
    """How artwork is mended and written."""

    weed_lines: Annotated[
        bool,
        Field(
            description="Add weed border and weed lines, as layers of their own, to the file for production"
        ),
    ] = False


class Mended(BaseModel):
    """What `POST /v1/repairs` answers as JSON."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    tool_version: str
    proved: bool
    summary: Annotated[str, Field(description="What the file does and does not promise")]
    actions: Annotated[tuple[Action, ...], Field(description="What was changed")]
    proof: Proof
    report: Annotated[Report, Field(description="The report on the artwork as it was sent")]
    file: MendedFile


def file_fields(word: str, head: FileHead, data: bytes) -> dict[str, Any]:
    """Return a file in the format ``word`` as the fields of `MendedFile`: SVG as text, others as base64."""
    text = head.media_type == FORMATS["svg"]
    return {
        "name": head.name,
        "format": word,
        "media_type": head.media_type,
        "standing": head.standing,
        "caution": head.caution,
        "encoding": "utf-8" if text else "base64",
        "content": data.decode() if text else base64.b64encode(data).decode(),
    }


def mend(
    artwork: Artwork, job: Job, word: str, options: MendOptions, fonts: FontSource | None = None
) -> tuple[Mended, FileHead, bytes]:
    """Repair ``artwork`` and write it in the format ``word``; text is outlined in ``fonts`` too.

    Returns the answer as JSON's model, and the file's head and bytes. Raises the library's errors,
    `WriteError` where the format cannot hold the artwork.
    """
    # Only a worker that repairs needs them; every worker would be larger with them.
    from preflight.checking import check  # noqa: PLC0415
    from preflight.repair import repair  # noqa: PLC0415
    from preflight.weeding.production import with_weed_lines  # noqa: PLC0415
    from preflight.writers import WRITERS  # noqa: PLC0415
    from preflight.writers.production import claim, cut_file  # noqa: PLC0415

    writer = next(writer for writer in WRITERS if writer.word == word)
    report = check(artwork, job)
    repaired = repair(artwork, job, options, fonts=fonts)
    stem = PurePosixPath(artwork.source.name or "artwork").stem or "artwork"
    proved, summary = repaired.proof.proved, claim(repaired)
    file = cut_file(repaired, stem)
    data = writer.write(with_weed_lines(file, job) if options.weed_lines else file)
    head = head_of(writer, stem, summary, proved=proved)
    mended = Mended(
        tool_version=__version__,
        proved=proved,
        summary=summary,
        actions=repaired.actions,
        proof=repaired.proof,
        report=report,
        file=MendedFile(**file_fields(word, head, data)),
    )
    return mended, head, data
