"""The command line: exit status, forms of output, files and errors. The check behind it is the real one."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from preflight.checking import check
from preflight.cli import main
from preflight.job import Job
from preflight.readers import read
from preflight.report.model import Report
from preflight.report.text import to_text
from preflight.rules import RULES

SQUARE = '<path d="M50 50H150V150H50Z" fill="#1f4d2b"/>'
TEXT = '<text x="50" y="180" font-size="24">Plot 12</text>'


def svg(body: str) -> bytes:
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="200mm" viewBox="0 0 200 200">'
    return f"{head}{body}</svg>".encode()


@pytest.fixture
def clean(tmp_path: Path) -> Path:
    path = tmp_path / "clean.svg"
    path.write_bytes(svg(SQUARE))
    return path


@pytest.fixture
def faulty(tmp_path: Path) -> Path:
    path = tmp_path / "faulty.svg"
    path.write_bytes(svg(SQUARE + TEXT))
    return path


@pytest.fixture
def broken(tmp_path: Path) -> Path:
    path = tmp_path / "broken.svg"
    path.write_bytes(b"\x00 no artwork at all")
    return path


def run(*arguments: str, data: bytes = b"", **environment: str) -> subprocess.CompletedProcess[bytes]:
    """Run the command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "preflight.cli", *arguments],
        input=data,
        capture_output=True,
        check=False,
        env={**os.environ, **environment},
    )


