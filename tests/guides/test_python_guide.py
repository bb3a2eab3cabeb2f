"""The guide's own modules, run against a service with keys."""

from __future__ import annotations

import importlib
import json
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
import standardwebhooks

from service import keys
from tests.guides.blocks import blocks, languages, written
from tests.service.conftest import ROOT, SVG, Server, running

GUIDE = "storefront-python.md"
MODULES = [name.removesuffix(".py") for name in blocks(GUIDE, "file")]
OVERLAP = (ROOT / "examples" / "artwork" / "overlapping-letters.svg").read_bytes()
LIVE_TEXT = (ROOT / "examples" / "artwork" / "live-text.svg").read_bytes()


@pytest.fixture(scope="module")
def guide(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, ModuleType]]:
    folder = written(GUIDE, tmp_path_factory.mktemp("guide"))
    sys.path.insert(0, str(folder))
    yield {name: importlib.import_module(name) for name in MODULES}
    sys.path.remove(str(folder))
    for name in MODULES:
        del sys.modules[name]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Server, str]]:
    """A service with keys, and the shop's; twenty requests in two seconds are its rate."""
    folder = tmp_path_factory.mktemp("shop")
    file = folder / "keys.json"
    token = keys.create(file, "shop", ["reports", "repairs", "jobs"], None, time.time())
    settings = {"keys_file": file, "workers": 1, "rate": 20, "rate_seconds": 2}
    with running("service", folder, **settings) as server:
        yield server, token


@pytest.fixture
def service(
    guide: dict[str, ModuleType], shop: tuple[Server, str], monkeypatch: pytest.MonkeyPatch
) -> Iterator[Any]:
    # No proxy of the environment between client and loopback.
    monkeypatch.setenv("NO_PROXY", "*")
    server, token = shop
    with guide["preflight_client"].Preflight(server.url, token) as one:
        yield one


def test_every_block_is_taken_out() -> None:
    assert len(blocks(GUIDE, "file")) == len(languages(GUIDE))


def test_an_order_is_taken_asked_about_or_refused(guide: dict[str, ModuleType], service: Any) -> None:
    decide = guide["order"].may_be_ordered
    assert decide(service, SVG, "bar.svg", "600 mm") == ("take", [])
    answer, said = decide(service, OVERLAP, "letters.svg", "520 mm")
    assert answer == "ask"
    assert all(said)
    answer, said = decide(service, LIVE_TEXT, "text.svg", "400 mm")
    assert answer == "refuse"
    assert any("text" in line for line in said)
    answer, said = decide(service, b"%!PS-Adobe-3.0", "old.eps", "400 mm")
    assert answer == "refuse"
    assert len(said) == 1


def test_a_mended_file_comes_with_its_proof(service: Any) -> None:
    mended = service.mend(OVERLAP, "letters.svg")
    assert mended["file"]["content"].startswith("<?xml") or "<svg" in mended["file"]["content"]
    assert mended["file"]["caution"]


def test_a_batch_is_prepared_and_what_is_not_proved_kept_apart(
    guide: dict[str, ModuleType], service: Any, tmp_path: Path
) -> None:
    orders = {"letters": OVERLAP, "text": LIVE_TEXT, "broken": b"<svg"}
    said = guide["production"].prepare(service, orders, tmp_path)
    assert set(said) == set(orders)
    assert all(said.values())
    assert (tmp_path / "ready" / "letters.pdf").read_bytes().startswith(b"%PDF-")
    assert (tmp_path / "to-look-at" / "text.pdf").read_bytes().startswith(b"%PDF-")
    assert not list(tmp_path.rglob("broken.pdf"))


def test_the_rate_is_waited_for_and_all_is_answered(service: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    waited: list[float] = []
    pause = time.sleep

    def sleep(seconds: float) -> None:
        waited.append(seconds)
        pause(seconds)

    monkeypatch.setattr(time, "sleep", sleep)
    reports = [service.check(SVG, "bar.svg") for _ in range(25)]
    assert [report["verdict"] for report in reports] == ["pass"] * 25
    assert waited
    assert all(1 <= seconds <= 2 for seconds in waited)


def test_a_problem_tells_the_customer_and_the_program(guide: dict[str, ModuleType], service: Any) -> None:
    with pytest.raises(guide["preflight_client"].ProblemError) as caught:
        service.check(SVG, "bar.svg", {"size": {"widht": 3}})
    problem = caught.value
    assert (problem.slug, problem.status) == ("invalid-job", 422)
    assert "widht" in str(problem)
    assert problem.request_id


def test_a_message_is_believed_with_its_signature_only(guide: dict[str, ModuleType]) -> None:
    secret = "whsec_" + "A" * 32
    body = json.dumps({"type": "job.done", "timestamp": "2026-01-01T00:00:00Z", "data": {"state": "done"}})
    now = datetime.now(UTC)
    # Signed by the specification's own library.
    signature = standardwebhooks.Webhook(secret).sign("msg_1", now, body)
    headers = {
        "webhook-id": "msg_1",
        "webhook-timestamp": str(int(now.timestamp())),
        "webhook-signature": signature,
    }
    told = guide["webhook"].told
    assert told(secret, body.encode(), headers) == {"state": "done"}
    assert told(secret, body.replace("done", "gone").encode(), headers) is None
