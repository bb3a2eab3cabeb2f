"""The contract as a page to read: made of the OpenAPI document, without a script."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from html import escape
from typing import Any

Json = Mapping[str, Any]

METHODS = ("get", "put", "post", "delete", "patch")
FEW_VALUES = 12
"""Values of an enumeration that are listed."""

_HEAD = """<!doctype html>
<html lang="en">
<head>
  <meta charset="utf-8">
  <meta name="viewport" content="width=device-width, initial-scale=1">
  <title>{title}: requests and answers</title>
  <link rel="icon" href="/page/icon.svg" type="image/svg+xml">
  <link rel="stylesheet" href="/page/page.css">
  <link rel="stylesheet" href="/page/reference.css">
</head>
<body class="reference">
  <a class="skip" href="#requests">Skip to the requests</a>
  <header class="masthead"><div class="wrap">
    <h1>{title}</h1>
    <div class="lead">{description}</div>
    <p class="hint">Version {version}. The same for programs: <a href="/openapi.json">openapi.json</a>
      (OpenAPI {openapi}).</p>
  </div></header>
"""


def page_of(document: Json) -> str:
    """Return the page of an OpenAPI ``document``, version 3.1."""
    info = document["info"]
    groups = _groups(document)
    schemas = document["components"]["schemas"]
    return "".join(
        (
            _HEAD.format(
                title=escape(info["title"]),
                description=_prose(info.get("description", "")),
                version=escape(info["version"]),
                openapi=escape(document["openapi"]),
            ),
            '<div class="wrap columns">',
            _contents(groups),
            '<main id="requests">',
            *(_group(tag, operations) for tag, operations in groups),
            '<section class="group"><h2 id="models">Models</h2>',
            *(_model(name, schema) for name, schema in sorted(schemas.items())),
            "</section></main></div></body></html>\n",
        )
    )


Operation = tuple[str, str, Json]
"""Method, path, and the operation itself."""
Groups = list[tuple[Json, list[Operation]]]


def _groups(document: Json) -> Groups:
    """Return the operations by their first tag, in the order of the tags."""
    operations = [
        (method, path, item[method])
        for path, item in document["paths"].items()
        for method in METHODS
        if method in item
    ]
    return [
        (tag, [one for one in operations if one[2]["tags"][0] == tag["name"]]) for tag in document["tags"]
    ]


def _contents(groups: Groups) -> str:
    lines = ['<nav aria-label="Requests"><ul>']
    for tag, operations in groups:
        lines.append(f'<li><a href="#{escape(tag["name"])}">{escape(tag["name"].capitalize())}</a><ul>')
        lines += [
            f'<li><a href="#{escape(one["operationId"])}">{escape(one["summary"])}</a></li>'
            for _, _, one in operations
        ]
        lines.append("</ul></li>")
    lines.append('<li><a href="#models">Models</a></li></ul></nav>')
    return "".join(lines)


def _group(tag: Json, operations: list[Operation]) -> str:
    name = escape(tag["name"])
    shown = "".join(_operation(*one) for one in operations)
    return (
        f'<section class="group"><h2 id="{name}">{name.capitalize()}</h2>'
        f"{_prose(tag.get('description', ''))}{shown}</section>"
    )


def _operation(method: str, path: str, operation: Json) -> str:
    return "".join(
        (
            f'<article class="card" id="{escape(operation["operationId"])}">',
            f"<h3>{escape(operation['summary'])}</h3>",
            f'<p class="request"><b>{method.upper()}</b> <code>{escape(path)}</code></p>',
            _prose(operation.get("description", "")),
            _parameters(operation.get("parameters", [])),
            _body(operation.get("requestBody")),
            _responses(operation["responses"]),
            "</article>",
        )
    )


def _parameters(parameters: Iterable[Json]) -> str:
    rows = [
        (
            f"<code>{escape(one['name'])}</code>" + (" <b>needed</b>" if one.get("required") else ""),
            escape(one["in"]),
            _type(one["schema"]),
            _inline(one.get("description", "")),
        )
        for one in parameters
    ]
    return _table("Parameters", ("name", "where", "what", "meaning"), rows)


def _body(body: Json | None) -> str:
    if body is None:
        return ""
    rows = [
        (f"<code>{escape(media)}</code>", _content(content)) for media, content in body["content"].items()
    ]
    return _table("Body", ("media type", "content"), rows)


def _content(content: Json) -> str:
    """Return what a body of one media type holds; the parts of a form one by one."""
    schema = content.get("schema", {})
    if "properties" not in schema:
        return _type(schema) + (f": {_inline(schema['description'])}" if "description" in schema else "")
    needed = set(schema.get("required", ()))
    parts = (
        f"<li><code>{escape(name)}</code>{' <b>needed</b>' if name in needed else ''}:"
        f" {_inline(part.get('description', '')) or _type(part)}</li>"
        for name, part in schema["properties"].items()
    )
    return f"<ul>{''.join(parts)}</ul>"


def _responses(responses: Mapping[str, Json]) -> str:
    rows = []
    examples = []
    for status, response in sorted(responses.items()):
        contents = response.get("content", {})
        medias = ", ".join(f"<code>{escape(media)}</code>" for media in contents) or "nothing"
        models = {_type(one["schema"]) for one in contents.values() if "$ref" in one.get("schema", {})}
        headers = ", ".join(f"<code>{escape(name)}</code>" for name in response.get("headers", {}))
        rows.append(
            (
                f"<b>{escape(status)}</b>",
                _inline(response["description"]),
                medias + (f": {', '.join(sorted(models))}" if models else ""),
                headers,
            )
        )
        examples += [
            (f"{status}, {media}", example) for media, one in contents.items() for example in _examples(one)
        ]
    table = _table("Answers", ("status", "meaning", "content", "headers"), rows)
    return table + "".join(_example(title, value) for title, value in examples)


def _examples(content: Json) -> Iterator[Any]:
    if "example" in content:
        yield content["example"]
    for one in content.get("examples", {}).values():
        if "value" in one:
            yield one["value"]


def _example(title: str, value: Any) -> str:
    text = value if isinstance(value, str) else json.dumps(value, indent=2, ensure_ascii=False)
    return (
        f"<details><summary>Example: {escape(title)}</summary>"
        f'<pre tabindex="0"><code>{escape(text)}</code></pre></details>'
    )


def _model(name: str, schema: Json) -> str:
    needed = set(schema.get("required", ()))
    rows = [
        (
            f"<code>{escape(field)}</code>" + ("" if field in needed else " <i>optional</i>"),
            _type(one),
            _inline(one.get("description", "")),
        )
        for field, one in schema.get("properties", {}).items()
    ]
    values = "" if rows else f"<p>{_type(schema)}</p>"
    return (
        f'<article class="card" id="model-{escape(name)}"><h3>{escape(name)}</h3>'
        f"{_prose(schema.get('description', ''))}{values}"
        f"{_table('', ('field', 'what', 'meaning'), rows)}</article>"
    )


def _type(schema: Json) -> str:
    """Return in a few words what a schema takes, as HTML."""
    if "$ref" in schema:
        name = escape(schema["$ref"].rpartition("/")[2])
        return f'<a href="#model-{name}">{name}</a>'
    for word, joint in (("anyOf", " or "), ("oneOf", " or "), ("allOf", " and ")):
        if word in schema:
            return joint.join(dict.fromkeys(_type(one) for one in schema[word]))
    values = [schema["const"]] if "const" in schema else schema.get("enum", [])
    if values:
        shown = ", ".join(f"<code>{escape(json.dumps(one))}</code>" for one in values[:FEW_VALUES])
        return shown + (" …" if len(values) > FEW_VALUES else "")
    kind = schema.get("type", "anything")
    name = escape(" or ".join(kind) if isinstance(kind, list) else kind)
    if isinstance(within := schema.get("items", schema.get("additionalProperties")), Mapping):
        return f"{name} of {_type(within)}"
    return name + (f", {escape(schema['format'])}" if "format" in schema else "") + _bounds(schema)


def _bounds(schema: Json) -> str:
    said = [
        f"{sign} {schema[word]:g}"
        for word, sign in (
            ("exclusiveMinimum", ">"),
            ("minimum", "≥"),
            ("exclusiveMaximum", "<"),
            ("maximum", "≤"),
        )
        if isinstance(schema.get(word), int | float)
    ]
    if schema.get("default") is not None:
        said.append(f"stock {escape(json.dumps(schema['default']))}")
    return f" ({', '.join(said)})" if said else ""


def _table(title: str, heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    """Return a table of cells that are HTML already; nothing where there are no rows."""
    if not rows:
        return ""
    head = "".join(f'<th scope="col">{escape(one)}</th>' for one in heads)
    body = "".join(f"<tr>{''.join(f'<td>{cell}</td>' for cell in row)}</tr>" for row in rows)
    caption = f"<h4>{escape(title)}</h4>" if title else ""
    return f'{caption}<div class="scroll"><table><tr>{head}</tr>{body}</table></div>'


def _prose(text: str) -> str:
    """Return paragraphs of the little Markdown that descriptions use."""
    return "".join(f"<p>{_inline(part)}</p>" for part in re.split(r"\n\s*\n", text.strip()) if part)


def _inline(text: str) -> str:
    """Return a line with its code marked; everything else is text."""
    pieces = re.split(r"`([^`]+)`", text)
    return "".join(
        f"<code>{escape(piece)}</code>" if odd % 2 else escape(piece) for odd, piece in enumerate(pieces)
    )
