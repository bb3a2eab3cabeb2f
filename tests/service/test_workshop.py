"""Job sheets, rehearsals and layouts from outside: every form, every refusal, and as operations of jobs."""

from __future__ import annotations

import asyncio
import io
import json
import sys
import time
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import httpx
import pypdfium2
import pytest
from PIL import Image

from preflight.cutting.rehearsal import Rehearsal
from preflight.jobsheet import JobSheet
from service import library
from service.problems import ProblemError
from service.settings import Settings
from service.tasks import Answer, Task, attempt, options_of
from service.work import settled
from service.workshop import LaidOut, PanelledOut
from tests.service.conftest import ROOT, SVG, assert_problem, running

JOB = json.dumps({"roll": {"width": "610 mm"}, "film": {"price": 8}})
EMPTY = b'<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="100mm" viewBox="0 0 300 100"/>'
SIGN = (ROOT / "examples" / "artwork" / "gate-board.svg").read_bytes()
TWO_FILMS = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="100mm" viewBox="0 0 300 100">'
    b'<path fill="#1f5f3a" d="M20 20h260v60H20z"/><path fill="#f0a71f" d="M40 30h30v20H40z"/></svg>'
)


def post(client: httpx.Client, path: str, accept: str, artwork: bytes = SVG, **more: Any) -> httpx.Response:
    form = {
        "artwork": ("bar.svg", artwork, "image/svg+xml"),
        "job": ("job.json", JOB.encode(), "application/json"),
    }
    return client.post(path, files=form, headers={"accept": accept}, **more)


class TestJobSheets:
    def test_json_follows_the_published_model(self, client: httpx.Client) -> None:
        answer = post(client, "/v1/jobsheets", "application/json")
        sheet = JobSheet.model_validate_json(answer.content)
        # A rectangle of 260 by 60 mm, and on the roll a border of 10 mm on each side and a lead of 50 mm.
        assert sheet.films[0].cut_length == pytest.approx(640)
        assert sheet.films[0].roll is not None
        assert sheet.films[0].roll.along == pytest.approx(60 + 2 * 10 + 2 * 50)

    def test_a_page_is_sandboxed_and_runs_nothing(self, client: httpx.Client) -> None:
        answer = post(client, "/v1/jobsheets", "text/html")
        assert answer.headers["content-type"] == "text/html; charset=utf-8"
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; style-src 'sha256-")
        assert policy.endswith("; sandbox")
        assert "script" not in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "bar.svg" in answer.text

    @pytest.mark.parametrize(("paper", "size"), [("a4", (595.276, 841.89)), ("letter", (612, 792))])
    def test_a_pdf_on_either_paper(self, client: httpx.Client, paper: str, size: tuple[float, float]) -> None:
        """ISO 216: A4 is 210 by 297 mm; ANSI/ASME Y14.1: Letter is 8.5 by 11 in; 72 pt to the inch."""
        answer = post(client, f"/v1/jobsheets?paper={paper}", "application/pdf")
        assert answer.headers["content-type"] == "application/pdf"
        page = pypdfium2.PdfDocument(answer.content)[0]
        assert page.get_size() == pytest.approx(size, abs=0.1)

    def test_it_can_be_fetched_again_with_its_policy(self, client: httpx.Client) -> None:
        made = post(client, "/v1/jobsheets", "text/html")
        again = client.get(made.headers["content-location"])
        assert again.content == made.content
        assert again.headers["content-security-policy"] == made.headers["content-security-policy"]
        assert_problem(client.get("/v1/jobsheets/" + "0" * 32), "unknown-answer", 404)

    def test_a_sheet_is_no_report(self, client: httpx.Client) -> None:
        """One resource does not answer at another's address."""
        made = post(client, "/v1/jobsheets", "text/html")
        mark = made.headers["content-location"].rpartition("/")[2]
        assert_problem(client.get(f"/v1/reports/{mark}"), "unknown-answer", 404)

    def test_nothing_to_cut_is_a_problem(self, client: httpx.Client) -> None:
        problem = assert_problem(post(client, "/v1/jobsheets", "text/html", EMPTY), "cannot-be-done", 422)
        assert problem["code"] == "nothing-to-cut"

    def test_refusals(self, client: httpx.Client) -> None:
        assert_problem(post(client, "/v1/jobsheets", "image/png"), "not-acceptable", 406)
        assert_problem(post(client, "/v1/jobsheets?paper=a5", "text/html"), "invalid-parameter", 422)
        assert_problem(post(client, "/v1/jobsheets", "text/html", b"no"), "unreadable-artwork", 422)


