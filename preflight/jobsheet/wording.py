"""A job sheet in words: sections with tables, steps to tick off, and notes, for HTML and PDF alike.

† marks a rule of thumb (common practice, no source), * a stock value that the job does not state.
Words that come from the artwork or the job are plain text here; each form escapes them its own way.
"""

from __future__ import annotations

from collections.abc import Iterator

from preflight.errors import printable
from preflight.job import Temperature
from preflight.jobsheet.cautions import LOCAL_RULES
from preflight.jobsheet.model import JobSheet, RollSheet
from preflight.jobsheet.panels import in_panels
from preflight.jobsheet.table import (
    Cell,
    Section,
    Table,
    both,
    duration,
    film_cell,
    named,
    sides,
    star,
    two_units,
)
from preflight.jobsheet.weeding import weed
from preflight.roll.panels import PanelPlan
from preflight.units import MM_PER, format_length

TAPE_SPARE = 25.4
"""Transfer tape left over at each end to hold it by, mm. Common practice, no source."""
MARKS = "† rule of thumb: common practice, no source.   * stock value: the job does not state it."

PLACES = {
    "board": "a board",
    "wall": "a wall",
    "window": "a window",
    "vehicle": "a vehicle's painted body",
    "vehicle-window": "a vehicle's window",
    "banner": "a banner",
    "ground-stake": "a sign on ground stakes",
}


def temperature(window: Temperature | None) -> str:
    """Return the window in which a film may be applied, or that it is not known."""
    if window is None:
        return "unknown: read it in the film's own bulletin first"
    least = f"{_degrees(window.least)}"
    span = f"from {least} up" if window.most is None else f"{least} to {_degrees(window.most)}"
    return f"{span} ({printable(window.bulletin)})"


def facts(sheet: JobSheet) -> tuple[tuple[str, str], ...]:
    """Return the few lines beside the picture: what is made, and for where."""
    size = "" if sheet.size_stated else " — NOT STATED: taken from the file, measure before cutting"
    behind = "behind glass (second surface)" if sheet.surface == "second" else "front (first surface)"
    polarity = "the shapes" if sheet.polarity == "shapes" else "what surrounds the shapes"
    x0, y0, x1, y1 = sheet.art_box
    return (
        ("Drawing area", f"{sides(sheet.width, sheet.height)}{size}"),
        ("Graphic", sides(x1 - x0, y1 - y0)),
        ("Put on", PLACES[sheet.place] if sheet.place else "not stated"),
        ("Substrate", printable(sheet.substrate) if sheet.substrate else "not stated"),
        ("Side", behind),
        ("Use", sheet.use + ("" if sheet.use_stated else "*")),
        ("What stays", polarity),
        ("Films", str(len(sheet.films))),
    )


def sections(sheet: JobSheet) -> tuple[Section, ...]:
    """Return the sheet's parts in the order of work."""
    return (
        _load(sheet),
        _cut(sheet),
        weed(sheet),
        _tape(sheet),
        *in_panels(sheet),
        _apply(sheet),
        _cautions(sheet),
    )


def _load(sheet: JobSheet) -> Section:
    head = ("Film", "Roll width", "Usable width", "Across the roll", "Take from the roll", "How it lies")
    rows = []
    for film in sheet.films:
        roll = film.roll
        if roll is None:
            unknown = Cell(("not stated",))
            least = Cell((f"{format_length(film.width)} ×", f"{format_length(film.height)} + border"))
            rows.append(
                (film_cell(film), unknown, unknown, least, Cell(("unknown",)), Cell(("no roll in the job",)))
            )
            continue
        width = (film_cell(film), two_units(roll.width), two_units(roll.usable_width))
        rows.append((*width, *_lies(roll, film.panels)))
    steps = [
        "The right film for each colour is at the machine, and enough of it.",
        f"Roll across the machine, film side up, fed in square. {_rollers(sheet)}",
    ]
    return Section("1  Load", (Table(head, tuple(rows)),), tuple(steps), tuple(_load_notes(sheet)))


