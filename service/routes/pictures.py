"""The numbered picture of what a check found."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Path, Query, Request
from fastapi.responses import Response

from service import contract
from service.negotiation import choose
from service.tasks import NARROWEST, PICTURE_WIDTH, WIDEST, Kind
from service.work import answered, shown, shown_again

router = APIRouter(prefix="/v1/pictures", tags=["pictures"])

SVG = "image/svg+xml"
PNG = "image/png"


@router.post(
    "",
    operation_id="createPicture",
    summary="Draw what a check found",
    response_class=Response,
    openapi_extra=contract.takes_artwork(),
    responses=contract.answers_picture(),
)
async def create_picture(
    request: Request,
    width: Annotated[int, Query(ge=NARROWEST, le=WIDEST, description="Width in px")] = PICTURE_WIDTH,
    words: Annotated[bool, Query(description="Whether the summary and the legend are drawn too")] = True,
    accept: Annotated[str | None, Header(include_in_schema=False)] = None,
) -> Response:
    """Draw the artwork with a numbered marker at each place of a finding.

    The numbers are those of the report's findings, counted from 1. Takes what `POST /v1/reports`
    takes. The picture is drawn from the measured geometry; no markup of the upload is in it.
    """
    media = choose(accept, (SVG, PNG))
    kind: Kind = "picture-svg" if media == SVG else "picture-png"
    body = await answered(request, kind, width_px=width, words=words)
    return shown(request, body, media, router.prefix)


@router.get(
    "/{mark}",
    operation_id="getPicture",
    summary="Fetch a picture again",
    response_class=Response,
    responses=contract.answers_again(contract.answers_picture()),
)
async def get_picture(
    request: Request, mark: Annotated[str, Path(description="From Content-Location")]
) -> Response:
    """Return a picture that was drawn a short while ago for the same caller.

    Its address is the `Content-Location` of the answer to `POST /v1/pictures`. With `If-None-Match` the
    answer is 304 where the client has it. Answers are kept in memory only, within bounds, and forgotten.
    """
    return shown_again(request, mark, "picture")
