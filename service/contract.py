"""The published contract: OpenAPI with examples that really occur.

``python -m service.contract`` runs the library on a small artwork, keeps what it answers as the
examples, and writes ``openapi/openapi.json``, ``docs/problems.md`` and ``docs/service.md``. Tests check
all of them for drift.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel
from pydantic.json_schema import JsonSchemaMode, models_json_schema

from service.contract_edge import KEPT, RETRY, add_edge
from service.problems import (
    ARTWORK_LIMIT,
    BUSY,
    CANNOT_BE_DONE,
    IN_FLIGHT,
    INTERNAL_ERROR,
    INVALID_JOB,
    INVALID_PARAMETER,
    KEY_REUSED,
    MALFORMED_REQUEST,
    MEDIA_TYPE,
    MEMORY_LIMIT,
    METHOD_NOT_ALLOWED,
    MISSING_ARTWORK,
    NOT_ACCEPTABLE,
    NOT_FOUND,
    NOT_READY,
    PROBLEMS,
    RECEIVE_TIMEOUT,
    TIME_LIMIT,
    UNKNOWN_ANSWER,
    UNKNOWN_RULE,
    UNREADABLE_ARTWORK,
    UNSUPPORTED_MEDIA_TYPE,
    UPLOAD_TOO_LARGE,
    WORKER_CRASHED,
    Problem,
    ProblemError,
    ProblemType,
    answer,
    handbook,
)

DESCRIPTION = (
    "Tells whether artwork for cut-vinyl signs will cut, where not and why. Send the file to"
    " `POST /v1/reports`; the answer is geometry proved, not a test cut saved. Only jobs are stored, until"
    " they expire; any other upload lives in memory until its answer is sent. Every error is `application/problem+json`"
    " (RFC 9457). Every answer carries `X-Request-Id`; a request's own is kept where it is a UUID."
)
TAGS = [
    {"name": "reports", "description": "Whether artwork will cut, where not and why"},
    {"name": "pictures", "description": "The numbered picture that belongs to a report"},
    {"name": "repairs", "description": "The file for production, mended, with its proof"},
    {"name": "jobsheets", "description": "What the workshop has to know, to print and tick off"},
    {"name": "rehearsals", "description": "The cut before it is made: order, way, time, errors of the tip"},
    {"name": "layouts", "description": "How an order lies on the roll, and its files for production"},
    {"name": "panels", "description": "A sign that is wider than its roll, in panels, and their files"},
    {"name": "jobs", "description": "Work accepted now and done later, for one file or many"},
    {"name": "rules", "description": "What is looked for, how it is measured and what to do about it"},
    {"name": "problems", "description": "What the types of the errors mean"},
    {"name": "health", "description": "For whatever watches over the service"},
]

Json = dict[str, Any]
Responses = dict[int | str, dict[str, Any]]
"""Answers by status, as the framework takes them."""

EXAMPLES: Final = "examples.json"
GUIDE: Final = Path(__file__).parent / "guide.md"
REQUEST_ID = "7c9e6679-7425-40de-944b-e07fc1f90ae7"

ARTWORK = """<svg xmlns="http://www.w3.org/2000/svg" width="600mm" height="200mm" viewBox="0 0 600 200">
  <path id="bar" fill="#1f5f3a" d="M40 60h520v40H40z"/>
  <path id="rule" fill="#1f5f3a" d="M40 130h520v.6H40z"/>
