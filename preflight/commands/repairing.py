"""``sign-preflight repair``: mend one file, say what was done and whether it is proved, write it."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from preflight.commands.files import load_job, read_bytes, write
from preflight.errors import PreflightError, printable

if TYPE_CHECKING:
    from preflight.repair import Repaired
    from preflight.writers import Writer

FORMATS = ("svg", "pdf", "dxf", "hpgl")
PROVED, NOT_PROVED = 0, 1


def add_repair(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    repair = commands.add_parser(
        "repair",
        help="mend artwork and prove the mend",
        description="Mend what can be mended without changing the look, prove it, and write a file for production.",
        epilog="exit status:\n  0  the mend is proved\n  1  it is not: the file is written all the same, and is not "
        "cut-ready\n  2  the file or the job could not be read, or the command was used wrongly\n",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    repair.add_argument("file", metavar="FILE", help="artwork to mend; - is standard input")
    repair.add_argument("--output", metavar="F", required=True, help="where to write the mended file")
    repair.add_argument("--job", metavar="F", help="the job's settings, TOML or JSON")
    repair.add_argument(
        "--format", choices=FORMATS, help="form of the file; else by the output's ending, or svg"
    )
    repair.add_argument(
        "--fonts", metavar="FOLDER", type=Path, help="folder of fonts for text that is not outlined"
    )
    repair.add_argument(
        "--stand-in",
        metavar="FAMILY=FONT",
        action="append",
        default=[],
        help="use FONT where the text asks for FAMILY, for instance sans-serif=Source Sans Pro; may be repeated",
    )
    repair.add_argument(
        "--weed-lines",
        action="store_true",
        help="add weed borders and weed lines, on layers of their own, to the mended file",
    )
    repair.add_argument("--proof", metavar="F", help="write actions and proof there as JSON")
    repair.set_defaults(run=_repair)


def _repair(options: argparse.Namespace) -> int:
    from preflight.readers import Limits, read  # noqa: PLC0415  (commands load only what they need)
    from preflight.repair import repair  # noqa: PLC0415
    from preflight.text import FontSource  # noqa: PLC0415
    from preflight.weeding.production import with_weed_lines  # noqa: PLC0415
    from preflight.writers.production import cut_file  # noqa: PLC0415

    writer = _writer(options)
    job = load_job(options.job)
    fonts = FontSource.of(folder=options.fonts, substitutes=_stand_ins(options.stand_in))
    for rejected in fonts.rejected:
        sys.stderr.write(f"sign-preflight: {printable(rejected.name)}: {printable(rejected.why)}\n")
    data = read_bytes(options.file, Limits().input_bytes + 1, "The artwork")
    artwork = read(data, None if options.file == "-" else Path(options.file).name)
    repaired = repair(artwork, job, fonts=fonts)
    stem = "artwork" if options.file == "-" else Path(options.file).stem
    cut = cut_file(repaired, stem)
    write(options.output, writer.write(with_weed_lines(cut, job) if options.weed_lines else cut))
    if options.proof:
        write(options.proof, _json(repaired).encode())
    for line in _told(repaired, writer):
        sys.stdout.write(printable(line) + "\n")
    return PROVED if repaired.proof.proved else NOT_PROVED


def _stand_ins(given: list[str]) -> dict[str, str]:
    pairs = [text.partition("=") for text in given]
    for family, equals, font in pairs:
        if not equals or not font.strip():
            raise PreflightError(
                "stand-in",
                f"“{family}” does not say which font stands in.",
                "Write it as FAMILY=FONT, for instance sans-serif=Source Sans Pro.",
            )
    return {family.strip(): font.strip() for family, _, font in pairs}


def _writer(options: argparse.Namespace) -> Writer:
    from preflight.writers import WRITERS  # noqa: PLC0415  (commands load only what they need)

    ending = Path(options.output).suffix.lower()
    word = options.format or next((w.word for w in WRITERS if w.ending == ending), None)
    if word is None and ending not in ("", "."):
        raise PreflightError(
            "output-format",
            f"What form of file “{ending}” is to be is not known.",
            f"State --format: {', '.join(FORMATS)}.",
        )
    return next(w for w in WRITERS if w.word == (word or "svg"))


def _json(repaired: Repaired) -> str:
    body = {
        "actions": [action.model_dump(mode="json") for action in repaired.actions],
        "proof": repaired.proof.model_dump(mode="json"),
    }
    return json.dumps(body, ensure_ascii=False, indent=2) + "\n"


def _told(repaired: Repaired, writer: Writer) -> Iterator[str]:
    proof = repaired.proof
    yield "PROVED" if proof.proved else "NOT PROVED"
    yield proof.claim
    for reason in proof.reasons:
        yield f"  - {reason}"
    yield ""
    yield "What was done:" if repaired.actions else "Nothing had to be done."
    for action in repaired.actions:
        film = f" [{action.film}]" if action.film else ""
        figures = ""
        if action.before is not None and action.after is not None:
            figures = f" ({action.before:g} → {action.after:g} {action.unit or ''})".replace(" )", ")")
        yield f"  - {action.what}{film}{figures}"
    yield ""
    for checked in proof.films:
        yield (
            f"{checked.film}: {checked.nodes_before} → {checked.nodes_after} nodes, strays at most "
            f"{checked.largest_deviation_mm * 1000:.1f} µm from the artwork."
        )
    yield ""
    yield writer.caution
