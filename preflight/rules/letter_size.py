"""Letters lower than published values ask for, where the job asks for the comparison."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.artwork import LiveText
from preflight.films import Film
from preflight.lettering import Line
from preflight.report.model import Finding, Place, Severity
from preflight.rules.build import Fault, findings, mm
from preflight.rules.lettering import (
    asked,
    baseline_above_floor,
    far,
    inches,
    indication,
    line_place,
    text_place,
)
from preflight.rules.rule import Parameter, Rule
from preflight.standards import standards


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each line of lettering, and each live text, that is lower than the sets the job asks for."""
    if not analysis.size_stated:
        return
    faults: dict[str, list[Fault]] = {case: [] for case in RULE.cases}
    if analysis.job.lettering.standards:
        for film, line in analysis.lettering:
            for case, fault in _line_faults(analysis, film, line):
                faults[case].append(fault)
        faults["low-baseline"].extend(_low_texts(analysis))
        faults["live-text"].extend(_text_faults(analysis))
    for film in analysis.films:
        faults["film-limit"].extend(_film_faults(analysis, film))
    for case, found in faults.items():
        yield from findings(RULE, case, analysis, found)


def _line_faults(analysis: Analysis, film: Film, line: Line) -> Iterator[tuple[str, Fault]]:
    distance = analysis.job.lettering.viewing_distance
    book = standards().accessible_signs
    above = baseline_above_floor(analysis, line.baseline)
    if asked(analysis, "accessible-signs") and above is not None:
        if above < book.lowest_baseline:
            yield "low-baseline", _low_baseline(above, line_place(analysis, film, line, above))
        needed = book.least_height(above, distance) if distance is not None else None
        if needed is not None and distance is not None and _lower(analysis, line.height, needed):
            yield (
                "accessible-height",
                Fault(
                    message=f"The letters here are {mm(line.height)} high. With their baseline {mm(above)} above the "
                    f"floor and seen from {far(distance)}, {book.title} asks for {mm(needed)} ({inches(needed)}). "
                    f"{indication()}",
                    detail=f"{_measured(line)} Table 703.5.5; the standard's height is that of a capital I.",
                    places=(line_place(analysis, film, line, line.height),),
                    measured=line.height,
                    limit=needed,
                    unit="mm",
                    badness=needed - line.height,
                ),
            )
    if asked(analysis, "legibility") and distance is not None:
        yield from _legibility(analysis, film, line, distance)


def _legibility(analysis: Analysis, film: Film, line: Line, distance: float) -> Iterator[tuple[str, Fault]]:
    most, *others = standards().legibility
    needed = most.least_height(distance)
    if not _lower(analysis, line.height, needed):
        return
    more = "; ".join(
        f"{other.feet_an_inch:g} ft an inch would ask for {mm(other.least_height(distance))} ({other.source})"
        for other in others
    )
    yield (
        "legibility",
        Fault(
            message=f"The letters here are {mm(line.height)} high. To be read from {far(distance)} they should be "
            f"{mm(needed)} ({inches(needed)}): one inch for every {most.feet_an_inch:g} feet. {indication()}",
            detail=f"{_measured(line)} {most.source}; {more}.",
            places=(line_place(analysis, film, line, line.height),),
            measured=line.height,
            limit=needed,
            unit="mm",
            badness=needed - line.height,
        ),
    )


def _low_baseline(above: float, spot: Place) -> Fault:
    book = standards().accessible_signs
    return Fault(
        message=f"The lettering here stands {mm(above)} above the floor. {book.title} asks for at least "
        f"{mm(book.lowest_baseline)} ({inches(book.lowest_baseline)}). {indication()}",
        detail=f"Section {book.lowest_baseline_section}; from lettering.baseline_height, the lowest line's, and this "
        "line's place in the artwork.",
        places=(spot,),
        measured=above,
        limit=book.lowest_baseline,
        unit="mm",
        badness=book.lowest_baseline - above,
    )


def _low_texts(analysis: Analysis) -> Iterator[Fault]:
    if not asked(analysis, "accessible-signs"):
        return
    for text in analysis.texts:
        above = baseline_above_floor(analysis, text.position[1])
        if text.text.strip() and above is not None and above < standards().accessible_signs.lowest_baseline:
            yield _low_baseline(above, text_place(text, above))


def _needed(analysis: Analysis, text: LiveText, distance: float) -> tuple[float, str] | None:
    """Return the greatest height in mm asked of a live text's capitals, and by whom; None: nothing is."""
    asking: list[tuple[float, str]] = []
    above = baseline_above_floor(analysis, text.position[1])
    book = standards().accessible_signs
    if asked(analysis, "accessible-signs") and above is not None:
        needed = book.least_height(above, distance)
        asking += [(needed, f"{book.title}, table 703.5.5")] if needed is not None else []
    if asked(analysis, "legibility"):
        most = standards().legibility[0]
        asking.append((most.least_height(distance), most.source))
    return max(asking, default=None)


