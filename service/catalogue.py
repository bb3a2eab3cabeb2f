"""The rules as the service shows them, made from the rules themselves."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from preflight.report.model import Severity
from preflight.rules import RULES
from preflight.rules.rule import Rule


class _Shown(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class ParameterInfo(_Shown):
    """A value of the job that a rule compares with."""

    name: Annotated[str, Field(description="Dotted name in the job")]
    meaning: str
    unit: str
    source: Annotated[str, Field(description="Where the stock value comes from")]


class RuleInfo(_Shown):
    """One rule's published text and settings."""

    code: Annotated[str, Field(description="Stable kebab-case code")]
    title: str
    why: str
    how_measured: str
    remedy: str
    cases: Annotated[dict[str, Severity], Field(description="Each case's stock severity")]
    repairable: Annotated[bool, Field(description="Whether this tool can mend it without changing the look")]
    parameters: tuple[ParameterInfo, ...]


class Catalogue(_Shown):
    """All rules, in the order in which they are looked at."""

    rules: tuple[RuleInfo, ...]


def shown(rule: Rule) -> RuleInfo:
    """Return what the service shows of ``rule``."""
    return RuleInfo(
        code=rule.code,
        title=rule.title,
        why=rule.why,
        how_measured=rule.how_measured,
        remedy=rule.remedy,
        cases=dict(rule.cases),
        repairable=rule.repairable,
        parameters=tuple(
            ParameterInfo(name=p.name, meaning=p.meaning, unit=p.unit, source=p.source)
            for p in rule.parameters
        ),
    )


CATALOGUE = Catalogue(rules=tuple(shown(rule) for rule in RULES))

BY_CODE = {rule.code: rule for rule in CATALOGUE.rules}
