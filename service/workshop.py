"""What goes to the workshop: job sheets, rehearsals and layouts.

Loads the library and much that only these need; in the running service only a worker that makes one
imports this.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from preflight.checking import analysed, judged
from preflight.cutting.rehearsal import (
    Rehearsal,
    RehearsalOptions,
    animation_html,
    picture_png,
    picture_svg,
    rehearse,
)
from preflight.errors import PreflightError, WriteError, quoted
from preflight.job import Job
from preflight.jobsheet import JobSheet, sheet_of, to_html, to_pdf
from preflight.readers import read
from preflight.roll.layout import Laid, Layout, LayoutOptions, OrderLine, lay_out
from preflight.roll.layout.cut import cut_files
from preflight.roll.layout.picture import layout_png, layout_svg
from preflight.roll.panels import Panelling, PanelOptions, panel_out
from preflight.roll.panels.cut import FilmCut, cut_panels
from preflight.roll.panels.drawing import assembly_png, assembly_svg
from preflight.roll.panels.model import PanelProof
from preflight.writers import WRITERS
from preflight.writers.naming import film_word
from service.files import FileHead, framed, head_of
from service.mending import MendedFile, file_fields
from service.options import chosen, fonts_of, stated
from service.tasks import Task

if TYPE_CHECKING:
    from preflight.artwork import Artwork
    from preflight.report.model import Report


class SheetOptions(BaseModel):
    """How a job sheet is written."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    paper: Annotated[Literal["a4", "letter"], Field(description="Paper of a PDF")] = "a4"


class LaidFile(MendedFile):
    """The cut of one film on its roll, for production."""

    film: str


class PanelFile(MendedFile):
    """The cut of one panel, for production."""

    film: str
    panel: Annotated[int, Field(description="Its number, in the order in which panels are put on")]


class PanelledOut(BaseModel):
    """What `POST /v1/panels` answers as JSON."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    panelling: Panelling
    proofs: Annotated[
        tuple[PanelProof, ...],
        Field(description="The panels of each film against the film, where a format is asked for"),
    ] = ()
    files: Annotated[
        tuple[PanelFile, ...], Field(description="One for each panel, where a format is asked for")
    ] = ()


class LaidOut(BaseModel):
    """What `POST /v1/layouts` answers as JSON."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    layout: Layout
    files: Annotated[
        tuple[LaidFile, ...],
        Field(description="One for each film that was laid, where a format is asked for"),
    ] = ()


@dataclass(frozen=True, slots=True)
class Made:
    """What was made for a task, and the check's answer where one was made on the way."""

    body: bytes
    report: Report | None = None


def made(task: Task, job: Job) -> Made:
    """Do ``task``. Raises the library's errors."""
    if task.kind.startswith("layout-"):
        return Made(_layout(task, job))
    artwork = read(task.artwork, task.name)
    if task.kind.startswith("panels-"):
        return Made(_panels(task, artwork, job))
    if task.kind.startswith("rehearsal-"):
        return Made(_rehearsal(task, artwork, job))
    analysis = analysed(artwork, job)
    report = judged(analysis)
    options = stated(task, SheetOptions)
    return Made(_jobsheet(task.kind, sheet_of(analysis, report), options), report)


def _jobsheet(kind: str, sheet: JobSheet, options: SheetOptions) -> bytes:
    if kind == "jobsheet-pdf":
        return to_pdf(sheet, paper=options.paper)
    if kind == "jobsheet-html":
        return to_html(sheet).encode()
    return sheet.model_dump_json().encode()


def _rehearsal(task: Task, artwork: Artwork, job: Job) -> bytes:
    found = rehearse(artwork, job, stated(task, RehearsalOptions))
    film = chosen(task).get("film")
    known = [one.film for one in found.films]
    if film is not None and film not in known:
        raise PreflightError(
            "film-unknown",
            f"There is no film {quoted(film)} in this cut.",
            f"Films here: {', '.join(map(quoted, known))}.",
        )
    match task.kind:
        case "rehearsal-html":
            return animation_html(found, film=film).encode()
        case "rehearsal-svg":
            return picture_svg(found, film=film, width_px=task.width_px).encode()
        case "rehearsal-png":
            return picture_png(found, film=film, width_px=task.width_px)
    return found.model_dump_json().encode()


def _layout(task: Task, job: Job) -> bytes:
    asked = chosen(task)
    options = stated(task, LayoutOptions)
    options = options.model_copy(update={"seconds": min(options.seconds, float(asked["search_seconds"]))})
    # A worker may start no process, so the search runs in this one and keeps to its time by itself.
    laid = lay_out(
        list(_lines(task, asked.get("copies", []))), job, options, fonts=fonts_of(task), isolated=False
    )
    match task.kind:
        case "layout-svg":
            return layout_svg(laid, width_px=task.width_px).encode()
        case "layout-png":
            return layout_png(laid, width_px=task.width_px)
        case "layout-file":
            return framed(*_one(_files(laid, task), asked.get("film")))
    made = _files(laid, task) if asked.get("files") else []
    files = tuple(LaidFile(film=film, **file_fields(task.format, head, data)) for film, head, data in made)
    return LaidOut(layout=laid.layout, files=files).model_dump_json().encode()


