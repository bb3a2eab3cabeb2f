"""The cautions a job calls for, each with its source, and why this job calls for it.

A caution that the job's settings rule out is left out; one that they neither call for nor rule out is
given as uncertain, so that a person decides.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from preflight.analysis import Analysis
from preflight.colour import luminance, plain_colour
from preflight.errors import shortened
from preflight.jobsheet.model import Caution

PRACTICE = "common practice, no source"
DARK = 0.18
"""Films of less relative luminance than this (middle grey reflects 18 %) count as dark."""
LARGE = 100_000.0
"""Dark film on glass of more area than this (mm2) counts as large. Rule of thumb, no source."""

NAMED = 6
"""So many films are named; a sheet with more says how many."""

LOCAL_RULES = (
    "Rules for placing signs differ from place to place. The local code, the land's owner and licensed practice "
    "go before anything on this sheet."
)

Answer = tuple[bool, str] | None
"""Whether it certainly applies, and why; None: it does not."""


@dataclass(frozen=True, slots=True)
class _Entry:
    key: str
    text: str
    source: str
    applies: Callable[[Analysis], Answer]


def cautions_for(analysis: Analysis) -> tuple[Caution, ...]:
    """Return the cautions for a job, those that certainly apply first."""
    found = list(_found(analysis))
    return tuple(sorted(found, key=lambda caution: not caution.certain))


def _found(analysis: Analysis) -> Iterator[Caution]:
    for entry in _ENTRIES:
        answer = entry.applies(analysis)
        if answer is not None:
            certain, why = answer
            yield Caution(key=entry.key, text=entry.text, source=entry.source, why=why, certain=certain)


def _always(why: str) -> Callable[[Analysis], Answer]:
    return lambda _: (True, why)


def _pvc(analysis: Analysis) -> Answer:
    names = list(dict.fromkeys(shortened(film.name) for film in analysis.films if film.spec.pvc))
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return (True, f"PVC film: {', '.join(names[:NAMED])}{more}") if names else None


def _on_vehicle(analysis: Analysis) -> bool:
    place = analysis.job.mounting.place
    return place in ("vehicle", "vehicle-window") or (place is None and analysis.job.use == "vehicle")


def _heat(analysis: Analysis) -> Answer:
    if analysis.job.mounting.place == "vehicle":
        return True, "curved bodywork"
    if analysis.job.mounting.place is None:
        return False, "the job does not say what the film goes on"
    return None


def _ladder(analysis: Analysis) -> Answer:
    mounting = analysis.job.mounting
    if mounting.ladder is not None:
        return (True, "put up from a ladder") if mounting.ladder else None
    low = _on_vehicle(analysis) or mounting.place == "ground-stake"
    return None if low else (False, "the job does not say whether a ladder is needed")


def _stakes(analysis: Analysis) -> Answer:
    job = analysis.job
    if job.mounting.place == "ground-stake":
        return True, "stands on stakes"
    if job.mounting.place is None and job.use == "exterior" and job.surface == "first":
        return False, "the job does not say whether it stands on stakes"
    return None


def _roadside(analysis: Analysis) -> Answer:
    job = analysis.job
    if job.mounting.roadside is not None:
        return (True, "stands at a road") if job.mounting.roadside else None
    fixed = job.use == "exterior" and job.mounting.place not in ("vehicle", "vehicle-window", "window")
    return (False, "the job does not say whether it stands at a road") if fixed else None


def _vehicle_glass(analysis: Analysis) -> Answer:
    if analysis.job.mounting.place == "vehicle-window":
        return True, "film on a vehicle's window"
    if analysis.job.mounting.place is None and analysis.job.use == "vehicle":
        return False, "the job does not say whether any film lies on glass"
    return None


def _sensors(analysis: Analysis) -> Answer:
    return (True, "work on a vehicle") if _on_vehicle(analysis) else None


def _glass_breakage(analysis: Analysis) -> Answer:
    job = analysis.job
    dark = [film for film in analysis.films if plain_colour(film.colour) and luminance(film.colour) < DARK]
    area = sum(float(film.region.area) for film in dark)
    if area < LARGE:
        return None
    amount = f"{area / 1e6:.2f} m² of dark film"
    if job.mounting.place == "window":
        return True, f"{amount} on glass"
    if job.mounting.place is None and job.surface == "second":
        return False, f"{amount}, behind a surface that may be glass"
    return None


def _illuminated(analysis: Analysis) -> Answer:
    lit = analysis.job.mounting.illuminated
    if lit is not None:
        return (True, "an illuminated sign") if lit else None
    translucent = any(film.spec.kind == "translucent" for film in analysis.films)
    return (False, "translucent film, and the job does not say whether it is lit") if translucent else None


_ENTRIES = (
    _Entry(
        "blades",
        "Cut away from the body. Retract or cover blades when you put them down. Used blades go into a "
        "puncture-resistant container.",
        "workplace safety notes on knives",
        _always("any cutting"),
    ),
    _Entry(
        "carriage",
        "Keep fingers, hair, sleeves and cords away from the moving carriage and the rollers. Stop the machine before "
        "you reach in.",
        PRACTICE,
        _always("any cutting"),
    ),
    _Entry(
        "pvc-laser",
        "Never cut this film with a laser: PVC gives off chlorine and hydrogen chloride.",
        "workshop rules of several makerspaces",
        _pvc,
    ),
    _Entry(
        "solvents",
        "Cleaners, solvents and primers: air the room, keep away from flames and sparks, and read the safety data "
        "sheet.",
        "NIOSH HC24",
        _always("any cleaning before applying"),
    ),
    _Entry(
        "heat-gun",
        "A heat gun burns skin, paint and film and can light solvent vapour: let solvents dry first, keep it moving, "
        "and put it down where nothing can catch fire.",
        PRACTICE,
        _heat,
    ),
    _Entry(
        "ladder",
        "Set a leaning ladder 1 out for 4 up; where it leads to a landing its rails stand 3 ft (0.9 m) above it. Keep "
        "clear of overhead lines (the last: common practice, no source).",
        "29 CFR 1926.1053(b)(1), United States",
        _ladder,
    ),
    _Entry(
        "stakes",
        "Have buried cables and pipes located some days before you drive stakes (in the United States call 811).",
        "aga.org",
        _stakes,
    ),
    _Entry(
        "roadside",
        "Private signs are not allowed in a highway's right of way, nor may they hide traffic signs or the view at a "
        "junction. Ask the road authority (the first: United States; the second: common practice, no source).",
        "23 CFR 1.23(b), United States",
        _roadside,
    ),
    _Entry(
        "vehicle-glass",
        "What may be stuck on vehicle windows differs by country and state; windscreens of commercial vehicles in the "
        "United States: 49 CFR 393.60 (from memory). Keep the driver's view free.",
        "a film maker's bulletin: rules differ",
        _vehicle_glass,
    ),
    _Entry(
        "sensors-and-lights",
        "Leave lamps, reflectors, number plates, cameras and parking, rain and radar sensors free of film.",
        PRACTICE,
        _sensors,
    ),
    _Entry(
        "glass-breakage",
        "Large dark film makes glass heat unevenly in the sun, and it can crack. Ask the maker of the glass or the "
        f"film first. (Dark and more than {LARGE / 1e6:g} m² is this sheet's own rule of thumb.)",
        PRACTICE,
        _glass_breakage,
    ),
    _Entry(
        "illuminated",
        "Switch the sign off, lock it off and let it cool before you work on it. Wiring is a licensed "
        "electrician's work.",
        PRACTICE,
        _illuminated,
    ),
)
