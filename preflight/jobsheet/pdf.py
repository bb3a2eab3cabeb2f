"""The job sheet as PDF, drawn to scale, through ReportLab (BSD licence)."""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any, Literal
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    Flowable,
    HRFlowable,
    KeepTogether,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    TableStyle,
)
from reportlab.platypus import Table as Grid

from preflight.errors import printable
from preflight.jobsheet.drawing import Figure, Fill, Stroke, Words, figure
from preflight.jobsheet.model import JobSheet
from preflight.jobsheet.table import Cell, Section, Table
from preflight.jobsheet.wording import MARKS, facts, sections
from preflight.report.model import Verdict

Paper = Literal["a4", "letter"]
_PAPERS = {"a4": A4, "letter": LETTER}
_SIDE, _EDGE = 13 * mm, 12 * mm
_TEXT, _BOLD = "Helvetica", "Helvetica-Bold"
"""Standard fonts (ISO 32000-1, 9.6.2.2): every viewer has them, so that no font has to be shipped."""
_ENCODING = "cp1252"
_GREY, _INK = HexColor("#455463"), HexColor("#16202a")
_TINTS = {
    Verdict.PASS: ("#2e7d4f", "#eaf5ee"),
    Verdict.WARN: ("#b26a00", "#fdf3e1"),
    Verdict.FAIL: ("#b3261e", "#fdeceb"),
}
_BODY = ParagraphStyle("body", fontName=_TEXT, fontSize=8.6, leading=10.8, textColor=_INK)
_NOTE = ParagraphStyle("note", parent=_BODY, fontSize=7.8, leading=9.6, spaceBefore=1.2)
_SMALL = ParagraphStyle("small", parent=_BODY, fontSize=7.8, leading=9.4)
_HEAD = ParagraphStyle("head", parent=_SMALL, textColor=_GREY, fontName=_BOLD)
_TITLE = ParagraphStyle("title", parent=_BODY, fontName=_BOLD, fontSize=15, leading=17, splitLongWords=True)
_PART = ParagraphStyle("part", parent=_BODY, fontName=_BOLD, fontSize=10.5, leading=12.5, spaceBefore=6)


def to_pdf(sheet: JobSheet, *, paper: Paper = "a4") -> bytes:
    """Return ``sheet`` as PDF on A4 or Letter. The same sheet gives the same bytes.

    The picture has the scale it states. Letters outside Windows-1252, which the standard fonts lack,
    are shown as ``?``, and the sheet says so.
    """
    out = io.BytesIO()
    width, height = _PAPERS[paper]
    document = SimpleDocTemplate(
        out,
        pagesize=(width, height),
        leftMargin=_SIDE,
        rightMargin=_SIDE,
        topMargin=_EDGE,
        bottomMargin=_EDGE + 3 * mm,
        title=f"Job sheet: {printable(sheet.title)}",
        author="",
        creator="sign-preflight",
        invariant=1,
    )
    room = width - 2 * _SIDE - 12  # a frame keeps 6 pt on each side

    def footer(canvas: Canvas, _: object) -> None:
        canvas.saveState()
        canvas.setFont(_TEXT, 7.2)
        canvas.setFillColor(_GREY)
        words = f"{sheet.claim}   File {sheet.sha256[:12]}, job {sheet.job_sha256[:12]}, {sheet.tool_version}"
        canvas.drawString(_SIDE + 6, _EDGE - 4, words)
        canvas.drawRightString(width - _SIDE - 6, _EDGE - 4, f"Page {canvas.getPageNumber()}")
        canvas.restoreState()

    document.build(list(_story(sheet, room)), onFirstPage=footer, onLaterPages=footer)
    return out.getvalue()


