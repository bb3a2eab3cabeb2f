"""Checking artwork: the report."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Request
from fastapi.responses import Response

from service import contract
from service.negotiation import choose
from service.work import answered

router = APIRouter(prefix="/v1/reports", tags=["reports"])

JSON = "application/json"
TEXT = "text/plain"


@router.post(
    "",
    operation_id="createReport",
    summary="Check artwork",
    response_class=Response,
    openapi_extra=contract.takes_artwork(),
    responses=contract.answers_report(),
)
async def create_report(request: Request, accept: Annotated[str | None, Header()] = None) -> Response:
    """Tell whether the artwork will cut, where not, and why.

    The artwork is the raw body, or the part `artwork` of a multipart form. Only a form carries a job
    (the part `job`, JSON or TOML); without one the stock values apply. A report whose verdict is
    `fail` is an answer like any other: the status is 200.
    """
    media = choose(accept, (JSON, TEXT))
    body = await answered(request, "report-json" if media == JSON else "report-text")
    return Response(body, media_type=media, headers={"Vary": "Accept"})
