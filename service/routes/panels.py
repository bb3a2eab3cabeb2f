"""A sign that is wider than its roll, in panels: plan, assembly drawing, and files for production."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Query, Request
from fastapi.responses import Response

from service import contract_workshop
from service.files import FORMATS, Format
from service.negotiation import choose
from service.tasks import PICTURE_WIDTH, WIDEST, Kind, options_of
from service.work import answered, shown, shown_file

router = APIRouter(prefix="/v1/panels", tags=["panels"])

JSON = "application/json"
KINDS: dict[str, Kind] = {JSON: "panels-json", "image/svg+xml": "panels-svg", "image/png": "panels-png"}
NARROWEST = 720
"""Least width of an assembly drawing, px: the library's own limit."""


@router.post(
    "",
    operation_id="createPanels",
    summary="Part a sign into panels",
    response_class=Response,
    openapi_extra=contract_workshop.takes_sign(),
    responses=contract_workshop.answers_panels(),
)
async def create_panels(
    request: Request,
    *,
    format: Annotated[
        Format | None, Query(description="Format of files for production; left out, there are none")
    ] = None,
    film: Annotated[
        str | None, Query(max_length=200, description="Film of the file, where the answer is a file")
    ] = None,
    panel: Annotated[
        int | None, Query(ge=1, le=10_000, description="Number of its panel, where it has several")
    ] = None,
    width: Annotated[int, Query(ge=NARROWEST, le=WIDEST, description="Width of a drawing, in px")] = (
        PICTURE_WIDTH
    ),
    accept: Annotated[str | None, Header(include_in_schema=False)] = None,
) -> Response:
    """Tell for each film whether its roll is wide enough, and if not, where its seams go and how they lap.

    The artwork is the raw body, or the part `artwork` of a form, whose part `job` states the rolls and whose
    part `options` says how panels may be made. As `application/json` the plan; with `format` also the cut of
    every panel, mended and proved against the whole. As a picture the assembly drawing. With `format` and that
    file's media type in `Accept`: the file of one panel alone, with `Preflight-Standing` and
    `Preflight-Caution` as headers.
    """
    offered = (JSON, FORMATS[format]) if format else tuple(KINDS)
    media = choose(accept, offered)
    kind: Kind = KINDS[media] if media in KINDS and (media == JSON or not format) else "panels-file"
    options = options_of(kind, film=film, panel=panel, files=format is not None)
    body = await answered(request, kind, width_px=width, format=format or "svg", options=options, artworks=1)
    return shown(request, body, media) if kind != "panels-file" else shown_file(request, body, media)
