"""Telling a shop that its job is over, in the form of the Standard Webhooks specification (1.0).

A message goes only to public addresses: the name is resolved here, every address it has is looked
at, and the connection is made to the address that was looked at, so that no name server can answer
differently a moment later. Redirects are not followed.
"""

from __future__ import annotations

import asyncio
import base64
import binascii
import hashlib
import hmac
import ipaddress
import logging
import random
import socket
import ssl
import time
from typing import Literal

import httpx

from service.jobs.model import Record, Webhook
from service.jobs.shown import webhook_body
from service.jobs.store import Store, StoreError
from service.log import event
from service.problems import INVALID_WEBHOOK, ProblemError
from service.settings import Settings

RETRIES = (5, 30, 120, 600, 1800, 3600, 7200, 14_400, 28_800)
"""Seconds before each further attempt: about 16 hours in all."""
ANSWER_SECONDS = 15.0
"""The specification recommends 15 to 30 seconds."""
LEASE_SECONDS = 60.0
IDLE_SECONDS = 0.5
URL_LENGTH = 2000
SECRET_BYTES = (24, 64)
"""Length of a secret, from the specification."""
SECRET_PREFIX = "whsec_"
NAT64 = ipaddress.ip_network("64:ff9b::/96")
"""RFC 6052: the last four bytes are an IPv4 address."""
SPECIAL = tuple(
    map(
        ipaddress.ip_network,
        ("192.0.0.0/24", "192.88.99.0/24", "64:ff9b:1::/48", "3fff::/20", "5f00::/16", "fec0::/10"),
    )
)
"""Networks of IANA's special-purpose registries that older versions of Python take for public ones."""

Sent = Literal["delivered", "retry", "gone"]
Address = ipaddress.IPv4Address | ipaddress.IPv6Address


class ForbiddenError(Exception):
    """The webhook leads to an address that is not allowed."""


def parse(url: str, secret: str, private: bool) -> Webhook:
    """Return the webhook. Raises the problem ``invalid-webhook``; does not resolve the name."""
    try:
        parts = httpx.URL(url)
        if parts.port is not None and not 0 < parts.port < 65_536:
            raise ValueError
    except (httpx.InvalidURL, ValueError):
        raise _invalid("The webhook's address is no URL.") from None
    schemes = ("https", "http") if private else ("https",)
    if parts.scheme not in schemes:
        raise _invalid(
            f"The webhook's address has the scheme {parts.scheme[:20]!r}; {' or '.join(schemes)} is taken."
        )
    if not parts.host or parts.userinfo or parts.fragment or len(url) > URL_LENGTH:
        raise _invalid(
            "The webhook's address needs a host, no user name, no fragment and at most"
            f" {URL_LENGTH} characters."
        )
    try:
        literal = ipaddress.ip_address(parts.host)
    except ValueError:
        literal = None
    if literal is not None and not private and not is_public(literal):
        raise _invalid("The webhook's address is not on the public internet.")
    _key(secret)
    return Webhook(url, secret)


def _key(secret: str) -> bytes:
    """Return the bytes of a secret of the form ``whsec_`` and base64."""
    least, most = SECRET_BYTES
    try:
        key = base64.b64decode(secret.removeprefix(SECRET_PREFIX), validate=True)
    except (binascii.Error, ValueError):
        key = b""
    if not secret.startswith(SECRET_PREFIX) or not least <= len(key) <= most:
        raise _invalid(f"The webhook's secret is not {SECRET_PREFIX} and {least} to {most} bytes as base64.")
    return key


def _invalid(detail: str) -> ProblemError:
    return ProblemError(INVALID_WEBHOOK, detail)


def is_public(address: Address) -> bool:
    """Return whether ``address`` is one of the public internet, also behind IPv6's ways of carrying IPv4."""
    if isinstance(address, ipaddress.IPv6Address):
        inner = address.ipv4_mapped or address.sixtofour
        if address.teredo:
            inner = address.teredo[1]
        if address in NAT64:
            inner = ipaddress.IPv4Address(int(address) & 0xFFFF_FFFF)
        if inner is not None:
            return is_public(inner)
    special = any(address in network for network in SPECIAL)
    return address.is_global and not address.is_multicast and not special


