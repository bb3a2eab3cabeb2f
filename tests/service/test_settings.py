"""Settings are validated before anything starts."""

from __future__ import annotations

import subprocess
import sys

import pytest
from pydantic import ValidationError

from service.__main__ import main
from service.negotiation import choose
from service.problems import ProblemError
from service.settings import Settings, SettingsError, from_environment
from tests.service.conftest import ROOT, Server


def test_the_environment_sets_what_it_names(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SIGN_PREFLIGHT_WORKERS", "3")
    monkeypatch.setenv("SIGN_PREFLIGHT_WORK_SECONDS", "2.5")
    settings = from_environment()
    assert (settings.workers, settings.work_seconds) == (3, 2.5)
    assert settings.port == Settings().port


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("WORKERS", "0", "greater than or equal to 1"),
        ("WORKERS", "many", "integer"),
        ("PORT", "70000", "less than or equal to 65535"),
        ("WORK_SECONDS", "nan", "WORK_SECONDS"),
        ("WORK_SECONDS", "inf", "WORK_SECONDS"),
        ("LOG_LEVEL", "loud", "debug"),
        ("FONTS", "/nowhere/at/all", "no such folder"),
        ("STAND_INS", "sans-serif", "family=font"),
        ("STAND_INS", "sans-serif=A;=B", "family=font"),
        ("SEARCH_SECONDS", "1", "greater than or equal to 2"),
        ("WORKRES", "2", "Did you mean SIGN_PREFLIGHT_WORKERS?"),
    ],
)
def test_a_wrong_setting_is_named(monkeypatch: pytest.MonkeyPatch, name: str, value: str, said: str) -> None:
    monkeypatch.setenv(f"SIGN_PREFLIGHT_{name}", value)
    with pytest.raises(SettingsError) as caught:
        from_environment()
    assert f"SIGN_PREFLIGHT_{name}" in str(caught.value)
    assert said in str(caught.value)


def test_the_service_does_not_start_with_a_wrong_setting(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("SIGN_PREFLIGHT_QUEUE", "-1")
    assert main([]) == 2
    assert "SIGN_PREFLIGHT_QUEUE" in capsys.readouterr().err
    monkeypatch.delenv("SIGN_PREFLIGHT_QUEUE")
    assert main(["--port", "99999"]) == 2


def test_stand_ins_are_read_in_pairs_and_a_search_leaves_time_for_the_rest() -> None:
    settings = Settings(stand_ins="sans-serif = Source Sans Pro; Arial=Source Sans Pro", work_seconds=6)
    assert settings.families == (("sans-serif", "Source Sans Pro"), ("Arial", "Source Sans Pro"))
    assert settings.longest_search == 3
    assert Settings(search_seconds=4).longest_search == 4


def test_settings_do_not_change() -> None:
    with pytest.raises(ValidationError):
        Settings().workers = 5


def test_the_health_check_tells_a_running_service_from_none(server: Server) -> None:
    port = server.url.rpartition(":")[2]
    command = [sys.executable, "-m", "service", "healthcheck", "--port"]
    assert subprocess.run([*command, port], cwd=ROOT, check=False).returncode == 0
    none = subprocess.run([*command, "1"], cwd=ROOT, check=False, capture_output=True)
    assert none.returncode == 1
    assert b"http://127.0.0.1:1/readyz" in none.stderr


@pytest.mark.parametrize(
    ("accept", "chosen"),
    [
        # RFC 9110, 12.4.2: weights run from 0.001 to 1, and 0 means not acceptable; 12.5.1: precedence.
        (None, "a/x"),
        ("a/y", "a/y"),
        ("A/Y", "a/y"),
        ("a/*", "a/x"),
        ("a/x;q=0.5, a/y;q=0.501", "a/y"),
        ("a/x;q=0, a/*;q=0.1", "a/y"),
        ("b/z, */*;q=0.01", "a/x"),
        ("a/x;q=0.2;level=1, a/y;q=0.1", "a/x"),
        ("a/x;q=rubbish, a/y;q=0.1", "a/y"),
        (" , a/y ,", "a/y"),
    ],
)
def test_the_most_wanted_type_is_chosen(accept: str | None, chosen: str) -> None:
    assert choose(accept, ("a/x", "a/y")) == chosen


@pytest.mark.parametrize("accept", ["b/z", "a/x;q=0", "*/*;q=0", "a/x;q=nan"])
def test_nothing_acceptable_is_a_problem(accept: str) -> None:
    with pytest.raises(ProblemError) as caught:
        choose(accept, ("a/x",))
    assert caught.value.kind.status == 406
