"""Errors a caller can act on: each says what is wrong, where, and what to do next."""

from __future__ import annotations


class PreflightError(Exception):
    """Base of every error this library raises on purpose.

    ``code`` is a stable kebab-case word for programs, ``message`` says what and where in plain
    words, ``advice`` says what to do next.
    """

    def __init__(self, code: str, message: str, advice: str = "") -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.advice = advice

    def __str__(self) -> str:
        return f"{self.message} {self.advice}".strip()

    def __reduce__(self) -> tuple[type[PreflightError], tuple[str, str, str]]:
        # Errors cross process borders; the stock reduction would lose the advice.
        return (type(self), (self.code, self.message, self.advice))


class ReadError(PreflightError):
    """The bytes could not be read as artwork."""


class LimitError(ReadError):
    """The artwork is larger or more deeply built than a stated limit allows."""


class JobError(PreflightError):
    """The job's settings are wrong; the message names field, value and allowed range."""
