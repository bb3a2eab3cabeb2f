"""Where a piece is too wide for its roll: how it is parted into panels."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from preflight.errors import PreflightError
from preflight.roll.layout.model import FilmLayout, LinePanels
from preflight.roll.layout.options import LayoutOptions
from preflight.roll.layout.pieces import Cut, Ordered
from preflight.roll.layout.ways import is_too_wide
from preflight.roll.panels import plan_films
from preflight.roll.panels.model import PanelPlan


def with_panels(
    films: Sequence[FilmLayout], pieces: Mapping[str, Sequence[Cut]], options: LayoutOptions
) -> tuple[FilmLayout, ...]:
    """Return the films with plans of panels for those order lines whose whole graphic is too wide.

    The plans are those of `preflight.roll.panels` with its stock options, for one copy. Parts that are laid
    one by one have none.
    """
    if options.spread != "graphic":
        return tuple(films)
    known: dict[int, tuple[PanelPlan, ...] | str] = {}
    found = []
    for film, cuts in zip(films, pieces.values(), strict=True):
        panels = tuple(_panels(film, cuts, known)) if film.panels_needed else ()
        found.append(film.model_copy(update={"panels": panels}))
    return tuple(found)


def _panels(
    film: FilmLayout, cuts: Sequence[Cut], known: dict[int, tuple[PanelPlan, ...] | str]
) -> Iterator[LinePanels]:
    assert film.roll is not None
    for cut, piece in zip(cuts, film.pieces, strict=True):
        if not is_too_wide(piece, film.roll.usable_width_mm):
            continue
        line = cut.line
        if line.number not in known:
            known[line.number] = _plans(line)
        plans = known[line.number]
        if isinstance(plans, str):
            yield LinePanels(line=line.number, plan=None, problem=plans)
            continue
        plan = plans[[other.key for other in line.analysis.films].index(cut.film.key)]
        if plan.verdict == "panels":
            yield LinePanels(line=line.number, plan=plan)


def _plans(line: Ordered) -> tuple[PanelPlan, ...] | str:
    try:
        # All films at once: seams of films that lie on each other keep apart.
        return tuple(planned.plan for planned in plan_films(line.analysis))
    except PreflightError as error:
        return str(error)
