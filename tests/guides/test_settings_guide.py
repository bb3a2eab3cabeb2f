"""Every job in the guide is one, and does what the guide says of it."""

from __future__ import annotations

import json
import runpy
from pathlib import Path
from typing import Literal

import pytest

import preflight
from preflight import Job
from preflight.errors import JobError
from preflight.report.model import Report
from tests.guides.blocks import blocks, languages, written

GUIDE = "job-settings.md"
JOBS = {name: text for name, text in blocks(GUIDE, "file").items() if not name.endswith(".py")}


def job(name: str) -> Job:
    form: Literal["json", "toml"] = "toml" if name.endswith(".toml") else "json"
    return Job.parse(JOBS[name].encode(), form)


def svg(width: str, height: str, inside: str, view: str = "0 0 300 200") -> bytes:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="{view}">{inside}</svg>'
    ).encode()


BOARD = '<path fill="#1f5b3a" d="M10 10h280v180H10z"/>'


def check(artwork: bytes, stated: Job) -> Report:
    return preflight.check(preflight.read(artwork), stated)


def test_every_block_is_taken_out() -> None:
    assert len(blocks(GUIDE, "file")) == len(languages(GUIDE))


@pytest.mark.parametrize("name", JOBS)
def test_every_job_is_one_and_says_something(name: str) -> None:
    assert job(name) != Job()


def test_the_size_is_the_stated_one() -> None:
    unstated = svg("300", "200", BOARD)
    assert check(unstated, job("size.json")).measures.width_mm == pytest.approx(600.0)
    # 300 by 200 is 3:2, as 600 by 400 mm.
    assert check(unstated, job("both.json")).measures.height_mm == pytest.approx(400.0)
    with pytest.raises(JobError, match="400"):
        check(svg("300", "100", BOARD, "0 0 300 100"), job("both.json"))


def test_films_are_fitted_on_their_own_rolls() -> None:
    two = (
        '<path fill="#1f5b3a" d="M10 10h200v180H10z"/><path fill="#f0a71f" d="M220 10h60v180h-60z"/>'
        '<path fill="#fff" d="M50 50h50v50H50z"/>'
    )
    report = check(svg("300", "200", two), job("films.toml"))
    # The roll less its two margins of 10 mm, which are the stock ones (docs/job.md).
    assert {fit.film: fit.usable_width_mm for fit in report.roll} == {
        "green": pytest.approx(590.0),
        "gold": pytest.approx(285.0),
    }
    assert not any(one.code == "colour-role-unstated" for one in report.findings)


def test_what_is_too_wide_is_off_the_roll() -> None:
    # 800 mm wide and 533 mm high; 24 in is 609.6 mm, of which the machine cuts 590 mm: it fits turned.
    wide = check(svg("300", "200", BOARD), job("roll.json"))
    assert [fit.verdict for fit in wide.roll] == ["fits-turned"]
    drawing = svg("200", "200", '<path d="M10 10h180v180H10z"/>', "0 0 200 200")
    square = check(drawing, job("roll.json"))
    assert ("off-roll", "warning") in {(one.code, one.severity) for one in square.findings}
    text = (
        JOBS["roll.json"].rstrip().removesuffix("}") + ', "severities": {"off-roll/panels-needed": "error"}}'
    )
    strict = check(drawing, Job.parse(text.encode(), "json"))
    assert ("off-roll", "error") in {(one.code, one.severity) for one in strict.findings}


def test_severities_are_as_stated() -> None:
    narrow = svg("300mm", "200mm", '<path d="M10 10h100v100H10z"/><path d="M110.2 10h100v100h-100z"/>')
    stock = {one.severity for one in check(narrow, Job()).findings if one.code == "narrow-gap"}
    strict = {one.severity for one in check(narrow, job("strict.json")).findings if one.code == "narrow-gap"}
    assert stock
    assert stock != {"note"}
    assert strict == {"note"}


def test_an_order_becomes_a_job(tmp_path: Path) -> None:
    made = runpy.run_path(str(written(GUIDE, tmp_path) / "order_job.py"))["job_of"]
    for product in ("van-lettering", "window-sign", "board"):
        for film in ("green-cast", "gold-metallic"):
            order = {"product": product, "film": film, "width_mm": 600}
            stated = Job.parse(json.dumps(made(order)).encode(), "json")
            assert stated.size.width == pytest.approx(600.0)
            assert stated.use == ("vehicle" if product == "van-lettering" else "exterior")
            assert stated.surface == ("second" if product == "window-sign" else "first")
