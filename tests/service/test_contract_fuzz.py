"""The whole contract, with requests made from it by schemathesis: no answer but those it states."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import CHECKS

from tests.service.conftest import ROOT, SVG, Server, running

CONTRACT = json.loads((ROOT / "openapi" / "openapi.json").read_text("utf-8"))
schema = schemathesis.openapi.from_dict(CONTRACT)

EXAMPLES = 20
SEEN: defaultdict[str, set[int]] = defaultdict(set)
LEFT_OUT = {
    # Whether a made-up body is refused depends on what artwork is, which no schema can say.
    "negative_data_rejection",
    "positive_data_acceptance",
    # A key is asked for only where the operator wants one; here none is.
    "ignored_auth",
}
"""Checks of schemathesis that do not fit; all its others are made."""


@schemathesis.serializer("application/toml", "image/svg+xml", "application/pdf")
def as_text(context: Any, value: Any) -> bytes:  # noqa: ARG001
    """Send what was made up for a text format as it is."""
    return value if isinstance(value, bytes) else str(value).encode("utf-8", "replace")


@schemathesis.hook
def before_call(context: Any, case: Any, kwargs: Any) -> None:  # noqa: ARG001
    """Let half of the bodies be artwork, so that more than refusals are seen."""
    if case.media_type == "image/svg+xml" and len(repr(case.body)) % 2:
        case.body = SVG.decode()


@pytest.fixture(scope="module")
def fuzzed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder: Path = tmp_path_factory.mktemp("fuzzed")
    limits = {"work_seconds": 5, "jobs_path": folder / "jobs.sqlite3", "event_streams": 2}
    with running("service", folder, **limits) as server:
        yield server


@schema.parametrize()
@settings(
    max_examples=EXAMPLES,
    derandomize=True,
    database=None,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_answers_are_those_of_the_contract(case: schemathesis.Case[Any], fuzzed: Server) -> None:
    chosen: list[Any] = [check for check in CHECKS.get_all() if check.__name__ not in LEFT_OUT]
    response = case.call(base_url=fuzzed.url)
    SEEN[case.operation.label].add(response.status_code)
    case.validate_response(response, checks=chosen)


def test_every_operation_is_tried() -> None:
    found: list[Any] = list(schema.get_all_operations())
    tried = {operation.ok().label for operation in found}
    stated = {f"{method.upper()} {path}" for path, item in CONTRACT["paths"].items() for method in item}
    assert tried == stated


def test_good_answers_and_refusals_were_both_seen() -> None:
    # Else the requests made up would have tried the refusals alone.
    for resource in (
        "reports",
        "pictures",
        "repairs",
        "jobsheets",
        "rehearsals",
        "layouts",
        "panels",
        "jobs",
    ):
        seen = SEEN[f"POST /v1/{resource}"]
        assert seen & {200, 202}, (resource, seen)
        assert seen & {400, 422}, (resource, seen)