def _panels(task: Task, artwork: Artwork, job: Job) -> bytes:
    asked = chosen(task)
    panelled = panel_out(artwork, job, stated(task, PanelOptions), fonts=fonts_of(task))
    match task.kind:
        case "panels-svg":
            return assembly_svg(panelled, width_px=task.width_px).encode()
        case "panels-png":
            return assembly_png(panelled, width_px=task.width_px)
    if task.kind == "panels-json" and not asked.get("files"):
        return PanelledOut(panelling=panelled.panelling).model_dump_json().encode()
    stem = PurePosixPath(artwork.source.name or "artwork").stem or "artwork"
    cuts = cut_panels(panelled, stem)
    files = list(_panel_files(cuts, stem, task.format))
    if task.kind == "panels-file":
        return framed(*_one_panel(files, asked.get("film"), asked.get("panel")))
    shown = tuple(
        PanelFile(film=film, panel=panel, **file_fields(task.format, head, data))
        for film, panel, head, data in files
    )
    proofs = tuple(cut.proof for cut in cuts)
    return PanelledOut(panelling=panelled.panelling, proofs=proofs, files=shown).model_dump_json().encode()


def _panel_files(
    cuts: Sequence[FilmCut], stem: str, format: str
) -> Iterator[tuple[str, int, FileHead, bytes]]:
    writer = next(writer for writer in WRITERS if writer.word == format)
    taken: set[str] = set()
    for cut in cuts:
        film = cut.planned.plan.film
        word = film_word(film, taken)
        for one in cut.panels:
            head = head_of(
                writer, f"{stem}-{word}-panel-{one.panel.number}", one.file.claim, proved=cut.proved
            )
            yield film, one.panel.number, head, writer.write(one.file)


def _one_panel(
    files: Sequence[tuple[str, int, FileHead, bytes]], film: str | None, panel: int | None
) -> tuple[FileHead, bytes]:
    """Return the file of ``panel`` of ``film``; where one is not named, there must be no choice."""
    named = [
        (head, data) for name, number, head, data in files if film in (None, name) and panel in (None, number)
    ]
    if len(named) == 1:
        return named[0]
    known = ", ".join(f"panel {number} of {quoted(name)}" for name, number, _, _ in files)
    if named:
        raise WriteError(
            "several-panels",
            f"{len(named)} panels answer to this, and a file holds one.",
            f"Name one with “film” and “panel”, or ask for JSON, which has all of them. There are: {known}.",
        )
    raise WriteError("panel-unknown", "There is no such panel.", f"There are: {known}.")


def _lines(task: Task, copies: list[int]) -> Iterator[OrderLine]:
    files = task.files or ((task.name, len(task.artwork)),)
    if len(copies) not in (0, 1, len(files)):
        raise PreflightError(
            "copies",
            f"copies is there {len(copies)} times for {len(files)} artworks.",
            "Give it once for all artworks, or once for each in their order.",
        )
    numbers: list[int | None] = [None] * len(files)
    if copies:
        numbers = [*copies] if len(copies) == len(files) else [copies[0]] * len(files)
    place = 0
    for (name, size), number in zip(files, numbers, strict=True):
        yield OrderLine(read(task.artwork[place : place + size], name), number)
        place += size


def _files(laid: Laid, task: Task) -> list[tuple[str, FileHead, bytes]]:
    """Return each film's name and file for production."""
    writer = next(writer for writer in WRITERS if writer.word == task.format)
    first = laid.layout.lines[0].name if len(laid.layout.lines) == 1 else "order"
    stem = PurePosixPath(first).stem or "order"
    taken: set[str] = set()
    made = []
    for file in cut_files(laid, stem):
        word = film_word(file.film.film, taken)
        head = head_of(writer, f"{stem}-{word}", file.file.claim, proved=file.proved)
        made.append((file.film.film, head, writer.write(file.file)))
    return made


def _one(files: list[tuple[str, FileHead, bytes]], film: str | None) -> tuple[FileHead, bytes]:
    """Return the file of ``film``; of the only film where none is named."""
    named = [(head, data) for name, head, data in files if film is None or name == film]
    if len(named) == 1:
        return named[0]
    known = ", ".join(quoted(name) for name, _, _ in files)
    if film is None:
        raise WriteError(
            "several-films",
            f"{len(files)} films were laid, and a file holds one.",
            f"Name one with “film”, or ask for JSON, which has all of them. Films here: {known}.",
        )
    raise WriteError(
        "film-unknown", f"There is no film {quoted(film)} in this layout.", f"Films here: {known}."
    )


MODELS: tuple[type[BaseModel], ...] = (JobSheet, Rehearsal, LaidOut, PanelledOut)
"""What is answered as JSON, for the contract."""
