"""The service from outside: reports, pictures, rules, problems, headers and logs."""

from __future__ import annotations

import json
import re
import uuid
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import httpx
import pytest

from preflight.report.model import Report
from preflight.rules import RULES
from service.page import ASSETS
from service.problems import PROBLEMS
from tests.service.conftest import ROOT, SVG, Server, assert_problem, running
from tests.service.test_workers import wait_until

RAW = {"content-type": "image/svg+xml"}


def test_a_form_gives_a_report_that_follows_the_published_model(client: httpx.Client) -> None:
    answer = client.post("/v1/reports", files={"artwork": ("bar.svg", SVG, "image/svg+xml")})
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/json"
    report = Report.model_validate_json(answer.content)
    assert report.source.size_bytes == len(SVG)
    # A rectangle of 260 by 60 mm: the knife follows its perimeter once.
    assert report.measures.cut_length_mm == pytest.approx(640.0)
    assert report.measures.films[0].area_mm2 == pytest.approx(15_600.0)


@pytest.mark.parametrize("media", ["image/svg+xml", "application/octet-stream"])
def test_a_raw_body_gives_the_report_of_the_form(client: httpx.Client, media: str) -> None:
    form = client.post("/v1/reports", files={"artwork": ("", SVG)}).json()
    raw = client.post("/v1/reports", content=SVG, headers={"content-type": media}).json()
    form["source"]["name"] = raw["source"]["name"] = None
    assert raw == form


def test_equal_requests_give_equal_bytes(small: httpx.Client) -> None:
    # This service keeps no answers: each is worked out anew, by different workers.
    answers = {small.post("/v1/reports", content=SVG, headers=RAW).content for _ in range(6)}
    assert len(answers) == 1


JOBS: dict[str, dict[str, Any]] = {
    "json in a field": {"data": {"job": '{"size": {"width": "24 in"}}'}},
    "json in a file": {"job": ("job.json", b'{"size": {"width": "24 in"}}', "application/json")},
    "toml in a file": {"job": ("job.toml", b'size.width = "24 in"', "application/toml")},
    "toml told by its name": {"job": ("job.toml", b'[size]\nwidth = "24 in"', "application/octet-stream")},
}


@pytest.mark.parametrize("how", sorted(JOBS))
def test_the_job_can_be_sent_in_each_documented_way(client: httpx.Client, how: str) -> None:
    given = dict(JOBS[how])
    data = given.pop("data", None)
    answer = client.post("/v1/reports", files={"artwork": SVG, **given}, data=data)
    # 1 in = 25.4 mm exactly.
    assert answer.json()["measures"]["width_mm"] == pytest.approx(609.6), answer.text


def test_an_empty_job_field_is_no_job(client: httpx.Client) -> None:
    answer = client.post("/v1/reports", files={"artwork": SVG, "job": ("", b"")})
    assert answer.json()["measures"]["width_mm"] == pytest.approx(300.0)


def test_a_wrong_job_is_a_problem_that_names_the_setting(client: httpx.Client) -> None:
    answer = client.post("/v1/reports", files={"artwork": SVG, "job": b'{"size": {"widht": 3}}'})
    problem = assert_problem(answer, "invalid-job", 422)
    assert "widht" in problem["detail"]
    assert "width" in problem["detail"]


@pytest.mark.parametrize(
    ("accept", "media"),
    [
        ("*/*", "application/json"),
        ("", "application/json"),
        ("text/plain", "text/plain; charset=utf-8"),
        ("text/*", "text/plain; charset=utf-8"),
        ("application/json;q=0.2, text/plain;q=0.8", "text/plain; charset=utf-8"),
        ("text/html, application/xhtml+xml, */*;q=0.1", "application/json"),
        # The most specific range wins over the wider one: RFC 9110, 12.5.1.
        ("text/plain;q=0.3, */*;q=0.9", "application/json"),
        ("application/json;q=0, */*", "text/plain; charset=utf-8"),
    ],
)
def test_the_report_comes_in_the_form_asked_for(client: httpx.Client, accept: str, media: str) -> None:
    answer = client.post("/v1/reports", content=SVG, headers={**RAW, "accept": accept})
    assert answer.status_code == 200
    assert answer.headers["content-type"] == media
    assert answer.headers["vary"] == "Accept"


