"""The command line: a thin shell over the library's public functions.

Exit status: 0 where every file passes or only warns, 1 where one fails, 2 where something could not be
read, checked or written or the command was used wrongly; the highest wins.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import shutil
import sys
import textwrap
import traceback
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from preflight.commands.files import load_job, read_bytes, write
from preflight.commands.jobsheet import add_jobsheet
from preflight.commands.layout import add_layout
from preflight.commands.panels import add_panels
from preflight.commands.rehearse import add_rehearse
from preflight.commands.repairing import add_repair
from preflight.errors import PreflightError, printable, quoted
from preflight.report.model import Verdict
from preflight.units import UNITS
from preflight.version import __version__

if TYPE_CHECKING:
    from preflight.artwork import Artwork
    from preflight.job import Job
    from preflight.report.model import Report
    from preflight.rules.rule import Rule

OK, FAILED, BROKEN = 0, 1, 2
INTERRUPTED = 130
"""128 and the signal's number, as shells report it."""

_EPILOG = """\
exit status:
  0  every file passes or only warns
  1  at least one file fails
  2  a file or the job could not be read, or the command was used wrongly
"""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One file's answer: artwork and report, or the error that stood in the way."""

    name: str
    artwork: Artwork | None = None
    report: Report | None = None
    error: PreflightError | None = None

    @property
    def status(self) -> int:
        """The exit status this file asks for."""
        if self.report is None:
            return BROKEN
        return FAILED if self.report.verdict is Verdict.FAIL else OK


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status."""
    options = _parser().parse_args(arguments)
    _use_utf8()
    try:
        status: int = options.run(options)
        sys.stdout.flush()
    except PreflightError as error:
        _complain(error)
        return BROKEN
    except BrokenPipeError:
        # The reader went away; nothing may be written any more, not even at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return BROKEN
    except KeyboardInterrupt:
        sys.stderr.write("sign-preflight: stopped.\n")
        return INTERRUPTED
    return status


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="sign-preflight",
        description="Tell whether artwork for cut-vinyl signs will cut, where not, and why.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"%(prog)s {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    _add_check(commands)
    add_repair(commands)
    add_jobsheet(commands)
    add_rehearse(commands)
    add_layout(commands)
    add_panels(commands)
    rules = commands.add_parser("rules", help="list all rules", description="List all rules.")
    rules.set_defaults(run=_rules)
    explain = commands.add_parser("explain", help="explain one rule", description="Explain one rule.")
    explain.add_argument("code", metavar="CODE", help="a rule's code, for instance live-text")
    explain.set_defaults(run=_explain)
    serve = commands.add_parser("serve", help="start the service", description="Start the REST service.")
    serve.add_argument("--host", help="address to listen on; else as the environment's settings say")
    serve.add_argument("--port", help="port to listen on; else as the environment's settings say")
    serve.set_defaults(run=_serve)
    return parser


def _add_check(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    check = commands.add_parser(
        "check",
        help="check artwork files",
        description="Check artwork files and report what stands between them and a clean cut, worst first.",
        epilog=_EPILOG
        + "\nWith --format json, one file gives its report (or an object with file and error); several\n"
        "files give a list of objects with file and either report or error.\n",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    check.add_argument("files", nargs="+", metavar="FILE", help="artwork to check; - is standard input")
    check.add_argument("--job", metavar="F", help="the job's settings, TOML or JSON")
    check.add_argument(
        "--format", choices=("text", "json"), default="text", help="form of the report (%(default)s)"
    )
    check.add_argument("--output", metavar="F", help="write the report there, not to standard output")
    check.add_argument(
        "--picture", metavar="F", help="write the numbered picture there: .svg or .png; one file only"
    )
    check.add_argument(
        "--unit", choices=UNITS, default="mm", help="unit of lengths in the text (%(default)s)"
    )
    check.add_argument(
        "--color", choices=("auto", "always", "never"), default="auto", help="colours in the text"
    )
    check.add_argument("--progress", action="store_true", help="tell on standard error which file is next")
    check.set_defaults(run=_check)


def _check(options: argparse.Namespace) -> int:
    _refuse_contradictions(options)
    job = load_job(options.job)
    outcomes = []
    for number, name in enumerate(options.files, start=1):
        if options.progress or (len(options.files) > 1 and sys.stderr.isatty()):
            sys.stderr.write(f"[{number}/{len(options.files)}] {printable(name)}\n")
        outcomes.append(_outcome(name, job, keep=bool(options.picture)))
    text = _json(outcomes) if options.format == "json" else _text(outcomes, options)
    if options.output in (None, "-"):
        sys.stdout.write(text)
    else:
        write(options.output, text.encode())
    for outcome in outcomes:
        if outcome.error is not None:
            _complain(outcome.error, outcome.name)
    if options.picture and outcomes[0].artwork is not None and outcomes[0].report is not None:
        write(options.picture, _picture(outcomes[0].artwork, outcomes[0].report, options.picture))
    return max(outcome.status for outcome in outcomes)


def _refuse_contradictions(options: argparse.Namespace) -> None:
    if options.files.count("-") + (options.job == "-") > 1:
        raise PreflightError("wrong-use", "Standard input can be read only once.", "Name files instead of -.")
    if options.picture and len(options.files) > 1:
        raise PreflightError(
            "wrong-use",
            f"--picture goes with one file, not {len(options.files)}.",
            "Check the files one by one.",
        )
    if options.picture and Path(options.picture).suffix.lower() not in (".svg", ".png"):
        raise PreflightError(
            "wrong-use",
            f"{quoted(options.picture)} is neither .svg nor .png.",
            "Name the picture one of these.",
        )


def _outcome(name: str, job: Job, *, keep: bool) -> Outcome:
    """Return the answer for one file; ``keep`` its artwork, which a batch has no room for."""
    from preflight.checking import check  # noqa: PLC0415  (commands load only what they need)
    from preflight.readers import Limits, read  # noqa: PLC0415

    try:
        data = read_bytes(name, Limits().input_bytes + 1, "The artwork")
        artwork = read(data, None if name == "-" else Path(name).name)
        report = check(artwork, job)
        return Outcome(name, artwork if keep else None, report)
    except PreflightError as error:
        return Outcome(name, error=error)
    except Exception as error:  # A fault of ours: told in full, and the other files are still checked.
        traceback.print_exc()
        return Outcome(
            name,
            error=PreflightError(
                "internal-error",
                f"The check broke off: {type(error).__name__}.",
                "This is a fault of sign-preflight; please report it with the lines above.",
            ),
        )


def _picture(artwork: Artwork, report: Report, name: str) -> bytes:
    from preflight.report.picture import picture_png, picture_svg  # noqa: PLC0415  (loads a renderer)

    if Path(name).suffix.lower() == ".png":
        return picture_png(artwork, report)
    return picture_svg(artwork, report).encode()


def _text(outcomes: Sequence[Outcome], options: argparse.Namespace) -> str:
    from preflight.report.text import to_text  # noqa: PLC0415  (commands load only what they need)

    to_terminal = options.output is None and sys.stdout.isatty()
    color = options.color == "always" or (
        options.color == "auto" and to_terminal and not os.environ.get("NO_COLOR")
    )
    width = min(shutil.get_terminal_size().columns, 100) if to_terminal else 80
    texts = [
        to_text(outcome.report, unit=options.unit, width=width, color=color)
        for outcome in outcomes
        if outcome.report is not None
    ]
    if len(outcomes) > 1:
        texts.append(_tally(outcomes) + "\n")
    return f"\n{'═' * width}\n\n".join(texts)


def _tally(outcomes: Sequence[Outcome]) -> str:
    reports = [outcome.report for outcome in outcomes if outcome.report is not None]
    counts = [
        f"{number} {word}"
        for verdict, word in ((Verdict.FAIL, "fail"), (Verdict.WARN, "warn"), (Verdict.PASS, "pass"))
        if (number := sum(report.verdict is verdict for report in reports))
    ]
    if len(reports) < len(outcomes):
        counts.append(f"{len(outcomes) - len(reports)} could not be checked")
    return f"{len(outcomes)} files: {', '.join(counts)}."


def _json(outcomes: Sequence[Outcome]) -> str:
    from preflight.report.json import to_json  # noqa: PLC0415  (commands load only what they need)

    if len(outcomes) == 1 and outcomes[0].report is not None:
        return to_json(outcomes[0].report)
    entries = [_entry(outcome) for outcome in outcomes]
    content = entries[0] if len(entries) == 1 else entries
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _entry(outcome: Outcome) -> dict[str, Any]:
    if outcome.report is not None:
        return {"file": printable(outcome.name), "report": outcome.report.model_dump(mode="json")}
    assert outcome.error is not None, "an outcome has a report or an error"
    error = outcome.error
    return {
        "file": printable(outcome.name),
        "error": {"code": error.code, "message": error.message, "advice": error.advice},
    }


def _rules(_: argparse.Namespace) -> int:
    from preflight.rules import RULES  # noqa: PLC0415  (commands load only what they need)

    longest = max(len(rule.code) for rule in RULES)
    for rule in RULES:
        severities = ", ".join(dict.fromkeys(severity.value for severity in rule.cases.values()))
        sys.stdout.write(f"{rule.code:<{longest}}  {rule.title} ({severities})\n")
    return OK


def _explain(options: argparse.Namespace) -> int:
    from preflight.job.parse import suggestion  # noqa: PLC0415  (commands load only what they need)
    from preflight.rules import RULES  # noqa: PLC0415

    code = options.code.partition("/")[0]
    rule = next((rule for rule in RULES if rule.code == code), None)
    if rule is None:
        guess = suggestion(code, [rule.code for rule in RULES]).strip()
        raise PreflightError(
            "unknown-rule",
            f"There is no rule {quoted(code)}.",
            guess or "“sign-preflight rules” lists all rules.",
        )
    sys.stdout.write("\n\n".join(_explanation(rule)) + "\n")
    return OK


def _explanation(rule: Rule) -> Iterator[str]:
    yield f"{rule.code}: {rule.title}"
    mend = (
        "It can be mended mechanically, without changing the look."
        if rule.repairable
        else "A person has to mend it."
    )
    for heading, text in (
        ("Why it matters", rule.why),
        ("How it is measured", rule.how_measured),
        ("What to do", f"{rule.remedy} {mend}"),
    ):
        yield f"{heading}\n{_indented(text)}"
    yield "Cases\n" + "\n".join(f"  {rule.code}/{case}: {severity}" for case, severity in rule.cases.items())
    if rule.parameters:
        lines = [
            _indented(f"{item.name} ({item.unit}): {item.meaning}. Stock value: {item.source}.")
            for item in rule.parameters
        ]
        yield "Settings it uses\n" + "\n".join(lines)


def _indented(text: str) -> str:
    return textwrap.fill(
        " ".join(text.split()), 80, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False
    )


def _serve(options: argparse.Namespace) -> int:
    from service.__main__ import main as serve  # noqa: PLC0415  (only this command needs a server)

    given = (("--host", options.host), ("--port", options.port))
    return serve(["serve", *(part for name, value in given if value for part in (name, value))])


def _complain(error: PreflightError, name: str | None = None) -> None:
    about = f"{printable(name)}: " if name else ""
    lines = str(error.message).split("\n") + ([error.advice] if error.advice else [])
    sys.stderr.write(f"sign-preflight: {about}" + "\n  ".join(printable(line) for line in lines) + "\n")


def _use_utf8() -> None:
    # Quotation marks and units are beyond ASCII, and JSON is UTF-8 whatever the locale says.
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")


if __name__ == "__main__":
    sys.exit(main())
