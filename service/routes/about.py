"""What the service tells of itself: its contract and its counters."""

from __future__ import annotations

import asyncio

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from service.metrics import MEDIA_TYPE, Metrics

router = APIRouter(include_in_schema=False)


@router.get("/openapi.json")
async def get_contract(request: Request) -> Response:
    """Return the contract. The first time, making it loads the library: in a thread, so that others go on."""
    return JSONResponse(await asyncio.to_thread(request.app.openapi))


@router.get("/metrics")
async def get_metrics(request: Request) -> Response:
    """Return the counters in the text format of Prometheus."""
    metrics: Metrics = request.app.state.metrics
    return Response(metrics.text(), media_type=MEDIA_TYPE)
