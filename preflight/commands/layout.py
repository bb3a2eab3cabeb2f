"""``sign-preflight layout``: how an order lies on the roll, its picture and its files for production."""

from __future__ import annotations

import argparse
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from preflight.commands.files import load_job, read_bytes, write
from preflight.errors import PreflightError, printable, quoted
from preflight.units import UNITS

if TYPE_CHECKING:
    from preflight.roll.layout import Laid, LayoutOptions, OrderLine
    from preflight.roll.nesting import Progress
    from preflight.writers import Writer

FITS, DOES_NOT = 0, 1
_EPILOG = """\
exit status:
  0  everything fits, or no roll is stated for what does not
  1  something does not fit, or a file was written whose mend is not proved
  2  a file, the job or the options could not be read, or the command was used wrongly
"""
_SWITCHES = ("turns", "spread", "gap", "seconds", "seed")


def add_layout(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    layout = commands.add_parser(
        "layout",
        help="lay an order out on the roll",
        description="Lay artwork, in copies, out on the roll of each film: which way, how much film, what is left.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    layout.add_argument(
        "files", nargs="+", metavar="FILE", help="artwork, one order line each; - is standard input"
    )
    layout.add_argument("--job", metavar="F", help="the job's settings, TOML or JSON; states the rolls")
    layout.add_argument(
        "--options", metavar="F", help="the layout's options, TOML or JSON; switches go before them"
    )
    layout.add_argument(
        "--copies",
        metavar="N",
        type=int,
        action="append",
        help="copies: once for all files, or once for each in their order",
    )
    layout.add_argument("--turns", metavar="WORD", help="as-drawn, quarter (stock) or any")
    layout.add_argument("--spread", metavar="WORD", help="graphic (stock) or parts, each laid for itself")
    layout.add_argument(
        "--keep-upright",
        metavar="NAME",
        action="append",
        help="file that must not be turned; may be repeated",
    )
    layout.add_argument(
        "--fill-holes", action="store_true", default=None, help="lay pieces in holes of others"
    )
    layout.add_argument(
        "--interlock",
        action="store_true",
        default=None,
        help="let graphics of several parts reach into each other; they cannot be taped as one sheet then",
    )
    layout.add_argument("--gap", metavar="LENGTH", help="least distance between pieces; else the weed border")
    layout.add_argument(
        "--no-nest",
        dest="nest",
        action="store_false",
        default=None,
        help="lay boxes side by side, without a search",
    )
    layout.add_argument(
        "--fonts", metavar="FOLDER", type=Path, help="folder of fonts for text that is not outlined"
    )
    layout.add_argument("--seconds", metavar="N", help="time for the search (10)")
    layout.add_argument("--seed", metavar="N", help="where the search begins (1)")
    layout.add_argument(
        "--format", choices=("text", "json"), default="text", help="form of the answer (%(default)s)"
    )
    layout.add_argument("--picture", metavar="F", help="write a picture of the roll there: .svg or .png")
    layout.add_argument(
        "--output",
        metavar="F",
        help="write the mended cut of all copies there: .svg, .pdf, .dxf or .plt; with several films one file each, "
        "its name followed by the film's",
    )
    layout.add_argument(
        "--unit", choices=UNITS, default="mm", help="unit of lengths in the text (%(default)s)"
    )
    layout.add_argument("--progress", action="store_true", help="tell on standard error how the search goes")
    layout.set_defaults(run=_run)


def _run(options: argparse.Namespace) -> int:
    from preflight.roll.layout import lay_out  # noqa: PLC0415  (commands load only what they need)
    from preflight.roll.layout.text import to_text  # noqa: PLC0415
    from preflight.text import FontSource  # noqa: PLC0415

    writer = _writer(options)
    _refuse_contradictions(options)
    job = load_job(options.job)
    chosen = _options(options)
    fonts = FontSource.of(folder=options.fonts)
    for rejected in fonts.rejected:
        sys.stderr.write(f"sign-preflight: {printable(rejected.name)}: {printable(rejected.why)}\n")
    laid = lay_out(_lines(options), job, chosen, fonts=fonts, told=_tell if options.progress else None)
    width = min(shutil.get_terminal_size().columns, 100) if sys.stdout.isatty() else 80
    if options.format == "json":
        sys.stdout.write(laid.layout.model_dump_json(indent=2) + "\n")
    else:
        sys.stdout.write(to_text(laid.layout, unit=options.unit, width=width))
    if options.picture:
        write(options.picture, _picture(laid, options.picture))
    proved = writer is None or _write_files(laid, writer, options.output)
    return FITS if laid.layout.verdict != "does-not-fit" and proved else DOES_NOT


def _tell(progress: Progress) -> None:
    sys.stderr.write(f"{progress.length:.0f} mm, {progress.density:.1%} of it covered\n")


def _refuse_contradictions(options: argparse.Namespace) -> None:
    if [*options.files, options.job, options.options].count("-") > 1:
        raise PreflightError("wrong-use", "Standard input can be read only once.", "Name files instead of -.")
    if options.copies and len(options.copies) not in (1, len(options.files)):
        raise PreflightError(
            "wrong-use",
            f"--copies is there {len(options.copies)} times for {len(options.files)} files.",
            "Give it once for all files, or once for each.",
        )
    if options.picture and Path(options.picture).suffix.lower() not in (".svg", ".png"):
        raise PreflightError(
            "wrong-use",
            f"{quoted(options.picture)} is neither .svg nor .png.",
            "Name the picture one of these.",
        )


def _options(options: argparse.Namespace) -> LayoutOptions:
    from preflight.job.parse import LARGEST_JOB  # noqa: PLC0415  (commands load only what they need)
    from preflight.roll.layout import LayoutOptions  # noqa: PLC0415

    given: dict[str, Any] = {}
    if options.options:
        stated = LayoutOptions.parse(read_bytes(options.options, LARGEST_JOB + 1, "The options"))
        given = {name: getattr(stated, name) for name in stated.model_fields_set}
    switches = {name: getattr(options, name) for name in _SWITCHES if getattr(options, name) is not None}
    switches |= {
        name: value
        for name in ("fill_holes", "interlock", "nest")
        if (value := getattr(options, name)) is not None
    }
    if options.keep_upright:
        switches["keep_upright"] = tuple(options.keep_upright)
    return LayoutOptions.parse(given | switches)


def _lines(options: argparse.Namespace) -> list[OrderLine]:
    from preflight.readers import Limits, read  # noqa: PLC0415  (commands load only what they need)
    from preflight.roll.layout import OrderLine  # noqa: PLC0415

    copies = options.copies or [None]
    if len(copies) == 1:
        copies = copies * len(options.files)
    lines = []
    for name, number in zip(options.files, copies, strict=True):
        data = read_bytes(name, Limits().input_bytes + 1, "The artwork")
        artwork = read(data, None if name == "-" else Path(name).name)
        lines.append(OrderLine(artwork, number))
    return lines


def _picture(laid: Laid, name: str) -> bytes:
    from preflight.roll.layout.picture import layout_png, layout_svg  # noqa: PLC0415  (loads a renderer)

    return layout_png(laid) if Path(name).suffix.lower() == ".png" else layout_svg(laid).encode()


def _writer(options: argparse.Namespace) -> Writer | None:
    from preflight.writers import WRITERS  # noqa: PLC0415  (commands load only what they need)

    if not options.output:
        return None
    ending = Path(options.output).suffix.lower()
    writer = next((w for w in WRITERS if w.ending == ending), None)
    if writer is None:
        known = ", ".join(dict.fromkeys(w.ending for w in WRITERS))
        raise PreflightError(
            "output-format",
            f"What form of file {quoted(options.output)} is to be is not known.",
            f"Let its name end in one of {known}.",
        )
    return writer


def _write_files(laid: Laid, writer: Writer, output: str) -> bool:
    """Write one file a film and say so on standard error; return whether all mends are proved."""
    from preflight.roll.layout.cut import cut_files  # noqa: PLC0415  (commands load only what they need)
    from preflight.writers.naming import film_word  # noqa: PLC0415

    target = Path(output)
    files = cut_files(laid, target.stem)
    taken: set[str] = set()
    for file in files:
        name = target
        if len(laid.layout.films) > 1:
            name = target.with_name(f"{target.stem}-{film_word(file.film.film, taken)}{target.suffix}")
        write(str(name), writer.write(file.file))
        sys.stderr.write(printable(f"{name}: {file.film.film}. {file.file.claim}") + "\n")
    sys.stderr.write(printable(writer.caution) + "\n")
    return all(file.proved for file in files)
