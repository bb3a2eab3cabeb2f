"""The web page: three static files, served with a policy that forbids everything from elsewhere."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from importlib.resources import files

from fastapi import FastAPI, Request
from fastapi.responses import Response

from service.negotiation import known

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self';"
    " form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""Content Security Policy: no inline script or style, pictures only as blobs of the page's own making."""


@dataclass(frozen=True, slots=True)
class _Asset:
    path: str
    file: str
    media_type: str


ASSETS = (
    _Asset("/", "index.html", "text/html"),
    _Asset("/page/page.css", "page.css", "text/css"),
    _Asset("/page/page.js", "page.js", "text/javascript"),
    _Asset("/page/render.js", "render.js", "text/javascript"),
    _Asset("/page/reference.css", "reference.css", "text/css"),
    _Asset("/page/icon.svg", "icon.svg", "image/svg+xml"),
)


def install(app: FastAPI) -> None:
    """Add the page's routes to ``app``."""
    for asset in ASSETS:
        _serve(app, asset)


def _serve(app: FastAPI, asset: _Asset) -> None:
    body = files("service.page").joinpath(asset.file).read_bytes()
    tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    headers = {"Content-Security-Policy": POLICY, "ETag": tag, "Cache-Control": "no-cache"}

    async def show(request: Request) -> Response:
        if known(request.headers.get("if-none-match"), tag):
            return Response(None, 304, headers)
        return Response(body, 200, headers, asset.media_type)

    app.add_api_route(asset.path, show, methods=["GET"], include_in_schema=False)
