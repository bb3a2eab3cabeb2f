"""``sign-preflight panels``: part what is wider than its roll, draw the assembly, write each panel's file."""

from __future__ import annotations

import argparse
import json
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from preflight.commands.files import load_job, read_bytes, write
from preflight.commands.repairing import FORMATS
from preflight.errors import PreflightError, printable, quoted
from preflight.units import UNITS

if TYPE_CHECKING:
    from preflight.artwork import Artwork
    from preflight.roll.panels import Panelled, PanelOptions
    from preflight.roll.panels.cut import FilmCut

GOOD, NOT_GOOD = 0, 1
_SWITCHES = ("seams", "prefer", "marks", "mark_arm", "stagger")


def add_panels(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    command = commands.add_parser(
        "panels",
        help="part what is wider than the roll",
        description="Part films that are wider than their roll into panels: seams that miss letters, laps, "
        "registration marks, the order of putting them on.",
        epilog="exit status:\n  0  every film is parted or fits whole, and files written are proved\n"
        "  1  a film was not judged, its roll is too short, or a file was written that is not proved\n"
        "  2  a file, the job or the options could not be read, or the command was used wrongly\n",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_argument("file", metavar="FILE", help="artwork to part; - is standard input")
    command.add_argument("--job", metavar="F", help="the job's settings, TOML or JSON; states the rolls")
    command.add_argument(
        "--output-dir",
        metavar="D",
        type=Path,
        help="folder for a file of each panel, the assembly drawing (SVG and PNG) and the plan and proof (JSON); "
        "made where there is none",
    )
    command.add_argument(
        "--format", choices=FORMATS, default="svg", help="form of the panels' files (%(default)s)"
    )
    command.add_argument("--json", action="store_true", help="answer with the plan as JSON")
    command.add_argument(
        "--options", metavar="F", help="the panels' options, TOML or JSON; switches go before them"
    )
    command.add_argument("--seams", metavar="WORD", help="auto (stock), vertical or horizontal on the sign")
    command.add_argument(
        "--prefer", metavar="WORD", help="whole-parts (stock) or fewest-panels, cutting letters if need be"
    )
    command.add_argument(
        "--no-marks", dest="marks", action="store_false", default=None, help="leave registration marks out"
    )
    command.add_argument(
        "--mark-arm", metavar="LENGTH", help="width of a mark's arms; else as the film needs"
    )
    command.add_argument(
        "--stagger", metavar="LENGTH", help="how far seams of stacked films keep apart (30 mm)"
    )
    command.add_argument(
        "--fonts", metavar="FOLDER", type=Path, help="folder of fonts for text that is not outlined"
    )
    command.add_argument(
        "--unit", choices=UNITS, default="mm", help="unit of lengths in text and drawing (%(default)s)"
    )
    command.set_defaults(run=_run)


def _run(options: argparse.Namespace) -> int:
    from preflight.roll.panels import panel_out  # noqa: PLC0415  (commands load only what they need)
    from preflight.roll.panels.text import to_text  # noqa: PLC0415
    from preflight.text import FontSource  # noqa: PLC0415

    if [options.file, options.job, options.options].count("-") > 1:
        raise PreflightError("wrong-use", "Standard input can be read only once.", "Name files instead of -.")
    job = load_job(options.job)
    fonts = FontSource.of(folder=options.fonts)
    for rejected in fonts.rejected:
        sys.stderr.write(f"sign-preflight: {printable(rejected.name)}: {printable(rejected.why)}\n")
    panelled = panel_out(_artwork(options), job, _options(options), fonts=fonts)
    shown = panelled.panelling
    width = min(shutil.get_terminal_size().columns, 100) if sys.stdout.isatty() else 80
    if options.json:
        sys.stdout.write(shown.model_dump_json(indent=2) + "\n")
    else:
        sys.stdout.write(to_text(shown, unit=options.unit, width=width))
    good = all(plan.verdict != "not-judged" and plan.fits_length is not False for plan in shown.films)
    if options.output_dir is not None:
        good = _write_all(panelled, options) and good
    return GOOD if good and shown.films else NOT_GOOD


def _artwork(options: argparse.Namespace) -> Artwork:
    from preflight.readers import Limits, read  # noqa: PLC0415  (commands load only what they need)

    data = read_bytes(options.file, Limits().input_bytes + 1, "The artwork")
    return read(data, None if options.file == "-" else Path(options.file).name)


def _options(options: argparse.Namespace) -> PanelOptions:
    from preflight.job.parse import LARGEST_JOB  # noqa: PLC0415  (commands load only what they need)
    from preflight.roll.panels import PanelOptions  # noqa: PLC0415

    given: dict[str, Any] = {}
    if options.options:
        stated = PanelOptions.parse(read_bytes(options.options, LARGEST_JOB + 1, "The options"))
        given = {name: getattr(stated, name) for name in stated.model_fields_set}
    switches = {name: value for name in _SWITCHES if (value := getattr(options, name)) is not None}
    return PanelOptions.parse(given | switches)


def _write_all(panelled: Panelled, options: argparse.Namespace) -> bool:
    """Write all files and say so on standard error; return whether all of them are proved."""
    from preflight.roll.panels.cut import cut_panels  # noqa: PLC0415  (commands load only what they need)
    from preflight.roll.panels.drawing import assembly_png, assembly_svg  # noqa: PLC0415
    from preflight.writers import WRITERS  # noqa: PLC0415

    folder: Path = options.output_dir
    stem = "artwork" if options.file == "-" else Path(options.file).stem
    cuts = cut_panels(panelled, stem)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise PreflightError(
            "file-unwritable",
            f"The folder {quoted(str(folder))} could not be made: {error.strerror or error}.",
            "Name a folder that can be.",
        ) from None
    writer = next(w for w in WRITERS if w.word == options.format)
    for name, cut, number in _names(cuts, stem, writer.ending):
        write(str(folder / name), writer.write(cut.panels[number].file))
        sys.stderr.write(printable(f"{folder / name}: {cut.panels[number].file.title}") + "\n")
    write(str(folder / f"{stem}-assembly.svg"), assembly_svg(panelled, unit=options.unit).encode())
    write(str(folder / f"{stem}-assembly.png"), assembly_png(panelled, unit=options.unit))
    write(str(folder / f"{stem}-panels.json"), _json(panelled, cuts).encode())
    for cut in cuts:
        sys.stderr.write(printable(f"{cut.proof.film}: {_told(cut)}") + "\n")
    sys.stderr.write(printable(writer.caution) + "\n")
    return all(cut.proved for cut in cuts)


def _names(cuts: tuple[FilmCut, ...], stem: str, ending: str) -> list[tuple[str, FilmCut, int]]:
    """Return the name of each panel's file, the film it is of, and its index among that film's panels."""
    from preflight.writers.naming import film_word  # noqa: PLC0415  (commands load only what they need)

    taken: set[str] = set()
    found = []
    for cut in cuts:
        word = film_word(cut.planned.plan.film, taken)
        several = len(cut.panels) > 1
        for index, panel in enumerate(cut.panels):
            number = f"-panel-{panel.panel.number}" if several else "-whole"
            found.append((f"{stem}-{word}{number}{ending}", cut, index))
    return found


def _told(cut: FilmCut) -> str:
    if cut.proved:
        return "the panels together are the film, proved; test-cut first."
    reasons = (*cut.proof.reasons, *(() if cut.mended.proof.proved else cut.mended.proof.reasons))
    return f"NOT PROVED: do not cut it as it is. {' '.join(reasons)}"


def _json(panelled: Panelled, cuts: tuple[FilmCut, ...]) -> str:
    body = {
        "plan": panelled.panelling.model_dump(mode="json"),
        "proofs": [cut.proof.model_dump(mode="json") for cut in cuts],
    }
    return json.dumps(body, ensure_ascii=False, indent=2) + "\n"
