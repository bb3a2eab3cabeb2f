"""From a job file's text to a `Job`, and from validation errors to lines that people can act on."""

from __future__ import annotations

import difflib
import json
import tomllib
import types
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from preflight.errors import JobError, printable, quoted, shortened
from preflight.job.model import Job

Settings = TypeVar("Settings", bound=BaseModel)
LARGEST_JOB = 1_000_000
"""Bytes or characters of a job file that are read at most."""
_MOST_LINES = 30
_ADVICE = "Correct the settings named and try again; docs/job.md lists all settings."
_GUIDE = " docs/job.md shows one."
_CLOSE = 0.6
_NAME = "{value} is no name; a name is a text of 1 to {longest} characters."
_TABLE = "{value} stands where a table of settings belongs."
_FIXED = {
    "missing": "this setting is needed here and is missing.",
    "bool_type": "{value} is neither true nor false.",
    "bool_parsing": "{value} is neither true nor false.",
    "model_type": _TABLE,
    "model_attributes_type": _TABLE,
    "dict_type": _TABLE,
    "tuple_type": "this is a list: write one or more words in brackets, with a comma between them.",
    "string_pattern_mismatch": "{value} is no rule's code. "
    "Write code or code/case, for instance “thin-feature”.",
    "string_type": _NAME,
    "string_too_short": _NAME,
    "string_too_long": _NAME,
    "string_unicode": "this text holds half a character, which no text can.",
}
"""Our words for the validator's kinds of error."""


def parse(data: bytes | str | Mapping[str, Any], format: Literal["json", "toml"] | None) -> Job:
    """See `Job.parse`."""
    return parse_settings(Job, data, format)


def parse_settings(
    model: type[Settings],
    data: bytes | str | Mapping[str, Any],
    format: Literal["json", "toml"] | None = None,
    *,
    what: str = "job",
) -> Settings:
    """Return the ``model`` that a TOML or JSON text or a table states; errors as with `Job.parse`.

    ``what`` is the word for the settings in messages, and begins the errors' codes.
    """
    table = data if isinstance(data, Mapping) else _load(_text(data, what), format, what)
    try:
        return model.model_validate(table)
    except ValidationError as error:
        advice = _ADVICE if model is Job else "Correct the settings named and try again."
        raise JobError(f"{what}-invalid", "\n".join(_lines(error, model)), advice) from None


def suggestion(word: object, known: Iterable[str]) -> str:
    """Return `` Did you mean “...”?`` for the known word most like ``word``, or nothing."""
    match = difflib.get_close_matches(str(word)[:60].lower(), list(known)[:1000], n=1, cutoff=_CLOSE)
    return f" Did you mean “{match[0]}”?" if match else ""


def unknown_codes(job: Job, cases: Mapping[str, Collection[str]]) -> None:
    """See `Job.require_known_codes`."""
    lines = []
    for key in job.severities:
        code, _, case = key.partition("/")
        if code not in cases:
            lines.append(f"severities: there is no rule {quoted(code)}.{suggestion(code, cases)}")
        elif case and case not in cases[code]:
            known = ", ".join(sorted(cases[code]))
            lines.append(f"severities: rule {quoted(code)} has no case {quoted(case)}; it has {known}.")
    if lines:
        raise JobError("job-invalid", "\n".join(lines[:_MOST_LINES]), "Correct the codes, or leave them out.")


def _text(data: bytes | str, what: str) -> str:
    if len(data) > LARGEST_JOB:
        raise JobError(
            f"{what}-too-large",
            f"The {what} is {len(data)} bytes long; at most {LARGEST_JOB} are read.",
            f"A {what} is a page of settings: check that the artwork was not sent in its place.",
        )
    if isinstance(data, str):
        return data.removeprefix("\ufeff")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise JobError(
            f"{what}-unreadable",
            f"The {what} is not UTF-8 text: byte {error.start} does not belong there.",
            "Save it as UTF-8.",
        ) from None