</svg>
"""
BINARY: Json = {"type": "string", "format": "binary"}
ARTWORKS: Json = {
    "description": "The artworks' files, each a part of this name",
    "type": "array",
    "minItems": 1,
    "items": BINARY,
}
JOB: Json = {"size": {"width": "600 mm"}, "roll": {"width": "610 mm"}, "film": {"kind": "cast"}}

UPLOAD_PROBLEMS = (
    MALFORMED_REQUEST,
    NOT_ACCEPTABLE,
    RECEIVE_TIMEOUT,
    IN_FLIGHT,
    KEY_REUSED,
    UPLOAD_TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
    MISSING_ARTWORK,
    UNREADABLE_ARTWORK,
    ARTWORK_LIMIT,
    INVALID_JOB,
    CANNOT_BE_DONE,
    MEMORY_LIMIT,
    INTERNAL_ERROR,
    WORKER_CRASHED,
    BUSY,
    TIME_LIMIT,
)


@cache
def examples() -> Json:
    """Return the examples that ``python -m service.contract`` kept."""
    kept: Json = json.loads(files("service").joinpath(EXAMPLES).read_text("utf-8"))
    return kept


def takes_artwork() -> Json:
    """Return the request body of an operation that takes artwork."""
    form: Json = {
        "type": "object",
        "required": ["artwork"],
        "additionalProperties": False,
        "properties": {
            "artwork": {**BINARY, "description": "The artwork's file"},
            "job": {"type": "string", "description": "The job's settings as JSON (see Job) or TOML"},
        },
    }
    told = "The artwork; only a multipart form also carries a job."
    return upload_body(form, told, {"artwork": ARTWORK, "job": json.dumps(JOB)})


def upload_body(form: Json, description: str, example: Json, settings: Sequence[str] = ("job",)) -> Json:
    """Return the request body of an operation that takes artwork raw, or in ``form`` with parts of ``settings``."""
    encoding = {"artwork": {"contentType": "image/svg+xml, application/pdf, application/octet-stream"}}
    encoding |= {part: {"contentType": "application/json, application/toml, text/plain"} for part in settings}
    return {
        "requestBody": {
            "required": True,
            "description": description,
            "content": {
                "multipart/form-data": {"schema": form, "encoding": encoding, "example": example},
                "image/svg+xml": {"schema": {"type": "string"}, "example": ARTWORK},
                "application/pdf": {"schema": BINARY},
                "application/octet-stream": {"schema": BINARY},
            },
        }
    }


def answers_report() -> Responses:
    """Return the answers of the operation that checks artwork."""
    content = {
        "application/json": {"schema": {"$ref": "#/components/schemas/Report"}, "x-example": "report"},
        "text/plain": {"schema": {"type": "string"}, "x-example": "report-text"},
        "multipart/form-data": {
            "schema": {
                "type": "object",
                "required": ["report", "picture"],
                "properties": {
                    "report": {"$ref": "#/components/schemas/Report"},
                    "picture": {"type": "string", "description": "SVG"},
                },
            }
        },
    }
    ok = {"description": "What the check found, whatever the verdict", "content": content, "headers": KEPT}
    return {200: ok, **problem_answers(INVALID_PARAMETER, *UPLOAD_PROBLEMS)}


def answers_again(made: Responses) -> Responses:
    """Return the answers of the operation that fetches again what another one has ``made``."""
    unchanged = {"description": "The client has it already"}
    return {200: made[200], 304: unchanged, **problem_answers(UNKNOWN_ANSWER, METHOD_NOT_ALLOWED)}


def answers_picture() -> Responses:
    """Return the answers of the operation that draws."""
    content = {
        "image/svg+xml": {"schema": {"type": "string"}, "x-example": "picture-svg"},
        "image/png": {"schema": BINARY},
    }
    ok = {"description": "The numbered picture", "content": content, "headers": KEPT}
    return {200: ok, **problem_answers(INVALID_PARAMETER, *UPLOAD_PROBLEMS)}


def answers_catalogue() -> Responses:
    """Return the answers of the operation that lists the rules."""
    return {200: json_example("rules"), **problem_answers(METHOD_NOT_ALLOWED)}


def answers_rule() -> Responses:
    """Return the answers of the operation that explains one rule."""
    return {200: json_example("rule"), **problem_answers(UNKNOWN_RULE, METHOD_NOT_ALLOWED)}


def answers_problem_type() -> Responses:
    """Return the answers of the operation that explains a problem type."""
    return {200: json_example("problem-type"), **problem_answers(NOT_FOUND, METHOD_NOT_ALLOWED)}


def answers_health() -> Responses:
    """Return the answers of the liveness check."""
    return {200: json_example("health"), **problem_answers(METHOD_NOT_ALLOWED)}


def answers_readiness() -> Responses:
    """Return the answers of the readiness check."""
    return {200: json_example("health"), **problem_answers(METHOD_NOT_ALLOWED, NOT_READY)}


def with_examples(schema: Json) -> Json:
    """Return the framework's schema with the kept examples and the shared components filled in."""
    # The service's own process loads the library only for this, when somebody asks for the contract.
    from preflight.job import Job  # noqa: PLC0415
    from preflight.report.model import Report  # noqa: PLC0415
    from preflight.roll.layout.options import LayoutOptions  # noqa: PLC0415
    from preflight.roll.panels import PanelOptions  # noqa: PLC0415
    from preflight.version import __version__  # noqa: PLC0415
    from service.mending import Mended  # noqa: PLC0415
    from service.workshop import MODELS  # noqa: PLC0415

    kept = examples()
    schema["info"]["version"] = __version__
    components: Json = schema["components"]["schemas"]
    # What is read is described as it may be sent, all else as it is answered.
    written: tuple[type[BaseModel], ...] = (Report, Mended, Problem, *MODELS)
    read: tuple[type[BaseModel], ...] = (Job, LayoutOptions, PanelOptions)
    models: list[tuple[type[BaseModel], JsonSchemaMode]] = [(model, "validation") for model in read]
    models += [(model, "serialization") for model in written]
    # All at once: where two models have the same name, both get longer ones.
    _, made = models_json_schema(models, ref_template="#/components/schemas/{model}")
    components |= made["$defs"]
    # The framework documents its own validation error, which this service never answers with.
    for unused in ("HTTPValidationError", "ValidationError"):
        components.pop(unused, None)
    schema["components"]["schemas"] = dict(sorted(components.items()))
    add_edge(schema, problem_answers)
    schema["components"]["examples"] = {
        slug: {"summary": problem["title"], "value": problem} for slug, problem in kept["problems"].items()
    }
    for path in schema["paths"].values():
        for operation in path.values():
            for status, one in tuple(operation["responses"].items()):
                if "HTTPValidationError" in json.dumps(one):
                    del operation["responses"][status]
                else:
                    _fill(one, kept)
    return schema


