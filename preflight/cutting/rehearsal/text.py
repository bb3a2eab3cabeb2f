"""A rehearsal in words, for the terminal."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.cutting.rehearsal.model import FilmRehearsal, Rehearsal, TipError, length_words
from preflight.errors import printable
from preflight.units import format_length

_SHOWN = 12
_NAMES = {
    "speed": "cutting speed",
    "acceleration": "acceleration when cutting",
    "travel_speed": "speed with the knife up",
    "travel_acceleration": "acceleration with the knife up",
    "cornering": "rounding at corners",
    "drop": "lowering the knife",
    "lift": "lifting the knife",
    "feed_window": "film cut before the next is fed",
    "blade_offset": "blade offset",
    "overcut": "overcut",
    "corner_tolerance": "corner tolerance",
}


def time_words(seconds: float) -> str:
    """Return a time as a person says it: seconds, then minutes and seconds, then hours and minutes."""
    whole = round(seconds)
    if whole < 60:
        return f"{seconds:.1f} s" if seconds < 9.95 else f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def rehearsal_text(rehearsal: Rehearsal) -> str:
    """Return the rehearsal as lines of text, each ended."""
    lines = [f"{printable(rehearsal.title)}: about {time_words(rehearsal.seconds)} of cutting"]
    if not rehearsal.size_stated:
        lines.append("The finished size is not stated: lengths and times are those of the size in the file.")
    for film in rehearsal.films:
        lines += ["", *_film(film)]
    lines += ["", "Rests on:", *_basis(rehearsal), ""]
    lines += [f"- {note}" for note in rehearsal.notes]
    lines.append(rehearsal.claim)
    return "\n".join(lines) + "\n"


def _film(film: FilmRehearsal) -> Iterator[str]:
    seconds, feed, laid = film.seconds, film.feed, film.laid
    count = len(film.contours)
    yield f"{printable(film.film)}: {count} contour{'' if count == 1 else 's'}, {time_words(seconds.total)}"
    ways = [word for word, said in (("mirrored", laid.mirrored), ("turned a quarter", laid.turned)) if said]
    yield (
        f"  On the machine: {length_words(laid.width_mm)} across, {length_words(laid.length_mm)} along the feed, "
        f"{' and '.join(ways) or 'as drawn'}. {laid.fit}"
    )
    yield (
        f"  Cutting {time_words(seconds.cutting)} for {length_words(film.cut_length_mm)}, and "
        f"{length_words(film.overcut_mm)} of overcut."
    )
    yield (
        f"  Knife up {time_words(seconds.travelling)} for {length_words(film.travel_mm)} "
        f"({length_words(film.file_order_travel_mm)} in the file's order); lowering and lifting "
        f"{time_words(seconds.knife)}."
    )
    yield (
        f"  Film goes back {feed.back_moves} times with the knife up, {length_words(feed.back_mm)} in all, and "
        f"{length_words(feed.cutting_back_mm)} while cutting; at most {length_words(feed.farthest_back_mm)} "
        "behind the farthest cut."
    )
    yield f"  Blade offset made up for: {_error(film.compensated)}"
    yield f"  Blade offset not made up for: {_error(film.uncompensated)}"
    yield from _entries(film)
    yield "  Order (start on the artwork, from its top left):"
    for cut in film.contours[:_SHOWN]:
        inside = f", inside {cut.inside}" if cut.inside else ""
        small = ", small" if cut.small else ""
        yield (
            f"  {cut.number:>5}  x {cut.start[0]:.1f}, y {cut.start[1]:.1f} mm; {length_words(cut.length_mm)}, "
            f"{cut.travelling_s + cut.cutting_s + cut.knife_s:.2f} s{inside}{small}"
        )
    if count > _SHOWN:
        yield f"         and {count - _SHOWN} more; the JSON has them all"


def _entries(film: FilmRehearsal) -> Iterator[str]:
    leads = [cut.lead_mm for cut in film.contours if cut.lead_mm is not None]
    if not leads:
        return
    yield (
        f"  A blade that is not turned before it comes down needs up to {max(leads):.2f} mm to swing in; the overcut "
        f"goes over that at {film.leads_covered} of {len(leads)} contours."
    )


def _error(error: TipError) -> str:
    if error.at is None:
        words = "no error by the model"
    else:
        words = (
            f"at most {error.largest_mm:.3f} mm beside the line, at x {error.at[0]:.1f}, y {error.at[1]:.1f} mm "
            f"(contour {error.contour}); {_mean(error)} in the mean"
        )
    entry = f"; up to {error.entry_mm:.3f} mm where a contour begins" if error.entry_contour else ""
    return f"{words}{entry}."


def _mean(error: TipError) -> str:
    return f"{error.mean_mm:.3f} mm" if error.mean_mm >= 0.0005 else "under 0.001 mm"


def _basis(rehearsal: Rehearsal) -> Iterator[str]:
    for figure in rehearsal.figures:
        value = format_length(figure.value) if figure.unit == "mm" else f"{figure.value:g} {figure.unit}"
        yield f"  {_NAMES[figure.name]}: {value} ({'stated' if figure.stated else figure.source})"