def _story(sheet: JobSheet, room: float) -> Iterator[Flowable]:
    title = Paragraph(_safe(f"Job sheet: {sheet.title}"), _TITLE)
    blanks = Paragraph("Job no. ____________<br/>Date ______________<br/>Operator __________", _SMALL)
    yield _grid([[title, blanks]], [room - 100, 100], valign="BOTTOM")
    yield HRFlowable(width="100%", thickness=1.6, color=_INK, spaceBefore=2, spaceAfter=4)
    yield _verdict(sheet, room)
    yield Spacer(1, 5)
    drawn = figure(sheet)
    beside = room - drawn.width * mm - 8
    rows = [[Paragraph(_safe(name), _HEAD), Paragraph(_safe(value), _SMALL)] for name, value in facts(sheet)]
    listed = _grid(rows, [56, beside - 56], padding=1.4)
    yield _grid([[_Picture(drawn), listed]], [drawn.width * mm + 8, beside])
    for section in sections(sheet):
        yield from _section(section, room)
    yield Spacer(1, 6)
    yield HRFlowable(width="100%", thickness=0.8, color=_INK, spaceAfter=2)
    yield Paragraph(f'<font name="{_BOLD}">{_safe(sheet.claim)}</font>', _BODY)
    yield Paragraph(_safe(MARKS), _NOTE)
    if any(_lacking(words) for words in _all_words(sheet)):
        yield Paragraph("A letter that this page's font lacks is shown as ?; the HTML sheet shows it.", _NOTE)


def _verdict(sheet: JobSheet, room: float) -> Flowable:
    stop = f'<font name="{_BOLD}">DO NOT CUT YET.</font> ' if sheet.verdict is Verdict.FAIL else ""
    faults = f" Errors: {_safe('; '.join(sheet.faults))}." if sheet.faults else ""
    edge, ground = _TINTS[sheet.verdict]
    box = Grid([[Paragraph(f"{stop}{_safe(sheet.summary)}{faults}", _BODY)]], colWidths=[room])
    box.setStyle(
        TableStyle(
            [
                ("BACKGROUND", (0, 0), (-1, -1), HexColor(ground)),
                ("LINEBEFORE", (0, 0), (0, -1), 4, HexColor(edge)),
                ("LEFTPADDING", (0, 0), (-1, -1), 9),
                ("TOPPADDING", (0, 0), (-1, -1), 3),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
            ]
        )
    )
    return box


def _section(section: Section, room: float) -> Iterator[Flowable]:
    steps = [
        _grid([[_TickBox(), Paragraph(_safe(step), _BODY)]], [14, room - 14], padding=1)
        for step in section.steps
    ]
    parts: list[Flowable] = [
        Paragraph(_safe(section.title), _PART),
        HRFlowable(width="100%", thickness=0.5, color=_GREY, spaceBefore=1, spaceAfter=2),
        *(_table(table, room) for table in section.tables),
        *_figures(section, room),
        *steps,
        *(Paragraph(_safe(note), _NOTE) for note in section.notes),
    ]
    yield KeepTogether(parts)


def _figures(section: Section, room: float) -> Iterator[Flowable]:
    """Yield the drawings, as many side by side as the page has room for."""
    row: list[_Picture] = []
    for drawn in section.figures:
        picture = _Picture(drawn)
        if row and sum(one.width + 10 for one in row) + picture.width > room:
            yield from _row(row, room)
            row = []
        row.append(picture)
    if row:
        yield from _row(row, room)


def _row(pictures: list[_Picture], room: float) -> Iterator[Flowable]:
    yield Spacer(1, 3)
    widths = [one.width + 10 for one in pictures]
    widths[-1] = max(room - sum(widths[:-1]), pictures[-1].width)
    yield _grid([list(pictures)], widths)


def _table(table: Table, room: float) -> Flowable:
    few = len(table.head) < 8
    wide = {"Film": 2.0 if few else 2.6} | dict.fromkeys(table.wide, 1.5 if few else 1.3)
    weights = [wide.get(word, 1.0) for word in table.head]
    if len(table.head) == 3:
        weights = [0.5, 1.0, 1.0]
    share = (room if len(table.head) > 3 else room * 0.5) / sum(weights)
    rows: list[list[Any]] = [[Paragraph(_safe(word), _HEAD) for word in table.head]]
    rows += [
        [_cell(cell, weight * share) for cell, weight in zip(row, weights, strict=True)] for row in table.rows
    ]
    grid = Grid(rows, colWidths=[weight * share for weight in weights], repeatRows=1, hAlign="LEFT")
    grid.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
                ("VALIGN", (0, 1), (-1, -1), "TOP"),
                ("LINEABOVE", (0, 1), (-1, -1), 0.4, HexColor("#cfd7de")),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 5),
                ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
            ]
        )
    )
    return grid


