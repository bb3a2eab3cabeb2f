"""Uploads that are broken, hostile or too much: each is answered with a problem, and nothing else happens."""

from __future__ import annotations

import gzip
import socket
import time
from urllib.parse import urlsplit

import httpx
import pytest

from tests.service.conftest import SVG, Server, assert_problem

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100"'
PNG = (
    b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x06\x00\x00\x00\x1f\x15\xc4\x89"
)
BOMB = (
    '<!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefgh", "bcdefghi", strict=True))
    + f"]>{HEAD}><title>&i;</title></svg>"
)
EXTERNAL = f'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]>{HEAD}><text>&x;</text></svg>'

REFUSED = {
    "empty": b"",
    "not xml": b"dear shop, please cut me a sign",
    "truncated": SVG[:-20],
    "picture named svg": PNG,
    "nested 10 000 deep": (HEAD + ">" + "<g>" * 10_000 + "</g>" * 10_000 + "</svg>").encode(),
    "zero size": b'<svg xmlns="http://www.w3.org/2000/svg" width="0" height="0"><path d="M0 0h9v9z"/></svg>',
    "decompression bomb": gzip.compress(b"<svg>" + b" " * 100_000_000 + b"</svg>"),
}


@pytest.mark.parametrize("what", sorted(REFUSED))
def test_what_is_no_artwork_is_refused_with_advice(client: httpx.Client, what: str) -> None:
    answer = client.post("/v1/reports", files={"artwork": ("sign.svg", REFUSED[what], "image/svg+xml")})
    slug = answer.json()["type"].removeprefix("/problems/")
    assert slug in ("missing-artwork", "unreadable-artwork", "artwork-limit")
    problem = assert_problem(answer, slug, 422)
    assert len(problem["advice"]) > 20


SURVIVED = {
    "entity bomb": BOMB.encode(),
    "external entity": EXTERNAL.encode(),
    "cyclic use": (
        f'{HEAD}><g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g><path d="M9 9h9v9z"/></svg>'
    ).encode(),
    "nan": f'{HEAD}><path d="M0 0L NaN 5 L 9 9z"/><rect width="NaN" height="9"/></svg>'.encode(),
    "1e308": f'{HEAD}><path d="M0 0L1e308 5 L 9 1e308z"/><rect width="1e308" height="9"/></svg>'.encode(),
    "1e308 twice": f'{HEAD}><g transform="scale(1e200)"><rect width="1e200" height="9"/></g></svg>'.encode(),
    "20 MB picture": (
        f'{HEAD}><image width="90" height="90" href="data:image/png;base64,'
        + "iVBORw0KGgo"
        + "A" * 20_000_000
        + '"/></svg>'
    ).encode(),
}


@pytest.mark.parametrize("what", sorted(SURVIVED))
def test_hostile_artwork_is_judged_or_refused(client: httpx.Client, what: str) -> None:
    answer = client.post("/v1/reports", files={"artwork": ("sign.svg", SURVIVED[what], "image/svg+xml")})
    assert "root:" not in answer.text
    if answer.status_code == 200:
        assert answer.json()["findings"], "hostile content was passed over in silence"
    else:
        slug = answer.json()["type"].removeprefix("/problems/")
        assert slug in ("unreadable-artwork", "artwork-limit")
        assert_problem(answer, slug, 422)


def test_a_declared_length_over_the_limit_is_refused(small: httpx.Client) -> None:
    answer = small.post("/v1/reports", content=bytes(300_000), headers={"content-type": "image/svg+xml"})
    assert_problem(answer, "upload-too-large", 413)


def test_a_body_of_unknown_length_is_refused_where_it_passes_the_limit(small: httpx.Client) -> None:
    # RFC 9112, 7.1: chunked transfer coding carries no length up front.
    chunks = (bytes(10_000) for _ in range(60))
    answer = small.post("/v1/reports", content=chunks, headers={"content-type": "application/octet-stream"})
    assert_problem(answer, "upload-too-large", 413)


def test_a_part_over_its_own_limit_is_refused(small: httpx.Client) -> None:
    answer = small.post("/v1/reports", files={"artwork": SVG, "job": b"#" * 3000})
    problem = assert_problem(answer, "upload-too-large", 413)
    assert "job" in problem["detail"]