def test_a_form_that_cannot_be_had_is_refused_before_any_work(client: httpx.Client) -> None:
    answer = client.post("/v1/reports", content=SVG, headers={**RAW, "accept": "application/xml"})
    assert_problem(answer, "not-acceptable", 406)


def test_the_picture_is_well_formed_and_carries_nothing_of_the_upload(client: httpx.Client) -> None:
    artwork = SVG.replace(b"</svg>", b"<script>alert(1)</script><title>quirk-word</title></svg>")
    answer = client.post("/v1/pictures", content=artwork, headers=RAW)
    assert answer.headers["content-type"] == "image/svg+xml"
    names = {element.tag.rpartition("}")[2] for element in ET.fromstring(answer.content).iter()}
    assert not names & {"script", "foreignObject", "image", "style", "a", "use"}
    assert "quirk-word" not in answer.text


def test_the_picture_can_be_had_as_png_in_the_width_asked_for(client: httpx.Client) -> None:
    answer = client.post("/v1/pictures?width=640", content=SVG, headers={**RAW, "accept": "image/png"})
    assert answer.headers["content-type"] == "image/png"
    # PNG (ISO/IEC 15948), 5.2 and 11.2.2: the signature, then IHDR with the width in bytes 16 to 19.
    assert answer.content.startswith(b"\x89PNG\r\n\x1a\n")
    assert int.from_bytes(answer.content[16:20], "big") == 640


def test_the_picture_can_be_had_without_words(client: httpx.Client) -> None:
    def height(query: str) -> float:
        root = ET.fromstring(client.post(f"/v1/pictures{query}", content=SVG, headers=RAW).content)
        return float(root.attrib["height"])

    assert height("?words=false") < height("")


def test_a_width_out_of_range_is_a_problem(client: httpx.Client) -> None:
    answer = client.post("/v1/pictures?width=9", content=SVG, headers=RAW)
    assert_problem(answer, "invalid-parameter", 422)


def test_the_catalogue_is_the_rules(client: httpx.Client) -> None:
    listed = client.get("/v1/rules").json()["rules"]
    assert [one["code"] for one in listed] == [rule.code for rule in RULES]
    for rule in RULES:
        one = client.get(f"/v1/rules/{rule.code}").json()
        assert one in listed
        assert one["title"] == rule.title
        assert one["cases"] == {case: severity.value for case, severity in rule.cases.items()}


def test_an_unknown_rule_is_a_problem_with_the_nearest_code(client: httpx.Client) -> None:
    code = RULES[1].code
    problem = assert_problem(client.get(f"/v1/rules/{code}x"), "unknown-rule", 404)
    assert code in problem["detail"]


def test_every_problem_type_can_be_looked_up_at_its_own_uri(client: httpx.Client) -> None:
    # RFC 9457, 3.1.1: a type that is a locator should lead to documentation.
    for kind in PROBLEMS:
        shown = client.get(kind.uri)
        assert shown.status_code == 200
        assert shown.json()["title"] == kind.title
    assert_problem(client.get("/problems/none-such"), "not-found", 404)
    assert len({kind.slug for kind in PROBLEMS}) == len(PROBLEMS)
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", kind.slug) for kind in PROBLEMS)


@pytest.mark.parametrize(
    "path", ["/none", "/v1", "/v1/reports/", "/page/none.js", "/page/../page.js", "/docs"]
)
def test_other_paths_are_not_found(client: httpx.Client, path: str) -> None:
    assert_problem(client.get(path), "not-found", 404)


