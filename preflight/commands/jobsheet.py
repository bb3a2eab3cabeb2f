"""``sign-preflight jobsheet``: write the job sheet of one file as HTML, PDF or JSON."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from preflight.commands.files import load_job, read_bytes, write
from preflight.errors import PreflightError, printable, quoted

ENDINGS = (".html", ".pdf", ".json")
READY, NOT_READY = 0, 1


def add_jobsheet(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    sheet = commands.add_parser(
        "jobsheet",
        help="write the sheet for the workshop",
        description="Write a job sheet: film to take, blade, weeding, transfer tape, placement and cautions, "
        "with boxes to tick.",
        epilog="exit status:\n  0  the sheet is written\n  1  it is written, and the artwork fails the check: the "
        "sheet says not to cut it yet\n  2  the file or the job could not be read, or the command was used wrongly\n",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    sheet.add_argument("file", metavar="FILE", help="artwork; - is standard input")
    sheet.add_argument(
        "--output", metavar="F", required=True, help="where to write the sheet: .html, .pdf or .json"
    )
    sheet.add_argument("--job", metavar="F", help="the job's settings, TOML or JSON")
    sheet.add_argument("--paper", choices=("a4", "letter"), default="a4", help="paper of a PDF (%(default)s)")
    sheet.set_defaults(run=_run)


def _run(options: argparse.Namespace) -> int:
    from preflight.jobsheet import job_sheet, to_html, to_pdf  # noqa: PLC0415  (commands load only what they need)
    from preflight.readers import Limits, read  # noqa: PLC0415
    from preflight.report.model import Verdict  # noqa: PLC0415

    ending = Path(options.output).suffix.lower()
    if ending not in ENDINGS:
        raise PreflightError(
            "output-format",
            f"{quoted(options.output)} is neither .html, .pdf nor .json.",
            "Name the sheet one of these.",
        )
    if options.file == options.job == "-":
        raise PreflightError(
            "wrong-use", "Standard input can be read only once.", "Name a file instead of -."
        )
    job = load_job(options.job)
    data = read_bytes(options.file, Limits().input_bytes + 1, "The artwork")
    sheet = job_sheet(read(data, None if options.file == "-" else Path(options.file).name), job)
    if ending == ".pdf":
        written = to_pdf(sheet, paper=options.paper)
    else:
        text = to_html(sheet) if ending == ".html" else sheet.model_dump_json(indent=2) + "\n"
        written = text.encode()
    write(options.output, written)
    sys.stdout.write(f"{printable(sheet.summary)}\n{sheet.claim}\n")
    return NOT_READY if sheet.verdict is Verdict.FAIL else READY
