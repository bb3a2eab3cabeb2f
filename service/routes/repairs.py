"""Repairing artwork: the file for production, and the proof."""

from __future__ import annotations

import json
from typing import Annotated

from fastapi import APIRouter, Header, Query, Request
from fastapi.responses import Response

from service import contract
from service.files import FORMATS, Format
from service.jobs import contract as jobs_contract
from service.negotiation import choose
from service.tasks import options_of
from service.work import answered, shown, shown_file

router = APIRouter(prefix="/v1/repairs", tags=["repairs"])

JSON = "application/json"
BY_MEDIA = {media: word for word, media in reversed(FORMATS.items())}


@router.post(
    "",
    operation_id="createRepair",
    summary="Repair artwork",
    response_class=Response,
    openapi_extra=contract.takes_artwork(),
    responses=jobs_contract.answers_repair(),
)
async def create_repair(
    request: Request,
    *,
    format: Annotated[
        Format | None, Query(description="Format of the file; left out, what Accept asks for, else svg")
    ] = None,
    weed_lines: Annotated[
        bool,
        Query(description="Whether the file has weed borders and weed lines too, on layers of their own"),
    ] = False,
    accept: Annotated[str | None, Header(include_in_schema=False)] = None,
) -> Response:
    """Mend what can be mended without changing the look, prove the mend, and write the file for production.

    Takes what `POST /v1/reports` takes. As `application/json`: the report on the file as it was sent, what
    was done, the proof, and the file with the caution that belongs beside its download. With `format`, or a
    file's media type in `Accept`: the file alone, with `Preflight-Standing` and `Preflight-Caution` as
    headers. A file whose standing is `not-proved` must not be sent to a cutter as it is, and its name says so.
    """
    offered = (FORMATS[format], JSON) if format else (JSON, *dict.fromkeys(FORMATS.values()))
    media = choose(accept, offered)
    word = format or BY_MEDIA.get(media, "svg")
    options = options_of("repair-json", json.dumps({"weed_lines": weed_lines}))
    if media == JSON:
        body = await answered(request, "repair-json", format=word, options=options)
        return shown(request, body, JSON)
    body = await answered(request, "repair-file", format=word, options=options)
    return shown_file(request, body, media)
