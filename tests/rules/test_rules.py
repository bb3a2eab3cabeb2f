"""Every rule against its data file: artwork that passes, and artwork that fails with which case.

A data file is ``data/CODE.toml`` with ``[[passes]]`` and ``[[fails]]`` tables: ``name``, ``svg`` (the
body of a drawing of 100 by 100 mm, or a whole document), ``job`` (TOML text, optional); a failing one
also ``case``, and optionally ``findings`` (how many), ``severity``, ``measured`` with ``within``,
``point`` (mm, within 0.5 mm), ``source`` (where the expected value comes from).
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

import preflight
from preflight.report.model import Finding

DATA = Path(__file__).parent / "data"
CODES = [rule.code for rule in preflight.RULES]


def load(code: str) -> dict[str, list[dict[str, Any]]]:
    return tomllib.loads((DATA / f"{code}.toml").read_text(encoding="utf-8"))


def cases(kind: str) -> list[Any]:
    return [
        pytest.param(code, entry, id=f"{code}: {entry['name']}")
        for code in CODES
        for entry in load(code).get(kind, [])
    ]


def found(code: str, entry: dict[str, Any]) -> list[Finding]:
    body = entry["svg"]
    if not body.lstrip().startswith("<svg"):
        body = (
            '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="100mm" '
            f'height="100mm" viewBox="0 0 100 100">{body}</svg>'
        )
    job = preflight.Job.parse(entry.get("job", ""), "toml")
    report = preflight.check(preflight.read(body.encode()), job)
    return [finding for finding in report.findings if finding.code == code]


@pytest.mark.parametrize("code", CODES)
def test_every_case_of_every_rule_has_a_failing_example_and_every_rule_a_passing_one(code: str) -> None:
    data = load(code)
    rule = next(rule for rule in preflight.RULES if rule.code == code)
    assert data["passes"], "no passing example"
    assert {entry["case"] for entry in data["fails"]} == set(rule.cases)


@pytest.mark.parametrize(("code", "entry"), cases("passes"))
def test_passes(code: str, entry: dict[str, Any]) -> None:
    assert [finding.message for finding in found(code, entry)] == []


@pytest.mark.parametrize(("code", "entry"), cases("fails"))
def test_fails(code: str, entry: dict[str, Any]) -> None:
    findings = [finding for finding in found(code, entry) if finding.case == entry["case"]]
    assert findings, f"no finding of {code}/{entry['case']}"
    if "findings" in entry:
        assert len(findings) == entry["findings"]
    worst = findings[0]
    rule = next(rule for rule in preflight.RULES if rule.code == code)
    assert worst.severity == entry.get("severity", rule.cases[entry["case"]])
    assert worst.message
    assert worst.detail
    if "measured" in entry:
        assert worst.measured == pytest.approx(entry["measured"], abs=entry.get("within", 0.02))
    if "point" in entry:
        assert worst.places[0].point == pytest.approx(entry["point"], abs=0.5)
