"""The words around a picture: its head with the verdict, and the legend below it. Pixels throughout."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from preflight.report.lettering import text_path, text_width, wrap
from preflight.report.markers import FILLS, INK, badge, outline, radius
from preflight.report.model import Finding, Report, Severity, Verdict
from preflight.rules import RULES

_VERDICTS = {Verdict.FAIL: "#b3201f", Verdict.WARN: "#f4b41a", Verdict.PASS: "#2c7a43"}
_GREY = "#4b5763"
_TITLE, _BODY, _SMALL = 9.6, 8.8, 8.2
"""Heights of a capital."""
_LINE = 16.5
ROWS = 24
"""So many kinds of findings are explained below a picture; the report has them all."""
_MEANING = {
    Severity.ERROR: "error: will not cut as drawn",
    Severity.WARNING: "warning: may go wrong, or needs a decision",
    Severity.NOTE: "note: worth knowing",
}


@dataclass(frozen=True, slots=True)
class Header:
    """The head's markup and its height."""

    markup: str
    height: float


@dataclass(frozen=True, slots=True)
class Legend:
    """The legend's markup and its lower edge."""

    markup: str
    bottom: float


@dataclass(frozen=True, slots=True)
class _Row:
    """Findings of one kind: their numbers in the report, and the words for the first."""

    numbers: tuple[int, ...]
    finding: Finding
    lines: tuple[str, ...]

    @property
    def height(self) -> float:
        return 20 + len(self.lines) * _LINE + 12


def text(words: str, x: float, y: float, size: float, *, colour: str = INK, bold: bool = False) -> str:
    """Return one line of lettering: baseline from (x, y), ``size`` the height of a capital."""
    weight = size * (0.19 if bold else 0.125)
    data = text_path(words, x, y, size)
    if not data:
        return ""
    return f'<path d="{data}" fill="none" stroke="{colour}" stroke-width="{weight:.2f}"/>'


def header(report: Report, x: float, y: float, width: float) -> Header:
    """Return the verdict, the summary and the file's name, from (x, y) down."""
    word = report.verdict.value.upper()
    wide = text_width(word, 13) + 36
    dark = report.verdict is Verdict.WARN
    left = x + wide + 18
    lines = wrap(report.summary, 11.5, width - wide - 18, 2)
    name = report.source.name or "unnamed file"
    high = 22 * len(lines) + 18
    out = [
        f'<rect x="{x:.2f}" y="{y:.2f}" width="{wide:.2f}" height="38" rx="8"'
        f' fill="{_VERDICTS[report.verdict]}"/>',
        text(word, x + 18, y + 25.5, 13, colour=INK if dark else "#ffffff", bold=True),
    ]
    out += [text(line, left, y + 14 + i * 22, 11.5) for i, line in enumerate(lines)]
    out += [
        text(line, left, y + 14 + len(lines) * 22, _SMALL, colour=_GREY)
        for line in wrap(name, _SMALL, width - wide - 18, 1)
    ]
    return Header("".join(out), max(high, 38.0))


def legend(report: Report, x: float, y: float, width: float) -> Legend:
    """Return one entry for each kind of finding, in two columns where there is room, and the key."""
    groups = _kinds(report.findings)
    columns = 2 if width >= 800 and len(groups) > 1 else 1
    wide = (width - 32 * (columns - 1)) / columns
    rows = [_row(numbers, finding, wide - 44) for numbers, finding in groups[:ROWS]]
    out: list[str] = []
    bottom = y
    top = 0
    for column, count in enumerate(_split([row.height for row in rows], columns)):
        at = y
        for row in rows[top : top + count]:
            out.append(_entry(row, x + column * (wide + 32), at, wide))
            at += row.height
        top += count
        bottom = max(bottom, at)
    if len(groups) > ROWS:
        out.append(
            text(f"{len(groups) - ROWS} more kinds of findings are in the report.", x, bottom + 9, _BODY)
        )
        bottom += 26
    markup, bottom = _key(report, x, bottom + 6, width)
    return Legend("".join(out) + markup, bottom)


def _kinds(findings: Sequence[Finding]) -> list[tuple[tuple[int, ...], Finding]]:
    """Return the findings by kind and film in the report's order: their numbers, and the first of each kind."""
    kinds: dict[tuple[str, str, Severity, str | None], list[int]] = {}
    for number, finding in enumerate(findings, 1):
        kinds.setdefault((finding.code, finding.case, finding.severity, finding.film), []).append(number)
    return [(tuple(numbers), findings[numbers[0] - 1]) for numbers in kinds.values()]


