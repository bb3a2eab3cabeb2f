"""Checking artwork: the report."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Path, Query, Request
from fastapi.responses import Response

from service import contract
from service.negotiation import choose
from service.tasks import NARROWEST, PICTURE_WIDTH, WIDEST, Kind
from service.work import answered, media_of, shown, shown_again

router = APIRouter(prefix="/v1/reports", tags=["reports"])

JSON = "application/json"
TEXT = "text/plain"
FORM = "multipart/form-data"
KINDS: dict[str, Kind] = {JSON: "report-json", TEXT: "report-text", FORM: "report-form"}


@router.post(
    "",
    operation_id="createReport",
    summary="Check artwork",
    response_class=Response,
    openapi_extra=contract.takes_artwork(),
    responses=contract.answers_report(),
)
async def create_report(
    request: Request,
    width: Annotated[int, Query(ge=NARROWEST, le=WIDEST, description="Width of a picture, in px")] = (
        PICTURE_WIDTH
    ),
    words: Annotated[bool, Query(description="Whether a picture has its summary and legend")] = True,
    accept: Annotated[str | None, Header(include_in_schema=False)] = None,
) -> Response:
    """Tell whether the artwork will cut, where not, and why.

    The artwork is the raw body, or the part `artwork` of a multipart form. Only a form carries a job
    (the part `job`, JSON or TOML); without one the stock values apply. A report whose verdict is
    `fail` is an answer like any other: the status is 200. As `multipart/form-data` the answer has two
    parts of one check, `report` (JSON) and `picture` (SVG), for which `width` and `words` count.
    """
    media = choose(accept, tuple(KINDS))
    kind = KINDS[media]
    if kind == "report-form":
        body = await answered(request, kind, width_px=width, words=words)
    else:
        body = await answered(request, kind)
    return shown(request, body, media_of(kind, body), router.prefix)


@router.get(
    "/{mark}",
    operation_id="getReport",
    summary="Fetch a report again",
    response_class=Response,
    responses=contract.answers_again(contract.answers_report()),
)
async def get_report(
    request: Request, mark: Annotated[str, Path(description="From Content-Location")]
) -> Response:
    """Return a report that was made a short while ago for the same caller.

    Its address is the `Content-Location` of the answer to `POST /v1/reports`. With `If-None-Match` the
    answer is 304 where the client has it. Answers are kept in memory only, within bounds, and forgotten.
    """
    return shown_again(request, mark, "report")