class TestRehearsals:
    def test_json_follows_the_published_model(self, client: httpx.Client) -> None:
        answer = post(client, "/v1/rehearsals", "application/json")
        cut = Rehearsal.model_validate_json(answer.content)
        assert [film.cut_length_mm for film in cut.films] == [pytest.approx(640)]
        assert cut.options.entry == "turned"

    def test_parameters_are_taken(self, client: httpx.Client) -> None:
        answer = post(client, "/v1/rehearsals?entry=as-left&small_parts_first=false", "application/json")
        assert answer.json()["options"] == {"small_parts_first": False, "entry": "as-left"}

    def test_a_page_may_run_only_our_own_script(self, client: httpx.Client) -> None:
        answer = post(client, "/v1/rehearsals", "text/html")
        policy = answer.headers["content-security-policy"]
        assert "script-src 'sha256-" in policy
        assert policy.endswith("; sandbox allow-scripts")
        assert "unsafe" not in policy
        # What the page itself allows is what the header allows.
        for part in ("script-src", "style-src"):
            (stated,) = [one.strip() for one in policy.split(";") if one.strip().startswith(part)]
            assert stated in answer.text

    def test_pictures(self, client: httpx.Client) -> None:
        svg = post(client, "/v1/rehearsals?width=640", "image/svg+xml")
        assert ET.fromstring(svg.content).get("width") == "640"
        png = post(client, "/v1/rehearsals?width=640", "image/png")
        assert Image.open(io.BytesIO(png.content)).width == 640

    def test_one_film_of_several(self, client: httpx.Client) -> None:
        def titles(query: str) -> int:
            return post(client, f"/v1/rehearsals{query}", "text/html", TWO_FILMS).text.count("data-film=")

        assert (titles(""), titles("?film=%23f0a71f")) == (2, 1)
        problem = assert_problem(
            post(client, "/v1/rehearsals?film=gold", "text/html", TWO_FILMS), "cannot-be-done", 422
        )
        assert problem["code"] == "film-unknown"
        assert "#f0a71f" in problem["advice"]

    def test_nothing_to_cut_is_a_problem(self, client: httpx.Client) -> None:
        assert_problem(post(client, "/v1/rehearsals", "image/png", EMPTY), "cannot-be-done", 422)


