"""The rules as the service shows them, made from the rules themselves.

A worker makes them when the service starts, since the service's own process does not load the library.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

if TYPE_CHECKING:
    from preflight.rules.rule import Rule

Severity = Literal["error", "warning", "note"]


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


class Facts(_Shown):
    """What the service has to know of the library."""

    version: str
    catalogue: Catalogue


def facts() -> Facts:
    """Return the library's version and rules. Loads the library."""
    from preflight.rules import RULES  # noqa: PLC0415  (the service's own process never needs it)
    from preflight.version import __version__  # noqa: PLC0415

    return Facts(version=__version__, catalogue=Catalogue(rules=tuple(map(shown, RULES))))


def shown(rule: Rule) -> RuleInfo:
    """Return what the service shows of ``rule``."""
    return RuleInfo(
        code=rule.code,
        title=rule.title,
        why=rule.why,
        how_measured=rule.how_measured,
        remedy=rule.remedy,
        cases={case: severity.value for case, severity in rule.cases.items()},
        repairable=rule.repairable,
        parameters=tuple(
            ParameterInfo(name=p.name, meaning=p.meaning, unit=p.unit, source=p.source)
            for p in rule.parameters
        ),
    )
