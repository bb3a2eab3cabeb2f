"""What is wrong with a job, as its error tells it."""

from __future__ import annotations

from typing import Any

import pytest

from preflight.errors import JobError
from preflight.job import Job


def problems(data: bytes | str | dict[str, Any]) -> list[str]:
    """Return the lines of the error that ``data`` is refused with; it must come with advice."""
    with pytest.raises(JobError) as caught:
        Job.parse(data)
    assert caught.value.advice
    return caught.value.message.split("\n")
