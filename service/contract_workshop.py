"""What the contract says of job sheets, rehearsals and layouts."""

from __future__ import annotations

import json

from service.contract import (
    ARTWORK,
    ARTWORKS,
    BINARY,
    JOB,
    UPLOAD_PROBLEMS,
    Json,
    Responses,
    problem_answers,
    upload_body,
)
from service.contract_edge import KEPT
from service.files import FORMATS
from service.jobs.contract import FILE_HEADERS
from service.problems import INVALID_PARAMETER, NOT_INSTALLED, UNWRITABLE_FILE

OPTIONS: Json = {"turns": "any", "gap": "8 mm", "seconds": 5}


def answers_jobsheet() -> Responses:
    """Return the answers of the operation that makes a job sheet."""
    content: Json = {
        "application/json": {"schema": {"$ref": "#/components/schemas/JobSheet"}, "x-example": "jobsheet"},
        "text/html": {"schema": {"type": "string"}, "x-example": "jobsheet-html"},
        "application/pdf": {"schema": BINARY},
    }
    return _answers("The sheet, whatever the verdict", content)


def answers_rehearsal() -> Responses:
    """Return the answers of the operation that rehearses a cut."""
    content: Json = {
        "application/json": {"schema": {"$ref": "#/components/schemas/Rehearsal"}, "x-example": "rehearsal"},
        "image/svg+xml": {"schema": {"type": "string"}, "x-example": "rehearsal-svg"},
        "image/png": {"schema": BINARY},
        "text/html": {"schema": {"type": "string"}, "x-example": "rehearsal-html"},
    }
    return _answers("The rehearsal", content)


def answers_layout() -> Responses:
    """Return the answers of the operation that lays an order out."""
    content: Json = {
        "application/json": {"schema": {"$ref": "#/components/schemas/LaidOut"}, "x-example": "layout"},
        "image/svg+xml": {"schema": {"type": "string"}, "x-example": "layout-svg"},
        "image/png": {"schema": BINARY},
    }
    content |= {media: {"schema": BINARY} for media in FORMATS.values() if media not in content}
    ok = {
        "description": "How it lies on the roll, whether it fits or not",
        "content": content,
        "headers": {"ETag": KEPT["ETag"], **FILE_HEADERS},
    }
    return {200: ok, **problem_answers(INVALID_PARAMETER, UNWRITABLE_FILE, NOT_INSTALLED, *UPLOAD_PROBLEMS)}


def answers_panels() -> Responses:
    """Return the answers of the operation that parts a sign into panels."""
    content: Json = {
        "application/json": {"schema": {"$ref": "#/components/schemas/PanelledOut"}, "x-example": "panels"},
        "image/svg+xml": {"schema": {"type": "string"}, "x-example": "panels-svg"},
        "image/png": {"schema": BINARY},
    }
    content |= {media: {"schema": BINARY} for media in FORMATS.values() if media not in content}
    ok = {
        "description": "Whether panels are needed, and which",
        "content": content,
        "headers": {"ETag": KEPT["ETag"], **FILE_HEADERS},
    }
    return {200: ok, **problem_answers(INVALID_PARAMETER, UNWRITABLE_FILE, *UPLOAD_PROBLEMS)}


def takes_sign() -> Json:
    """Return the request body of the operation that parts a sign into panels."""
    taken = takes_order()
    body = taken["requestBody"]
    body["description"] = "One artwork as the raw body, or a form with its job and options."
    form = body["content"]["multipart/form-data"]
    properties = form["schema"]["properties"]
    properties["artwork"] = {**BINARY, "description": "The artwork's file"}
    properties["options"]["description"] = "Options as JSON (see PanelOptions) or TOML"
    form["example"] |= {"artwork": ARTWORK, "options": json.dumps({"prefer": "fewest-panels"})}
    return taken


def takes_order() -> Json:
    """Return the request body of the operation that lays an order out."""
    form: Json = {
        "type": "object",
        "required": ["artwork"],
        "additionalProperties": False,
        "properties": {
            "artwork": ARTWORKS,
            "job": {"type": "string", "description": "The job's settings as JSON (see Job) or TOML"},
            "options": {"type": "string", "description": "Options as JSON (see LayoutOptions) or TOML"},
        },
    }
    example = {"artwork": [ARTWORK], "job": json.dumps(JOB), "options": json.dumps(OPTIONS)}
    told = "One artwork as the raw body, or a form with any number, their job and options."
    return upload_body(form, told, example, ("job", "options"))


def _answers(description: str, content: Json) -> Responses:
    ok = {"description": description, "content": content, "headers": KEPT}
    return {200: ok, **problem_answers(INVALID_PARAMETER, *UPLOAD_PROBLEMS)}
