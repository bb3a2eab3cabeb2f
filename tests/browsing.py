"""A real browser for tests: where it is, how it is started, and a watch on what it does."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

CHROMIUM = next((path for name in ("chromium", "chromium-browser") if (path := shutil.which(name))), None)
needs_chromium = pytest.mark.skipif(
    CHROMIUM is None, reason="no chromium on this machine: install the package “chromium” to run these"
)
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as driver:
        one = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield one
        one.close()


def watched(page: Page) -> tuple[list[str], list[str]]:
    """Return what the page logs as errors or opens as dialogs, and what it asks for, as both come in."""
    faults: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("dialog", lambda dialog: faults.append(f"dialog: {dialog.message}"))
    page.on("request", lambda request: asked.append(request.url))
    return faults, asked
