"""Bodies sent with `Content-Encoding: gzip`, unpacked as they arrive and within bounds."""

from __future__ import annotations

import zlib
from collections.abc import Callable

from service.problems import MALFORMED_REQUEST, ProblemError

PIECE_BYTES = 262_144
GZIP_WINDOW = 31
"""zlib's number for: the largest window, and a gzip header and trailer (RFC 1952)."""


class Gunzip:
    """Unpacks a gzip body into ``feed``, which refuses what is too much for it.

    No more than a piece is ever unpacked ahead, so a small body that unpacks to a huge one costs what the
    bound allows and not more.
    """

    def __init__(self, feed: Callable[[bytes], None]) -> None:
        self._feed = feed
        self._unpack = zlib.decompressobj(GZIP_WINDOW)

    def __call__(self, chunk: bytes) -> None:
        """Unpack ``chunk``. Raises the problem ``malformed-request`` and those of ``feed``."""
        data = chunk
        while data:
            if self._unpack.eof:
                raise _damaged("has something behind its end")
            self._next(data)
            data = self._unpack.unconsumed_tail or self._unpack.unused_data

    def finish(self) -> None:
        """Say that the body is over. Raises the problem ``malformed-request`` where it is broken off."""
        # What was taken in may not all have come out yet: a piece ends where its bound is.
        while not self._unpack.eof:
            if not self._next(b""):
                raise _damaged("is broken off")

    def _next(self, data: bytes) -> int:
        try:
            piece = self._unpack.decompress(data, PIECE_BYTES)
        except zlib.error:
            raise _damaged("is damaged") from None
        if piece:
            self._feed(piece)
        return len(piece)


def _damaged(how: str) -> ProblemError:
    return ProblemError(
        MALFORMED_REQUEST,
        f"The body with Content-Encoding gzip {how}.",
        code="gzip",
        advice="Send one gzip member (RFC 1952), or the body without Content-Encoding.",
    )
