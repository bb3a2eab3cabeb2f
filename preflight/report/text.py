"""The report as plain text for a terminal, a mail or a ticket: worst first, numbers with units."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

from preflight.errors import printable
from preflight.report.model import FilmMeasure, Finding, Place, Report, RollFit, Severity, Verdict
from preflight.units import MM_PER, Unit, format_length

_MOST_PLACES = 5
_NARROWEST = 50
_INDENT = "    "
_COLOURS = {
    Verdict.FAIL: "1;31",
    Verdict.WARN: "1;33",
    Verdict.PASS: "1;32",
    Severity.ERROR: "1;31",
    Severity.WARNING: "1;33",
    Severity.NOTE: "1;36",
}
"""Terminal codes of ECMA-48 (select graphic rendition); the words always stand beside them."""
_FITS = {
    "fits": "fits",
    "fits-turned": "fits when turned a quarter",
    "does-not-fit": "does not fit",
    "not-judged": "not judged",
}
_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:mm|cm|m|in|ft|pt|pc|px|q|Q)[²2]?(?:\W|$)|[°%])")


def to_text(report: Report, *, unit: Unit = "mm", width: int = 80, color: bool = False) -> str:
    """Return ``report`` as text of lines at most ``width`` characters long (50 at least).

    Lengths that stand outside the findings' own sentences are in ``unit``. ``color`` adds terminal
    colours; nothing is said by colour alone. Text from the file is stripped of control characters.
    Findings keep their numbers, which are also the numbers in the picture.
    """
    page = _Page(unit, max(width, _NARROWEST), color)
    blocks = [
        page.head(report),
        *(page.finding(number, finding) for number, finding in enumerate(report.findings, start=1)),
        page.section("Films", [page.film(film) for film in report.measures.films]),
        page.section("On the roll", [page.roll(fit) for fit in report.roll]),
        page.section(
            "Taken for granted", [f"{item.subject}: {item.taken} ({item.why})" for item in report.assumptions]
        ),
        page.section("Not judged", list(report.not_judged)),
        page.section("What this report says", [report.claim], bullets=False),
    ]
    return "\n\n".join(block for block in blocks if block) + "\n"


@dataclass(frozen=True, slots=True)
class _Page:
    unit: Unit
    width: int
    color: bool

    def head(self, report: Report) -> str:
        measures = report.measures
        size = f"{self._length(measures.width_mm)} wide, {self._length(measures.height_mm)} high"
        scale = (
            "as in the file" if measures.scale == 1 else f"{measures.scale:.4g} times the size in the file"
        )
        counts = (
            f"{_counted(measures.contours, 'contour')}, {_counted(measures.nodes, 'node')}, "
            f"{self._long(measures.cut_length_mm)} to cut."
        )
        verdict = self._painted(report.verdict.upper(), report.verdict)
        return "\n".join(
            [
                f"{verdict}  {self._clean(report.source.name or 'artwork')}",
                self._wrapped(report.summary, ""),
                "",
                self._wrapped(f"Finished size: {size} ({scale}). {counts}", ""),
                self._wrapped(_tally(report), ""),
            ]
        )

    def finding(self, number: int, finding: Finding) -> str:
        severity = self._painted(finding.severity.upper(), finding.severity)
        film = f", film {self._clean(finding.film)}" if finding.film else ""
        lines = [
            f"{number:>2}  {severity}  {finding.code}/{finding.case}{film}",
            self._wrapped(finding.message),
            self._wrapped(self._measured(finding)),
            *self._places(finding),
            self._wrapped(finding.remedy, label="What to do: "),
            self._wrapped(
                "It can be mended mechanically, without changing the look." if finding.repairable else ""
            ),
            self._wrapped(finding.detail, label="For the operator: "),
        ]
        return "\n".join(line for line in lines if line)

    def film(self, film: FilmMeasure) -> str:
        name = f"{film.name} ({film.colour})" if film.name != film.colour else film.colour
        counts = f"{_counted(film.contours, 'contour')}, {_counted(film.nodes, 'node')}"
        text = (
            f"{name}, {film.role}: {self._area(film.area_mm2)} of film stays, "
            f"{self._long(film.cut_length_mm)} to cut, {counts}"
        )
        if film.smallest_part_mm is not None:
            text += f"; narrowest part {self._length(film.smallest_part_mm)}"
        if film.smallest_gap_mm is not None:
            text += f"; narrowest gap {self._length(film.smallest_gap_mm)}"
        return text + "."

    def roll(self, fit: RollFit) -> str:
        text = f"{fit.film}: {_FITS[fit.verdict]}. {fit.reason}"
        # The reason compares the sizes across the roll; what is missing is how much film goes.
        if fit.along_mm is not None and fit.verdict in ("fits", "fits-turned"):
            text += f" It takes {self._length(fit.along_mm)} of film."
        return text

    def section(self, title: str, items: list[str], *, bullets: bool = True) -> str:
        if not items:
            return ""
        rule = f"── {title} ".ljust(self.width, "─")
        return "\n".join(
            [rule, *(self._wrapped(item, "  " if bullets else "", "- " if bullets else "") for item in items)]
        )

    def _measured(self, finding: Finding) -> str:
        if finding.measured is None:
            return ""
        text = f"Measured: {self._quantity(finding.measured, finding.unit)}"
        if finding.limit is not None:
            text += f", limit {self._quantity(finding.limit, finding.unit)}"
        return text + "."

    def _places(self, finding: Finding) -> Iterator[str]:
        if not finding.places:
            return
        shown = finding.places[:_MOST_PLACES]
        yield f"{_INDENT}Where ({_counted(finding.places_total, 'place')}):"
        for place in shown:
            # One place alone has the finding's own measure, which stands above already.
            measured = place.measured if finding.places_total > 1 or finding.measured is None else None
            at = self._place(place, measured, finding.unit)
            yield self._wrapped(at, _INDENT + "  ", "- ")
        if (rest := finding.places_total - len(shown)) > 0:
            yield f"{_INDENT}  - and {_counted(rest, 'more place')}"

    def _place(self, place: Place, measured: float | None, unit: str | None) -> str:
        x, y = place.point
        parts = [f"{self._length(x)} from the left, {self._length(y)} from the top"]
        if measured is not None:
            parts.append(self._quantity(measured, unit))
        if place.id:
            parts.append(f"“{place.id}”")
        elif place.element:
            parts.append(place.element)
        if place.layer:
            parts.append(f"layer “{place.layer}”")
        if place.line is not None:
            parts.append(f"line {place.line} of the file")
        return ", ".join(parts)

    def _quantity(self, value: float, unit: str | None) -> str:
        if unit == "mm":
            return self._length(value)
        if unit in ("mm2", "mm²"):
            return self._area(value)
        return f"{value:.4g}{f' {unit}' if unit else ''}"

    def _length(self, mm: float) -> str:
        return format_length(mm, self.unit)

    def _long(self, mm: float) -> str:
        longer: dict[Unit, Unit] = {"mm": "m", "cm": "m", "in": "ft"}
        if mm < 1000 or self.unit not in (*longer, "m", "ft"):
            return self._length(mm)
        unit = longer.get(self.unit, self.unit)
        return f"{mm / MM_PER[unit]:.4g} {unit}"

    def _area(self, mm2: float) -> str:
        if self.unit in ("in", "ft"):
            square_inches = mm2 / 25.4**2
            return f"{square_inches / 144:.4g} ft²" if square_inches >= 144 else f"{square_inches:.3g} in²"
        if mm2 >= 1e6:
            return f"{mm2 / 1e6:.4g} m²"
        return f"{mm2 / 100:.4g} cm²" if mm2 >= 100 else f"{mm2:.3g} mm²"

    def _painted(self, word: str, code: Verdict | Severity) -> str:
        return f"\x1b[{_COLOURS[code]}m{word}\x1b[0m" if self.color else word

    def _wrapped(self, text: str, indent: str = _INDENT, bullet: str = "", label: str = "") -> str:
        clean = self._clean(label + text)
        if not text:
            return ""
        # A number stays on one line with its unit.
        bound = _NUMBER_AND_UNIT.sub("\u00a0", clean)
        lines = textwrap.wrap(
            bound,
            self.width,
            initial_indent=indent + bullet,
            subsequent_indent=indent + " " * len(bullet),
            break_on_hyphens=False,
        )
        return "\n".join(lines).replace("\u00a0", " ")

    @staticmethod
    def _clean(text: str) -> str:
        return printable(" ".join(text.split()))


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _tally(report: Report) -> str:
    counts = [
        _counted(number, severity.value)
        for severity in Severity
        if (number := sum(finding.severity is severity for finding in report.findings))
    ]
    return f"Findings, worst first: {', '.join(counts)}." if counts else "Nothing was found."