def _lies(roll: RollSheet, panels: PanelPlan | None) -> tuple[Cell, Cell, Cell]:
    """Return what a film takes across and along the roll, and how it lies."""
    if panels is not None and panels.film_length_mm is not None:
        across = two_units(max(panel.across_mm for panel in panels.panels))
        count = f"IN {len(panels.panels)} PANELS"
        return across, two_units(panels.film_length_mm), Cell((count, roll.reason))
    if not roll.fits:
        return two_units(roll.across), Cell(("—",)), Cell(("DOES NOT FIT", roll.reason))
    lies = "turned a quarter" if roll.turned else "as drawn"
    return two_units(roll.across), two_units(roll.along), Cell((lies,))


def _rollers(sheet: JobSheet) -> str:
    margins = {(film.roll.margin, film.roll.margin_stated) for film in sheet.films if film.roll}
    if len(margins) != 1:
        return "Both pinch rollers stand on film, inside its edges, and clear of the cut†."
    margin, stated = margins.pop()
    return (
        f"Both pinch rollers stand on film, inside the edges and clear of the cut: {both(margin)}{star(stated)} "
        "on each side is kept for them."
    )


def _load_notes(sheet: JobSheet) -> Iterator[str]:
    rolls = dict.fromkeys(
        (roll.weed_border, roll.lead, roll.weed_border_stated, roll.lead_stated)
        for film in sheet.films
        if (roll := film.roll)
    )
    for border, lead, border_stated, lead_stated in rolls:
        yield (
            f"Across and length hold a weed border of {both(border)}{star(border_stated)} on each side; the length "
            f"also {both(lead)}{star(lead_stated)} of lead at each end."
        )
    for film in sheet.films:
        if film.roll and film.roll.left_on_roll is not None:
            yield f"Left on the roll of {named(film.name)}: {both(film.roll.left_on_roll)}."


def _cut(sheet: JobSheet) -> Section:
    rows = tuple(
        (
            film_cell(film),
            Cell((str(film.contours),)),
            Cell((f"{film.cut_length / MM_PER['m']:.2f} m", f"{film.cut_length / MM_PER['ft']:.1f} ft")),
            Cell(("unknown",) if film.cut_seconds is None else (f"about {duration(film.cut_seconds)}",)),
        )
        for film in sheet.films
    )
    offset, angle = star(sheet.offset_stated), star(sheet.angle_stated)
    mirror = {
        "no": (),
        "mirror": ("MIRROR the drawing before cutting, unless the cut file was made mirrored by repair.",),
        "mirrored-already": ("The drawing is mirrored already: do not mirror it again.",),
    }[sheet.laying.mirror]
    steps = (
        f"Blade in the holder: offset {both(sheet.blade_offset)}{offset}, angle {sheet.blade_angle:g}°{angle}. Tip "
        "whole and clean.",
        "Test cut beside the job: the knife cuts the film and marks the liner. It does not cut through the liner†.",
        "Weed the test cut: it comes off cleanly and corners are sharp†. If not, set depth and force again.",
        *mirror,
        "Cut every film. Weed border cut around it.",
    )
    notes = [f"Cutting time: {sheet.time_basis}."]
    if sheet.loose_lines > 0:
        notes.append(
            f"Knife lines of their own, {both(sheet.loose_lines)} in all, belong to no film and are not in the table."
        )
    notes.append("How thick the liner is, is not known: only the test cut shows the right depth.")
    return Section("2  Cut", (Table(("Film", "Contours", "Cut length", "Time"), rows),), steps, tuple(notes))


