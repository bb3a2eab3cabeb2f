"""The same request again: Idempotency-Key, kept answers, entity tags."""

from __future__ import annotations

import re
import threading
import time
import uuid
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest

from service.shelf import Shelf
from tests.service.conftest import SVG, Server, assert_problem, fresh, running
from tests.service.test_workers import tasks_logged, wait_until

RAW = {"content-type": "image/svg+xml"}


def key() -> dict[str, str]:
    return {"idempotency-key": f'"{uuid.uuid4()}"'}


def events(server: Server, answer: httpx.Response) -> list[dict[str, object]]:
    own = answer.headers["x-request-id"]
    return [e for e in server.entries() if e.get("request_id") == own and e["event"] == "task"]


def test_the_same_request_with_the_same_key_has_the_same_answer_and_no_more_work(
    server: Server, client: httpx.Client
) -> None:
    # draft-ietf-httpapi-idempotency-key-header, 2.6: a duplicate gets the result of the first. From memory.
    artwork, headers = fresh(), key()
    # Each time the form has another boundary: the content counts, not the bytes on the line.
    first, again = (client.post("/v1/reports", files={"artwork": artwork}, headers=headers) for _ in range(2))
    assert first.request.headers["content-type"] != again.request.headers["content-type"]
    assert (first.status_code, again.status_code) == (200, 200)
    assert first.content == again.content
    assert len(events(server, first)) == 1
    assert events(server, again) == []


def test_a_key_sent_again_with_something_else_is_refused(client: httpx.Client) -> None:
    headers, artwork = key(), fresh()
    assert client.post("/v1/reports", files={"artwork": artwork}, headers=headers).status_code == 200
    others: list[httpx.Response] = [
        client.post("/v1/reports", files={"artwork": fresh()}, headers=headers),
        client.post(
            "/v1/reports", files={"artwork": artwork}, data={"job": "use = 'indoor'"}, headers=headers
        ),
        client.post("/v1/reports", files={"artwork": artwork}, headers={**headers, "accept": "text/plain"}),
    ]
    for answer in others:
        assert_problem(answer, "key-reused", 422)
    # Keys of different resources have nothing to do with each other.
    assert client.post("/v1/pictures", files={"artwork": artwork}, headers=headers).status_code == 200


def test_a_key_whose_first_request_is_being_worked_on_is_a_conflict(small_server: Server) -> None:
    headers = key()

    def send() -> httpx.Response:
        with small_server.client() as client:
            return client.post("/v1/reports", files={"artwork": b"HOG:nap"}, headers=headers)

    with ThreadPoolExecutor(1) as threads:
        first = threads.submit(send)
        wait_until(lambda: tasks_logged(small_server) == 1)
        answer = send()
        assert_problem(answer, "in-flight", 409)
        assert int(answer.headers["retry-after"]) > 0
        assert first.result().json() == "rested"
    assert send().json() == "rested"


def test_what_may_go_better_the_next_time_is_not_kept(small: httpx.Client) -> None:
    headers = key()
    for _ in range(2):
        answer = small.post("/v1/reports", files={"artwork": b"HOG:exit"}, headers=headers)
        assert_problem(answer, "worker-crashed", 500)


def test_a_problem_that_stays_one_is_answered_again(server: Server, client: httpx.Client) -> None:
    headers = key()
    first, again = (client.post("/v1/reports", content=b"<svg", headers={**RAW, **headers}) for _ in range(2))
    one, two = (assert_problem(answer, "unreadable-artwork", 422) for answer in (first, again))
    assert events(server, again) == []
    assert one | {"instance": ""} == two | {"instance": ""}


@pytest.mark.parametrize(
    "value", ['""', '"', '"a"b"', "a b", "a,b", '"\x7f"', "x" * 256, '"' + "x" * 256 + '"']
)
def test_a_key_that_is_no_string_is_refused(client: httpx.Client, value: str) -> None:
    # RFC 9651, 3.3.3 (strings); 400 as the draft says for a key that cannot be read.
    answer = client.post("/v1/reports", content=SVG, headers={**RAW, "idempotency-key": value})
    assert assert_problem(answer, "malformed-request", 400)["code"] == "idempotency-key"


def test_bare_keys_are_taken_too(server: Server, client: httpx.Client) -> None:
    artwork, name = fresh(), str(uuid.uuid4())
    client.post("/v1/reports", content=artwork, headers={**RAW, "idempotency-key": name})
    quoted = client.post("/v1/reports", content=artwork, headers={**RAW, "idempotency-key": f'"{name}"'})
    assert quoted.status_code == 200
    assert events(server, quoted) == []


def test_equal_content_is_checked_once(server: Server, client: httpx.Client) -> None:
    artwork = fresh()
    first, again = (client.post("/v1/reports", content=artwork, headers=RAW) for _ in range(2))
    assert first.content == again.content
    assert first.headers["etag"] == again.headers["etag"]
    assert [e["cached"] for one in (first, again) for e in events(server, one)] == [False, True]


