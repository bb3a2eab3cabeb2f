"""What a task's kind takes besides artwork and job, and the fonts of the worker that does it.

Loads the library; in the running service only the workers import this.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel

from preflight.job.parse import parse_settings
from preflight.text import FontSource
from service.tasks import Task

Options = TypeVar("Options", bound=BaseModel)


def chosen(task: Task) -> dict[str, Any]:
    """Return what the service itself says of how the task is to be done."""
    options: dict[str, Any] = json.loads(task.options or "{}")
    return options


def stated(task: Task, model: type[Options]) -> Options:
    """Return the options of ``model`` that the client states. Raises `JobError`."""
    return parse_settings(model, chosen(task).get("options") or {}, what="options")


def fonts_of(task: Task) -> FontSource | None:
    """Return the operator's fonts; None: text is outlined in what the file itself holds."""
    return _fonts(task.fonts, task.stand_ins) if task.fonts or task.stand_ins else None


@cache
def _fonts(folder: str, stand_ins: tuple[tuple[str, str], ...]) -> FontSource:
    return FontSource.of(folder=Path(folder) if folder else None, substitutes=dict(stand_ins))
