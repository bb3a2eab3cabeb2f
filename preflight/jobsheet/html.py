"""The job sheet as one self-contained, printable HTML page: no script, no link, everything escaped."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from preflight.errors import printable
from preflight.jobsheet.drawing import Figure, Fill, Stroke, Words, figure
from preflight.jobsheet.model import JobSheet
from preflight.jobsheet.wording import MARKS, Cell, Section, Table, facts, sections
from preflight.report.model import Verdict

_STYLE = """
@page { margin: 11mm 12mm }
* { box-sizing: border-box }
body { font: 8.8pt/1.32 Arial, "Liberation Sans", Helvetica, sans-serif; color: #16202a; margin: 0 auto;
  max-width: 186mm; padding: 4mm 0; -webkit-print-color-adjust: exact; print-color-adjust: exact }
header { display: flex; gap: 5mm; align-items: flex-end; border-bottom: .6mm solid #16202a; padding-bottom: 2mm }
h1 { font-size: 16pt; line-height: 1.15; margin: 0; flex: 1; overflow-wrap: anywhere }
.blanks { display: flex; gap: 4mm; font-size: 8pt; color: #455463 }
.blanks span { border-bottom: .2mm solid #16202a; min-width: 26mm; padding-bottom: .5mm }
.verdict { margin: 2.5mm 0; padding: 1.6mm 2.5mm; border-left: 1.6mm solid #2e7d4f; background: #eaf5ee }
.verdict.warn { border-color: #b26a00; background: #fdf3e1 }
.verdict.fail { border-color: #b3261e; background: #fdeceb }
.top { display: flex; gap: 5mm; align-items: flex-start; break-inside: avoid }
.top svg { flex: none; max-width: none }
dl { margin: 0; display: grid; grid-template-columns: auto 1fr; gap: .9mm 2.5mm; min-width: 0 }
dt { color: #455463 } dd { margin: 0; overflow-wrap: anywhere }
section { margin-top: 2.6mm; break-inside: avoid }
h2 { font-size: 11pt; margin: 0 0 1mm; border-bottom: .2mm solid #8b98a4 }
table { border-collapse: collapse; width: 100%; margin-bottom: 1.2mm; font-size: 8.2pt }
th { text-align: left; font-weight: 600; color: #455463; padding: .4mm 2mm .4mm 0; vertical-align: bottom }
td { padding: .7mm 2mm .7mm 0; border-top: .15mm solid #cfd7de; vertical-align: top; overflow-wrap: anywhere }
td span { display: block; color: #455463 } td span:first-of-type { color: inherit; font-weight: 600 }
th.film { width: 27% } td.film { position: relative; padding-left: 6.4mm }
i.swatch { position: absolute; left: 0; top: 1mm; width: 4.4mm; height: 4.4mm; border-radius: 50%;
  border: .2mm solid #16202a }
ul { list-style: none; margin: 0; padding: 0 }
li { padding-left: 6mm; position: relative; margin: .7mm 0 }
li::before { content: ""; position: absolute; left: 0; top: .3mm; width: 3.6mm; height: 3.6mm;
  border: .3mm solid #16202a }
p { margin: .7mm 0; color: #2f3d4a } .note { font-size: 8.4pt }
footer { margin-top: 3.5mm; border-top: .3mm solid #16202a; padding-top: 1.2mm; font-size: 8pt }
footer strong { font-size: 10pt }
@media print { body { padding: 0 } }
@media screen and (max-width: 190mm) { body { padding: 4mm } .top, header { flex-wrap: wrap } }
"""


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
        f"<title>{title}</title><style>{_STYLE}</style></head><body>"
        f'<header><h1>{title}</h1><div class="blanks">{blanks}</div></header>'
        f"{_verdict(sheet)}"
        f'<div class="top">{_svg(figure(sheet))}<dl>{rows}</dl></div>'
        + "".join(_section(section) for section in sections(sheet))
        + _footer(sheet)
        + "</body></html>\n"
    )


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
    return f"<section><h2>{_safe(section.title)}</h2>{tables}<ul>{steps}</ul>{notes}</section>"


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
        return f"<td>{lines}</td>"
    return f'<td class="film"><i class="swatch" style="background:{_safe(cell.swatch)}"></i>{lines}</td>'


def _footer(sheet: JobSheet) -> str:
    return (
        f"<footer><strong>{_safe(sheet.claim)}</strong><br>{_safe(MARKS)}<br>"
        f"sign-preflight {_safe(sheet.tool_version)}, file {_safe(sheet.sha256[:12])}, "
        f"job {_safe(sheet.job_sha256[:12])}</footer>"
    )


def _svg(drawn: Figure) -> str:
    size = f'width="{drawn.width:.2f}mm" height="{drawn.height:.2f}mm"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 {drawn.width:.2f} {drawn.height:.2f}"'
        ' role="img" aria-label="The artwork at scale" font-family="Arial, sans-serif">'
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
