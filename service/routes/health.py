"""Whether the service lives, and whether it can work."""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter, Request
from pydantic import BaseModel

from service import contract
from service.catalogue import Facts
from service.keys import KeyRing, KeysError
from service.problems import NOT_READY, ProblemError
from service.work import RETRY_AFTER
from service.workers import WorkerPool

router = APIRouter(tags=["health"])


class Health(BaseModel):
    """The service lives."""

    status: Literal["ok"] = "ok"
    version: str


@router.get("/healthz", operation_id="getHealth", summary="Alive", responses=contract.answers_health())
async def healthz(request: Request) -> Health:
    """Answer as long as the service handles requests at all."""
    return _health(request)


@router.get(
    "/readyz", operation_id="getReadiness", summary="Ready to work", responses=contract.answers_readiness()
)
async def readyz(request: Request) -> Health:
    """Answer 200 when a worker answers and the keys can be read, else the problem `not-ready`."""
    pool: WorkerPool = request.app.state.pool
    if not await pool.ready():
        raise ProblemError(NOT_READY, "No worker answers.", headers=RETRY_AFTER)
    ring: KeyRing | None = request.app.state.ring
    if ring:
        try:
            ring.load()
        except KeysError:
            raise ProblemError(NOT_READY, "The keys cannot be read.", headers=RETRY_AFTER) from None
    return _health(request)


def _health(request: Request) -> Health:
    facts: Facts = request.app.state.facts
    return Health(version=facts.version)