def _fill(response: Json, kept: Json) -> None:
    response["headers"] = {
        "X-Request-Id": {"description": "The request's UUID", "schema": {"type": "string", "format": "uuid"}}
    } | response.get("headers", {})
    for content in response.get("content", {}).values():
        if (name := content.pop("x-example", None)) is not None:
            content["example"] = kept[name]
        if (slugs := content.pop("x-problems", None)) is not None:
            content["examples"] = {slug: {"$ref": f"#/components/examples/{slug}"} for slug in slugs}


def json_example(name: str) -> Json:
    """Return an answer's content as JSON with the kept example of this name."""
    return {"content": {"application/json": {"x-example": name}}}


def problem_answers(*kinds: ProblemType) -> Responses:
    """Return the answers for ``kinds``, those of one status together."""
    answers: Responses = {}
    for status in sorted({kind.status for kind in kinds}):
        same = [kind for kind in kinds if kind.status == status]
        answers[status] = {
            "description": "; ".join(kind.title for kind in same),
            "content": {
                MEDIA_TYPE: {
                    "schema": {"$ref": "#/components/schemas/Problem"},
                    "x-problems": [kind.slug for kind in same],
                }
            },
        }
        if status == BUSY.status:
            answers[status]["headers"] = RETRY
    return answers


