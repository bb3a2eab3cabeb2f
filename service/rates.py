"""Limits on how often a caller may ask, and the fields that tell it (draft-ietf-httpapi-ratelimit-headers)."""

from __future__ import annotations

import math
from collections import OrderedDict
from dataclasses import dataclass

POLICY = "requests"
"""The policy's name in the fields."""
MOST_CALLERS = 10_000


@dataclass(slots=True)
class _Window:
    ends: float
    used: int = 0


@dataclass(frozen=True, slots=True)
class Quota:
    """What is left to a caller: of ``limit`` requests in ``window`` seconds, for ``resets`` more seconds."""

    limit: int
    window: int
    remaining: int
    resets: int
    allowed: bool

    def headers(self) -> dict[str, str]:
        """Return the two fields: the policy's quota and window, what remains and for how long."""
        return {
            "RateLimit-Policy": f'"{POLICY}";q={self.limit};w={self.window}',
            "RateLimit": f'"{POLICY}";r={self.remaining};t={self.resets}',
        }


class Rates:
    """Counts requests in windows that begin with a caller's first request.

    Remembers at most ``most`` callers and forgets the one that has been away longest: whoever has that
    many addresses is not held by a limit on one.
    """

    def __init__(self, window: int, most: int = MOST_CALLERS) -> None:
        self._window = window
        self._most = most
        self._callers: OrderedDict[str, _Window] = OrderedDict()

    def take(self, caller: str, limit: int, now: float) -> Quota:
        """Count a request of ``caller`` at ``now`` (seconds, monotonic). One refused is not counted."""
        window = self._callers.get(caller)
        if window is None or window.ends <= now:
            window = self._callers[caller] = _Window(now + self._window)
        self._callers.move_to_end(caller)
        if len(self._callers) > self._most:
            self._callers.popitem(last=False)
        allowed = window.used < limit
        window.used += allowed
        resets = max(1, math.ceil(window.ends - now))
        return Quota(limit, self._window, max(0, limit - window.used), resets, allowed)
