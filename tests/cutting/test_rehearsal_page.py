"""The page that plays a cut, in a real browser: it plays, stands where the timeline says, and runs nothing else."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from preflight import Job, Rehearsal, read, rehearse
from preflight.cutting.rehearsal import animation_html
from tests.browsing import browser, needs_chromium, watched

ARTWORK = Path(__file__).parents[2] / "examples" / "artwork"
__all__ = ["browser"]
HOSTILE = '</script></title><script>alert(1)</script><img src=x onerror="alert(2)">\u2028&amp;'
KINDS = ("travel", "lower", "cut", "lift", "done")


def rehearsed(name: str) -> Rehearsal:
    settings = ARTWORK / f"{name}.toml"
    job = Job.parse(settings.read_bytes()) if settings.exists() else Job()
    return rehearse(read((ARTWORK / f"{name}.svg").read_bytes(), f"{name}.svg"), job)


def hostile() -> Rehearsal:
    drawing = (
        b'<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="100mm" viewBox="0 0 200 100">'
        b'<path id="&lt;script>alert(3)&lt;/script>" fill="#1f4d2b" d="M40 30h30v20h-30z"/>'
        b'<path fill="#8c1d40" d="M120 30h30v20h-30z"/><script>alert(4)</script></svg>'
    )
    job = {
        "films": {HOSTILE: {"kind": "cast"}},
        "colours": {"#1f4d2b": {"role": "film", "film": HOSTILE}},
    }
    return rehearse(read(drawing, HOSTILE), Job.parse(job))


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A tab that must log no error, open no dialog and load nothing but the page."""
    one = browser.new_page(viewport={"width": 1200, "height": 800})
    faults, asked = watched(one)
    yield one
    one.close()
    assert faults == []
    assert len(asked) == 1


def shown(page: Page, rehearsal: Rehearsal, folder: Path) -> None:
    file = folder / "cut.html"
    file.write_text(animation_html(rehearsal), "utf-8")
    page.goto(file.as_uri())


def scrubbed(page: Page, seconds: float) -> tuple[float, float, str, int]:
    page.eval_on_selector(
        "#scrub", "(bar, to) => { bar.value = to; bar.dispatchEvent(new Event('input')); }", str(seconds)
    )
    where = page.locator("#where")
    values = where.evaluate("part => ({...part.dataset})")
    return float(values["x"]), float(values["y"]), KINDS[int(values["kind"])], int(values["contour"])


@needs_chromium
@pytest.mark.parametrize("name", ["gate-board", "shop-window"])
def test_at_every_moment_the_knife_stands_where_the_timeline_says(
    page: Page, tmp_path: Path, name: str
) -> None:
    rehearsal = rehearsed(name)
    film = rehearsal.films[0]
    shown(page, rehearsal, tmp_path)
    total = film.seconds.total
    for share in (0.0, 0.0137, 0.21, 0.3333, 0.5, 0.777, 0.9, 0.9999, 0.05, 1.0):
        x, y, kind, contour = scrubbed(page, share * total)
        at = rehearsal.at(0, min(share * total, film.events[-1].end_s))
        assert (x, y) == pytest.approx((at.x_mm, at.y_mm), abs=0.02)
        assert kind == at.doing
        assert at.contour in (None, contour)


@needs_chromium
def test_it_plays_pauses_and_keeps_its_time(page: Page, tmp_path: Path) -> None:
    shown(page, rehearsed("gate-board"), tmp_path)
    clock = page.locator("#where")
    assert float(clock.get_attribute("data-seconds") or "nan") == 0.0
    page.get_by_label("Speed").select_option("10")
    page.get_by_role("button", name="Play").click()
    expect(page.locator("#elapsed")).to_have_text(re.compile(r"0:0[3-9]|0:[1-5]"), timeout=20_000)
    page.get_by_role("button", name="Pause").click()
    stopped = float(clock.get_attribute("data-seconds") or "nan")
    assert page.evaluate(
        "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame("
        "() => done(Number(document.getElementById('where').dataset.seconds)))))"
    ) == pytest.approx(stopped)
    elapsed, remaining = (page.locator(f"#{part}").inner_text() for part in ("elapsed", "remaining"))
    assert _seconds(elapsed) + _seconds(remaining) == pytest.approx(77.2, abs=0.11)


def _seconds(words: str) -> float:
    minutes, seconds = words.split(":")
    return 60 * int(minutes) + float(seconds)


