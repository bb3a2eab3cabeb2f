"""What every request goes through: an id, security headers, HEAD, a log entry, and a last net."""

from __future__ import annotations

import logging
import time
import traceback
import uuid
from collections.abc import Callable

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.log import event
from service.problems import INTERNAL_ERROR, ProblemError, answer

REQUEST_ID = "X-Request-Id"

SECURITY_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}

METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})

API_POLICY = "default-src 'none'; frame-ancestors 'none'; sandbox"
"""Content Security Policy of everything but the page: an answer opened in a browser does nothing."""


class Gate:
    """The outermost layer of the application."""

    def __init__(self, app: ASGIApp, counted: Callable[[str, str, int, float], None] | None = None) -> None:
        """``counted`` is told of each request: its method, route, status and seconds."""
        self._app = app
        self._counted = counted

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request_id = _request_id(Headers(scope=scope))
        # RFC 9110, 9.1 and 9.3.2: HEAD is GET without the content; the server leaves that out.
        inner = dict(scope, method="GET" if scope["method"] == "HEAD" else scope["method"])
        inner["state"] = dict(scope.get("state", {}), request_id=request_id)
        begun = time.monotonic()
        status = 0

        async def send_with_headers(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                headers = MutableHeaders(scope=message)
                headers[REQUEST_ID] = request_id
                headers.setdefault("Content-Security-Policy", API_POLICY)
                headers.setdefault("Cache-Control", "no-store")
                for name, value in SECURITY_HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        try:
            await self._app(inner, receive, send_with_headers)
        except ClientDisconnect:
            event(logging.INFO, "client-gone", request_id=request_id)
        except Exception as error:
            _log_failure(error, request_id)
            if not status:
                problem = ProblemError(INTERNAL_ERROR, "The service failed while it handled this request.")
                await answer(problem, request_id)(inner, receive, send_with_headers)
        finally:
            route = inner.get("route")
            took = time.monotonic() - begun
            if self._counted:
                # By the route's pattern: a path could be anything, and there is no end of them.
                self._counted(_method(scope["method"]), getattr(route, "path", "none"), status, took)
            event(
                logging.INFO,
                "request",
                request_id=request_id,
                method=scope["method"],
                route=getattr(route, "path", None),
                status=status,
                took_ms=round(took * 1000, 1),
            )


def _method(name: str) -> str:
    return name if name in METHODS else "other"


def _request_id(headers: Headers) -> str:
    """Return the caller's id where it is a UUID, so that its log and ours meet, else a new one."""
    try:
        return str(uuid.UUID(headers.get(REQUEST_ID, "")))
    except ValueError:
        return str(uuid.uuid4())


def _log_failure(error: Exception, request_id: str) -> None:
    # The exception's own text could quote the upload; its type and place are enough to find it.
    places = [
        f"{frame.filename}:{frame.lineno} {frame.name}" for frame in traceback.extract_tb(error.__traceback__)
    ]
    event(logging.ERROR, "failure", request_id=request_id, error=type(error).__name__, trace=places[-12:])
