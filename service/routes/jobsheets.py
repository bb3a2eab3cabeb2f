"""The job sheet: what the workshop has to know about one job, with boxes to tick."""

from __future__ import annotations

import json
from typing import Annotated, Literal

from fastapi import APIRouter, Header, Path, Query, Request
from fastapi.responses import Response

from service import contract, contract_workshop
from service.negotiation import choose
from service.tasks import Kind, options_of
from service.work import answered, shown, shown_again

router = APIRouter(prefix="/v1/jobsheets", tags=["jobsheets"])

KINDS: dict[str, Kind] = {
    "application/json": "jobsheet-json",
    "text/html": "jobsheet-html",
    "application/pdf": "jobsheet-pdf",
}
Paper = Literal["a4", "letter"]


@router.post(
    "",
    operation_id="createJobSheet",
    summary="Make a job sheet",
    response_class=Response,
    openapi_extra=contract.takes_artwork(),
    responses=contract_workshop.answers_jobsheet(),
)
async def create_jobsheet(
    request: Request,
    paper: Annotated[Paper, Query(description="Paper of a PDF")] = "a4",
    accept: Annotated[str | None, Header(include_in_schema=False)] = None,
) -> Response:
    """Work out what the workshop has to know: film to take, blade, weeding, tape, placement, cautions.

    Takes what `POST /v1/reports` takes. Answers with JSON, a page to print, or a PDF. The sheet of artwork
    that fails the check says so and is made all the same. What the job does not state is unknown on it, and
    every rule of thumb is marked as one.
    """
    media = choose(accept, tuple(KINDS))
    body = await answered(
        request, KINDS[media], options=options_of(KINDS[media], json.dumps({"paper": paper}))
    )
    return shown(request, body, media, router.prefix, kind=KINDS[media])


@router.get(
    "/{mark}",
    operation_id="getJobSheet",
    summary="Fetch a job sheet again",
    response_class=Response,
    responses=contract.answers_again(contract_workshop.answers_jobsheet()),
)
async def get_jobsheet(
    request: Request, mark: Annotated[str, Path(description="From Content-Location")]
) -> Response:
    """Return a job sheet that was made a short while ago for the same caller.

    Its address is the `Content-Location` of the answer to `POST /v1/jobsheets`. With `If-None-Match` the
    answer is 304 where the client has it. Answers are kept in memory only, within bounds, and forgotten.
    """
    return shown_again(request, mark, "jobsheet")