@needs_chromium
def test_it_ends_at_the_end_and_begins_again(page: Page, tmp_path: Path) -> None:
    shown(page, rehearsed("van-door"), tmp_path)
    page.get_by_label("Speed").select_option("50")
    page.get_by_role("button", name="Play").click()
    expect(page.locator("#doing")).to_have_text("done", timeout=20_000)
    expect(page.locator("#remaining")).to_have_text("0:00.0")
    expect(page.locator("#contour")).to_have_text("22 of 22")
    page.get_by_role("button", name="Play").click()
    expect(page.locator("#elapsed")).not_to_have_text("0:20.2")


@needs_chromium
def test_steps_go_from_contour_to_contour(page: Page, tmp_path: Path) -> None:
    rehearsal = rehearsed("van-door")
    shown(page, rehearsal, tmp_path)
    page.get_by_role("button", name="Contour on").click()
    expect(page.locator("#contour")).to_have_text("2 of 22")
    begin = rehearsal.films[0].contours[1].begin_s
    assert float(page.locator("#where").get_attribute("data-seconds") or "nan") == pytest.approx(
        begin, abs=1e-5
    )
    page.get_by_role("button", name="Contour back").click()
    expect(page.locator("#contour")).to_have_text("1 of 22")
    page.keyboard.press("Tab")


@needs_chromium
def test_the_canvas_shows_what_is_cut_and_clears_it_going_back(page: Page, tmp_path: Path) -> None:
    shown(page, rehearsed("van-door"), tmp_path)
    dark = (
        "() => { const c = document.getElementById('film'); const p = c.getContext('2d').getImageData(0, 0, "
        "c.width, c.height).data; let n = 0; for (let i = 0; i < p.length; i += 4) "
        "if (p[i + 3] > 200 && p[i] + p[i + 1] + p[i + 2] < 150) n++; return n; }"
    )
    counts = []
    for seconds in (0, 10, 20.169, 0):
        scrubbed(page, seconds)
        counts.append(page.evaluate(dark))
    assert counts[0] == counts[3] == 0
    assert 500 < counts[1] < counts[2]


@needs_chromium
def test_another_film_can_be_chosen_and_names_do_nothing(page: Page, tmp_path: Path) -> None:
    rehearsal = hostile()
    shown(page, rehearsal, tmp_path)
    assert page.locator("h1").inner_text().startswith("</script></title><script>alert(1)")
    assert page.locator("img").count() == 0
    assert page.locator("script").count() == 2
    page.locator("#which").select_option("1")
    expect(page.locator("p[data-film='1']")).to_be_visible()
    expect(page.locator("p[data-film='0']")).to_be_hidden()
    at = rehearsal.at(1, 0.3)
    x, y, kind, _ = scrubbed(page, 0.3)
    assert (x, y) == pytest.approx((at.x_mm, at.y_mm), abs=0.02)
    assert kind == at.doing


@needs_chromium
def test_the_policy_lets_no_other_script_run(browser: Browser, tmp_path: Path) -> None:
    """A script put into the page by a mistake of ours, which is what the policy is there for."""
    html = animation_html(rehearsed("van-door"))
    planted = html.replace("<main>", "<main><script>document.title = 'ran'</script>").replace(
        "<h1>", "<img src='data:,' onerror=\"document.title = 'ran'\"><h1>"
    )
    file = tmp_path / "planted.html"
    file.write_text(planted, "utf-8")
    page = browser.new_page()
    page.goto(file.as_uri())
    expect(page.locator("#contour")).to_have_text("1 of 22")
    assert page.title() != "ran"
    page.close()


def test_the_page_holds_our_script_by_its_hash_and_data_that_are_numbers() -> None:
    html = animation_html(hostile())
    scripts = re.findall(r"<script>(.*?)</script>", html, re.DOTALL)
    styles = re.findall(r"<style>(.*?)</style>", html, re.DOTALL)
    assert len(scripts) == len(styles) == 1
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', html)
    assert policy is not None
    assert policy[1].startswith("default-src 'none'")
    for content in (scripts[0], styles[0]):
        digest = base64.b64encode(hashlib.sha256(content.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy[1]
    assert "unsafe" not in policy[1]
    assert "://" not in html
    data = re.search(r'<script type="application/json" id="cut">(.*?)</script>', html, re.DOTALL)
    assert data is not None
    assert not re.search(r"[<>&]", data[1])

    def leaves(node: object) -> Iterator[object]:
        for part in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
            yield from leaves(part)
        if not isinstance(node, dict | list):
            yield node

    assert {type(leaf) for leaf in leaves(json.loads(data[1]))} <= {int, float}


def test_the_same_rehearsal_gives_the_same_page() -> None:
    assert animation_html(hostile()) == animation_html(hostile())
