"""What a rule is: published text and settings as plain data, and one function that looks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from preflight.report.model import Severity

if TYPE_CHECKING:
    from preflight.analysis import Analysis
    from preflight.report.model import Finding


@dataclass(frozen=True, slots=True)
class Parameter:
    """A value of the job that a rule compares with."""

    name: str
    """Dotted name in the job, for instance ``limits.solid_part``."""
    meaning: str
    unit: str
    source: str
    """Where the stock value comes from, or "common practice, no source"."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. ``cases`` maps each stable case word to its default severity."""

    code: str
    title: str
    why: str
    how_measured: str
    remedy: str
    cases: dict[str, Severity]
    repairable: bool
    check: Callable[[Analysis], Iterator[Finding]]
    parameters: tuple[Parameter, ...] = ()
