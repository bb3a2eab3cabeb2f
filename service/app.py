"""The application: routes, problems and workers put together."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from starlette.exceptions import HTTPException
from starlette.middleware.cors import CORSMiddleware
from starlette.routing import Match

from service import contract, idempotency, page
from service.access import Door, key_ring
from service.catalogue import Facts
from service.held import Held
from service.jobs.desk import RETRY_AFTER as JOBS_RETRY
from service.jobs.desk import Desk
from service.jobs.store import StoreError
from service.log import event
from service.metrics import Metrics
from service.middleware import Gate
from service.problems import (
    INTERNAL_ERROR,
    INVALID_PARAMETER,
    JOBS_UNAVAILABLE,
    MALFORMED_REQUEST,
    METHOD_NOT_ALLOWED,
    NOT_FOUND,
    ProblemError,
    answer,
)
from service.routes import (
    about,
    health,
    jobs,
    jobsheets,
    layouts,
    panels,
    pictures,
    problems,
    rehearsals,
    repairs,
    reports,
    rules,
)
from service.settings import Settings, from_environment
from service.shelf import Shelf
from service.tasks import Task
from service.telemetry import TRACING
from service.work import Kept
from service.workers import WORK, WorkerPool

ASKING = ["Authorization", "Content-Type", "Content-Encoding", "Idempotency-Key", "If-None-Match", "Prefer"]
TELLING = [
    "Content-Location",
    "ETag",
    "Location",
    "Preference-Applied",
    "Preflight-Caution",
    "Preflight-Standing",
    "RateLimit",
    "RateLimit-Policy",
    "Retry-After",
    "X-Request-Id",
]
"""Headers that pages of other origins may send and see, where any may call."""


def create_app(settings: Settings | None = None, *, work: str = WORK) -> FastAPI:
    """Return the application. Without ``settings`` the environment's are read and validated.

    ``work`` names what a worker does with a task, as ``module:function``.
    """
    chosen = settings or from_environment()
    pool = WorkerPool(chosen, work)
    desk = Desk(chosen, work)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        try:
            await pool.start()
            answer = await pool.run(Task("facts"))
            app.state.facts = Facts.model_validate_json(answer.body)
            await desk.open()
            yield
        finally:
            await desk.close()
            await pool.close()
            await asyncio.to_thread(TRACING.end)

    app = FastAPI(
        title="Sign preflight",
        version="0",  # the contract states the library's own
        description=contract.DESCRIPTION,
        lifespan=lifespan,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        openapi_tags=contract.TAGS,
        openapi_url=None,
    )
    app.state.pool = pool
    app.state.desk = desk
    app.state.settings = chosen
    app.state.receiving = 0
    app.state.held = Held(chosen.held_bytes)
    app.state.idempotency = idempotency.Desk(chosen)
    cache: Shelf[Kept] = Shelf(chosen.cache_bytes, chosen.cache_entries, chosen.cache_seconds)
    app.state.cache = cache
    metrics = Metrics(pool, cache, app.state.held)
    app.state.metrics = metrics
    app.state.ring = key_ring(chosen)
    _route(app)
    _guard(app, chosen, metrics)
    schema = app.openapi

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = contract.with_examples(schema())
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]
    return app


def _route(app: FastAPI) -> None:
    """Add all that is answered, and how errors are."""
    for router in (
        reports.router,
        pictures.router,
        repairs.router,
        jobsheets.router,
        rehearsals.router,
        layouts.router,
        panels.router,
        jobs.router,
        rules.router,
        problems.router,
        health.router,
        about.router,
    ):
        app.include_router(router)
    page.install(app)
    app.add_exception_handler(ProblemError, _problem)
    app.add_exception_handler(StoreError, _store_error)
    app.add_exception_handler(HTTPException, _http_error)
    app.add_exception_handler(RequestValidationError, _validation_error)


def _guard(app: FastAPI, settings: Settings, metrics: Metrics) -> None:
    """Add what every request goes through first."""
    # The last one added is the outermost: every answer goes out through the gate.
    app.add_middleware(Door, settings=settings, ring=app.state.ring)
    if settings.cors_origins:
        app.add_middleware(
            CORSMiddleware,
            allow_origins=[one.strip() for one in settings.cors_origins.split(",")],
            allow_methods=["GET", "POST", "DELETE"],
            allow_headers=ASKING,
            expose_headers=TELLING,
            max_age=3600,
        )
    app.add_middleware(Gate, counted=metrics.request)


def _request_id(request: Request) -> str:
    return str(request.state.request_id)


async def _problem(request: Request, error: Exception) -> Response:
    if not isinstance(error, ProblemError):
        raise error
    return answer(error, _request_id(request))


async def _store_error(request: Request, error: Exception) -> Response:
    event(logging.WARNING, "jobs-unreachable", request_id=_request_id(request), why=str(error))
    problem = ProblemError(JOBS_UNAVAILABLE, JOBS_UNAVAILABLE.example, headers=JOBS_RETRY)
    return answer(problem, _request_id(request))


async def _http_error(request: Request, error: Exception) -> Response:
    """Turn the framework's own errors into problems."""
    if not isinstance(error, HTTPException):
        raise error
    method, path = request.method, request.url.path[:200]
    headers = dict(error.headers or {})
    if error.status_code == NOT_FOUND.status:
        problem = ProblemError(NOT_FOUND, f"There is nothing at {path}.")
    elif error.status_code == METHOD_NOT_ALLOWED.status:
        headers["Allow"] = ", ".join(_allowed(request))
        problem = ProblemError(
            METHOD_NOT_ALLOWED,
            f"{path} does not take {method}; it takes {headers['Allow']}.",
            headers=headers,
        )
    elif error.status_code < INTERNAL_ERROR.status:
        problem = ProblemError(MALFORMED_REQUEST, f"The request to {path} could not be understood.")
    else:
        problem = ProblemError(INTERNAL_ERROR, "The service failed while it handled this request.")
    return answer(problem, _request_id(request))


def _allowed(request: Request) -> list[str]:
    """Return the methods of the request's path: several routes may share it, and the framework names one's."""
    allowed = []
    for method in ("DELETE", "GET", "PATCH", "POST", "PUT"):
        scope = {**request.scope, "method": method}
        if any(route.matches(scope)[0] is Match.FULL for route in request.app.router.routes):
            allowed += ["GET", "HEAD"] if method == "GET" else [method]
    return allowed


async def _validation_error(request: Request, error: Exception) -> Response:
    if not isinstance(error, RequestValidationError):
        raise error
    places = "; ".join(f"{one['loc'][-1]}: {one['msg']}." for one in error.errors())
    return answer(ProblemError(INVALID_PARAMETER, places[:500]), _request_id(request))
