"""Readers: bytes to `Artwork`, one package a format, chosen by content and never by name."""

from __future__ import annotations

from preflight.artwork import Artwork
from preflight.readers.limits import Budget, Limits, exceeded
from preflight.readers.sniff import sniff, unpacked
from preflight.readers.svg.reader import read_svg

__all__ = ["Limits", "read"]


def read(data: bytes, name: str | None = None, *, limits: Limits = Limits()) -> Artwork:  # noqa: B008
    """Read artwork from ``data``; ``name`` is kept for messages and tells nothing about the format.

    Raises `ReadError` for bytes that are not artwork, saying what they are and what to do, and
    `LimitError` for artwork larger or more deeply built than ``limits`` allows. Lengths of the
    result are mm.
    """
    budget = Budget(limits)
    budget.check("input_bytes", len(data))
    plain = unpacked(data, budget)
    budget.check("decompressed_bytes", len(plain))
    kind = sniff(plain)
    try:
        if kind == "pdf":
            from preflight.readers.pdf.reader import read_pdf  # noqa: PLC0415  (only this format needs it)

            return read_pdf(plain, name, budget)
        return read_svg(data, plain, name, budget)
    except RecursionError as error:
        # Nesting of kinds that no single limit counts (clips in markers in clips ...).
        raise exceeded("nesting_depth", limits.nesting_depth, limits.nesting_depth) from error
