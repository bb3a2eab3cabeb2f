"""PDFs made for a test, and what PDFium shows of them."""

from __future__ import annotations

import io
from collections.abc import Mapping

import numpy as np
import pikepdf
import pypdfium2
import shapely
from pikepdf import Array, Dictionary, Name

from preflight.artwork import Artwork
from preflight.readers import Limits, read

MM = 25.4 / 72
"""mm in a point (ISO 32000-1, 8.3.2.3)."""


def pdf(
    content: str | bytes,
    resources: Mapping[str, object] | None = None,
    *,
    size: tuple[float, float] = (200, 100),
    page: Mapping[str, object] | None = None,
    root: Mapping[str, object] | None = None,
    objects: Mapping[str, tuple[Mapping[str, object], bytes]] | None = None,
    pages: int = 1,
    **saving: object,
) -> bytes:
    """Return a PDF of one page with ``content``.

    ``objects`` are streams, entered among the resources' XObjects by their names.
    """
    document = pikepdf.new()
    data = content.encode() if isinstance(content, str) else content
    table = Dictionary({f"/{key}": value for key, value in (resources or {}).items()})
    if objects:
        table.XObject = Dictionary(
            {
                f"/{key}": document.make_indirect(document.make_stream(body, _slashed(entries)))
                for key, (entries, body) in objects.items()
            }
        )
        for stream in dict(table.XObject).values():
            if stream.get("/Subtype") == Name.Form and "/Resources" not in stream:
                stream.Resources = document.make_indirect(table)
    for _ in range(pages):
        entries = {"Type": Name.Page, "MediaBox": Array([0, 0, *size]), "Resources": table, **(page or {})}
        sheet = Dictionary({f"/{key}": value for key, value in entries.items()})
        sheet.Contents = document.make_stream(data)
        document.pages.append(pikepdf.Page(document.make_indirect(sheet)))
    for key, value in (root or {}).items():
        document.Root[f"/{key}"] = value
    out = io.BytesIO()
    document.save(out, deterministic_id="encryption" not in saving, **saving)  # type: ignore[arg-type]
    return out.getvalue()


def _slashed(entries: Mapping[str, object]) -> dict[str, object]:
    return {f"/{key}": value for key, value in entries.items()}


def form(
    content: str, bbox: tuple[float, ...] = (0, 0, 200, 100), **more: object
) -> tuple[dict[str, object], bytes]:
    """Return a form XObject for ``objects`` of `pdf`."""
    return {"Type": Name.XObject, "Subtype": Name.Form, "BBox": Array(list(bbox)), **more}, content.encode()


def drawn(content: str, resources: Mapping[str, object] | None = None, **more: object) -> Artwork:
    """Read a page with ``content``."""
    return read(pdf(content, resources, **more))  # type: ignore[arg-type]


def limited(data: bytes, **limits: int) -> Artwork:
    return read(data, limits=Limits(**limits))


def disagreement(data: bytes, artwork: Artwork, pixels: int = 400) -> float:
    """Return the share of pixels, off the edges, whose colour in PDFium is not that of the artwork.

    Off the edges: no other colour within a pixel and a half of the centre, in either picture.
    """
    page = pypdfium2.PdfDocument(data)[0]
    scale = pixels / page.get_width()
    shown = np.asarray(page.render(scale=scale, no_smoothtext=True).to_pil().convert("RGB")).astype(int)
    per_mm = shown.shape[1] / artwork.width
    y, x = np.mgrid[0 : shown.shape[0], 0 : shown.shape[1]]
    points = shapely.points((x.ravel() + 0.5) / per_mm, (y.ravel() + 0.5) / per_mm)
    meant = np.full((len(points), 3), 255)
    edge = np.zeros(len(points), bool)
    for colour, region in artwork.appearance().items():
        band = region.boundary.buffer(1.5 / per_mm)
        for geometry in (region, band):
            shapely.prepare(geometry)
        inside = shapely.intersects(region, points)
        meant[inside] = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
        edge |= shapely.intersects(band, points)
    wrong = np.abs(shown.reshape(-1, 3) - meant).max(axis=1) > 3
    clear = ~edge
    return float(wrong[clear].mean()) if clear.any() else 1.0
