"""The numbered picture of what a check found."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Query, Request
from fastapi.responses import Response

from service import contract
from service.negotiation import choose
from service.tasks import NARROWEST, PICTURE_WIDTH, WIDEST, Kind
from service.work import answered

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
    accept: Annotated[str | None, Header()] = None,
) -> Response:
    """Draw the artwork with a numbered marker at each place of a finding.

    The numbers are those of the report's findings, counted from 1. Takes what `POST /v1/reports`
    takes. The picture is drawn from the measured geometry; no markup of the upload is in it.
    """
    media = choose(accept, (SVG, PNG))
    kind: Kind = "picture-svg" if media == SVG else "picture-png"
    body = await answered(request, kind, width_px=width, words=words)
    return Response(body, media_type=media, headers={"Vary": "Accept"})