def _row(numbers: tuple[int, ...], finding: Finding, width: float) -> _Row:
    return _Row(numbers, finding, tuple(wrap(finding.message, _BODY, width, 3)))


def _split(heights: Sequence[float], columns: int) -> list[int]:
    """Return how many rows go into each column, so that the first is the longer by as little as can be."""
    if columns == 1:
        return [len(heights)]
    first = 0
    while sum(heights[:first]) < sum(heights[first:]):
        first += 1
    return [first, len(heights) - first]


def _entry(row: _Row, x: float, y: float, width: float) -> str:
    number, finding = row.numbers[0], row.finding
    at = (x + 17, y + 14)
    left = x + 44
    title = _title(finding.code)
    more = f"numbers {_ranges(row.numbers)}" if len(row.numbers) > 1 else ""
    if not more and finding.places_total > 1:
        more = f"{finding.places_total} places"
    out = [badge(number, finding.severity, at), text(title, left, y + 14, _TITLE, bold=True)]
    after = left + text_width(title, _TITLE) + 12
    if finding.film and re.fullmatch(r"#[0-9a-f]{6}", finding.film):
        out.append(_chip(finding.film, after, y + 5))
        after += 22
    for line in wrap(more, _SMALL, max(x + width - after, 60.0), 1):
        out.append(text(line, after, y + 14, _SMALL, colour=_GREY))
    out += [
        text(line, left, y + 14 + (i + 1) * _LINE + 2, _BODY, colour=_GREY)
        for i, line in enumerate(row.lines)
    ]
    return "".join(out)


def _title(code: str) -> str:
    """Return a rule's title; a report of another version may know rules that are not here."""
    return next((rule.title for rule in RULES if rule.code == code), code.replace("-", " ").capitalize())


def _ranges(numbers: Sequence[int]) -> str:
    """Return numbers as text with runs shortened, for instance ``1, 4 to 7``."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    joiner = {1: "", 2: ", "}
    return ", ".join(
        str(run[0]) if len(run) == 1 else f"{run[0]}{joiner.get(len(run), ' to ')}{run[-1]}" for run in runs
    )


def _chip(colour: str, x: float, y: float) -> str:
    return (
        f'<rect x="{x:.2f}" y="{y:.2f}" width="14" height="10" rx="2" fill="{colour}"'
        f' stroke="{_GREY}" stroke-width=".8"/>'
    )


def _key(report: Report, x: float, y: float, width: float) -> tuple[str, float]:
    """Return what the marks mean and which films there are; entries wrap to the width."""
    out = [f'<path d="M{x:.2f} {y:.2f}h{width:.2f}" stroke="#d5dce2" fill="none"/>']
    items: list[tuple[str, str, str]] = []
    for severity in dict.fromkeys(f.severity for f in report.findings):
        items.append(("badge", severity.value, _MEANING[severity]))
    items.append(("line", "", "line the knife would follow"))
    for film in report.measures.films:
        if re.fullmatch(r"#[0-9a-f]{6}", film.colour):
            name = "" if film.name == film.colour else f"{film.name}, "
            items.append(("chip", film.colour, f"{name}{film.role}, {_area(film.area_mm2)}"))
    left, line = x, y + 26
    for kind, value, words in items:
        wide = 26 + text_width(words, _SMALL) + 24
        if left > x and left + wide - 24 > x + width:
            left, line = x, line + 26
        out.append(_sample(kind, value, left, line))
        out.append(text(words, left + 26, line + 4, _SMALL, colour=_GREY))
        left += wide
    return "".join(out), line + 14


def _area(mm2: float) -> str:
    """Return an area with a unit that suits its size."""
    if mm2 >= 1e5:
        return f"{mm2 / 1e6:.2f} m\u00b2"
    return f"{mm2 / 100:.0f} cm\u00b2" if mm2 >= 1000 else f"{mm2:.0f} mm\u00b2"


def _sample(kind: str, value: str, x: float, y: float) -> str:
    if kind == "chip":
        return _chip(value, x + 3, y - 5)
    if kind == "line":
        return f'<path d="M{x:.2f} {y:.2f}h18" fill="none" stroke="{INK}" stroke-width=".9"/>'
    return _plain(Severity(value), (x + 9, y))


def _plain(severity: Severity, at: tuple[float, float]) -> str:
    r = radius(1) * 0.62
    return f'<path d="{outline(severity, at, r)}" fill="{FILLS[severity]}" stroke="{INK}" stroke-width=".9"/>'