def _tape(sheet: JobSheet) -> Section:
    head = ("Film", "Tape at least", "and as long as", "Largest single piece")
    rows = []
    for film in sheet.films:
        wide, high = film.tape.widest_piece
        piece = Cell(tuple(sides(wide, high).split(", ")))
        rows.append((film_cell(film), two_units(film.tape.width), two_units(film.tape.length), piece))
    notes = [
        "One sheet over a continuous character, so the tape is as wide as the graphic (a film maker's help centre). "
        f"Leave {both(TAPE_SPARE)} more at each end to hold it by†."
    ]
    notes += [
        f"{named(film.name)}: the tape at hand, {both(film.tape.at_hand)}, "
        + (
            "covers it in one sheet."
            if film.tape.one_sheet
            else "does not cover it in one sheet. Part the tape only between pieces, never over one."
        )
        for film in sheet.films
        if film.tape.at_hand is not None
    ]
    steps = ("Tape on from one end, squeegee with overlapping strokes, no bubbles†.",)
    return Section("4  Transfer tape", (Table(head, tuple(rows)),), steps, tuple(notes))


def _apply(sheet: JobSheet) -> Section:
    head = ("Film", "From the left", "From the right", "From the top", "From the bottom", "Apply at")
    rows = tuple(
        (
            film_cell(film),
            two_units(film.placement.left),
            two_units(film.placement.right),
            two_units(film.placement.top),
            two_units(film.placement.bottom),
            Cell((temperature(film.temperature),)),
        )
        for film in sheet.films
    )
    marks = Table(
        ("Mark", "From the left", "From the top"),
        tuple(
            (Cell((str(number),)), Cell((both(x),)), Cell((both(y),)))
            for number, (x, y) in enumerate(sheet.hinge.marks, start=1)
        ),
    )
    return Section(
        "5  Apply", (Table(head, rows), marks), tuple(_apply_steps(sheet)), tuple(_apply_notes(sheet))
    )


def _apply_steps(sheet: JobSheet) -> Iterator[str]:
    ground = printable(sheet.substrate) if sheet.substrate else "not stated"
    yield f"Substrate ({ground}): clean, dry, free of grease, and inside the temperature window, as is the film."
    hinge = sheet.hinge
    edge = "from the left" if hinge.edge == "centre" else "from the top"
    which = "centre hinge, upright," if hinge.edge == "centre" else "hinge along the top edge"
    yield f"Set out the marks. Tape the {which} {both(hinge.position)} {edge}†."
    for number, name in enumerate(sheet.laying.order, start=1):
        more = " Let it lie flat before the next one goes on." if number < len(sheet.laying.order) else ""
        yield f"Film {number}: {named(name)}. Squeegee from the hinge outwards, then pull the tape off flat†.{more}"


def _apply_notes(sheet: JobSheet) -> Iterator[str]:
    if len(sheet.laying.order) > 1:
        yield (
            "Second surface: what the reader sees on top goes on the glass first."
            if sheet.surface == "second"
            else "The order is from bottom to top."
        )
    if sheet.laying.entangled:
        names = ", ".join(named(name) for name in sheet.laying.entangled)
        yield (
            f"NO ORDER IS RIGHT for these films: each lies both under and over another: {names}. Ask before "
            "you lay them."
        )
    seen = "from behind the glass" if sheet.surface == "second" else "from the front"
    yield f"Distances are from the drawing area's edges, as you see it when you apply the film, {seen}." + (
        " The picture shows the drawing as it is in the file: left and right change places."
        if sheet.hinge.flipped
        else ""
    )


def _cautions(sheet: JobSheet) -> Section:
    steps = tuple(
        f"{caution.text} [{caution.why}; {caution.source}]" for caution in sheet.cautions if caution.certain
    )
    notes = tuple(
        f"If it applies ({caution.why}): {caution.text} [{caution.source}]"
        for caution in sheet.cautions
        if not caution.certain
    )
    return Section("6  Take care", (), steps, (*notes, LOCAL_RULES))


def _degrees(celsius: float) -> str:
    return f"{celsius:.3g} °C ({celsius * 1.8 + 32:.3g} °F)"