def test_the_entity_tag_stands_for_artwork_job_and_what_was_asked(client: httpx.Client) -> None:
    artwork = fresh()

    def tag(artwork: bytes = artwork, name: str = "a.svg", job: str = "", accept: str = "*/*") -> str:
        data = {"job": job} if job else None
        answer = client.post(
            "/v1/reports", files={"artwork": (name, artwork)}, data=data, headers={"accept": accept}
        )
        assert answer.status_code == 200, answer.text
        # RFC 9110, 8.8.3: a strong validator, in quotation marks.
        assert re.fullmatch(r'"[0-9a-f]{32}"', answer.headers["etag"])
        return str(answer.headers["etag"])

    tags = [tag(), tag(fresh()), tag(name="b.svg"), tag(job='use = "vehicle"'), tag(accept="text/plain")]
    assert tag() == tags[0]
    assert len(set(tags)) == len(tags)


def test_an_answer_can_be_fetched_again_and_revalidated(client: httpx.Client) -> None:
    for path in ("/v1/reports", "/v1/pictures"):
        made = client.post(path, content=fresh(), headers=RAW)
        place = made.headers["content-location"]
        assert place.startswith(f"{path}/")
        got = client.get(place)
        # RFC 9110, 8.7: what Content-Location leads to is what was enclosed.
        assert (got.status_code, got.content) == (200, made.content)
        assert got.headers["etag"] == made.headers["etag"]
        assert got.headers["content-type"] == made.headers["content-type"]
        # RFC 9110, 13.1.2 and 15.4.5.
        for known in (made.headers["etag"], f'"x", W/{made.headers["etag"]}', "*"):
            unchanged = client.get(place, headers={"if-none-match": known})
            assert (unchanged.status_code, unchanged.content) == (304, b"")
            assert unchanged.headers["etag"] == made.headers["etag"]
        assert client.get(place, headers={"if-none-match": '"other"'}).status_code == 200
    wrong = place.replace("pictures", "reports")
    assert_problem(client.get(wrong), "unknown-answer", 404)
    assert_problem(client.get("/v1/reports/none"), "unknown-answer", 404)


def test_a_post_is_answered_whatever_the_client_has(client: httpx.Client) -> None:
    # RFC 9110, 13.1.2: 304 is for GET and HEAD. A POST is answered in full.
    artwork = fresh()
    tag = client.post("/v1/reports", content=artwork, headers=RAW).headers["etag"]
    again = client.post("/v1/reports", content=artwork, headers={**RAW, "if-none-match": tag})
    assert again.status_code == 200


def test_without_a_cache_nothing_is_kept(tmp_path: Path) -> None:
    with (
        running("service", tmp_path, cache_bytes=0, idempotency_bytes=0, workers=1) as server,
        server.client() as client,
    ):
        artwork, headers = fresh(), key()
        for _ in range(2):
            answer = client.post("/v1/reports", content=artwork, headers={**RAW, **headers})
            assert [e["cached"] for e in events(server, answer)] == [False]
            assert "content-location" not in answer.headers
            place = f"/v1/reports/{answer.headers['etag'].strip(chr(34))}"
            assert_problem(client.get(place), "unknown-answer", 404)


def test_many_with_one_key_at_once_are_worked_on_once(server: Server) -> None:
    artwork, headers, gate = fresh(), key(), threading.Barrier(6)

    def send(_: int) -> httpx.Response:
        with server.client() as client:
            gate.wait()
            while True:
                answer = client.post("/v1/reports", content=artwork, headers={**RAW, **headers})
                if answer.status_code != 409:
                    return answer
                time.sleep(0.02)

    with ThreadPoolExecutor(6) as threads:
        answers = list(threads.map(send, range(6)))
    assert {answer.status_code for answer in answers} == {200}
    assert len({answer.content for answer in answers}) == 1
    assert sum(len(events(server, answer)) for answer in answers) == 1


def test_a_shelf_holds_its_bounds_and_drops_the_least_recently_used() -> None:
    shelf: Shelf[str] = Shelf(most_bytes=10, most_entries=3, seconds=100)
    for name in "abc":
        shelf.put(name, name.upper(), 3, 0.0)
    assert shelf.get("a", 1.0) == "A"
    shelf.put("d", "D", 3, 1.0)
    assert [name for name in "abcd" if name in shelf] == ["a", "c", "d"]
    shelf.put("e", "E", 5, 1.0)
    assert [name for name in "acde" if name in shelf] == ["d", "e"]
    assert shelf.size == 8
    shelf.put("f", "F", 11, 1.0)
    assert "f" not in shelf
    assert len(shelf) == 2
    shelf.put("d", "D2", 4, 2.0)
    assert (shelf.get("d", 3.0), shelf.size) == ("D2", 9)
    assert shelf.get("e", 101.0) is None
    assert shelf.size == 4
    assert (shelf.hits, shelf.misses) == (2, 1)
