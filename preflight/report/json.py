"""The report as JSON text: the public schema, the same bytes for the same report."""

from __future__ import annotations

import json

from preflight.report.model import Report


def to_json(report: Report) -> str:
    """Return ``report`` as indented JSON with a closing line end.

    Keys stand in the model's order and numbers in their shortest exact form. Raises `ValueError` where
    the report holds a number that JSON has no word for.
    """
    return json.dumps(report.model_dump(mode="json"), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