def _text_faults(analysis: Analysis) -> Iterator[Fault]:
    """Yield one fault for all live texts whose em alone is less than the height asked for."""
    distance = analysis.job.lettering.viewing_distance
    if distance is None:
        return
    low: list[tuple[float, LiveText, str]] = []
    for text in analysis.texts:
        asking = _needed(analysis, text, distance)
        if text.text.strip() and asking is not None and text.size < asking[0]:
            low.append((asking[0], text, asking[1]))
    if not low:
        return
    needed, least, source = min(low, key=lambda item: (item[1].size, item[1].position))
    count = "This text is" if len(low) == 1 else f"{len(low)} texts are set small, the smallest"
    yield Fault(
        message=f"{count} {mm(least.size)} large, measured over the whole letter body. How high capitals are is not "
        f"known until text is outlined; seen from {far(distance)} they would have to be {mm(needed)}. {indication()}",
        detail=f"{source}. Capitals are as a rule lower than the em (common practice, no source).",
        places=tuple(text_place(text, text.size) for _, text, _ in low),
        measured=least.size,
        limit=needed,
        unit="mm",
        badness=needed - least.size,
    )


def _film_faults(analysis: Analysis, film: Film) -> Iterator[Fault]:
    job = analysis.job
    stated = job.limits.letter_height is not None or film.spec.limits.letter_height is not None
    if not (stated or job.lettering.standards):
        return
    limit = film.limits.letter_height
    for own, line in analysis.lettering:
        if own is not film or not _lower(analysis, line.height, limit.warning):
            continue
        severe = line.height < limit.error
        yield Fault(
            message=f"The letters here are {mm(line.height)} high. In {film.spec.kind} film letters under "
            f"{mm(limit.warning)} are hard to cut and weed, and hold badly.",
            detail=f"{_measured(line)} Limits: warning below {mm(limit.warning)}, error below {mm(limit.error)}"
            f"{'' if stated else '; these are stock values, so it is a warning at most'}.",
            places=(line_place(analysis, film, line, line.height),),
            # That pieces are letters is taken from their shape: only a limit that somebody set may fail them.
            severity=Severity.ERROR if severe and stated else Severity.WARNING,
            measured=line.height,
            limit=limit.error if severe and stated else limit.warning,
            unit="mm",
            badness=limit.warning - line.height,
        )


def _lower(analysis: Analysis, height: float, needed: float) -> bool:
    return height < needed - 2 * analysis.tolerance


def _measured(line: Line) -> str:
    kind = (
        "All pieces of the line are equally high, and were taken as capitals."
        if line.one_height
        else "Measured on the flat ones of the line's tall pieces; whether they are capitals is not known."
    )
    return f"{len(line.pieces)} pieces on a baseline at {line.baseline:.1f} mm from the top. {kind}"


RULE = Rule(
    code="letter-size",
    title="Letters lower than published values ask for",
    why="A sign that cannot be read from where people stand has failed, however cleanly it was cut.",
    how_measured="Only where the job asks for it (lettering.standards), or states a limits.letter_height, and where "
    "the finished size is known. Pieces that stand side by side on a level baseline are taken as a line of lettering; "
    "its height is that of the flat ones among the tall pieces. Which letters they are is not known. Live text has "
    "only an em size; it is noted where even that is less than the height asked for. Every result is an indication in "
    "the terms of one country, never a verdict of compliance.",
    remedy="Make the letters higher, or have the sign read from nearer by. Ask what holds where the sign goes.",
    cases={
        "accessible-height": Severity.WARNING,
        "low-baseline": Severity.WARNING,
        "legibility": Severity.WARNING,
        "film-limit": Severity.WARNING,
        "live-text": Severity.NOTE,
    },
    repairable=False,
    check=check,
    parameters=(
        Parameter(
            "lettering.viewing_distance",
            "Least character height by height of the baseline and viewing distance",
            "mm",
            "2010 ADA Standards for Accessible Design (United States), 703.5.5 and table 703.5.5",
        ),
        Parameter(
            "lettering.baseline_height",
            "Characters at least 40 in above the floor",
            "mm",
            "2010 ADA Standards for Accessible Design (United States), 703.5.6",
        ),
        Parameter(
            "lettering.standards",
            "Legibility: an inch of letter height for every 30 ft",
            "mm",
            "MUTCD 2009 (United States), 2A.13 (from memory)",
        ),
        Parameter(
            "limits.letter_height",
            "Lowest letters that a film is cut to, by film kind and use",
            "mm",
            "6.4 mm: 3M product bulletin 7725, rel. R, 2016; 10 mm: two shops' artwork guides; the rest: "
            "common practice, no source",
        ),
    ),
)
