"""Structured logs: one JSON object a line (or plain lines), without anything of the artwork."""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime

LOGGER = logging.getLogger("service")


def event(level: int, name: str, **fields: object) -> None:
    """Log the event ``name`` with its fields. Fields never hold an artwork's bytes, text or file name."""
    LOGGER.log(level, name, extra={"fields": fields})


class JsonLines(logging.Formatter):
    """Formats a record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line for ``record``."""
        entry: dict[str, object] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "event": record.getMessage(),
        }
        entry |= getattr(record, "fields", {})
        if record.exc_info:
            entry["traceback"] = self.formatException(record.exc_info)
        return json.dumps(entry, ensure_ascii=True, default=str)


class PlainLines(logging.Formatter):
    """Formats a record as one line for a person: time, level, event, and its fields."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line for ``record``."""
        time = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        fields = {name: value for name, value in getattr(record, "fields", {}).items() if value is not None}
        # As JSON, so that a value with spaces or line breaks stays one value on one line.
        said = "".join(f" {name}={json.dumps(value, default=str)}" for name, value in fields.items())
        line = f"{time} {record.levelname.lower()} {record.getMessage()}{said}"
        return f"{line}\n{self.formatException(record.exc_info)}" if record.exc_info else line


def configure(level: str, form: str = "json") -> None:
    """Send all logs of the process to standard error, as ``json`` or plain ``text`` lines."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(PlainLines() if form == "text" else JsonLines())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level.upper())
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access"):
        logger = logging.getLogger(name)
        logger.handlers.clear()
        logger.propagate = True
    # The service logs each request itself, by route and without the query.
    logging.getLogger("uvicorn.access").disabled = True
