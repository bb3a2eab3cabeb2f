"""A PDF file to `Artwork`: its first page, as a viewer shows it.

Design files that hold a PDF of themselves are read the same way.
"""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass

import pikepdf

from preflight.artwork import Artwork, Box, RemarkKind, SizeBasis, Source
from preflight.curves import Matrix
from preflight.errors import ReadError, printable, shortened
from preflight.readers.limits import Budget
from preflight.readers.pdf.content import Runner
from preflight.readers.pdf.frame import Frame
from preflight.readers.pdf.layers import Layers
from preflight.readers.pdf.state import FARTHEST_MM, Graphics, Scene
from preflight.readers.pdf.streams import stream_bytes
from preflight.readers.pdf.values import box, entry, items, name, number

MM_PER_POINT = 25.4 / 72
"""ISO 32000-1, 8.3.2.3: a unit of default user space is 1/72 in."""
_DEEPEST_TREE = 64
_SAVE_AGAIN = "Save it again in the program that made it."


@dataclass(frozen=True, slots=True)
class Sheet:
    """The page: its size in mm and how default user space lies on it."""

    width: float
    height: float
    matrix: Matrix


def read_pdf(data: bytes, name: str | None, budget: Budget) -> Artwork:
    """Read the first page of ``data``.

    The drawing area is the page's visible part (its crop box), turned as the page is. Raises
    `ReadError` for files that are locked or damaged, `LimitError` for those too large.
    """
    with _opened(data) as pdf:
        page, count = _first_page(pdf)
        scene_remarks: list[str] = []
        sheet = _sheet(page, scene_remarks)
        layers = Layers(pdf)
        scene = Scene(pdf, budget, layers, (0.0, 0.0, sheet.width, sheet.height))
        if count > 1:
            scene.say(RemarkKind.NOTE, f"the file has {count} pages; the first one was judged")
        for remark in scene_remarks:
            scene.say(RemarkKind.NOTE, remark)
        frame = Frame(scene, _inherited(page, "Resources"), Graphics(sheet.matrix), "/page[1]")
        Runner(frame).run(_content(page, budget))
        _tell(scene, page, pdf)
        return Artwork(
            width=sheet.width,
            height=sheet.height,
            items=tuple(scene.items),
            source=Source("pdf", hashlib.sha256(data).hexdigest(), len(data), name, _generator(pdf)),
            size_basis=SizeBasis.PHYSICAL,
            remarks=tuple(scene.remarks),
            layers=tuple(dict.fromkeys(layers.names.values())),
            empty_layers=_empty(scene) if count == 1 else (),
            layer_roles=tuple(layers.roles()),
        )


def _opened(data: bytes) -> pikepdf.Pdf:
    try:
        return pikepdf.open(io.BytesIO(data), suppress_warnings=True)
    except pikepdf.PasswordError as error:
        raise ReadError(
            "pdf-locked",
            "The PDF is locked with a password, so its content cannot be read.",
            "Save it without a password and send that file.",
        ) from error
    except (pikepdf.PdfError, RuntimeError, ValueError) as error:
        reason = shortened(printable(str(error)).rpartition(": ")[2])
        raise ReadError("pdf-damaged", f"The PDF cannot be opened ({reason}).", _SAVE_AGAIN) from error


def _first_page(pdf: pikepdf.Pdf) -> tuple[pikepdf.Dictionary, int]:
    try:
        count = len(pdf.pages)
        first = pdf.pages[0].obj if count else None
    except (pikepdf.PdfError, RuntimeError, ValueError, IndexError) as error:
        raise ReadError("pdf-damaged", "The PDF’s list of pages is damaged.", _SAVE_AGAIN) from error
    if not isinstance(first, pikepdf.Dictionary):
        raise ReadError("pdf-no-page", "The PDF has no page.", "Save the artwork as PDF again.")
    return first, count


def _inherited(page: object, key: str) -> object:
    """Return a page's entry, from the nodes above it where it has none (ISO 32000-1, 7.7.3.4)."""
    node = page
    for _ in range(_DEEPEST_TREE):
        found = entry(node, key)
        if found is not None:
            return found
        node = entry(node, "Parent")
    return None


