"""Who is asking, whether they may, and how often: keys, scopes and rates, before anything is received."""

from __future__ import annotations

import ipaddress
import logging
import time
from dataclasses import dataclass
from pathlib import Path

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.keys import SCOPES, Key, KeyRing, KeysError
from service.log import event
from service.problems import (
    FORBIDDEN,
    KEYS_UNREADABLE,
    TOO_MANY_REQUESTS,
    UNAUTHORIZED,
    ProblemError,
    answer,
)
from service.rates import Quota, Rates
from service.settings import Settings, SettingsError

REALM = 'Bearer realm="sign-preflight"'
CATALOGUE = "rules"
IPV6_NETWORK = 64
"""One subscriber has a whole network of this prefix, so it counts as one address."""
RETRY_AFTER = {"Retry-After": "5"}


@dataclass(frozen=True, slots=True)
class Caller:
    """Who sent a request. ``name`` tells callers apart; it is no secret and holds no token."""

    name: str
    key: Key | None = None


def scope_of(path: str) -> str | None:
    """Return the scope that ``path`` needs; None where anyone may go.

    Everything below ``/v1/`` needs the scope called like the resource, so that one added later is closed
    until somebody opens it; only the catalogue of rules is public, like the page.
    """
    if path == "/metrics":
        return "metrics"
    first, _, rest = path.strip("/").partition("/")
    if first != "v1":
        return None
    resource = rest.partition("/")[0]
    return None if resource == CATALOGUE else resource


def require_guard(settings: Settings) -> None:
    """Refuse to listen beyond this machine without keys unless that was asked for. Raises `SettingsError`."""
    if settings.keys_file or settings.anyone or _is_loopback(settings.host):
        return
    raise SettingsError(
        f"SIGN_PREFLIGHT_HOST is {settings.host!r}, which others than this machine can reach, and no keys are"
        " asked for. Make a key with “python -m service.keys --file keys.json create NAME” and set"
        " SIGN_PREFLIGHT_KEYS_FILE=keys.json, or set SIGN_PREFLIGHT_ANYONE=true where anyone may use it."
    )


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


def key_ring(settings: Settings) -> KeyRing | None:
    """Return the keys that the settings name, if any. Raises `SettingsError`."""
    if not settings.keys_file:
        return None
    try:
        return KeyRing(Path(settings.keys_file))
    except KeysError as error:
        raise SettingsError(f"{error} Make one with “python -m service.keys create”.") from None


def address(scope: Scope, proxies: int) -> str:
    """Return the caller's address: the connection's, or what the operator's own proxies say it is.

    Each proxy adds the address it was called from at the right of X-Forwarded-For; what is further left
    came from outside and may say anything.
    """
    client = scope.get("client")
    found = client[0] if client else ""
    if proxies:
        said = ",".join(Headers(scope=scope).getlist("x-forwarded-for")).split(",")
        if len(said) >= proxies:
            found = said[-proxies].strip()
    try:
        known = ipaddress.ip_address(found)
    except ValueError:
        return "unknown"
    if known.version == 6 and (mapped := known.ipv4_mapped):
        return str(mapped)
    if known.version == 6:
        return str(ipaddress.ip_network((known, IPV6_NETWORK), strict=False))
    return str(known)


class Door:
    """Lets a request in, or answers it here with a problem."""

    def __init__(self, app: ASGIApp, settings: Settings, ring: KeyRing | None) -> None:
        self._app = app
        self._settings = settings
        self._ring = ring
        self._rates = Rates(settings.rate_seconds)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        quota: Quota | None = None
        state = scope.setdefault("state", {})
        try:
            needed = scope_of(scope["path"])
            caller = self._caller(scope, needed)
            state["caller"] = caller.name
            state["owner"] = caller.key.id if caller.key else ""
            if needed is not None and needed != "metrics":
                quota = self._count(caller)
        except ProblemError as problem:
            await answer(problem, state["request_id"])(scope, receive, send)
            return

        async def send_with_quota(message: Message) -> None:
            if quota and message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(quota.headers())
            await send(message)

        await self._app(scope, receive, send_with_quota)

    def _caller(self, scope: Scope, needed: str | None) -> Caller:
        if self._ring is None or needed is None:
            return Caller(f"address {address(scope, self._settings.proxies)}")
        token = _token(Headers(scope=scope))
        try:
            found = self._ring.find(token, time.time())
        except KeysError as error:
            event(logging.ERROR, "keys-unreadable", why=str(error))
            raise ProblemError(
                KEYS_UNREADABLE, "The service cannot read its keys.", headers=RETRY_AFTER
            ) from None
        if found.key is None:
            detail = "The key has ended." if found.why == "key-expired" else "The key is unknown."
            raise _unauthorized(detail, found.why, ', error="invalid_token"')
        if needed in SCOPES and needed not in found.key.scopes:
            raise ProblemError(
                FORBIDDEN,
                f"This needs the scope “{needed}”; the key has {', '.join(found.key.scopes)}.",
                headers={"WWW-Authenticate": f'{REALM}, error="insufficient_scope", scope="{needed}"'},
            )
        return Caller(f"key {found.key.id}", found.key)

    def _count(self, caller: Caller) -> Quota | None:
        limit = (caller.key and caller.key.rate) or self._settings.rate
        if not limit:
            return None
        quota = self._rates.take(caller.name, limit, time.monotonic())
        if not quota.allowed:
            raise ProblemError(
                TOO_MANY_REQUESTS,
                f"{limit} requests in {quota.window} seconds are taken; the next one in {quota.resets} seconds.",
                headers={"Retry-After": str(quota.resets), **quota.headers()},
            )
        return quota


def _token(headers: Headers) -> str:
    """Return the bearer token (RFC 6750, 2.1). Raises the problem ``unauthorized`` where there is none."""
    scheme, _, token = headers.get("authorization", "").partition(" ")
    if scheme.lower() != "bearer" or not token.strip():
        raise _unauthorized("The request has no key.", "key-missing", "")
    return token.strip()


def _unauthorized(detail: str, code: str, more: str) -> ProblemError:
    # RFC 6750, 3: the challenge names an error only where a token was sent.
    return ProblemError(UNAUTHORIZED, detail, code=code, headers={"WWW-Authenticate": REALM + more})
