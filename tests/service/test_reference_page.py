"""The contract as a page: everything that the document says is there, and text stays text."""

from __future__ import annotations

import json
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

import httpx
import pytest

from service.page.reference import page_of
from tests.service.conftest import ROOT

VOID = {"meta", "link", "br", "img", "hr", "input"}
"""Elements without an end tag (HTML, 13.1.2)."""


class Reader(HTMLParser):
    """Takes a page apart and sees that what is opened is closed."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.seen: set[str] = set()
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        if tag not in VOID:
            self.open.append(tag)
        for name, value in attrs:
            if name == "id":
                self.ids.append(value or "")
            if name == "href":
                self.links.append(value or "")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def contract() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads((ROOT / "openapi" / "openapi.json").read_text("utf-8"))
    return loaded


def operations(contract: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, item in contract["paths"].items():
        for method, operation in item.items():
            yield method, path, operation


def test_every_operation_and_model_is_on_the_page_and_every_link_leads_somewhere(
    contract: dict[str, Any],
) -> None:
    reader = read(page_of(contract))
    assert len(reader.ids) == len(set(reader.ids))
    names = {operation["operationId"] for _, _, operation in operations(contract)}
    models = {f"model-{name}" for name in contract["components"]["schemas"]}
    assert names | models <= set(reader.ids)
    inside = {link[1:] for link in reader.links if link.startswith("#")}
    assert inside <= set(reader.ids)
    # Nothing is fetched from elsewhere, and nothing runs.
    assert all(link.startswith(("#", "/")) for link in reader.links)
    assert "script" not in reader.seen
    for method, path, operation in operations(contract):
        assert f"{method.upper()} {path}" in reader.text
        for parameter in operation.get("parameters", []):
            assert parameter["name"] in reader.text
        for status in operation["responses"]:
            assert status in reader.text


def test_what_the_document_says_is_only_ever_text(contract: dict[str, Any]) -> None:
    evil = "<img src=x onerror=alert(1)>\"'&"
    changed = json.loads(json.dumps(contract))
    changed["info"] |= {"title": evil, "description": f"a `{evil}`\n\n{evil}"}
    operation = changed["paths"]["/v1/reports"]["post"]
    operation |= {"summary": evil, "description": evil}
    operation["parameters"][0] |= {"name": evil, "description": evil}
    operation["responses"]["200"]["content"]["application/json"]["example"] = {evil: evil}
    changed["components"]["schemas"]["Report"]["properties"][evil] = {"type": "string", "description": evil}
    reader = read(page_of(changed))
    assert "img" not in reader.seen
    assert reader.text.count(evil) >= 8


def test_it_is_served_with_the_pages_own_policy(client: httpx.Client) -> None:
    answer = client.get("/openapi")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/html")
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    assert "unsafe" not in answer.headers["content-security-policy"]
    document = client.get("/openapi.json").json()
    assert answer.text == page_of(document)
    for link in read(answer.text).links:
        if link.startswith("/"):
            assert client.get(link).status_code == 200
