"""Keys: the file and the command, and what the service lets in."""

from __future__ import annotations

import hashlib
import json
import os
import stat
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest

from service import keys
from service.access import require_guard, scope_of
from service.keys import KeyRing, KeysError
from service.settings import Settings, SettingsError
from tests.service.conftest import ROOT, SVG, Server, assert_problem, running

NOW = 1_700_000_000.0
RAW = {"content-type": "image/svg+xml"}


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "keys.json"


def test_a_key_is_found_by_its_token_and_by_no_other(file: Path) -> None:
    token = keys.create(file, "shop", ["reports"], None, NOW)
    ring = KeyRing(file)
    found = ring.find(token, NOW)
    assert found.key is not None
    assert (found.key.name, found.key.scopes) == ("shop", ("reports",))
    for wrong in ("", "x", token[:-1], token + "A", token.swapcase(), token.replace("spk_", "spx_")):
        assert ring.find(wrong, NOW) == keys.Found(None, "key-unknown")


def test_no_token_lies_in_the_file_and_only_its_owner_may_read_it(file: Path) -> None:
    token = keys.create(file, "shop", ["reports"], None, NOW)
    text = file.read_text()
    assert token not in text
    assert token.split("_", 2)[2] not in text
    # FIPS 180-4 by way of hashlib: the digest of the whole token and nothing else is kept.
    assert hashlib.sha256(token.encode()).hexdigest() in text
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_tokens_have_the_randomness_that_a_plain_digest_rests_on(file: Path) -> None:
    tokens = [keys.create(file, "shop", ["reports"], None, NOW) for _ in range(20)]
    secrets = {token.split("_", 2)[2] for token in tokens}
    assert len(secrets) == 20
    # 43 characters of base64url (RFC 4648, 5) are 256 bits and two to spare.
    assert all(len(secret) == 43 for secret in secrets)


def test_a_rotated_key_takes_both_secrets_until_the_overlap_ends(file: Path) -> None:
    old = keys.create(file, "shop", ["reports"], None, NOW)
    ring = KeyRing(file)
    key_id = old.split("_")[1]
    new = keys.rotate(file, key_id, 3600, NOW)
    for token in (old, new):
        found = ring.find(token, NOW + 3599)
        assert found.key is not None
        assert found.key.id == key_id
    assert ring.find(old, NOW + 3600) == keys.Found(None, "key-expired")
    assert ring.find(new, NOW + 1e9).key is not None
    # A later rotation never makes an older secret live longer, and throws away what has ended.
    keys.rotate(file, key_id, 10, NOW + 7200)
    (key,) = keys.read_file(file)
    assert [one.expires for one in key.secrets] == [NOW + 7210, None]


def test_a_revoked_key_ends_at_once_without_a_restart(file: Path) -> None:
    gone = keys.create(file, "gone", ["reports"], None, NOW)
    kept = keys.create(file, "kept", ["reports"], None, NOW)
    ring = KeyRing(file)
    assert ring.find(gone, NOW).key
    keys.revoke(file, gone.split("_")[1])
    assert ring.find(gone, NOW).key is None
    assert ring.find(kept, NOW).key


@pytest.mark.parametrize("content", ["", "{", '{"keys": [{"id": "x"}]}', '{"version": 2, "keys": []}'])
def test_a_damaged_file_lets_nobody_in(file: Path, content: str) -> None:
    token = keys.create(file, "shop", ["reports"], None, NOW)
    ring = KeyRing(file)
    file.write_text(content)
    for _ in range(2):
        with pytest.raises(KeysError, match=r"keys\.json"):
            ring.find(token, NOW)


def test_a_file_that_is_gone_lets_nobody_in(file: Path) -> None:
    token = keys.create(file, "shop", ["reports"], None, NOW)
    ring = KeyRing(file)
    file.unlink()
    with pytest.raises(KeysError):
        ring.find(token, NOW)


def command(file: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = os.environ | {"SIGN_PREFLIGHT_KEYS_FILE": str(file)}
    return subprocess.run(
        [sys.executable, "-m", "service.keys", *arguments],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_command_creates_lists_rotates_and_revokes(file: Path) -> None:
    made = command(file, "create", "Marrowby Lane shop", "--scopes", "jobs,reports", "--rate", "30")
    assert made.returncode == 0, made.stderr
    token = made.stdout.strip()
    assert keys.TOKEN.fullmatch(token)
    key_id = token.split("_")[1]
    listed = json.loads(command(file, "list").stdout)
    assert listed | {"id": key_id, "scopes": ["reports", "jobs"], "rate": 30, "secrets": 1} == listed
    assert token not in command(file, "list").stdout
    turned = command(file, "rotate", key_id, "--overlap", "1").stdout.strip()
    assert turned.split("_")[1] == key_id
    assert turned != token
    assert json.loads(command(file, "list").stdout)["secrets"] == 2
    assert command(file, "revoke", key_id).returncode == 0
    assert command(file, "list").stdout == ""
    again = command(file, "revoke", key_id)
    assert again.returncode == 1
    assert key_id in again.stderr
    assert command(file, "create", "x", "--scopes", "everything").returncode == 2


@pytest.mark.parametrize("host", ["127.0.0.1", "127.8.8.8", "::1", "localhost"])
def test_a_service_for_this_machine_alone_needs_no_keys(host: str) -> None:
    require_guard(Settings(host=host))


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "example.org"])
def test_a_service_that_others_can_reach_needs_keys_or_the_operators_word(host: str) -> None:
    with pytest.raises(SettingsError, match="SIGN_PREFLIGHT_KEYS_FILE"):
        require_guard(Settings(host=host))
    require_guard(Settings(host=host, anyone=True))
    require_guard(Settings(host=host, keys_file="keys.json"))