def make_examples() -> Json:
    """Run the library on the example artwork and return everything it and the service answer."""
    from service import library, tasks  # noqa: PLC0415  (the running service never needs the library here)
    from service.catalogue import facts  # noqa: PLC0415
    from service.jobs.examples import make_job_examples  # noqa: PLC0415
    from service.routes import health, problems  # noqa: PLC0415

    def body(kind: str) -> str:
        task = tasks.Task(kind, ARTWORK.encode(), "gate-board.svg", json.dumps(JOB).encode(), "json")
        return library.run(task).body.decode()

    many = ARTWORK.replace("</svg>", "<g>" * 2000 + "</g>" * 2000 + "</svg>")
    failures = {
        UNREADABLE_ARTWORK: tasks.Task("report-json", b"%!PS-Adobe-3.0 EPSF-3.0\n"),
        ARTWORK_LIMIT: tasks.Task("report-json", many.encode()),
        INVALID_JOB: tasks.Task(
            "report-json", ARTWORK.encode(), None, b'{"size": {"widht": "600 mm"}}', "json"
        ),
    }
    shown = {
        kind.slug: _example_problem(ProblemError(kind, kind.example))
        for kind in PROBLEMS
        if kind not in failures
    }
    for kind, task in failures.items():
        got = tasks.attempt(task, library.run)
        error = ProblemError(kind, got.message, code=got.code, advice=got.advice or None)
        shown[kind.slug] = _example_problem(error)
    known = facts()
    catalogue = known.catalogue.model_dump(mode="json")
    return {
        "report": json.loads(body("report-json")),
        "report-text": body("report-text"),
        "picture-svg": _shortened(body("picture-svg")),
        "rules": {"rules": catalogue["rules"][:1]},
        "rule": catalogue["rules"][0],
        "problem-type": problems.BY_SLUG[BUSY.slug].model_dump(mode="json"),
        "health": health.Health(version=known.version).model_dump(mode="json"),
        **make_job_examples(),
        **_workshop_examples(),
        "problems": dict(sorted(shown.items())),
    }


def _workshop_examples() -> Json:
    """Return what job sheets, rehearsals and layouts answer, long lists and drawings left out."""
    from service import library, tasks  # noqa: PLC0415  (the running service never needs the library here)

    def body(kind: str) -> str:
        task = tasks.Task(kind, ARTWORK.encode(), "gate-board.svg", json.dumps(JOB).encode(), "json")
        options = tasks.options_of(kind, search_seconds=2)
        return library.run(replace(task, options=options)).body.decode()

    sheet, cut = json.loads(body("jobsheet-json")), json.loads(body("rehearsal-json"))
    page = body("jobsheet-html").partition("<style>")[0] + "</head><body><!-- the sheet --></body></html>\n"
    played = body("rehearsal-html").partition("<style>")[0] + "</head><body><!-- the cut --></body></html>\n"
    for film in cut["films"]:
        film["ways"], film["events"] = film["ways"][:1], film["events"][:4]
    return {
        "jobsheet": sheet,
        "jobsheet-html": page,
        "rehearsal": cut,
        "rehearsal-svg": _frame_of(body("rehearsal-svg")),
        "rehearsal-html": played,
        "layout": json.loads(body("layout-json")),
        "layout-svg": _frame_of(body("layout-svg")),
        "panels": json.loads(body("panels-json")),
        "panels-svg": _frame_of(body("panels-svg")),
    }


def _frame_of(picture: str) -> str:
    return picture.partition(">")[0] + "><!-- the drawing --></svg>"


def _shortened(picture: str) -> str:
    """Return the picture's frame without the drawing, which would only fill the contract with numbers."""
    return picture.partition("<defs>")[0] + "<!-- the drawing --></svg>"


def _example_problem(error: ProblemError) -> Json:
    shown: Json = json.loads(bytes(answer(error, REQUEST_ID).body))
    return shown


def dumped(document: Json) -> str:
    """Return ``document`` as the text that is committed."""
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"


def service_guide() -> str:
    """Return the guide to the service as Markdown."""
    from service.settings import handbook as settings_table  # noqa: PLC0415  (only the guide needs it)

    return GUIDE.read_text("utf-8").replace("{{settings}}", settings_table().rstrip())


def write(root: Path) -> None:
    """Write the examples, the contract and the handbook of problems below the project's ``root``."""
    (root / "service" / EXAMPLES).write_text(dumped(make_examples()), "utf-8")
    examples.cache_clear()
    from service.app import create_app  # noqa: PLC0415  (the application imports this module)
    from service.settings import Settings  # noqa: PLC0415

    for folder in ("openapi", "docs"):
        (root / folder).mkdir(exist_ok=True)
    (root / "openapi" / "openapi.json").write_text(dumped(create_app(Settings()).openapi()), "utf-8")
    (root / "docs" / "problems.md").write_text(handbook(), "utf-8")
    (root / "docs" / "service.md").write_text(service_guide(), "utf-8")


if __name__ == "__main__":
    write(Path(__file__).resolve().parent.parent)
