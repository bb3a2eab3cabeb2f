"""The job sheet: one page for the wall above the cutter, from the roll to the finished sign."""

from __future__ import annotations

from preflight.jobsheet.build import job_sheet, sheet_of
from preflight.jobsheet.html import to_html
from preflight.jobsheet.model import JobSheet
from preflight.jobsheet.pdf import to_pdf

__all__ = ["JobSheet", "job_sheet", "sheet_of", "to_html", "to_pdf"]
