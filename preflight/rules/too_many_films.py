"""More colours than the job has films."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from preflight.analysis import Analysis
from preflight.artwork import Box
from preflight.report.model import Finding, Place, Severity
from preflight.rules.build import Fault, counted, findings, place
from preflight.rules.rule import Parameter, Rule

SHOWN = 12
"""So many colours are named."""


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield one finding where the job names films and more colours ask for one than are left over."""
    job = analysis.job
    if not job.films:
        return
    meanings = [m for m in analysis.meanings if m.role == "film" and m.film is not None]
    given = {m.film for m in meanings if m.stated}
    asking = list(dict.fromkeys(m.film for m in meanings if not m.stated and m.film not in given))
    # The job's own film, where it is stated, is one more beside those that have names.
    films = len(job.films) + job.stated("film")
    free = max(0, films - len(given))
    if len(asking) <= free:
        return
    shown = ", ".join(str(colour) for colour in asking[:SHOWN])
    more = f" and {len(asking) - SHOWN} more" if len(asking) > SHOWN else ""
    yield from findings(
        RULE,
        "more-colours",
        analysis,
        [
            Fault(
                message=f"The artwork needs {counted(len(given) + len(asking), 'film')}, one for every colour, and "
                f"the job has {counted(films, 'film')}. Nobody has said which film these colours are cut from: "
                f"{shown}{more}.",
                detail=f"Films named in the job: {', '.join(job.films)}. Colours that have a film: {len(given)}; that "
                f"have none: {len(asking)}. Say in the job's colours which film each of them is.",
                places=tuple(_places(analysis, [str(colour) for colour in asking])),
                measured=len(given) + len(asking),
                limit=films,
                unit="films",
            )
        ],
    )


def _places(analysis: Analysis, keys: list[str]) -> Iterator[Place]:
    """Yield where the first shape of each colour lies."""
    painted = analysis.painting.layers
    for film in analysis.films:
        if film.key in keys:
            layer = painted[film.layers[0]]
            x0, y0, x1, y1 = np.nan_to_num(shapely.bounds(layer.region)).tolist()
            box: Box = (x0, y0, x1, y1)
            yield place(box, None, analysis.shapes[layer.shape].origin)


RULE = Rule(
    code="too-many-films",
    title="More colours than films",
    why="Every colour is a film of its own: another roll to load, another cut, another layer to lay in register. A "
    "colour that nobody meant as a film stops the job at the machine.",
    how_measured="Only where the job names its films: the solid colours without a stated role are counted against the "
    "films that no colour has yet been given.",
    remedy="Say in the job which film each colour is cut from, or use fewer colours in the artwork.",
    cases={"more-colours": Severity.WARNING},
    repairable=False,
    check=check,
    parameters=(
        Parameter(
            "films", "The films of the job, by name", "films", "stated in the job; there is no stock value"
        ),
    ),
)