@pytest.mark.parametrize(
    ("method", "path", "allow"),
    [
        ("GET", "/v1/reports", "POST"),
        ("PUT", "/v1/pictures", "POST"),
        ("DELETE", "/v1/rules", "GET, HEAD"),
        ("POST", "/healthz", "GET, HEAD"),
        ("POST", "/", "GET, HEAD"),
        ("OPTIONS", "/v1/reports", "POST"),
        ("BREW", "/v1/reports", "POST"),
    ],
)
def test_other_methods_are_refused_with_those_allowed(
    client: httpx.Client, method: str, path: str, allow: str
) -> None:
    # RFC 9110, 15.5.6: the answer to a method that is not allowed must name those that are.
    answer = client.request(method, path)
    assert_problem(answer, "method-not-allowed", 405)
    assert answer.headers["allow"] == allow


@pytest.mark.parametrize("path", ["/", "/healthz", "/v1/rules", "/openapi.json"])
def test_head_is_get_without_the_content(client: httpx.Client, path: str) -> None:
    # RFC 9110, 9.3.2.
    got, head = client.get(path), client.head(path)
    assert (head.status_code, head.content) == (200, b"")
    for name in ("content-type", "content-length"):
        assert head.headers[name] == got.headers[name]


def test_every_answer_is_guarded(client: httpx.Client) -> None:
    for path in ("/", "/v1/rules", "/none", "/openapi.json", *(asset.path for asset in ASSETS)):
        headers = client.get(path).headers
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        policy = headers["content-security-policy"]
        assert policy.startswith("default-src 'none'")
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
    assert "server" not in client.get("/").headers


def test_the_page_is_revalidated(client: httpx.Client) -> None:
    # RFC 9110, 13.1.2 and 15.4.5.
    for asset in ASSETS:
        tag = client.get(asset.path).headers["etag"]
        again = client.get(asset.path, headers={"if-none-match": f'"other", W/{tag}'})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)


def test_a_request_keeps_its_own_uuid_and_gets_one_where_it_has_none(client: httpx.Client) -> None:
    own = str(uuid.uuid4())
    assert client.get("/healthz", headers={"x-request-id": own}).headers["x-request-id"] == own
    for sent in ("", "abc", "<script>", "x" * 5000):
        given = client.get("/healthz", headers={"x-request-id": sent}).headers["x-request-id"]
        assert str(uuid.UUID(given)) == given


def test_the_log_is_json_and_knows_nothing_of_the_artwork(server: Server, client: httpx.Client) -> None:
    own = str(uuid.uuid4())
    artwork = SVG.replace(b'id="bar"', b'id="secret-shape"')
    client.post(
        "/v1/reports?token=secret-token",
        files={"artwork": ("secret-name.svg", artwork)},
        headers={"x-request-id": own},
    )

    def of_mine() -> list[dict[str, Any]]:
        return [entry for entry in server.entries() if entry.get("request_id") == own]

    # The request is logged after its answer has been sent.
    wait_until(lambda: len(of_mine()) >= 2)
    mine = of_mine()
    assert [entry["event"] for entry in mine] == ["task", "request"]
    assert mine[1] | {"method": "POST", "route": "/v1/reports", "status": 200} == mine[1]
    assert "secret" not in server.log.read_text()


def test_it_is_alive_and_ready(client: httpx.Client) -> None:
    for path in ("/healthz", "/readyz"):
        assert client.get(path).json()["status"] == "ok"


def test_an_idle_worker_is_small(tmp_path: Path) -> None:
    # A service of its own: a worker that has mended something keeps the libraries that took.
    with running("service", tmp_path) as fresh:
        pids = fresh.workers()
        assert pids
        for pid in pids:
            (line,) = re.findall(r"VmRSS:\s+(\d+) kB", Path(f"/proc/{pid}/status").read_text())
            assert int(line) <= 80 * 1024


def test_the_contract_served_is_the_contract_committed(client: httpx.Client) -> None:
    committed = json.loads((ROOT / "openapi" / "openapi.json").read_text("utf-8"))
    assert client.get("/openapi.json").json() == committed
