"""The page in a real browser: a customer drops a file and reads what stands in the way."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser, Page, expect

from service import keys
from tests.browsing import browser, needs_chromium, watched
from tests.service.conftest import ROOT, Server, running

__all__ = ["browser"]
pytestmark = needs_chromium

FAULTY = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="100mm" viewBox="0 0 300 100">'
    '<path id="left" fill="#1f5f3a" d="M20 20h160v60H20z"/>'
    '<path id="right" fill="#1f5f3a" d="M150 30h120v60H150z"/>'
    '<text id="&lt;img src=x onerror=alert(1)&gt;" x="30" y="15">&lt;b>Open&lt;/b></text></svg>'
)


@pytest.fixture
def page(browser: Browser, server: Server) -> Iterator[Page]:
    """The page, which must not log an error nor ask anything of another host."""
    context = browser.new_context(viewport={"width": 1400, "height": 900}, accept_downloads=True)
    one = context.new_page()
    faults, asked = watched(one)
    one.goto(server.url)
    yield one
    context.close()
    # A refused upload is answered with a 4xx, which the browser itself logs.
    assert [fault for fault in faults if "the server responded with a status of 4" not in fault] == []
    assert all(url.startswith((server.url, f"blob:{server.url}")) for url in asked)


@pytest.fixture
def faulty(tmp_path: Path) -> Path:
    path = tmp_path / "<i>stall</i>.svg".replace("/", "∕")
    path.write_text(FAULTY, "utf-8")
    return path


def check(page: Page, path: Path) -> None:
    page.set_input_files("#artwork", path)
    page.get_by_role("button", name="Check the artwork").click()


def test_a_customer_sees_what_is_wrong_and_what_to_do(page: Page, faulty: Path) -> None:
    check(page, faulty)
    expect(page.locator("#verdict")).to_have_text("Will not cut as it is")
    findings = page.locator("#findings > li")
    with page.expect_download() as download:
        page.get_by_role("link", name="Download report").click()
    report = json.loads(download.value.path().read_text("utf-8"))
    assert findings.count() == len(report["findings"]) > 0
    for index, finding in enumerate(report["findings"]):
        expect(findings.nth(index)).to_contain_text(finding["message"])
        expect(findings.nth(index)).to_contain_text(finding["remedy"])
    # Worst first, numbered as in the picture.
    order = [("error", "warning", "note").index(one["severity"]) for one in report["findings"]]
    assert order == sorted(order)
    assert page.locator("#findings .number").all_text_contents() == [
        str(i + 1) for i in range(len(report["findings"]))
    ]
    expect(page.locator("#measures")).to_contain_text("300 mm × 100 mm")
    expect(page.locator("#claim")).to_have_text(report["claim"])
    expect(page.locator("#assumptions li")).to_have_count(len(report["assumptions"]))


def test_the_picture_is_shown_and_its_numbers_lead_to_the_findings(page: Page, faulty: Path) -> None:
    check(page, faulty)
    picture = page.locator("#picture")
    expect(picture).to_be_visible()
    assert str(picture.get_attribute("src")).startswith("blob:")
    assert picture.evaluate("image => image.naturalWidth") > 0
    spot = page.locator(".spot").first
    number = str(spot.get_attribute("href")).removeprefix("#finding-")
    spot.click()
    expect(page.locator(f"#finding-{number}")).to_be_in_viewport()
    with page.expect_download() as download:
        page.get_by_role("button", name="Download picture").click()
    assert download.value.path().read_text("utf-8").startswith("<svg")


def test_what_the_upload_says_is_only_ever_text(page: Page, faulty: Path) -> None:
    check(page, faulty)
    expect(page.locator("#result")).to_be_visible()
    expect(page.locator("#picture")).to_be_visible()
    for summary in page.locator("#findings summary").all():
        summary.click()
    assert page.locator("#result b, #result i, #findings img").count() == 0
    expect(page.locator("#provenance")).to_contain_text("<i>stall")


def test_a_clean_sign_is_ready_to_cut_at_the_size_and_on_the_roll_stated(page: Page, tmp_path: Path) -> None:
    clean = tmp_path / "bar.svg"
    clean.write_text(FAULTY.partition("<path id=")[0] + '<path d="M20 20h260v60H20z" fill="#1f5f3a"/></svg>')
    page.fill("#width", "24 in")
    page.fill("#roll", "762")
    check(page, clean)
    expect(page.locator("#verdict")).to_have_text("Ready for a test cut")
    # 1 in = 25.4 mm exactly.
    expect(page.locator("#measures")).to_contain_text("609.6 mm × 203.2 mm")
    expect(page.locator("#roll-fit")).to_contain_text("Fits as drawn")


def test_a_job_file_takes_the_place_of_the_fields(page: Page, faulty: Path, tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text('size.width = "60 cm"\n')
    page.fill("#width", "1 m")
    page.get_by_text("More about the job").click()
    page.set_input_files("#job", job)
    expect(page.locator("#width")).to_be_disabled()
    check(page, faulty)
    expect(page.locator("#measures")).to_contain_text("600 mm × 200 mm")


def test_problems_say_what_to_do_and_the_page_goes_on(page: Page, tmp_path: Path, faulty: Path) -> None:
    problem = page.get_by_role("alert")
    page.get_by_role("button", name="Check the artwork").click()
    expect(problem).to_contain_text("Choose the artwork's file first")
    broken = tmp_path / "broken.svg"
    broken.write_text("no artwork at all")
    check(page, broken)
    expect(problem).to_contain_text("The artwork could not be read")
    expect(problem).to_contain_text("What to do:")
    page.fill("#width", "wide")
    check(page, faulty)
    expect(problem).to_contain_text("wide")
    page.fill("#width", "")
    check(page, faulty)
    expect(page.locator("#verdict")).to_be_visible()
    expect(problem).to_be_hidden()


def test_it_can_be_used_with_the_keyboard_alone(page: Page, faulty: Path) -> None:
    reached = []
    for _ in range(8):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.id || document.activeElement.tagName"))
    assert [name for name in reached if name in ("artwork", "width", "height", "roll", "check")] == [
        "artwork",
        "width",
        "height",
        "roll",
        "check",
    ]
    page.set_input_files("#artwork", faulty)
    page.focus("#check")
    page.keyboard.press("Enter")
    expect(page.locator("#result")).to_be_focused()


def test_every_field_has_a_name(page: Page) -> None:
    page.get_by_text("More about the job").click()
    for field in page.locator("input, select, button").all():
        assert field.evaluate("e => (e.labels?.[0]?.textContent ?? e.textContent).trim()")


@pytest.mark.parametrize("width", [360, 768, 1400])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_runs_over_the_edge(
    page: Page, faulty: Path, width: int, scheme: Literal["light", "dark"]
) -> None:
    page.set_viewport_size({"width": width, "height": 800})
    page.emulate_media(color_scheme=scheme)
    assert page.evaluate("document.documentElement.scrollWidth") == width
    check(page, faulty)
    expect(page.locator("#picture")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") == width


# WCAG 2.x: relative luminance, contrast ratio (L1 + 0.05) / (L2 + 0.05), at least 4.5 for text (1.4.3).
LOW_CONTRAST = """() => {
  const canvas = new OffscreenCanvas(1, 1).getContext("2d", { willReadFrequently: true });
  const rgba = (color) => {
    canvas.clearRect(0, 0, 1, 1);
    canvas.fillStyle = color;
    canvas.fillRect(0, 0, 1, 1);
    return [...canvas.getImageData(0, 0, 1, 1).data];
  };
  const linear = (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  const luminance = ([r, g, b]) =>
    0.2126 * linear(r / 255) + 0.7152 * linear(g / 255) + 0.0722 * linear(b / 255);
  const ground = (element) => {
    for (let e = element; e; e = e.parentElement) {
      const color = rgba(getComputedStyle(e).backgroundColor);
      if (color[3] === 255) return color;
    }
    return [255, 255, 255];
  };
  const low = [];
  let looked = 0;
  for (const element of document.querySelectorAll("main *, header *")) {
    const own = [...element.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    if (!own || !element.checkVisibility() || element.closest("svg, .sr, .spot")) continue;
    looked += 1;
    const both = [rgba(getComputedStyle(element).color), ground(element)].map(luminance);
    const ratio = (Math.max(...both) + 0.05) / (Math.min(...both) + 0.05);
    if (ratio < 4.5) low.push(`${element.tagName}.${element.className} ${ratio}`);
  }
  return looked > 10 ? low : ["hardly any text was found"];
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_can_be_read(page: Page, faulty: Path, scheme: Literal["light", "dark"]) -> None:
    page.emulate_media(color_scheme=scheme)
    assert page.evaluate(LOW_CONTRAST) == []
    check(page, faulty)
    expect(page.locator("#picture")).to_be_visible()
    assert page.evaluate(LOW_CONTRAST) == []


def test_the_job_sheet_and_the_cut_open_without_another_upload(page: Page, tmp_path: Path) -> None:
    clean = tmp_path / "bar.svg"
    clean.write_text(FAULTY.partition("<path id=")[0] + '<path d="M20 20h260v60H20z" fill="#1f5f3a"/></svg>')
    check(page, clean)
    with page.context.expect_page() as opened:
        page.get_by_role("button", name="Open the job sheet").click()
    sheet = opened.value
    expect(sheet.get_by_role("heading", name="Job sheet: bar.svg")).to_be_visible()
    # Its own style is allowed by the policy that it comes with: the list has boxes and no dots.
    assert sheet.locator("li").first.evaluate("e => getComputedStyle(e).listStyleType") == "none"
    assert sheet.evaluate("origin") == "null"
    with page.context.expect_page() as opened:
        page.get_by_role("button", name="Watch the cut").click()
    cut = opened.value
    expect(cut.locator("#contour")).to_have_text("1 of 1")
    cut.get_by_role("button", name="Contour on").click()
    expect(cut.locator("#remaining")).to_have_text("0:00.0")
    with page.expect_download() as download:
        page.get_by_role("button", name="Job sheet as PDF").click()
    assert download.value.suggested_filename == "bar-job-sheet.pdf"
    assert download.value.path().read_bytes().startswith(b"%PDF")
    assert page.locator("#workshop-status").text_content() == ""


def test_what_cannot_be_made_is_told_beside_the_buttons(page: Page, tmp_path: Path) -> None:
    nothing = tmp_path / "nothing.svg"
    nothing.write_text(FAULTY.partition("<path id=")[0] + "</svg>")
    check(page, nothing)
    expect(page.locator("#result")).to_be_visible()
    page.get_by_role("button", name="Open the job sheet").click()
    expect(page.locator("#workshop-status")).to_contain_text("nothing to cut from film")
    page.get_by_role("button", name="Job sheet as PDF").click()
    expect(page.locator("#workshop-status")).to_contain_text("See the report")


def test_the_page_names_no_other_host() -> None:
    for path in (ROOT / "service" / "page").iterdir():
        if path.suffix in (".html", ".css", ".js"):
            text = path.read_text("utf-8")
            assert "http://" not in text
            assert "https://" not in text


def test_a_key_can_be_given_where_the_service_asks_for_one(browser: Browser, tmp_path: Path) -> None:
    file = tmp_path / "keys.json"
    token = keys.create(file, "page", ["reports", "jobsheets"], None, 0.0)
    with running("service", tmp_path, keys_file=file, workers=1) as guarded:
        context = browser.new_context()
        page = context.new_page()
        page.goto(guarded.url)
        field = page.get_by_label("Your key")
        expect(field).to_be_hidden()
        page.locator("#artwork").set_input_files(
            files={"name": "sign.svg", "mimeType": "image/svg+xml", "buffer": FAULTY.encode()}
        )
        page.locator("#check").click()
        expect(page.get_by_role("alert")).to_contain_text("A key is needed")
        field.fill(token)
        page.locator("#check").click()
        expect(page.locator("#result")).to_be_visible()
        expect(page.locator("#picture")).to_be_visible()
        # A window of its own could not send the key, so the sheet is downloaded.
        with page.expect_download() as download:
            page.get_by_role("button", name="Open the job sheet").click()
        assert "Job sheet: sign.svg" in download.value.path().read_text("utf-8")
        page.get_by_role("button", name="Watch the cut").click()
        expect(page.locator("#workshop-status")).to_contain_text("rehearsals")
        context.close()
