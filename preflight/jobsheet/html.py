"""The job sheet as one self-contained, printable HTML page: no script, no link, everything escaped."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator
from functools import cache
from html import escape
from importlib.resources import files

from preflight.errors import printable
from preflight.jobsheet.drawing import Figure, Fill, Stroke, Words, figure
from preflight.jobsheet.model import JobSheet
from preflight.jobsheet.table import Cell, Section, Table
from preflight.jobsheet.wording import MARKS, facts, sections
from preflight.report.model import Verdict

SHORT = 16
"""Lines of a cell of so many letters are not broken."""


def to_html(sheet: JobSheet) -> str:
    """Return ``sheet`` as an HTML document that prints on A4 and on Letter.

    The picture's lengths are in mm, so that on paper, printed at 100 %, its scale is true. Words from
    the artwork and the job appear as text only.
    """
    title = f"Job sheet: {_safe(sheet.title)}"
    rows = "".join(f"<dt>{_safe(name)}</dt><dd>{_safe(value)}</dd>" for name, value in facts(sheet))
    blanks = "".join(f"<span>{word}</span>" for word in ("Job no.", "Date", "Operator"))
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{_policy()}">'
        f"<title>{title}</title><style>{_style()}</style></head><body>"
        f'<header><h1>{title}</h1><div class="blanks">{blanks}</div></header>'
        f"{_verdict(sheet)}"
        f'<div class="top">{_svg(figure(sheet))}<dl>{rows}</dl></div>'
        + "".join(_section(section) for section in sections(sheet))
        + _footer(sheet)
        + "</body></html>\n"
    )


@cache
def _style() -> str:
    return files("preflight").joinpath("data/jobsheet.css").read_text("utf-8")


def _policy() -> str:
    digest = base64.b64encode(hashlib.sha256(_style().encode()).digest()).decode()
    return f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"


def _safe(words: str) -> str:
    return escape(printable(words))


def _verdict(sheet: JobSheet) -> str:
    faults = f" Errors: {_safe('; '.join(sheet.faults))}." if sheet.faults else ""
    stop = "<strong>DO NOT CUT YET.</strong> " if sheet.verdict is Verdict.FAIL else ""
    return f'<div class="verdict {sheet.verdict.value}">{stop}{_safe(sheet.summary)}{faults}</div>'


def _section(section: Section) -> str:
    steps = "".join(f"<li>{_safe(step)}</li>" for step in section.steps)
    notes = "".join(f'<p class="note">{_safe(note)}</p>' for note in section.notes)
    tables = "".join(_table(table) for table in section.tables)
    drawn = "".join(_svg(one, "A drawing at scale") for one in section.figures)
    figures = f'<div class="figures">{drawn}</div>' if drawn else ""
    return f"<section><h2>{_safe(section.title)}</h2>{tables}{figures}<ul>{steps}</ul>{notes}</section>"


def _table(table: Table) -> str:
    head = "".join(
        f'<th class="film">{word}</th>' if word == "Film" else f"<th>{_safe(word)}</th>"
        for word in table.head
    )
    rows = "".join(f"<tr>{''.join(_cell(cell) for cell in row)}</tr>" for row in table.rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _cell(cell: Cell) -> str:
    lines = "".join(f"<span>{_safe(line)}</span>" for line in cell.lines)
    if cell.swatch is None:
        short = ' class="short"' if max(map(len, cell.lines)) <= SHORT else ""
        return f"<td{short}>{lines}</td>"
    # A drawing, since the page's policy allows no style of an element's own.
    swatch = (
        '<svg class="swatch" width="4.4mm" height="4.4mm" viewBox="0 0 22 22" aria-hidden="true">'
        f'<circle cx="11" cy="11" r="10.5" fill="{_safe(cell.swatch)}" stroke="#16202a"/></svg>'
    )
    return f'<td class="film">{swatch}{lines}</td>'


def _footer(sheet: JobSheet) -> str:
    return (
        f"<footer><strong>{_safe(sheet.claim)}</strong><br>{_safe(MARKS)}<br>"
        f"sign-preflight {_safe(sheet.tool_version)}, file {_safe(sheet.sha256[:12])}, "
        f"job {_safe(sheet.job_sha256[:12])}</footer>"
    )


def _svg(drawn: Figure, label: str = "The artwork at scale") -> str:
    size = f'width="{drawn.width:.2f}mm" height="{drawn.height:.2f}mm"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 {drawn.width:.2f} {drawn.height:.2f}"'
        f' role="img" aria-label="{label}" font-family="Arial, sans-serif">'
        + "".join(_items(drawn))
        + "</svg>"
    )


def _items(drawn: Figure) -> Iterator[str]:
    for item in drawn.items:
        if isinstance(item, Fill):
            data = "".join("M" + "L".join(f"{x:.3f} {y:.3f}" for x, y in ring) + "Z" for ring in item.rings)
            edge = f' stroke="{item.edge}" stroke-width="{item.edge_width}"' if item.edge else ""
            yield f'<path d="{data}" fill="{item.colour or "none"}" fill-rule="evenodd"{edge}/>'
        elif isinstance(item, Stroke):
            points = " ".join(f"{x:.3f},{y:.3f}" for x, y in item.points)
            dash = ' stroke-dasharray="2 1.2"' if item.dashed else ""
            yield (
                f'<polyline points="{points}" fill="none" stroke="{item.colour}"'
                f' stroke-width="{item.width}"{dash}/>'
            )
        else:
            yield _words(item)


def _words(item: Words) -> str:
    turn = f' transform="rotate({item.turn} {item.x:.3f} {item.y:.3f})"' if item.turn else ""
    return (
        f'<text x="{item.x:.3f}" y="{item.y:.3f}" font-size="{item.size}" text-anchor="{item.anchor}"'
        f' fill="{item.colour}"{turn}>{_safe(item.text)}</text>'
    )
