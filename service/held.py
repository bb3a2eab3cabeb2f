"""A bound on all the bytes of artwork in memory at a time: received, waiting, or worked on."""

from __future__ import annotations

from types import TracebackType
from typing import Self

from service.problems import BUSY, ProblemError

RETRY_AFTER = {"Retry-After": "5"}


class Held:
    """Counts bytes of all requests together, at most ``most``."""

    def __init__(self, most: int) -> None:
        self.most = most
        self.size = 0

    def account(self) -> Account:
        """Return the account of one request, to be used as a context manager."""
        return Account(self)


class Account:
    """The bytes of one request; given back when its context ends."""

    def __init__(self, held: Held) -> None:
        self._held = held
        self._size = 0

    def __enter__(self) -> Self:
        """Begin."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Give the bytes back."""
        self._held.size -= self._size
        self._size = 0

    def add(self, size: int) -> None:
        """Count ``size`` more bytes. Raises the problem ``busy`` where that is more than all may hold."""
        if self._held.size + size > self._held.most:
            raise ProblemError(
                BUSY, "The service holds as much artwork as it may.", code="memory", headers=RETRY_AFTER
            )
        self._held.size += size
        self._size += size
