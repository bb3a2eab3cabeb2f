"""Errors a caller can act on: each says what is wrong, where, and what to do next."""

from __future__ import annotations

LONGEST_QUOTE = 60


def quoted(value: object) -> str:
    """Return a value from outside as it goes into a message: in quotation marks, short, printable."""
    if isinstance(value, str):
        text = printable(value)
    elif isinstance(value, bool) or value is None:
        text = {True: "true", False: "false", None: "nothing"}[value]
    elif isinstance(value, int):
        # Python refuses to print integers of more than some thousand digits.
        text = str(value) if value.bit_length() < 1000 else "a number of very many digits"
    elif isinstance(value, float):
        text = str(value)
    else:
        named = {"dict": "a table", "list": "a list"}
        text = named.get(type(value).__name__, type(value).__name__)
    return f"“{shortened(text)}”"


def shortened(text: str) -> str:
    """Return ``text`` cut to a length that fits into a message."""
    return text if len(text) <= LONGEST_QUOTE else text[: LONGEST_QUOTE - 1] + "…"


def printable(text: str) -> str:
    """Return ``text`` with all that is not printable replaced: it could steer a reader's terminal."""
    return "".join(letter if letter.isprintable() else "\ufffd" for letter in text[:10_000])


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


class WriteError(PreflightError):
    """A file for production cannot be written as asked."""


class JobError(PreflightError):
    """The job's settings are wrong; the message names field, value and allowed range."""
