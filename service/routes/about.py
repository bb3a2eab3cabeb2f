"""What the service tells of itself: its contract and its counters."""

from __future__ import annotations

import asyncio
import time

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from service.jobs.desk import Desk
from service.metrics import MEDIA_TYPE, JobsNow, Metrics
from service.page import POLICY
from service.page.reference import page_of

router = APIRouter(include_in_schema=False)


@router.get("/openapi.json")
async def get_contract(request: Request) -> Response:
    """Return the contract. The first time, making it loads the library: in a thread, so that others go on."""
    return JSONResponse(await asyncio.to_thread(request.app.openapi))


@router.get("/openapi")
async def get_reference(request: Request) -> Response:
    """Return the contract as a page to read."""
    document = await asyncio.to_thread(request.app.openapi)
    body = await asyncio.to_thread(page_of, document)
    return Response(body, media_type="text/html", headers={"Content-Security-Policy": POLICY})


@router.get("/metrics")
async def get_metrics(request: Request) -> Response:
    """Return the counters in the text format of Prometheus."""
    metrics: Metrics = request.app.state.metrics
    desk: Desk = request.app.state.desk
    jobs = JobsNow(await desk.tally(), desk.pool, desk.findings, time.time())
    return Response(metrics.text(jobs), media_type=MEDIA_TYPE)