def test_a_client_that_waits_for_continue_is_refused_before_it_sends(small_server: Server) -> None:
    # RFC 9110, 10.1.1: a final status in place of 100 saves the client the body.
    address = urlsplit(small_server.url)
    with socket.create_connection((address.hostname or "", address.port or 0), timeout=10) as line:
        line.sendall(
            b"POST /v1/reports HTTP/1.1\r\nHost: test\r\nContent-Type: image/svg+xml\r\n"
            b"Content-Length: 999999\r\nExpect: 100-continue\r\n\r\n"
        )
        assert line.recv(1000).startswith(b"HTTP/1.1 413 ")


def test_an_upload_that_trickles_in_is_given_up(small_server: Server) -> None:
    def slowly() -> object:
        for _ in range(40):
            time.sleep(0.1)
            yield b" "

    with small_server.client() as client:
        answer = client.post("/v1/reports", content=slowly(), headers={"content-type": "image/svg+xml"})  # type: ignore[arg-type]
        assert_problem(answer, "receive-timeout", 408)


def test_a_client_that_goes_away_while_sending_harms_nobody(
    small_server: Server, small: httpx.Client
) -> None:
    address = urlsplit(small_server.url)
    with socket.create_connection((address.hostname or "", address.port or 0), timeout=10) as line:
        line.sendall(
            b"POST /v1/reports HTTP/1.1\r\nHost: test\r\nContent-Type: image/svg+xml\r\n"
            b"Content-Length: 5000\r\n\r\n<svg"
        )
    assert small.get("/readyz").status_code == 200


@pytest.mark.parametrize(
    ("headers", "named"),
    [
        ({"content-type": "text/html"}, "text/html"),
        ({}, "missing"),
        ({"content-type": "multipart/form-data"}, "boundary"),
        ({"content-type": "image/svg+xml", "content-encoding": "br"}, "br"),
    ],
)
def test_other_media_types_are_refused(client: httpx.Client, headers: dict[str, str], named: str) -> None:
    answer = client.post("/v1/reports", content=SVG, headers=headers)
    problem = assert_problem(answer, "unsupported-media-type", 415)
    assert named in problem["detail"]


def test_the_refusal_says_what_would_do(client: httpx.Client) -> None:
    # RFC 9110, 12.5.1 and 15.5.16: Accept in an answer names the media types preferred next time.
    answer = client.post("/v1/reports", content=SVG, headers={"content-type": "text/html"})
    assert (
        answer.headers["accept"]
        == "multipart/form-data, image/svg+xml, application/pdf, application/octet-stream"
    )


BOUNDARY = {"content-type": "multipart/form-data; boundary=xx"}


def part(name: str, data: str = "x") -> str:
    return f'--xx\r\nContent-Disposition: form-data; name="{name}"; filename="a"\r\n\r\n{data}\r\n'


@pytest.mark.parametrize(
    "body",
    [
        part("artwork") + part("artwork") + "--xx--\r\n",
        part("artwrk") + "--xx--\r\n",
        part("artwork"),
        part("artwork") + "--xx",
        "no boundary at all",
        "--xx\r\n" + "X-Long: " + "y" * 20_000 + "\r\n\r\n\r\n--xx--\r\n",
        "--xx\r\n" + "".join(f"X-{i}: y\r\n" for i in range(100)) + "\r\n\r\n--xx--\r\n",
        "--xx\r\n\r\nno header\r\n--xx--\r\n",
    ],
)
def test_a_form_that_is_not_as_it_should_be(client: httpx.Client, body: str) -> None:
    # RFC 7578 and RFC 2046, 5.1.1: parts between boundary lines, the last with two more hyphens.
    answer = client.post("/v1/reports", content=body.encode(), headers=BOUNDARY)
    assert_problem(answer, "malformed-request", 400)


@pytest.mark.parametrize("files", [{"job": b"{}"}, {"artwork": ("", b"")}, {"artwork": b""}])
def test_a_form_without_artwork(client: httpx.Client, files: dict[str, bytes]) -> None:
    assert_problem(client.post("/v1/reports", files=files), "missing-artwork", 422)


def test_the_name_is_repeated_without_its_folders(client: httpx.Client) -> None:
    for sent in ("../../etc/Gate board.svg", "C:\\signs\\Gate board.svg"):
        answer = client.post("/v1/reports", files={"artwork": (sent, SVG, "image/svg+xml")})
        assert answer.json()["source"]["name"] == "Gate board.svg"
