"""Choosing the media type of an answer from the Accept header (RFC 9110, 12.4.2 and 12.5.1)."""

from __future__ import annotations

from collections.abc import Sequence

from service.problems import NOT_ACCEPTABLE, ProblemError


def choose(accept: str | None, offered: Sequence[str]) -> str:
    """Return the media type of ``offered`` (best first) that ``accept`` wants most.

    No header, or an empty one, takes the first. The most specific range that matches a type gives
    its weight; of equal weights the earlier offer wins. Raises the ``not-acceptable`` problem where
    every offer weighs nothing.
    """
    if accept is None or not accept.strip():
        return offered[0]
    ranges = [_range(part) for part in accept.split(",") if part.strip()]
    best, most = "", 0.0
    for media in offered:
        weight = _weight(media, ranges)
        if weight > most:
            best, most = media, weight
    if not best:
        raise ProblemError(
            NOT_ACCEPTABLE,
            f"The Accept header asks for {accept[:100]!r}; this address answers with {' or '.join(offered)}.",
        )
    return best


def known(if_none_match: str | None, tag: str) -> bool:
    """Return whether the client has the representation of ``tag`` already (RFC 9110, 13.1.2: weakly compared)."""
    tags = [one.strip().removeprefix("W/") for one in (if_none_match or "").split(",")]
    return tag in tags or "*" in tags


def _range(part: str) -> tuple[str, float]:
    media, *parameters = (piece.strip().lower() for piece in part.split(";"))
    weight = 1.0
    for parameter in parameters:
        name, _, value = parameter.partition("=")
        if name.strip() == "q":
            try:
                weight = min(max(float(value), 0.0), 1.0)
            except ValueError:
                weight = 0.0
    return media, weight


def _weight(media: str, ranges: Sequence[tuple[str, float]]) -> float:
    for candidate in (media, media.split("/", maxsplit=1)[0] + "/*", "*/*"):
        matching = [weight for name, weight in ranges if name == candidate]
        if matching:
            return max(matching)
    return 0.0