class TestStatus:
    def test_pass_is_0(self, clean: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["check", str(clean)]) == 0
        assert capsys.readouterr().out.startswith("PASS  clean.svg\n")

    def test_fail_is_1(self, faulty: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["check", str(faulty)]) == 1
        out = capsys.readouterr().out
        assert out.startswith("FAIL  faulty.svg\n")
        assert " 1  ERROR  live-text/" in out

    def test_a_warning_is_0(self, faulty: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        job = tmp_path / "job.toml"
        job.write_text('[severities]\nlive-text = "warning"\n')
        assert main(["check", str(faulty), "--job", str(job)]) == 0
        assert capsys.readouterr().out.startswith("WARN  ")

    def test_unreadable_is_2(self, broken: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["check", str(broken)]) == 2
        captured = capsys.readouterr()
        assert captured.out == ""
        assert captured.err.startswith(f"sign-preflight: {broken}: ")

    def test_the_highest_wins_and_the_other_files_are_still_checked(
        self, clean: Path, faulty: Path, broken: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["check", str(broken), str(faulty), str(clean)]) == 2
        captured = capsys.readouterr()
        assert "FAIL  faulty.svg" in captured.out
        assert "PASS  clean.svg" in captured.out
        assert captured.out.endswith("3 files: 1 fail, 1 pass, 1 could not be checked.\n")
        assert main(["check", str(clean), str(faulty)]) == 1

    def test_a_missing_file(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["check", str(tmp_path / "gone.svg")]) == 2
        assert "could not be opened: No such file or directory" in capsys.readouterr().err

    @pytest.mark.parametrize(
        "arguments", [[], ["check"], ["frobnicate"], ["check", "a.svg", "--format", "xml"]]
    )
    def test_wrong_use_is_2(self, arguments: list[str]) -> None:
        with pytest.raises(SystemExit) as caught:
            main(arguments)
        assert caught.value.code == 2

    @pytest.mark.parametrize(
        ("arguments", "words"),
        [
            (["-", "-"], "only once"),
            (["-", "--job", "-"], "only once"),
            (["a.svg", "b.svg", "--picture", "p.svg"], "goes with one file, not 2"),
            (["a.svg", "--picture", "p.jpg"], "neither .svg nor .png"),
        ],
    )
    def test_contradictions_are_2(
        self, arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["check", *arguments]) == 2
        assert words in capsys.readouterr().err

    def test_a_fault_of_ours_is_told_and_is_not_a_verdict(
        self, clean: Path, faulty: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        def broken_check(*_: object) -> Report:
            raise ZeroDivisionError("some fault")

        monkeypatch.setattr("preflight.checking.check", broken_check)
        assert main(["check", str(clean), str(faulty)]) == 2
        err = capsys.readouterr().err
        assert err.count("ZeroDivisionError: some fault") == 2
        assert "fault of sign-preflight" in err


class TestForms:
    def test_the_text_is_the_reporters(self, faulty: Path, capsys: pytest.CaptureFixture[str]) -> None:
        main(["check", str(faulty), "--unit", "in"])
        report = check(read(faulty.read_bytes(), faulty.name), Job())
        assert capsys.readouterr().out == to_text(report, unit="in")

    def test_json_of_one_file_is_the_report(self, faulty: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["check", str(faulty), "--format", "json"]) == 1
        report = Report.model_validate_json(capsys.readouterr().out)
        assert report == check(read(faulty.read_bytes(), faulty.name), Job())

    def test_json_of_several_is_a_list(
        self, clean: Path, broken: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["check", str(clean), str(broken), "--format", "json"]) == 2
        first, second = json.loads(capsys.readouterr().out)
        assert first["file"] == str(clean)
        assert Report.model_validate(first["report"]).verdict == "pass"
        assert set(second) == {"file", "error"}
        assert set(second["error"]) == {"code", "message", "advice"}

    def test_json_of_one_broken_file_is_its_error(
        self, broken: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["check", str(broken), "--format", "json"]) == 2
        assert json.loads(capsys.readouterr().out)["file"] == str(broken)

    def test_output_to_a_file(self, clean: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        target = tmp_path / "report.json"
        assert main(["check", str(clean), "--format", "json", "--output", str(target)]) == 0
        assert capsys.readouterr().out == ""
        assert Report.model_validate_json(target.read_bytes()).verdict == "pass"

    def test_output_that_cannot_be_written(
        self, clean: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["check", str(clean), "--output", str(tmp_path / "no" / "where")]) == 2
        assert "could not be written" in capsys.readouterr().err

    def test_colours_only_when_wanted(self, faulty: Path, capsys: pytest.CaptureFixture[str]) -> None:
        main(["check", str(faulty)])
        assert "\x1b" not in capsys.readouterr().out
        main(["check", str(faulty), "--color", "always"])
        assert "\x1b[1;31mFAIL\x1b[0m" in capsys.readouterr().out

    def test_pictures(self, faulty: Path, tmp_path: Path) -> None:
        vector, pixels = tmp_path / "p.svg", tmp_path / "p.PNG"
        assert main(["check", str(faulty), "--picture", str(vector)]) == 1
        assert main(["check", str(faulty), "--picture", str(pixels)]) == 1
        assert vector.read_text("utf-8").lstrip().startswith("<svg")
        # ISO/IEC 15948 (PNG), 5.2: the signature.
        assert pixels.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"

    def test_progress_on_standard_error(
        self, clean: Path, faulty: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        main(["check", str(clean), str(faulty), "--progress"])
        assert capsys.readouterr().err == f"[1/2] {clean}\n[2/2] {faulty}\n"
        main(["check", str(clean), str(faulty)])
        assert capsys.readouterr().err == ""


class TestJob:
    def test_settings_reach_the_check(
        self, clean: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        job = tmp_path / "job.json"
        job.write_text('{"size": {"width": "2 ft"}}')
        assert main(["check", str(clean), "--job", str(job)]) == 0
        assert "609.6 mm wide, 609.6 mm high" in capsys.readouterr().out

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            ("blade.ofset = 1", "blade.ofset: there is no such setting. Did you mean “offset”?"),
            ("severities.life-text = 'off'", "there is no rule “life-text”. Did you mean “live-text”?"),
            ("[x", "not valid TOML"),
        ],
    )
    def test_a_wrong_job_is_2_and_nothing_is_checked(
        self, text: str, words: str, clean: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        job = tmp_path / "job.toml"
        job.write_text(text)
        assert main(["check", str(clean), "--job", str(job)]) == 2
        captured = capsys.readouterr()
        assert captured.out == ""
        assert words in captured.err

    def test_the_guides_example_is_accepted(
        self, clean: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        guide = (Path(__file__).parents[1] / "docs" / "job.md").read_text("utf-8")
        job = tmp_path / "job.toml"
        job.write_text(guide.split("```toml\n")[1].split("```")[0])
        # The square becomes 300 mm wide, which a roll 24 in wide has room for.
        assert main(["check", str(clean), "--job", str(job)]) == 0
        assert "600 mm wide" in capsys.readouterr().out

    def test_a_size_that_does_not_fit_one_file(
        self, clean: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        job = tmp_path / "job.toml"
        job.write_text("size = { width = 300, height = 400 }")
        assert main(["check", str(clean), "--job", str(job)]) == 2
        assert "does not have the proportions" in " ".join(capsys.readouterr().err.split())


class TestCatalogue:
    def test_rules_lists_all(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["rules"]) == 0
        lines = capsys.readouterr().out.splitlines()
        assert [line.split()[0] for line in lines] == [rule.code for rule in RULES]

    @pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
    def test_every_rule_is_explained(self, rule: object, capsys: pytest.CaptureFixture[str]) -> None:
        from preflight.rules.rule import Rule

        assert isinstance(rule, Rule)
        assert main(["explain", rule.code]) == 0
        out = capsys.readouterr().out
        text = " ".join(out.split())
        for part in (rule.title, rule.why, rule.how_measured, rule.remedy):
            assert " ".join(part.split()) in text
        for case, severity in rule.cases.items():
            assert f"  {rule.code}/{case}: {severity.value}\n" in out
        for parameter in rule.parameters:
            assert parameter.name in out
        assert max(len(line) for line in out.splitlines()) <= 100

    def test_a_misspelt_code(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["explain", "live-txt"]) == 2
        assert "Did you mean “live-text”?" in capsys.readouterr().err


class TestProcess:
    def test_standard_input_and_output(self, faulty: Path) -> None:
        done = run("check", "-", "--format", "json", data=faulty.read_bytes())
        assert done.returncode == 1
        report = Report.model_validate_json(done.stdout)
        assert report.source.name is None
        assert done.stderr == b""

    def test_output_is_utf8_whatever_the_locale(self, broken: Path, faulty: Path) -> None:
        done = run("check", str(faulty), str(broken), PYTHONIOENCODING="ascii")
        assert "Plot 12" in done.stdout.decode("utf-8")
        assert done.returncode == 2

    def test_the_same_bytes_in_two_processes(self, faulty: Path) -> None:
        outputs = {
            run("check", str(faulty), "--format", "json", PYTHONHASHSEED=seed).stdout for seed in ("1", "2")
        }
        assert len(outputs) == 1

    def test_a_reader_that_goes_away(self, faulty: Path) -> None:
        command = [sys.executable, "-m", "preflight.cli", "check", str(faulty)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
            assert process.stdout is not None
            assert process.stderr is not None
            process.stdout.close()
            assert process.stderr.read() == b""
        assert process.returncode == 2

    def test_version(self) -> None:
        from preflight.version import __version__

        assert run("--version").stdout.decode().strip() == f"sign-preflight {__version__}"

    def test_endless_input_is_bounded(self) -> None:
        # More is never read than one byte past the reader's limit.
        done = run("check", "/dev/zero")
        assert done.returncode == 2
        assert b"sign-preflight: /dev/zero: " in done.stderr
        assert len(done.stderr) < 1000
