"""How an order lies on the roll: figures, a picture, and files for production."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Query, Request
from fastapi.responses import Response

from service import contract_workshop
from service.files import FORMATS, Format
from service.negotiation import choose
from service.settings import Settings
from service.tasks import NARROWEST, PICTURE_WIDTH, WIDEST, Kind, options_of
from service.work import answered, shown, shown_file

router = APIRouter(prefix="/v1/layouts", tags=["layouts"])

JSON = "application/json"
KINDS: dict[str, Kind] = {JSON: "layout-json", "image/svg+xml": "layout-svg", "image/png": "layout-png"}
MOST_LINES = 50
MOST_COPIES = 2000
Copies = Annotated[int, Query(ge=1, le=MOST_COPIES)]


@router.post(
    "",
    operation_id="createLayout",
    summary="Lay an order out on the roll",
    response_class=Response,
    openapi_extra=contract_workshop.takes_order(),
    responses=contract_workshop.answers_layout(),
)
async def create_layout(
    request: Request,
    *,
    copies: Annotated[
        list[Copies] | None,
        Query(
            max_length=MOST_LINES,
            description="Copies: once for all artworks, or once for each in their order; left out, the options'",
        ),
    ] = None,
    format: Annotated[
        Format | None, Query(description="Format of files for production; left out, there are none")
    ] = None,
    film: Annotated[
        str | None,
        Query(
            max_length=200, description="Which film's file, where the answer is a file and films are several"
        ),
    ] = None,
    width: Annotated[int, Query(ge=NARROWEST, le=WIDEST, description="Width of a picture, in px")] = (
        PICTURE_WIDTH
    ),
    accept: Annotated[str | None, Header(include_in_schema=False)] = None,
) -> Response:
    """Tell, film by film, how the artworks in their copies lie on the roll, and how much film that takes.

    One artwork is the raw body, or several are parts `artwork` of a multipart form, with at most one part
    `job`, which states the rolls, and one part `options`. As `application/json` the figures and places; with
    `format` also the mended cut of all copies, one file a film. As a picture the roll with its borders. With
    `format` and that file's media type in `Accept`: the file of one film alone, with `Preflight-Standing` and
    `Preflight-Caution` as headers. A search for outlines takes as long as the options say, and no longer than
    the service allows; its result depends on the machine, so that two of the same request may differ.
    """
    offered = (JSON, FORMATS[format]) if format else tuple(KINDS)
    media = choose(accept, offered)
    settings: Settings = request.app.state.settings
    kind: Kind = KINDS[media] if media in KINDS and (media == JSON or not format) else "layout-file"
    options = options_of(
        kind,
        search_seconds=settings.longest_search,
        copies=copies or [],
        film=film,
        files=format is not None,
    )
    body = await answered(
        request, kind, width_px=width, format=format or "svg", options=options, artworks=None
    )
    return shown(request, body, media) if kind != "layout-file" else shown_file(request, body, media)