def signed(webhook: Webhook, message_id: str, timestamp: int, body: bytes) -> dict[str, str]:
    """Return the three headers of the specification for ``body``."""
    content = f"{message_id}.{timestamp}.".encode() + body
    digest = hmac.new(_key(webhook.secret), content, hashlib.sha256).digest()
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(timestamp),
        "webhook-signature": f"v1,{base64.b64encode(digest).decode()}",
    }


class Sender:
    """Sends what is due, from a store that remembers it across crashes."""

    def __init__(self, settings: Settings, store: Store, trust: ssl.SSLContext | None = None) -> None:
        self._store = store
        self._trust = trust if trust is not None else ssl.create_default_context()
        self._private = settings.webhook_private

    async def run(self, stop: asyncio.Event) -> None:
        """Send until ``stop`` is set."""
        while not stop.is_set():
            try:
                record = await self._store.due_webhook(time.time(), LEASE_SECONDS)
                if record is None or record.webhook is None:
                    await asyncio.sleep(IDLE_SECONDS)
                    continue
                await self._attempt(record, record.webhook)
            except StoreError as error:
                event(logging.WARNING, "webhooks-unreachable", why=str(error))
                await asyncio.sleep(IDLE_SECONDS)

    async def _attempt(self, record: Record, webhook: Webhook) -> None:
        sent = await self.send(record, webhook)
        attempt = record.webhook_attempts + 1
        event(logging.INFO, "webhook", job_id=record.id, attempt=attempt, outcome=sent)
        if sent == "delivered":
            await self._store.settle_webhook(record.id, "delivered", None)
        elif sent == "gone" or attempt > len(RETRIES):
            await self._store.settle_webhook(record.id, "given-up", None)
        else:
            # Spread, so that all messages to a receiver that was down do not come at once.
            pause = RETRIES[attempt - 1] * random.uniform(0.9, 1.1)
            await self._store.settle_webhook(record.id, "pending", time.time() + pause)

    async def send(self, record: Record, webhook: Webhook) -> Sent:
        """Send the message once; its id is the same at every attempt."""
        url = httpx.URL(webhook.url)
        body = webhook_body(record)
        headers = signed(webhook, f"msg_{record.id}", int(time.time()), body)
        headers |= {
            "content-type": "application/json",
            "user-agent": "sign-preflight",
            "host": url.netloc.decode(),
        }
        client = httpx.AsyncClient(verify=self._trust, trust_env=False, timeout=ANSWER_SECONDS)
        try:
            async with asyncio.timeout(ANSWER_SECONDS):
                address = await self._address(url)
                async with (
                    client,
                    client.stream(
                        "POST",
                        url.copy_with(host=str(address)),
                        content=body,
                        headers=headers,
                        extensions={"sni_hostname": url.host},
                        follow_redirects=False,
                    ) as answer,
                ):
                    # The answer's body is nobody's business, and could be without end.
                    status = answer.status_code
        except ForbiddenError:
            return "gone"
        except (httpx.HTTPError, OSError, TimeoutError, UnicodeError):
            return "retry"
        if status == httpx.codes.GONE:
            return "gone"
        return "delivered" if httpx.codes.is_success(status) else "retry"

    async def _address(self, url: httpx.URL) -> Address:
        """Return an address of the host. Raises `ForbiddenError` where any of them is not public."""
        port = url.port or (443 if url.scheme == "https" else 80)
        loop = asyncio.get_running_loop()
        found = await loop.getaddrinfo(url.host, port, type=socket.SOCK_STREAM)
        addresses = [ipaddress.ip_address(str(one[4][0]).partition("%")[0]) for one in found]
        if not self._private and not all(map(is_public, addresses)):
            raise ForbiddenError
        return addresses[0]