def test_a_service_that_is_not_guarded_does_not_start(tmp_path: Path) -> None:
    for environment in (
        {"SIGN_PREFLIGHT_HOST": "0.0.0.0"},
        {"SIGN_PREFLIGHT_KEYS_FILE": str(tmp_path / "none.json")},
    ):
        done = subprocess.run(
            [sys.executable, "-m", "service", "--port", "0"],
            cwd=ROOT,
            env=os.environ | environment,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert done.returncode == 2
        assert "service.keys" in done.stderr


def test_what_is_added_later_is_closed_until_somebody_opens_it() -> None:
    assert scope_of("/v1/reports") == scope_of("/v1/reports/abc") == "reports"
    assert scope_of("/v1/something-new") == "something-new"
    assert scope_of("/v1") == scope_of("/v1/") == ""
    assert scope_of("//v1/reports") == "reports"
    assert scope_of("/metrics") == "metrics"
    for path in ("/", "/v1/rules", "/v1/rules/thin-feature", "/healthz", "/readyz", "/problems/busy", "/v1x"):
        assert scope_of(path) is None


@dataclass
class Guarded:
    server: Server
    file: Path

    def key(self, *scopes: keys.Scope, rate: int | None = None) -> dict[str, str]:
        token = keys.create(self.file, "test", scopes, rate, NOW)
        return {"authorization": f"Bearer {token}"}


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Guarded]:
    folder = tmp_path_factory.mktemp("guarded")
    file = folder / "keys.json"
    keys.create(file, "first", ["reports"], None, NOW)
    settings = {"keys_file": file, "rate": 1000, "cors_origins": "https://shop.example", "workers": 1}
    with running("service", folder, jobs_path=folder / "jobs.sqlite3", **settings) as server:
        yield Guarded(server, file)


@pytest.fixture
def client(guarded: Guarded) -> Iterator[httpx.Client]:
    with guarded.server.client() as one:
        yield one


def test_without_a_key_only_what_is_public_answers(client: httpx.Client) -> None:
    for path in ("/", "/v1/rules", "/healthz", "/readyz", "/problems/unauthorized", "/openapi.json"):
        assert client.get(path).status_code == 200, path
    for method, path in (
        ("POST", "/v1/reports"),
        ("POST", "/v1/pictures"),
        ("POST", "/v1/repairs"),
        ("GET", "/v1/jobs"),
        ("GET", "/v1/none"),
        ("GET", "/metrics"),
    ):
        answer = client.request(method, path)
        problem = assert_problem(answer, "unauthorized", 401)
        assert problem["code"] == "key-missing"
        # RFC 9110, 11.6.1 and RFC 6750, 3: a challenge, without an error where no token was sent.
        assert answer.headers["www-authenticate"] == 'Bearer realm="sign-preflight"'


def test_a_wrong_key_is_refused_and_not_repeated(guarded: Guarded, client: httpx.Client) -> None:
    wrong = "spk_0123456789_<script>" + "A" * 34
    answer = client.post("/v1/reports", content=SVG, headers={**RAW, "authorization": f"Bearer {wrong}"})
    problem = assert_problem(answer, "unauthorized", 401)
    assert problem["code"] == "key-unknown"
    assert 'error="invalid_token"' in answer.headers["www-authenticate"]
    assert "script" not in answer.text
    assert "script" not in guarded.server.log.read_text()


@pytest.mark.parametrize("scope", ["jobsheets", "rehearsals", "layouts", "panels", "repairs"])
def test_what_goes_to_the_workshop_has_scopes_of_its_own(guarded: Guarded, scope: keys.Scope) -> None:
    with guarded.server.client() as client:
        form = {"artwork": SVG}
        assert_problem(client.post(f"/v1/{scope}", files=form), "unauthorized", 401)
        other = guarded.key("reports", "pictures", "jobs")
        problem = assert_problem(client.post(f"/v1/{scope}", files=form, headers=other), "forbidden", 403)
        assert scope in problem["detail"]
        assert client.post(f"/v1/{scope}", files=form, headers=guarded.key(scope)).status_code == 200


