"""The guide's page, script and relay: a real browser, Node, and a service with keys."""

from __future__ import annotations

import shutil
import subprocess
import time
from collections.abc import Iterator
from http.client import HTTPConnection
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Response, Route, expect

from service import keys
from tests.browsing import CHROMIUM, browser
from tests.guides.blocks import blocks, languages, written
from tests.service.conftest import SVG, Server, running
from tests.service.jobs.crew import end, free_port
from tests.service.test_page import FAULTY
from tests.service.test_workers import wait_until

__all__ = ["browser"]

GUIDE = "storefront-javascript.md"
NODE = shutil.which("node")
pytestmark = pytest.mark.skipif(
    CHROMIUM is None or NODE is None,
    reason="needs chromium and node on this machine: the page runs in the one, the relay in the other",
)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Server, str]]:
    """The service, and the address of the shop's relay in front of it."""
    folder = tmp_path_factory.mktemp("shop")
    token = keys.create(folder / "keys.json", "shop", ["reports"], None, time.time())
    pages = folder / "pages"
    pages.mkdir()
    written(GUIDE, pages)
    port = free_port()
    settings = {"keys_file": folder / "keys.json", "workers": 1, "rate": 4, "rate_seconds": 3}
    with running("service", folder, **settings) as server:
        environment = {"PREFLIGHT_URL": server.url, "PREFLIGHT_KEY": token, "PORT": str(port)}
        with (folder / "relay.log").open("wb") as log:
            assert NODE
            relay = subprocess.Popen([NODE, "relay.mjs"], cwd=pages, env=environment, stdout=log, stderr=log)
        try:
            wait_until(lambda: b"http://" in (folder / "relay.log").read_bytes())
            yield server, f"http://127.0.0.1:{port}/"
        finally:
            end(relay)


@pytest.fixture
def page(browser: Browser, shop: tuple[Server, str]) -> Iterator[Page]:
    context = browser.new_context()
    one = context.new_page()
    faults: list[str] = []
    one.on("pageerror", lambda error: faults.append(str(error)))
    one.on("dialog", lambda dialog: faults.append(dialog.message))
    one.goto(shop[1])
    yield one
    context.close()
    assert faults == []


def check(page: Page, path: Path, content: str | bytes) -> None:
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    page.set_input_files("#artwork", path)
    page.get_by_role("button", name="Check").click()


def test_every_block_is_taken_out() -> None:
    # All but the command that starts it.
    assert len(blocks(GUIDE, "file")) == len([one for one in languages(GUIDE) if one != "sh"])


def test_a_customer_reads_what_is_wrong_and_sees_where(page: Page, tmp_path: Path) -> None:
    page.fill("#width", "24 in")
    check(page, tmp_path / "stall.svg", FAULTY)
    expect(page.locator("#verdict")).to_have_text("It will not cut as it is")
    expect(page.locator("#findings li").first).to_contain_text("overlap")
    expect(page.locator("#claim")).to_contain_text("Test-cut first")
    picture = page.locator("#picture")
    expect(picture).to_be_visible()
    page.wait_for_function("document.getElementById('picture').naturalWidth > 0")
    # What the file says is text on the page.
    assert page.locator("#result b, #result i, #findings img").count() == 0


def test_a_good_file_will_cut(page: Page, tmp_path: Path) -> None:
    check(page, tmp_path / "bar.svg", SVG)
    expect(page.locator("#verdict")).to_have_text("It will cut")
    expect(page.locator("#findings li")).to_have_count(0)


def test_what_cannot_be_read_is_said_in_the_services_words(page: Page, tmp_path: Path) -> None:
    check(page, tmp_path / "old.svg", b"%!PS-Adobe-3.0")
    expect(page.locator("#status")).to_contain_text("PDF")
    expect(page.locator("#result")).to_be_hidden()


def test_a_rate_is_waited_for_and_the_check_comes(page: Page, tmp_path: Path) -> None:
    statuses: list[int] = []

    def note(answer: Response) -> None:
        if answer.url.endswith("/preflight/reports"):
            statuses.append(answer.status)

    page.on("response", note)
    for number in range(6):
        check(page, tmp_path / f"{number}.svg", SVG.replace(b"260v", b"%dv" % (200 + number)))
        # Hidden from the click on, until the answer is shown.
        expect(page.locator("#result")).to_be_visible(timeout=20_000)
    assert 429 in statuses
    assert statuses.count(200) == 6


def test_a_broken_connection_is_tried_again_under_the_same_key(page: Page, tmp_path: Path) -> None:
    asked: list[str | None] = []

    def break_once(route: Route) -> None:
        asked.append(route.request.headers.get("idempotency-key"))
        if len(asked) == 1:
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/preflight/reports", break_once)
    check(page, tmp_path / "bar.svg", SVG)
    expect(page.locator("#verdict")).to_have_text("It will cut", timeout=20_000)
    assert len(set(asked)) == 1
    assert len(asked) >= 2


def test_the_key_never_reaches_the_browser(page: Page, tmp_path: Path) -> None:
    seen: list[str] = []
    page.on("response", lambda answer: seen.append(str(answer.all_headers())))
    page.on("request", lambda request: seen.append(str(request.headers)))
    check(page, tmp_path / "bar.svg", SVG)
    expect(page.locator("#verdict")).to_have_text("It will cut", timeout=20_000)
    assert seen
    assert not any("spk_" in one for one in [*seen, page.content()])


def test_the_relay_passes_on_nothing_else(page: Page, shop: tuple[Server, str]) -> None:
    address = shop[1]
    for path in ("v1/jobs", "preflight/jobs", "preflight/../v1/jobs", "relay.mjs"):
        assert page.request.get(address + path).status == 404
    # Refused by its length, before any of it is sent.
    connection = HTTPConnection("127.0.0.1", int(address.rstrip("/").rpartition(":")[2]), timeout=20)
    connection.putrequest("POST", "/preflight/reports")
    connection.putheader("Content-Length", "25000001")
    connection.endheaders()
    answer = connection.getresponse()
    assert answer.status == 413
    assert b"25 MB" in answer.read()
    connection.close()


def test_a_file_that_is_too_large_is_not_sent_at_all(page: Page, tmp_path: Path) -> None:
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    check(page, tmp_path / "large.svg", SVG + b" " * 25_000_000)
    expect(page.locator("#status")).to_contain_text("25 MB")
    assert not any("reports" in url for url in asked)