def _sheet(page: object, remarks: list[str]) -> Sheet:
    media = box(_inherited(page, "MediaBox"))
    if media is None:
        raise ReadError(
            "pdf-no-size",
            "The PDF’s page has no usable size (media box).",
            "Set the page’s size and save it again.",
        )
    crop = box(_inherited(page, "CropBox"))
    shown = _common(crop, media) if crop is not None else media
    if shown is None:
        shown = media
        remarks.append("the page’s crop box lies outside the page; the whole page was taken")
    unit = number(entry(page, "UserUnit")) or 1.0
    scale = MM_PER_POINT * (unit if unit > 0 else 1.0)
    width, height = ((shown[2] - shown[0]) * scale, (shown[3] - shown[1]) * scale)
    if max(width, height) >= FARTHEST_MM:
        raise ReadError(
            "size-out-of-range",
            f"The page would be {max(width, height):.3g} mm wide or high, which no sign is.",
            "Set the page to the artwork's size and save it again.",
        )
    trim = box(entry(page, "TrimBox"))
    if trim is not None and max(abs(a - b) for a, b in zip(trim, shown, strict=True)) * scale > 0.1:
        size = f"{(trim[2] - trim[0]) * scale:.1f} × {(trim[3] - trim[1]) * scale:.1f} mm"
        remarks.append(
            f"the page is to be trimmed to {size}; all of it that shows was taken as the drawing area"
        )
    return _turned(shown, scale, int(number(_inherited(page, "Rotate")) or 0) % 360)


def _common(one: Box, other: Box) -> Box | None:
    x0, y0, x1, y1 = (
        max(one[0], other[0]),
        max(one[1], other[1]),
        min(one[2], other[2]),
        min(one[3], other[3]),
    )
    return (x0, y0, x1, y1) if x1 > x0 and y1 > y0 else None


def _turned(shown: Box, k: float, turn: int) -> Sheet:
    """Return the page turned clockwise by ``turn`` degrees; user space is y up, mm are y down."""
    x0, y0, x1, y1 = shown
    wide, high = (x1 - x0) * k, (y1 - y0) * k
    if turn == 90:
        return Sheet(high, wide, (0.0, k, k, 0.0, -y0 * k, -x0 * k))
    if turn == 180:
        return Sheet(wide, high, (-k, 0.0, 0.0, k, x1 * k, -y0 * k))
    if turn == 270:
        return Sheet(high, wide, (0.0, -k, -k, 0.0, y1 * k, x1 * k))
    return Sheet(wide, high, (k, 0.0, 0.0, -k, -x0 * k, y1 * k))


def _content(page: object, budget: Budget) -> bytes:
    contents = entry(page, "Contents")
    streams = [contents] if isinstance(contents, pikepdf.Stream) else items(contents)
    parts = []
    for stream in streams:
        part = stream_bytes(stream, budget)
        if part is None:
            raise ReadError("pdf-damaged", "The content of the PDF’s page cannot be unpacked.", _SAVE_AGAIN)
        parts.append(part)
    return b"\n".join(parts)


def _tell(scene: Scene, page: object, pdf: pikepdf.Pdf) -> None:
    """Add the remarks that concern the file as a whole."""
    if scene.spots:
        listed = ", ".join(f"“{spot}” ({colour})" for spot, colour in sorted(scene.spots.items()))
        scene.say(RemarkKind.NOTE, f"spot colours and how they show: {listed}")
    roles = dict(scene.layers.roles())
    taken = {"knife": "taken as lines that the knife follows", "guide": "taken as no part of the artwork"}
    for layer, step in scene.layers.steps.items():
        if layer in scene.used_layers:
            how = taken.get(roles.get(layer, ""), "judged like any other")
            scene.say(
                RemarkKind.NOTE,
                f"layer “{layer}” is declared as the processing step {step} (ISO 19593-1): {how}",
            )
    if scene.layers.by_event:
        scene.say(
            RemarkKind.CONDITION, "some layers show only on screen, in print or at a zoom: judged as listed"
        )
    seen = [one for one in items(entry(page, "Annots")) if _annotation_shows(one)]
    if seen:
        scene.say(
            RemarkKind.UNSUPPORTED, f"{len(seen)} comments, form fields or stamps on the page are not read"
        )
    warnings = len(pdf.get_warnings())
    if warnings:
        scene.say(
            RemarkKind.MISSING_REFERENCE,
            f"the file is damaged in {warnings} places and was mended while reading; something may be missing",
        )


def _annotation_shows(annotation: object) -> bool:
    """Tell whether an annotation has an appearance and is not hidden (ISO 32000-1, 12.5.3)."""
    flags = int(number(entry(annotation, "F")) or 0)
    return (
        entry(annotation, "AP") is not None
        and not flags & 0b100010
        and name(entry(annotation, "Subtype")) != "Popup"
    )


def _empty(scene: Scene) -> tuple[str, ...]:
    names = dict.fromkeys(scene.layers.names.values())
    return tuple(layer for layer in names if layer not in scene.used_layers)


def _generator(pdf: pikepdf.Pdf) -> str | None:
    info = entry(pdf.trailer, "Info")
    for key in ("Creator", "Producer"):
        value = entry(info, key)
        if isinstance(value, pikepdf.String) and str(value).strip():
            return shortened(printable(str(value).strip()))
    return None