class TestLayouts:
    def order(
        self, client: httpx.Client, query: str = "", accept: str = "application/json", **parts: str
    ) -> httpx.Response:
        form = [("artwork", ("bar.svg", SVG)), ("artwork", ("two.svg", TWO_FILMS))]
        form += [("job", ("job.json", JOB.encode()))]
        return client.post(f"/v1/layouts{query}", files=form, data=parts, headers={"accept": accept})

    def test_one_artwork_alone(self, client: httpx.Client) -> None:
        answer = post(client, "/v1/layouts", "application/json")
        laid = LaidOut.model_validate_json(answer.content).layout
        # 260 by 60 mm with borders of 10 mm, 50 mm of lead: as drawn it takes 180 mm of film.
        assert laid.films[0].use is not None
        assert laid.films[0].use.film_length_mm == pytest.approx(180)
        assert laid.cost == pytest.approx(0.61 * 0.18 * 8, abs=0.01)

    def test_several_in_copies(self, client: httpx.Client) -> None:
        answer = self.order(client, "?copies=3&copies=2", options='{"nest": false}')
        laid = LaidOut.model_validate_json(answer.content).layout
        assert [(line.name, line.copies) for line in laid.lines] == [("bar.svg", 3), ("two.svg", 2)]
        assert sorted(len(film.placements) for film in laid.films) == [2, 5]

    def test_outlines_are_nested_in_a_worker(self, client: httpx.Client) -> None:
        """A worker may start no process and write no file; the search runs in it all the same."""
        ring = (
            '<path d="M0 0h100v100h-100z M20 20v60h60v-60z"/><path d="M30 30l40 10-20 30z" fill="#f0a71f"/>'
        )
        drawing = SVG.replace(b"</svg>", ring.encode() + b"</svg>")
        answer = client.post(
            "/v1/layouts?copies=4",
            files={"artwork": ("a.svg", drawing), "job": JOB.encode()},
            data={"options": '{"turns": "any", "seconds": 600}'},
        )
        laid = LaidOut.model_validate_json(answer.content).layout
        assert laid.verdict == "fits"
        searches = {film.search.engine for film in laid.films if film.search}
        assert "irregular" in searches
        # The service's own bound goes before what the options ask for.
        assert laid.options.seconds == 8

    def test_pictures(self, client: httpx.Client) -> None:
        svg = self.order(client, "?width=640", "image/svg+xml", options="nest = false")
        assert ET.fromstring(svg.content).get("width") == "640"
        png = self.order(client, "?width=640", "image/png", options="nest = false")
        assert Image.open(io.BytesIO(png.content)).width == 640

    def test_files_for_production(self, client: httpx.Client) -> None:
        answer = self.order(client, "?copies=2&format=svg", options="nest = false")
        files = LaidOut.model_validate_json(answer.content).files
        assert [file.standing for file in files] == ["geometry-proved", "geometry-proved"]
        for file in files:
            ET.fromstring(file.content)
            assert file.caution

    def test_one_films_file_alone(self, client: httpx.Client) -> None:
        query = "?copies=2&format=pdf"
        problem = assert_problem(
            self.order(client, query, "application/pdf", options="nest = false"), "unwritable-file", 422
        )
        assert problem["code"] == "several-films"
        answer = self.order(client, f"{query}&film=%23f0a71f", "application/pdf", options="nest = false")
        assert answer.content.startswith(b"%PDF")
        assert answer.headers["preflight-standing"] == "geometry-proved"
        assert answer.headers["content-disposition"].endswith('.cut.pdf"')
        unknown = self.order(client, f"{query}&film=gold", "application/pdf", options="nest = false")
        assert assert_problem(unknown, "unwritable-file", 422)["code"] == "film-unknown"

    def test_refusals(self, client: httpx.Client) -> None:
        wrong = self.order(client, options='{"turn": "any"}')
        assert "turns" in assert_problem(wrong, "invalid-job", 422)["detail"]
        assert_problem(self.order(client, "?copies=1&copies=2&copies=3"), "cannot-be-done", 422)
        assert_problem(self.order(client, "?copies=0"), "invalid-parameter", 422)
        assert_problem(post(client, "/v1/layouts", "application/json", EMPTY), "cannot-be-done", 422)
        assert_problem(self.order(client, extra="x"), "malformed-request", 400)

    def test_an_engine_that_is_not_installed(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """In this process, where a library can be hidden: what the worker says, and what becomes of it."""
        monkeypatch.setitem(sys.modules, "rectpack", None)
        options = options_of("layout-json", '{"copies": 2}', search_seconds=2)
        task = Task("layout-json", SVG, job=JOB.encode(), options=options)
        answer = attempt(task, library.run)
        assert (answer.outcome, answer.code) == ("absent", "nesting-engine-missing")

        async def worker() -> Answer:
            return answer

        with pytest.raises(ProblemError) as caught:
            asyncio.run(settled(worker(), Settings(), "0" * 32))
        assert (caught.value.kind.status, caught.value.kind.slug) == (501, "not-installed")
        assert "sign-preflight[nesting]" in caught.value.advice

    def test_nothing_is_kept_under_an_address(self, client: httpx.Client) -> None:
        assert "content-location" not in post(client, "/v1/layouts", "application/json").headers


class TestPanels:
    WIDE = (
        b'<svg xmlns="http://www.w3.org/2000/svg" width="1500mm" height="700mm" viewBox="0 0 1500 700">'
        b'<path fill="#1f5f3a" d="M50 50h400v600H50z M550 50h400v600H550z M1050 50h400v600h-400z"/></svg>'
    )

    def parted(self, client: httpx.Client, query: str, accept: str) -> httpx.Response:
        form = {"artwork": ("wide.svg", self.WIDE), "job": ("job.json", JOB.encode())}
        options = {"options": '{"seams": "vertical"}'}
        return client.post(f"/v1/panels{query}", files=form, data=options, headers={"accept": accept})

    def test_a_sign_in_three_panels(self, client: httpx.Client) -> None:
        """Bars of 400 by 600 mm, 100 mm apart; a roll of 610 mm has room for one."""
        answer = self.parted(client, "", "application/json")
        out = PanelledOut.model_validate_json(answer.content)
        (film,) = out.panelling.films
        assert (film.verdict, len(film.panels), len(film.seams)) == ("panels", 3, 2)
        assert not any(seam.through_film for seam in film.seams)
        assert not out.files
        assert not out.proofs

    def test_files_and_their_proof(self, client: httpx.Client) -> None:
        answer = self.parted(client, "?format=svg", "application/json")
        out = PanelledOut.model_validate_json(answer.content)
        assert [file.panel for file in out.files] == [1, 2, 3]
        assert all(proof.proved for proof in out.proofs)
        assert len({file.name for file in out.files}) == 3
        assert all(file.standing == "geometry-proved" for file in out.files)

    def test_one_panels_file_alone(self, client: httpx.Client) -> None:
        several = post(client, "/v1/panels?format=pdf", "application/pdf", self.WIDE)
        assert assert_problem(several, "unwritable-file", 422)["code"] == "several-panels"
        alone = post(client, "/v1/panels?format=pdf&panel=2", "application/pdf", self.WIDE)
        assert alone.content.startswith(b"%PDF")
        assert "panel-2" in alone.headers["content-disposition"]
        none = post(client, "/v1/panels?format=pdf&panel=4", "application/pdf", self.WIDE)
        assert assert_problem(none, "unwritable-file", 422)["code"] == "panel-unknown"

    def test_drawings(self, client: httpx.Client) -> None:
        svg = post(client, "/v1/panels?width=900", "image/svg+xml", self.WIDE)
        assert ET.fromstring(svg.content).get("width") == "900"
        png = post(client, "/v1/panels?width=900", "image/png", self.WIDE)
        assert Image.open(io.BytesIO(png.content)).width == 900

    def test_refusals(self, client: httpx.Client) -> None:
        form = [("artwork", ("a.svg", SVG)), ("artwork", ("b.svg", SVG))]
        assert_problem(client.post("/v1/panels", files=form), "malformed-request", 400)
        wrong = client.post("/v1/panels", files={"artwork": SVG}, data={"options": '{"prefer": "none"}'})
        assert_problem(wrong, "invalid-job", 422)
        unstated = client.post("/v1/panels?format=svg", files={"artwork": self.WIDE})
        assert assert_problem(unstated, "cannot-be-done", 422)["code"] == "panels-empty"


class TestRepairs:
    def test_weed_lines_are_layers_of_their_own(self, client: httpx.Client) -> None:
        plain = client.post("/v1/repairs?format=svg", files={"artwork": SIGN})
        lined = client.post("/v1/repairs?format=svg&weed_lines=true", files={"artwork": SIGN})
        assert "weed lines" not in plain.text
        assert lined.text.count("weed lines") == 2
        assert lined.headers["preflight-standing"] == "geometry-proved"

    def test_a_pdf_is_taken_as_a_raw_body(self, client: httpx.Client) -> None:
        made = client.post("/v1/repairs?format=pdf", files={"artwork": SIGN}).content
        answer = client.post("/v1/reports", content=made, headers={"content-type": "application/pdf"})
        assert answer.status_code == 200
        assert answer.json()["source"]["format"] == "pdf"


class TestAsJobs:
    @pytest.mark.parametrize(
        ("operation", "format", "options", "media"),
        [
            ("jobsheet", "pdf", '{"paper": "letter"}', "application/pdf"),
            ("jobsheet", "html", "", "text/html; charset=utf-8"),
            ("rehearsal", "json", 'entry = "as-left"', "application/json"),
            ("rehearsal", "html", "", "text/html; charset=utf-8"),
            ("layout", "json", '{"copies": 3, "nest": false}', "application/json"),
            ("layout", "png", "", "image/png"),
            ("panels", "svg", '{"marks": false}', "image/svg+xml"),
            ("repair", "svg", "weed_lines = true", "image/svg+xml"),
        ],
    )
    def test_every_operation(
        self, client: httpx.Client, operation: str, format: str, options: str, media: str
    ) -> None:
        parts = {"options": options} if options else {}
        answer = client.post(
            f"/v1/jobs?operation={operation}&format={format}",
            files={"artwork": ("bar.svg", SVG), "job": JOB.encode()},
            data=parts,
        )
        result = _result(client, answer)
        assert result.headers["content-type"] == media
        if media.startswith("text/html"):
            assert "sandbox" in result.headers["content-security-policy"]
            assert "default-src 'none'" in result.headers["content-security-policy"]
        if operation == "rehearsal" and format == "json":
            assert result.json()["options"]["entry"] == "as-left"
        if operation == "layout" and format == "json":
            assert len(result.json()["layout"]["films"][0]["placements"]) == 3
        if operation == "repair":
            assert "weed lines" in result.text
        if operation == "jobsheet" and format == "pdf":
            assert pypdfium2.PdfDocument(result.content)[0].get_width() == pytest.approx(612, abs=0.1)

    def test_wrong_options_are_the_files_problem(self, client: httpx.Client) -> None:
        answer = client.post(
            "/v1/jobs?operation=jobsheet", files={"artwork": SVG}, data={"options": '{"paper": "a5"}'}
        )
        assert_problem(_result(client, answer), "invalid-job", 422)


class TestFonts:
    def test_text_is_outlined_in_the_operators_fonts(self, tmp_path: Path) -> None:
        package = pytest.importorskip("font_source_sans_pro", reason="the dev dependency is missing")
        font = Path(package.font_files_otf["SourceSansPro"])
        (tmp_path / "fonts").mkdir()
        (tmp_path / "fonts" / font.name).write_bytes(font.read_bytes())
        drawing = SVG.replace(
            b"</svg>", b'<text x="30" y="95" font-family="sans-serif" font-size="10">Leeks</text></svg>'
        )
        settings = {"fonts": tmp_path / "fonts", "stand_ins": "sans-serif=Source Sans Pro", "workers": 1}
        with running("service", tmp_path, **settings) as server, server.client() as client:
            mended = client.post("/v1/repairs", files={"artwork": drawing}).json()
        assert mended["proved"], mended["proof"]["reasons"]
        # The bar and four letters without, and two e with a counter: five pieces, seven contours and more.
        assert any("outline" in action["step"] or "text" in action["step"] for action in mended["actions"])

    def test_without_them_it_is_not_proved(self, client: httpx.Client) -> None:
        drawing = SVG.replace(b"</svg>", b'<text x="30" y="95" font-family="sans-serif">Leeks</text></svg>')
        assert not client.post("/v1/repairs", files={"artwork": drawing}).json()["proved"]


def _result(client: httpx.Client, accepted: httpx.Response) -> httpx.Response:
    """Wait for the job's one file and return its result, or its problem."""
    assert accepted.status_code == 202, accepted.text
    path, end = accepted.headers["location"], time.monotonic() + 60
    while client.get(path).json()["state"] != "done":
        assert time.monotonic() < end, client.get(path).text
        time.sleep(0.05)
    return client.get(f"{path}/results/1")