def _cell(cell: Cell, width: float) -> Flowable:
    first = f'<font name="{_BOLD}">{_safe(cell.lines[0])}</font>'
    more = [f'<font color="#455463">{_safe(line)}</font>' for line in cell.lines[1:]]
    words = Paragraph("<br/>".join((first, *more)), _SMALL)
    if cell.swatch is None:
        return words
    return _grid([[_TickBox(cell.swatch), words]], [16, width - 21], padding=0)


def _grid(rows: list[list[Any]], widths: list[float], *, padding: float = 0.0, valign: str = "TOP") -> Grid:
    grid = Grid(rows, colWidths=widths, hAlign="LEFT")
    grid.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), valign),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), padding),
                ("BOTTOMPADDING", (0, 0), (-1, -1), padding),
            ]
        )
    )
    return grid


def _safe(words: str) -> str:
    """Return ``words`` as ReportLab's paragraphs take them: escaped, and only letters the font has."""
    return escape(_plain(words))


def _plain(words: str) -> str:
    return printable(words).encode(_ENCODING, "replace").decode(_ENCODING)


def _lacking(words: str) -> bool:
    return _plain(words) != printable(words)


def _all_words(sheet: JobSheet) -> Iterator[str]:
    yield sheet.title
    yield sheet.substrate or ""
    for film in sheet.films:
        yield film.name
        yield film.temperature.bulletin if film.temperature else ""


class _TickBox(Flowable):  # type: ignore[misc,unused-ignore]
    """A box to tick, or a round swatch of a colour: a white one is no box to tick."""

    def __init__(self, colour: str | None = None) -> None:
        super().__init__()
        self.width = self.height = 10.0
        self._colour = colour

    def draw(self) -> None:
        """Draw it on the page."""
        self.canv.setLineWidth(0.7)
        self.canv.setStrokeColor(_INK)
        self.canv.setFillColor(HexColor(self._colour or "#ffffff"))
        if self._colour is None:
            self.canv.rect(0.5, 0.5, 8.5, 8.5, fill=1)
        else:
            self.canv.circle(4.75, 4.75, 4.25, fill=1)


class _Picture(Flowable):  # type: ignore[misc,unused-ignore]
    """The figure, at its scale: one mm of it is one mm of paper."""

    def __init__(self, drawn: Figure) -> None:
        super().__init__()
        self.width, self.height = drawn.width * mm, drawn.height * mm
        self._drawn = drawn

    def draw(self) -> None:
        """Draw it on the page."""
        for item in self._drawn.items:
            if isinstance(item, Fill):
                self._fill(item)
            elif isinstance(item, Stroke):
                self._stroke(item)
            else:
                self._words(item)

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return x * mm, self.height - y * mm

    def _fill(self, item: Fill) -> None:
        path = self.canv.beginPath()
        for ring in item.rings:
            path.moveTo(*self._at(*ring[0]))
            for point in ring[1:]:
                path.lineTo(*self._at(*point))
            path.close()
        if item.colour:
            self.canv.setFillColor(HexColor(item.colour))
        if item.edge:
            self.canv.setStrokeColor(HexColor(item.edge))
            self.canv.setLineWidth(item.edge_width * mm)
        self.canv.drawPath(
            path, stroke=int(item.edge is not None), fill=int(item.colour is not None), fillMode=0
        )

    def _stroke(self, item: Stroke) -> None:
        self.canv.setStrokeColor(HexColor(item.colour))
        self.canv.setLineWidth(item.width * mm)
        self.canv.setDash([2 * mm, 1.2 * mm] if item.dashed else [])
        path = self.canv.beginPath()
        path.moveTo(*self._at(*item.points[0]))
        for point in item.points[1:]:
            path.lineTo(*self._at(*point))
        self.canv.drawPath(path, stroke=1, fill=0)
        self.canv.setDash([])

    def _words(self, item: Words) -> None:
        self.canv.saveState()
        self.canv.translate(*self._at(item.x, item.y))
        self.canv.rotate(-item.turn)
        self.canv.setFont(_TEXT, item.size * mm)
        self.canv.setFillColor(HexColor(item.colour))
        (self.canv.drawCentredString if item.anchor == "middle" else self.canv.drawString)(
            0, 0, _plain(item.text)
        )
        self.canv.restoreState()