def test_a_key_opens_its_scopes_and_no_others(guarded: Guarded, client: httpx.Client) -> None:
    headers = {**RAW, **guarded.key("reports", "metrics")}
    assert client.post("/v1/reports", content=SVG, headers=headers).status_code == 200
    assert client.get("/metrics", headers=headers).status_code == 200
    answer = client.post("/v1/pictures", content=SVG, headers=headers)
    problem = assert_problem(answer, "forbidden", 403)
    assert "“pictures”" in problem["detail"]
    # RFC 6750, 3.1.
    assert 'error="insufficient_scope", scope="pictures"' in answer.headers["www-authenticate"]
    assert_problem(client.get("/v1/none", headers=headers), "not-found", 404)


def test_keys_made_and_revoked_count_at_once(guarded: Guarded, client: httpx.Client) -> None:
    headers = {**RAW, **guarded.key("reports")}
    assert client.post("/v1/reports", content=SVG, headers=headers).status_code == 200
    keys.revoke(guarded.file, headers["authorization"].split("_")[1])
    assert_problem(client.post("/v1/reports", content=SVG, headers=headers), "unauthorized", 401)


def test_keys_that_cannot_be_read_close_the_service(guarded: Guarded, client: httpx.Client) -> None:
    headers = {**RAW, **guarded.key("reports")}
    whole = guarded.file.read_bytes()
    try:
        guarded.file.write_bytes(whole[:-20])
        assert_problem(client.post("/v1/reports", content=SVG, headers=headers), "keys-unreadable", 503)
        assert_problem(client.get("/readyz"), "not-ready", 503)
        assert client.get("/healthz").status_code == 200
    finally:
        guarded.file.write_bytes(whole)
    assert client.post("/v1/reports", content=SVG, headers=headers).status_code == 200


def test_a_key_has_its_own_rate_and_is_told_what_is_left(guarded: Guarded, client: httpx.Client) -> None:
    # draft-ietf-httpapi-ratelimit-headers: policy with quota q and window w; limit with r and t.
    headers = guarded.key("jobs", rate=2)
    for left in (1, 0):
        answer = client.get("/v1/jobs", headers=headers)
        assert answer.status_code == 200, answer.text
        assert answer.headers["ratelimit-policy"] == '"requests";q=2;w=60'
        assert answer.headers["ratelimit"].startswith(f'"requests";r={left};t=')
    answer = client.get("/v1/jobs", headers=headers)
    assert_problem(answer, "too-many-requests", 429)
    # RFC 6585, 4, and RFC 9110, 10.2.3.
    assert 1 <= int(answer.headers["retry-after"]) <= 60
    assert answer.headers["ratelimit"] == f'"requests";r=0;t={answer.headers["retry-after"]}'
    other = client.get("/v1/jobs", headers=guarded.key("jobs"))
    assert other.headers["ratelimit-policy"] == '"requests";q=1000;w=60'


def test_one_keys_answers_are_not_anothers(guarded: Guarded, client: httpx.Client) -> None:
    mine, other = guarded.key("reports"), guarded.key("reports")
    artwork = SVG.replace(b"260v60", b"261v60")
    made = client.post("/v1/reports", content=artwork, headers={**RAW, **mine})
    place = made.headers["content-location"]
    assert client.get(place, headers=mine).content == made.content
    assert_problem(client.get(place, headers=other), "unknown-answer", 404)
    kept = [e for e in guarded.server.entries() if e["event"] == "task" and e["cached"]]
    client.post("/v1/reports", content=artwork, headers={**RAW, **other})
    assert [e for e in guarded.server.entries() if e["event"] == "task" and e["cached"]] == kept


def test_one_keys_jobs_are_not_anothers(guarded: Guarded, client: httpx.Client) -> None:
    mine, other = guarded.key("jobs"), guarded.key("jobs")
    made = client.post("/v1/jobs", content=SVG, headers={**RAW, **mine})
    assert made.status_code == 202, made.text
    place = made.headers["location"]
    assert client.get(place, headers=mine).status_code == 200
    assert_problem(client.get(place, headers=other), "unknown-job", 404)
    assert client.get("/v1/jobs", headers=other).json()["jobs"] == []


def test_pages_of_the_origins_named_may_call_and_no_others(guarded: Guarded, client: httpx.Client) -> None:
    # The Fetch standard, "CORS protocol": preflight, then the request itself, each with an origin.
    asks = {"access-control-request-method": "POST", "access-control-request-headers": "authorization"}
    allowed = client.options("/v1/reports", headers={"origin": "https://shop.example", **asks})
    assert allowed.status_code == 200
    assert allowed.headers["access-control-allow-origin"] == "https://shop.example"
    assert "POST" in allowed.headers["access-control-allow-methods"]
    assert "authorization" in allowed.headers["access-control-allow-headers"].lower()
    refused = client.options("/v1/reports", headers={"origin": "https://other.example", **asks})
    assert "access-control-allow-origin" not in refused.headers
    answer = client.post("/v1/reports", headers={"origin": "https://shop.example"})
    # A problem too can be read by the page.
    assert answer.status_code == 401
    assert answer.headers["access-control-allow-origin"] == "https://shop.example"
    assert "RateLimit" in answer.headers["access-control-expose-headers"]
    key = guarded.key("reports")
    other = client.post("/v1/reports", content=SVG, headers={"origin": "https://other.example", **RAW, **key})
    assert "access-control-allow-origin" not in other.headers