def _load(text: str, format: Literal["json", "toml"] | None, what: str) -> dict[str, Any]:
    chosen = format or ("json" if text.lstrip().startswith("{") else "toml")
    try:
        table = _load_json(text) if chosen == "json" else tomllib.loads(text)
    except RecursionError:
        raise JobError(
            f"{what}-unreadable", f"The {what} is nested far too deeply.", "Write plain settings."
        ) from None
    except ValueError as error:  # Both parsers' own errors are ValueErrors and say line and column.
        raise JobError(
            f"{what}-unreadable",
            f"The {what} is not valid {chosen.upper()}: {error}.",
            f"It has to be a TOML or a JSON file.{_GUIDE if what == 'job' else ''}",
        ) from None
    if not isinstance(table, dict):
        raise JobError(
            f"{what}-invalid",
            f"The {what} has to be a table of settings, not a single value or a list.",
            "Write names and values.",
        )
    return table


def _load_json(text: str) -> Any:
    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        table: dict[str, Any] = {}
        for key, value in pairs:
            if key in table:
                raise ValueError(f"the key {quoted(key)} is there twice")
            table[key] = value
        return table

    def refuse(constant: str) -> Any:
        raise ValueError(f"{constant} is no JSON number")

    return json.loads(text, object_pairs_hook=once, parse_constant=refuse)


def _lines(error: ValidationError, model: type[BaseModel]) -> list[str]:
    lines = [line for detail in error.errors(include_url=False) for line in _describe(detail, model)]
    lines = list(dict.fromkeys(lines))
    if len(lines) > _MOST_LINES:
        more = len(lines) - _MOST_LINES
        lines = [*lines[:_MOST_LINES], f"... and {more} more problem{'s' if more > 1 else ''}."]
    return lines


def _describe(detail: ErrorDetails, model: type[BaseModel]) -> Iterator[str]:
    kind, where = detail["type"], detail["loc"]
    if kind == "default_factory_not_called":
        return  # Follows from another setting that has its own line.
    if kind == "unknown_film":
        yield from detail["msg"].split("\n")
        return
    is_key = bool(where) and where[-1] == "[key]"
    path = ".".join(printable(shortened(str(part))) for part in (where[:-2] if is_key else where))
    yield f"{path}: {_problem(detail, model)}" if path else _problem(detail, model)


def _problem(detail: ErrorDetails, model: type[BaseModel]) -> str:
    kind, value = detail["type"], quoted(detail["input"])
    if kind == "extra_forbidden":
        return _no_such_setting(detail["loc"], model)
    if kind == "literal_error":
        return _no_such_word(detail, model)
    if kind in _FIXED:
        return _FIXED[kind].format(value=value, longest=detail.get("ctx", {}).get("max_length", 200))
    return detail["msg"]


def _no_such_setting(where: tuple[int | str, ...], model: type[BaseModel]) -> str:
    known = _settings_at(where[:-1], model)
    listed = f" Settings here: {', '.join(known)}."
    return f"there is no such setting.{suggestion(where[-1], known) or listed}"


def _no_such_word(detail: ErrorDetails, model: type[BaseModel]) -> str:
    allowed = [str(word) for word in get_args(_annotation_at(detail["loc"], model))]
    value = detail["input"]
    guess = suggestion(value, allowed) if isinstance(value, str) else ""
    return f"{quoted(value)} is not one of {', '.join(allowed)}.{guess}"


def _settings_at(where: tuple[int | str, ...], root: type[BaseModel]) -> list[str]:
    model = _annotation_at(where, root)
    return sorted(model.model_fields) if isinstance(model, type) and issubclass(model, BaseModel) else []


def _annotation_at(where: tuple[int | str, ...], root: type[BaseModel]) -> Any:
    """Return the type that the settings' classes declare at a place, without None and annotations."""
    node: Any = root
    for key in where:
        if isinstance(node, type) and issubclass(node, BaseModel):
            field = node.model_fields.get(str(key))
            node = _plain(field.annotation) if field else None
        elif get_origin(node) is dict:
            node = _plain(get_args(node)[0 if key == "[key]" else 1])
        elif get_origin(node) is tuple and isinstance(key, int):
            node = _plain(get_args(node)[0])
        elif key != "[key]":
            return None
    return node


def _plain(annotation: Any) -> Any:
    while True:
        if hasattr(annotation, "__metadata__"):
            annotation = annotation.__origin__
        elif get_origin(annotation) in (Union, types.UnionType):
            annotation = next(part for part in get_args(annotation) if part is not type(None))
        else:
            return annotation
