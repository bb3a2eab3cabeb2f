"""``sign-preflight rehearse``: the order, way, time and errors of a cut, with a picture and an animation."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from preflight.commands.files import load_job, read_bytes, write
from preflight.errors import PreflightError, quoted


def add_rehearse(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    rehearse = commands.add_parser(
        "rehearse",
        help="rehearse the cut",
        description="Tell in which order the knife would follow the contours, where it begins, how long it takes and "
        "how far the tip strays.",
        epilog="exit status:\n  0  the rehearsal is written\n  2  a file or the job could not be read or written, "
        "there is nothing to cut, or the command was used wrongly\n",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    rehearse.add_argument("file", metavar="FILE", help="artwork; - is standard input")
    rehearse.add_argument("--job", metavar="F", help="the job's settings, TOML or JSON")
    rehearse.add_argument(
        "--format", choices=("text", "json"), default="text", help="form of the answer (%(default)s)"
    )
    rehearse.add_argument("--output", metavar="F", help="write the answer there; else to standard output")
    rehearse.add_argument("--picture", metavar="F", help="write a picture of the order there: .svg or .png")
    rehearse.add_argument(
        "--animation", metavar="F", help="write a page that plays the cut there: .html, for any browser"
    )
    rehearse.add_argument(
        "--film", metavar="NAME", help="film of the picture and the animation; else all, one below the other"
    )
    rehearse.add_argument(
        "--entry",
        choices=("turned", "as-left"),
        default="turned",
        help="how the blade comes down: turned to where the cut sets out, or as the last cut left it (%(default)s)",
    )
    rehearse.add_argument(
        "--small-parts-in-turn",
        action="store_true",
        help="do not cut pieces first that are so small that they could lift",
    )
    rehearse.set_defaults(run=_run)


def _run(options: argparse.Namespace) -> int:
    from preflight.cutting.rehearsal import (  # noqa: PLC0415  (commands load only what they need)
        RehearsalOptions,
        animation_html,
        picture_png,
        picture_svg,
        rehearsal_text,
        rehearse,
    )
    from preflight.readers import Limits, read  # noqa: PLC0415

    _require_ending(options.picture, (".svg", ".png"), "The picture")
    _require_ending(options.animation, (".html",), "The animation")
    if options.file == options.job == "-":
        raise PreflightError(
            "wrong-use", "Standard input can be read only once.", "Name a file instead of -."
        )
    job = load_job(options.job)
    data = read_bytes(options.file, Limits().input_bytes + 1, "The artwork")
    artwork = read(data, None if options.file == "-" else Path(options.file).name)
    chosen = RehearsalOptions(entry=options.entry, small_parts_first=not options.small_parts_in_turn)
    found = rehearse(artwork, job, chosen)
    if options.film is not None and options.film not in [film.film for film in found.films]:
        raise PreflightError(
            "unknown-film",
            f"There is no film {quoted(options.film)} in this cut.",
            f"Name one of these: {', '.join(quoted(film.film) for film in found.films)}.",
        )
    if options.picture is not None:
        png = Path(options.picture).suffix.lower() == ".png"
        picture = (
            picture_png(found, film=options.film) if png else picture_svg(found, film=options.film).encode()
        )
        write(options.picture, picture)
    if options.animation is not None:
        write(options.animation, animation_html(found, film=options.film).encode())
    answer = rehearsal_text(found) if options.format == "text" else found.model_dump_json(indent=2) + "\n"
    if options.output is not None:
        write(options.output, answer.encode())
    else:
        sys.stdout.write(answer)
    return 0


def _require_ending(name: str | None, endings: tuple[str, ...], what: str) -> None:
    if name is not None and Path(name).suffix.lower() not in endings:
        raise PreflightError(
            "output-format",
            f"{what} {quoted(name)} is not named {' or '.join(endings)}.",
            "Name it so: the ending says what is written.",
        )
