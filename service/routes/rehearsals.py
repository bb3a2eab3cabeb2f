"""The cut rehearsed: order, way, time and errors of the tip, with a picture and an animation."""

from __future__ import annotations

import json
from typing import Annotated, Literal

from fastapi import APIRouter, Header, Path, Query, Request
from fastapi.responses import Response

from service import contract, contract_workshop
from service.negotiation import choose
from service.tasks import NARROWEST, PICTURE_WIDTH, WIDEST, Kind, options_of
from service.work import answered, shown, shown_again

router = APIRouter(prefix="/v1/rehearsals", tags=["rehearsals"])

KINDS: dict[str, Kind] = {
    "application/json": "rehearsal-json",
    "image/svg+xml": "rehearsal-svg",
    "image/png": "rehearsal-png",
    "text/html": "rehearsal-html",
}
Entry = Literal["turned", "as-left"]


@router.post(
    "",
    operation_id="createRehearsal",
    summary="Rehearse the cut",
    response_class=Response,
    openapi_extra=contract.takes_artwork(),
    responses=contract_workshop.answers_rehearsal(),
)
async def create_rehearsal(
    request: Request,
    *,
    film: Annotated[
        str | None,
        Query(max_length=200, description="Film of a picture or an animation; left out, all of them"),
    ] = None,
    entry: Annotated[
        Entry, Query(description="How the blade comes down: turned to the cut, or as the last cut left it")
    ] = "turned",
    small_parts_first: Annotated[
        bool, Query(description="Whether pieces so small that they could lift are cut first")
    ] = True,
    width: Annotated[int, Query(ge=NARROWEST, le=WIDEST, description="Width of a picture, in px")] = (
        PICTURE_WIDTH
    ),
    accept: Annotated[str | None, Header(include_in_schema=False)] = None,
) -> Response:
    """Tell in which order the knife would go, where it begins, how long it takes and how far the tip strays.

    Takes what `POST /v1/reports` takes. Machine and blade are the job's, stock where it states none; the
    answer says which. Answers with JSON, a picture of the order, or a page that plays the cut.
    """
    media = choose(accept, tuple(KINDS))
    kind = KINDS[media]
    stated = json.dumps({"entry": entry, "small_parts_first": small_parts_first})
    options = options_of(kind, stated, film=film)
    body = await answered(request, kind, width_px=width, options=options)
    return shown(request, body, media, router.prefix, kind=kind)


@router.get(
    "/{mark}",
    operation_id="getRehearsal",
    summary="Fetch a rehearsal again",
    response_class=Response,
    responses=contract.answers_again(contract_workshop.answers_rehearsal()),
)
async def get_rehearsal(
    request: Request, mark: Annotated[str, Path(description="From Content-Location")]
) -> Response:
    """Return a rehearsal that was made a short while ago for the same caller.

    Its address is the `Content-Location` of the answer to `POST /v1/rehearsals`. With `If-None-Match` the
    answer is 304 where the client has it. Answers are kept in memory only, within bounds, and forgotten.
    """
    return shown_again(request, mark, "rehearsal")
