"""Jobs and repairs over HTTP, on the store that needs nothing installed."""

from __future__ import annotations

import base64
import json
import time
import uuid
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import httpx_sse
import pytest
import standardwebhooks

from preflight.report.model import Report
from preflight.writers import LASER_CAUTION, WRITERS
from service import keys
from service.files import FORMATS
from service.mending import Mended
from tests.service.conftest import SVG, Server, assert_problem, running
from tests.service.jobs.test_webhooks import receiving

RAW = {"content-type": "image/svg+xml"}
NOT_PROVED = SVG.replace(b"</svg>", b'<text x="9" y="9" font-family="none-such">Plums</text></svg>')
EPS = b"%!PS-Adobe-3.0 EPSF-3.0\n"
SECRET = "whsec_" + base64.b64encode(bytes(24)).decode()


@pytest.fixture(scope="module")
def hogging(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A service whose workers misbehave on request, with narrow limits for jobs."""
    limits = {
        "job_files": 5,
        "batch_bytes": 50_000,
        "upload_bytes": 30_000,
        "job_seconds": 4,
        "job_backlog": 8,
        "event_streams": 2,
        "memory_mb": 512,
        "job_lease_seconds": 2,
    }
    with running("tests.service.serving", tmp_path_factory.mktemp("hogging"), **limits) as one:
        yield one


@pytest.fixture
def hog(hogging: Server) -> Iterator[httpx.Client]:
    with hogging.client() as one:
        yield one
        for job in one.get("/v1/jobs", params={"limit": 100}).json()["jobs"]:
            one.delete(f"/v1/jobs/{job['id']}")


def accepted(answer: httpx.Response) -> str:
    assert answer.status_code == 202, answer.text
    job = answer.json()
    assert answer.headers["location"] == job["links"]["self"] == f"/v1/jobs/{job['id']}"
    assert str(uuid.UUID(job["id"])) == job["id"]
    return str(job["id"])


def over(client: httpx.Client, job_id: str) -> dict[str, Any]:
    until = time.monotonic() + 60
    while True:
        job: dict[str, Any] = client.get(f"/v1/jobs/{job_id}").json()
        if job["state"] not in ("queued", "running"):
            return job
        assert time.monotonic() < until, job
        time.sleep(0.05)


def parts(*artworks: bytes) -> list[tuple[str, tuple[str, bytes]]]:
    return [("artwork", (f"sign-{n}.svg", artwork)) for n, artwork in enumerate(artworks, 1)]


def test_a_raw_file_becomes_the_report_that_is_answered_at_once(client: httpx.Client) -> None:
    job_id = accepted(client.post("/v1/jobs", content=SVG, headers=RAW))
    job = over(client, job_id)
    assert (job["state"], job["progress"]) == ("done", {"total": 1, "ended": 1, "failed": 0})
    result = client.get(job["items"][0]["result"])
    assert result.headers["content-type"] == "application/json"
    assert result.content == client.post("/v1/reports", content=SVG, headers=RAW).content
    assert job["items"][0]["size_bytes"] == len(result.content)
    # RFC 3339 times, and kept for a day where nothing else is set.
    finished, expires = (datetime.fromisoformat(job[name]) for name in ("finished", "expires"))
    assert expires - finished == timedelta(days=1)


def test_a_batch_with_one_bad_file_has_a_result_or_a_problem_for_each(client: httpx.Client) -> None:
    settings = {"job": ("job.toml", b'size.width = "24 in"')}
    files = [*parts(SVG, EPS, SVG), *settings.items()]
    job = over(client, accepted(client.post("/v1/jobs", files=files)))
    assert job["progress"] == {"total": 3, "ended": 3, "failed": 1}
    assert [item["name"] for item in job["items"]] == ["sign-1.svg", "sign-2.svg", "sign-3.svg"]
    assert [item["state"] for item in job["items"]] == ["done", "failed", "done"]
    report = Report.model_validate_json(client.get(job["items"][2]["result"]).content)
    # 1 in = 25.4 mm exactly.
    assert report.measures.width_mm == pytest.approx(609.6)
    told = job["items"][1]["problem"]
    asked = assert_problem(client.get(f"/v1/jobs/{job['id']}/results/2"), "unreadable-artwork", 422)
    at_once = assert_problem(client.post("/v1/reports", content=EPS, headers=RAW), "unreadable-artwork", 422)
    for name in ("type", "title", "status", "detail", "code", "advice"):
        assert told[name] == asked[name] == at_once[name]


@pytest.mark.parametrize(
    ("query", "media", "path"),
    [
        ("operation=report&format=text", "text/plain", "/v1/reports"),
        ("operation=picture&width=640&words=false", "image/svg+xml", "/v1/pictures?width=640&words=false"),
        ("operation=picture&format=png", "image/png", "/v1/pictures"),
        ("operation=repair", "application/json", "/v1/repairs"),
        ("operation=repair&format=svg", "image/svg+xml", "/v1/repairs"),
        ("operation=repair&format=pdf", "application/pdf", "/v1/repairs"),
        ("operation=repair&format=dxf-polylines", "image/vnd.dxf", "/v1/repairs?format=dxf-polylines"),
        ("operation=repair&format=hpgl", "application/vnd.hp-hpgl", "/v1/repairs"),
    ],
)
def test_each_operation_gives_what_its_own_request_gives(
    client: httpx.Client, query: str, media: str, path: str
) -> None:
    job = over(client, accepted(client.post(f"/v1/jobs?{query}", files=parts(SVG))))
    result = client.get(job["items"][0]["result"])
    at_once = client.post(path, files=parts(SVG), headers={"accept": media})
    assert result.headers["content-type"].partition(";")[0] == media
    assert result.content == at_once.content
    for name in ("content-disposition", "preflight-standing", "preflight-caution"):
        assert result.headers.get(name) == at_once.headers.get(name)


def test_a_repair_as_json_has_report_proof_file_and_caution(client: httpx.Client) -> None:
    answer = client.post("/v1/repairs", files={"artwork": ("gate.svg", SVG)})
    mended = Mended.model_validate_json(answer.content)
    assert mended.proved
    assert mended.proof.claim == "Geometry proved; test-cut first."
    assert (mended.file.name, mended.file.standing) == ("gate.cut.svg", "geometry-proved")
    assert LASER_CAUTION in mended.file.caution
    root = ET.fromstring(mended.file.content)
    assert root.attrib["width"] == "300mm"
    # The file mends what the report is about: the bar, 260 by 60 mm, is there once.
    assert mended.report.measures.cut_length_mm == pytest.approx(640.0)
    (path,) = root.iter("{http://www.w3.org/2000/svg}path")
    assert path.attrib["d"].count("Z") == 1


@pytest.mark.parametrize("word", sorted(FORMATS))
def test_a_file_of_any_format_stands_beside_its_caution(client: httpx.Client, word: str) -> None:
    for artwork, standing, name in (
        (SVG, "geometry-proved", "cut"),
        (NOT_PROVED, "not-proved", "not-proved"),
    ):
        answer = client.post(f"/v1/repairs?format={word}", files={"artwork": ("gate.svg", artwork)})
        assert answer.status_code == 200
        assert answer.headers["preflight-standing"] == standing
        assert f'filename="gate.{name}.' in answer.headers["content-disposition"]
        assert LASER_CAUTION in answer.headers["preflight-caution"]
        assert ("NOT PROVED" in answer.headers["preflight-caution"]) == (standing == "not-proved")
    both = client.post(
        f"/v1/repairs?format={word}",
        files={"artwork": ("gate.svg", artwork)},
        headers={"accept": "application/json"},
    )
    mended = Mended.model_validate_json(both.content)
    content = mended.file.content
    data = content.encode() if mended.file.encoding == "utf-8" else base64.b64decode(content, validate=True)
    assert data == answer.content
    assert not mended.proved
    assert mended.proof.reasons
    assert "NOT PROVED" in mended.summary


def test_the_formats_are_the_writers(client: httpx.Client) -> None:
    assert {writer.word: writer.media_type for writer in WRITERS} == FORMATS
    answer = client.post("/v1/repairs?format=pdf", content=SVG, headers={**RAW, "accept": "image/svg+xml"})
    assert_problem(answer, "not-acceptable", 406)
    assert_problem(client.post("/v1/repairs?format=eps", content=SVG, headers=RAW), "invalid-parameter", 422)


def test_what_a_format_cannot_hold_is_a_problem_of_its_own(client: httpx.Client) -> None:
    # HP-GL counts in units of 0.025 mm (HP PCL/PJL reference, table 17-7); this square is 0.011 mm.
    speck = SVG.replace(b"M20 20h260v60H20z", b"M20.001 20.001h.011v.011h-.011z")
    answer = client.post("/v1/repairs?format=hpgl", content=speck, headers=RAW)
    problem = assert_problem(answer, "unwritable-file", 422)
    assert problem["advice"]
    job = over(
        client, accepted(client.post("/v1/jobs?operation=repair&format=hpgl", content=speck, headers=RAW))
    )
    assert job["items"][0]["problem"]["code"] == problem["code"]


def test_the_events_are_a_stream_as_the_standard_says(client: httpx.Client) -> None:
    # HTML standard, 9.2; read by httpx-sse.
    job_id = accepted(client.post("/v1/jobs", files=parts(SVG, EPS)))
    path = f"/v1/jobs/{job_id}/events"
    with httpx_sse.connect_sse(client, "GET", path) as source:
        events = list(source.iter_sse())
    assert [event.id for event in events] == [str(n) for n in range(1, len(events) + 1)]
    assert [event.event for event in events] == ["job", *["item"] * 4, "job"]
    last = json.loads(events[-1].data)
    assert last == {"kind": "job", "state": "done", "total": 2, "ended": 2, "failed": 1}
    # 9.2.4: the client sends the last id it has seen, and gets the rest.
    with httpx_sse.connect_sse(client, "GET", path, headers={"Last-Event-ID": "4"}) as source:
        rest = list(source.iter_sse())
    assert [(event.id, event.data) for event in rest] == [(event.id, event.data) for event in events[4:]]
    # 9.2.3: a client that has seen everything is told by 204 not to come back.
    seen = client.get(path, headers={"last-event-id": events[-1].id})
    assert (seen.status_code, seen.content) == (204, b"")
    for rubbish in ("-1", "x", "9" * 30, "٣"):
        again = client.get(path, headers={b"last-event-id": rubbish.encode()})
        assert again.text.count("event: ") == len(events)


def test_a_job_is_followed_while_it_is_worked_on_and_cancelled(hog: httpx.Client) -> None:
    job_id = accepted(hog.post("/v1/jobs", files=parts(b"HOG:sleep", SVG)))
    states = []
    with httpx_sse.connect_sse(hog, "GET", f"/v1/jobs/{job_id}/events") as source:
        for event in source.iter_sse():
            data = json.loads(event.data)
            states.append(data["state"])
            if data.get("item") == {"n": 1, "state": "running"}:
                waiting = assert_problem(hog.get(f"/v1/jobs/{job_id}/results/2"), "no-result", 409)
                assert waiting["code"] == "queued"
                cancelled = hog.post(f"/v1/jobs/{job_id}/cancel").json()
                assert cancelled["state"] == "cancelled"
    assert states == ["queued", "running", "cancelled"]
    assert_problem(hog.get(f"/v1/jobs/{job_id}/results/1"), "no-result", 409)
    # The worker that slept has been ended: the next job is done.
    assert over(hog, accepted(hog.post("/v1/jobs", content=SVG, headers=RAW)))["state"] == "done"


@pytest.mark.parametrize(
    ("way", "slug"),
    [
        ("cpu", "time-limit"),
        ("memory", "memory-limit"),
        ("segfault", "worker-crashed"),
        ("exception", "internal-error"),
    ],
)
def test_a_file_that_breaks_its_worker_fails_alone(hog: httpx.Client, way: str, slug: str) -> None:
    job = over(hog, accepted(hog.post("/v1/jobs", files=parts(f"HOG:{way}".encode(), SVG))))
    assert [item["state"] for item in job["items"]] == ["failed", "done"]
    assert job["items"][0]["problem"]["type"] == f"/problems/{slug}"
    assert job["items"][0]["attempts"] == 1


def test_an_erased_job_is_gone_and_its_work_ended(hog: httpx.Client) -> None:
    job_id = accepted(hog.post("/v1/jobs", files=parts(b"HOG:sleep")))
    assert hog.delete(f"/v1/jobs/{job_id}").status_code == 204
    for answer in (
        hog.get(f"/v1/jobs/{job_id}"),
        hog.get(f"/v1/jobs/{job_id}/events"),
        hog.get(f"/v1/jobs/{job_id}/results/1"),
        hog.post(f"/v1/jobs/{job_id}/cancel"),
        hog.delete(f"/v1/jobs/{job_id}"),
    ):
        assert_problem(answer, "unknown-job", 404)


def test_the_list_is_paged_newest_first(hog: httpx.Client) -> None:
    sent = [accepted(hog.post("/v1/jobs", content=SVG, headers=RAW)) for _ in range(5)]
    seen, path = [], "/v1/jobs?limit=2"
    while path:
        page = hog.get(path).json()
        assert len(page["jobs"]) <= 2
        seen += [job["id"] for job in page["jobs"]]
        path = page["next"]
    assert seen == sent[::-1]
    for cursor in ("x", "!!!!", base64.urlsafe_b64encode(b"nan rubbish").decode()):
        assert_problem(hog.get("/v1/jobs", params={"cursor": cursor}), "invalid-parameter", 422)
    assert_problem(hog.get("/v1/jobs?limit=0"), "invalid-parameter", 422)


def test_what_is_too_much_is_refused(hog: httpx.Client) -> None:
    too_many = assert_problem(hog.post("/v1/jobs", files=parts(*[SVG] * 6)), "malformed-request", 400)
    assert "more than 5 times" in too_many["detail"]
    filler = b"<!--" + b" " * 25_000 + b"-->"
    large = SVG.replace(b"</svg>", filler + b"</svg>")
    refused = hog.post("/v1/jobs", files=parts(*[large] * 5))
    assert "50000" in assert_problem(refused, "upload-too-large", 413)["detail"]
    assert_problem(hog.post("/v1/jobs", files=parts(large + filler)), "upload-too-large", 413)
    job_id = accepted(hog.post("/v1/jobs", files=parts(*[b"HOG:sleep"] * 5)))
    full = hog.post("/v1/jobs", files=parts(*[SVG] * 4))
    assert "at most 8" in assert_problem(full, "jobs-full", 503)["detail"]
    assert int(full.headers["retry-after"]) > 0
    assert hog.delete(f"/v1/jobs/{job_id}").status_code == 204


def test_streams_are_bounded(hog: httpx.Client) -> None:
    job_id = accepted(hog.post("/v1/jobs", files=parts(b"HOG:sleep")))
    path = f"/v1/jobs/{job_id}/events"
    with hog.stream("GET", path) as one, hog.stream("GET", path) as two:
        begun = [one.iter_raw(), two.iter_raw()]
        assert all(next(chunks) for chunks in begun)
        assert_problem(hog.get(path), "busy", 503)
    hog.delete(f"/v1/jobs/{job_id}")


def test_a_request_sent_again_is_the_same_job(client: httpx.Client) -> None:
    # draft-ietf-httpapi-idempotency-key-header, 2.6: another content under the same key is 422.
    headers = {"idempotency-key": f'"{uuid.uuid4()}"'}
    first = accepted(client.post("/v1/jobs", files=parts(SVG, SVG), headers=headers))
    assert accepted(client.post("/v1/jobs", files=parts(SVG, SVG), headers=headers)) == first
    other = client.post("/v1/jobs", files=parts(SVG), headers=headers)
    assert_problem(other, "key-reused", 422)
    assert_problem(
        client.post("/v1/jobs?format=text", files=parts(SVG, SVG), headers=headers), "key-reused", 422
    )
    over(client, first)
    assert accepted(client.post("/v1/jobs", files=parts(SVG, SVG), headers=headers)) == first
    assert accepted(client.post("/v1/jobs", files=parts(SVG, SVG))) != first


@pytest.mark.parametrize(
    ("query", "files", "data", "slug", "status"),
    [
        ("operation=engrave", parts(SVG), {}, "invalid-parameter", 422),
        ("format=png", parts(SVG), {}, "invalid-parameter", 422),
        ("operation=picture&width=9", parts(SVG), {}, "invalid-parameter", 422),
        ("", [], {"job": "{}"}, "missing-artwork", 422),
        ("", [("artwork", ("", b""))], {}, "missing-artwork", 422),
        ("", parts(SVG), {"priority": "high"}, "malformed-request", 400),
        (
            "",
            parts(SVG),
            {"webhook": "http://shop.example/", "webhook_secret": SECRET},
            "invalid-webhook",
            422,
        ),
        ("", parts(SVG), {"webhook": "https://shop.example/"}, "invalid-webhook", 422),
        ("", parts(SVG), {"webhook_secret": SECRET}, "invalid-webhook", 422),
        ("", parts(SVG), {"webhook": "https://10.1.2.3/", "webhook_secret": SECRET}, "invalid-webhook", 422),
    ],
)
def test_a_wrong_order_is_refused_before_it_is_kept(
    client: httpx.Client, *, query: str, files: Any, data: dict[str, str], slug: str, status: int
) -> None:
    before = [job["id"] for job in client.get("/v1/jobs?limit=1").json()["jobs"]]
    answer = client.post(f"/v1/jobs?{query}", files=files or {"none": ("", b"")}, data=data)
    if not files:
        boundary = "----form"
        body = "".join(
            f'--{boundary}\r\nContent-Disposition: form-data; name="{k}"\r\n\r\n{v}\r\n'
            for k, v in data.items()
        )
        answer = client.post(
            f"/v1/jobs?{query}",
            content=f"{body}--{boundary}--\r\n",
            headers={"content-type": f"multipart/form-data; boundary={boundary}"},
        )
    assert_problem(answer, slug, status)
    # One accepted before may still be worked on, so its state changes; a new one would be the newest.
    assert [job["id"] for job in client.get("/v1/jobs?limit=1").json()["jobs"]] == before


@pytest.mark.parametrize("job_id", ["x", "0" * 32, str(uuid.uuid4()), str(uuid.uuid4()).upper(), "%2e%2e"])
def test_an_unknown_job_is_a_problem(client: httpx.Client, job_id: str) -> None:
    for path in (f"/v1/jobs/{job_id}", f"/v1/jobs/{job_id}/events", f"/v1/jobs/{job_id}/results/1"):
        assert_problem(client.get(path), "unknown-job", 404)


def test_a_file_that_is_not_in_the_job_is_a_problem(client: httpx.Client) -> None:
    job_id = accepted(client.post("/v1/jobs", content=SVG, headers=RAW))
    answer = client.get(f"/v1/jobs/{job_id}/results/2")
    assert assert_problem(answer, "unknown-job", 404)["code"] == "no-file"
    assert_problem(client.get(f"/v1/jobs/{job_id}/results/0"), "invalid-parameter", 422)


def test_the_log_of_a_job_knows_nothing_of_the_artwork(server: Server, client: httpx.Client) -> None:
    artwork = SVG.replace(b'id="bar"', b'id="secret-shape"')
    files = [
        ("artwork", ("secret-name.svg", artwork)),
        ("artwork", ("secret-other.svg", EPS + b"secret-line")),
    ]
    data = {"webhook": "https://secret-shop.invalid/", "webhook_secret": SECRET}
    job = over(client, accepted(client.post("/v1/jobs", files=files, data=data)))
    mine = [entry for entry in server.entries() if entry.get("job_id") == job["id"]]
    assert {"job-accepted", "job-unit"} <= {entry["event"] for entry in mine}
    assert "secret-" not in server.log.read_text()
    assert SECRET not in server.log.read_text()
    client.delete(f"/v1/jobs/{job['id']}")


def test_a_job_is_its_own_keys_only_and_the_end_is_told(tmp_path: Path) -> None:
    file = tmp_path / "keys.json"
    tokens = [keys.create(file, name, ["jobs"], None, time.time()) for name in ("alder", "birch")]
    alder, birch = ({"authorization": f"Bearer {token}"} for token in tokens)
    with (
        receiving(204) as shop,
        running("service", tmp_path, keys_file=file, webhook_private=True) as own,
        own.client() as client,
    ):
        data = {"webhook": f"http://127.0.0.1:{shop.port}/hooks", "webhook_secret": SECRET}
        key = {"idempotency-key": '"gate"'}
        job_id = accepted(client.post("/v1/jobs", files=parts(SVG), data=data, headers=alder | key))
        until = time.monotonic() + 60
        while client.get(f"/v1/jobs/{job_id}", headers=alder).json()["webhook"] != "delivered":
            assert time.monotonic() < until
            time.sleep(0.05)
        ((_, headers, body),) = shop.seen
        message = standardwebhooks.Webhook(SECRET).verify(body, headers)
        told = client.get(f"/v1/jobs/{job_id}", headers=alder).json()
        assert message["data"] == told | {"webhook": "pending"}
        for path in (f"/v1/jobs/{job_id}", f"/v1/jobs/{job_id}/results/1", f"/v1/jobs/{job_id}/events"):
            assert client.get(path, headers=alder).status_code in (200, 204)
            assert_problem(client.get(path, headers=birch), "unknown-job", 404)
        assert_problem(client.delete(f"/v1/jobs/{job_id}", headers=birch), "unknown-job", 404)
        assert client.get("/v1/jobs", headers=birch).json()["jobs"] == []
        # The same Idempotency-Key of another key has nothing to do with it.
        other = accepted(client.post("/v1/jobs", files=parts(SVG, SVG), headers=birch | key))
        assert other != job_id


def test_a_stream_ends_when_the_service_is_asked_to_end(tmp_path: Path) -> None:
    with running("service", tmp_path, job_workers=0) as own, own.client() as client:
        job_id = accepted(client.post("/v1/jobs", content=SVG, headers=RAW))
        with client.stream("GET", f"/v1/jobs/{job_id}/events") as stream:
            chunks = stream.iter_raw()
            assert next(chunks)
            own.process.terminate()
            # Ends in order: a stream cut off would raise httpx.RemoteProtocolError here.
            assert b'"state":"done"' not in b"".join(chunks)
        own.process.wait(15)
    assert "Traceback" not in own.log.read_text()


def test_the_service_goes_on_without_a_place_for_jobs_unless_one_was_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("no folder")
    monkeypatch.setenv("XDG_STATE_HOME", str(blocked))
    with running("service", tmp_path, jobs_path="") as own, own.client() as client:
        assert client.post("/v1/reports", content=SVG, headers=RAW).status_code == 200
        refused = client.post("/v1/jobs", content=SVG, headers=RAW)
        assert "SIGN_PREFLIGHT_JOBS_PATH" in assert_problem(refused, "jobs-unavailable", 503)["advice"]
    with (
        pytest.raises(RuntimeError, match="did not start"),
        running("service", tmp_path, jobs_path=blocked / "jobs.sqlite3"),
    ):
        pass
