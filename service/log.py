"""Structured logs: one JSON object a line, without anything of the artwork."""

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


def configure(level: str) -> None:
    """Send all logs of the process to standard error as JSON lines."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level.upper())
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access"):
        logger = logging.getLogger(name)
        logger.handlers.clear()
        logger.propagate = True
    # The service logs each request itself, by route and without the query.
    logging.getLogger("uvicorn.access").disabled = True
