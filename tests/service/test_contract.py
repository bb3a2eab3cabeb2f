"""The committed contract: valid OpenAPI, complete, true, and not drifted from what the code makes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

from service import contract
from service.problems import PROBLEMS, handbook
from tests.service.conftest import ROOT

AGAIN = "run `make openapi` and commit what it writes"

GOOD = ("200", "202", "204")

COMMITTED: dict[str, Any] = json.loads((ROOT / "openapi" / "openapi.json").read_text("utf-8"))


def operations() -> Iterator[tuple[str, dict[str, Any]]]:
    for path, item in COMMITTED["paths"].items():
        for method, operation in item.items():
            yield f"{method.upper()} {path}", operation


def contents() -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Yield every media type object of every answer with its operation and status."""
    for name, operation in operations():
        for status, answer in operation["responses"].items():
            for media, content in answer.get("content", {}).items():
                yield f"{name} {status}", media, content


def example(one: dict[str, Any]) -> dict[str, Any]:
    """Return the example that a reference object leads to (OpenAPI 3.1, 4.8.23)."""
    found: dict[str, Any] = COMMITTED["components"]["examples"][one["$ref"].rpartition("/")[2]]
    return found


def valid(value: object, schema: dict[str, Any]) -> None:
    # OpenAPI 3.1 schemas are JSON Schema 2020-12; references lead into the same document.
    jsonschema.Draft202012Validator({**schema, "components": COMMITTED["components"]}).validate(value)


def test_the_examples_are_what_the_library_answers() -> None:
    kept = (ROOT / "service" / contract.EXAMPLES).read_text("utf-8")
    assert kept == contract.dumped(contract.make_examples()), AGAIN


def test_the_handbook_of_problems_is_what_the_code_says() -> None:
    assert (ROOT / "docs" / "problems.md").read_text("utf-8") == handbook(), AGAIN


def test_the_guide_names_every_setting_and_every_path() -> None:
    guide = (ROOT / "docs" / "service.md").read_text("utf-8")
    assert guide == contract.service_guide(), AGAIN
    for path in COMMITTED["paths"]:
        assert path.partition("/{")[0] in guide, path


def test_the_contract_is_valid_openapi() -> None:
    # OpenAPI 3.1: the specification's own schema, by way of openapi-spec-validator.
    assert COMMITTED["openapi"].startswith("3.1.")
    OpenAPIV31SpecValidator(COMMITTED).validate()


def test_every_operation_is_named_explained_and_exemplified() -> None:
    names = [operation["operationId"] for _, operation in operations()]
    assert len(names) == len(set(names))
    for name, operation in operations():
        assert operation["summary"], name
        assert len(operation["description"]) > 30, name
        answers = operation["responses"]
        good = [answers[status] for status in GOOD if status in answers]
        shown = [content for one in good for content in one.get("content", {}).values()]
        # An answer without content has nothing to show.
        assert any("example" in content for content in shown) or set(answers) & set(GOOD) == {"204"}, name


@pytest.mark.parametrize(("where", "media", "content"), list(contents()))
def test_examples_follow_their_schemas(where: str, media: str, content: dict[str, Any]) -> None:
    shown = [example(one)["value"] for one in content.get("examples", {}).values()]
    if "example" in content:
        shown.append(content["example"])
    if media.endswith("json"):
        assert shown, f"{where} {media} has no example"
    for one in shown:
        valid(one, content["schema"])


def test_every_problem_type_is_in_the_contract_with_an_example_of_its_own() -> None:
    shown = {slug for _, _, content in contents() for slug in content.get("examples", {})}
    assert shown == {kind.slug for kind in PROBLEMS}
    for where, media, content in contents():
        for slug, one in content.get("examples", {}).items():
            shown_problem = example(one)["value"]
            assert media == "application/problem+json"
            assert shown_problem["type"] == f"/problems/{slug}"
            assert f" {shown_problem['status']}" in where


def test_the_jobs_example_is_a_job() -> None:
    form = COMMITTED["paths"]["/v1/reports"]["post"]["requestBody"]["content"]["multipart/form-data"]
    valid(json.loads(form["example"]["job"]), {"$ref": "#/components/schemas/Job"})
