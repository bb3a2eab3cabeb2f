"""The guide to the job's settings, made from the model and the stock data.

``python -m preflight.job.reference docs/job.md`` writes it anew.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from preflight.job.machine import Blade, MachineSpec
from preflight.job.model import (
    FilmSpec,
    Job,
    Lettering,
    Limits,
    Role,
    Roll,
    Size,
    Tolerances,
)
from preflight.job.mounting import Mounting, Temperature
from preflight.job.stock import FilmStock, Stock, Use, stock
from preflight.job.values import Quantity
from preflight.job.weeding import WeedingSpec
from preflight.units import format_length

_HEAD = """\
# The job

<!-- Made by `python -m preflight.job.reference docs/job.md`; change the model or the stock data instead. -->

A job says what a file cannot: how large the sign will be, on which film and machine, and what each
colour stands for. It is a TOML or a JSON file with the same keys. Every setting has a stock value, so a
job states only what differs; an empty job is complete.

```toml
use = "exterior"

[size]
width = "600 mm"                  # the height follows

[film]
kind = "cast"

[films.gold]                      # a second film, by a name of your own
kind = "metallic"
directional = true

[roll]
width = "24 in"
machine_width = "590 mm"

[colours]
"#1f4d2b" = "film"
goldenrod = { role = "film", film = "gold" }
white = "substrate"               # shapes in white are holes

[layers]
"Notes for the shop" = "guide"    # goes before the colour

[severities]
"narrow-gap" = "note"             # a whole rule
"thin-feature/spike" = "off"      # one of its cases
```

**Lengths** are numbers in mm, or text with a unit: mm, cm, m, in (or `"`), ft (or `'`), pt, px, pc, Q;
`"24 1/2 in"` is read too. **Areas** are mm², **angles** degrees. **Colours** are written as in CSS:
`#rgb`, `#rrggbb`, a name, `rgb()` or `hsl()`; two spellings of one colour are an error.

A setting that does not exist, is out of range or contradicts another is an error that names the
setting, the value and what is allowed, one line each:

    blade.ofset: there is no such setting. Did you mean “offset”?
    blade.angle: 90° is out of range: 20° to 70°.

The report carries a hash of the job with all stock values filled in, so that two reports can be told to
rest on the same settings.
"""
_ROLES = """
## Roles

A colour or a layer is one of:

- `film`: shapes in it are cut from film; `film` names which one of `films`, else it is the job's `film`.
- `substrate`: the sign's own surface shows there; a shape in it is a hole in the film underneath.
- `knife`: its lines are followed as drawn and may be open (weed lines, slits).
- `guide`: a note or a helper line that is not cut.

A word stands for the whole table: `white = "substrate"`. What has no stated role is film, and where that
is doubtful the report says so.
"""
_NOTES = {
    "limits": """
Each is a table `{ warning = ..., error = ... }`: below the first is a warning, below the second an
error. What is left out is the stock value by kind of film, blade and use, in the table at the end.
""",
    "lettering": """
Lettering is judged only by the sets named in `standards`. Each is an indication in the terms of one
country, never a verdict of compliance.

- `accessible-signs`: height, stroke, proportions and spacing of visual characters, and their contrast
  (2010 ADA Standards for Accessible Design, United States, 703.5; contrast as in WCAG 2.x).
- `legibility`: letter height for the viewing distance (MUTCD 2009, United States, 2A.13).
""",
    "mounting": """
For the job sheet and the plan of panels: it changes no finding. What is not stated is not known, and they say so.
""",
    "film.temperature": """
A film's own window, `[film.temperature]` or `[films.NAME.temperature]`, as its maker's bulletin states it.
There is no stock value: without a bulletin the job sheet says that it is unknown.
""",
    "weeding": """
For the proposed weed lines on the job sheet and, where asked for, in files for production: it changes no finding.
""",
    "machine": """
For the rehearsal of the cut and the job sheet: it changes no finding. Take the figures from the machine's
manual or from its panel.
""",
    "size": """
State the width, the height, both, or a scale. Both together have to agree with the proportions of the
drawing area within 1 %.
""",
}
_FILMS = """
## Stock values by kind of film

What a `[films.NAME]` leaves out is taken from `[film]`; the thickness and seam lap of another kind are not. Limits are
warning / error: narrower than the first is a warning, narrower than the second an error. A film's own
`limits` go before the job's, and those before stock. Stock limits of solid parts and gaps are never under
{solid:g} and {gap:g} blade offsets ({source}).
“Shop guides” are two sign shops' artwork guides.
"""


def settings_guide() -> str:
    """Return the guide as Markdown."""
    values = stock()
    sections: list[tuple[str, str, type[BaseModel]]] = [
        ("Size", "size", Size),
        ("Film", "film", FilmSpec),
        ("Blade", "blade", Blade),
        ("Machine", "machine", MachineSpec),
        ("Roll", "roll", Roll),
        ("Weeding", "weeding", WeedingSpec),
        ("Limits", "limits", Limits),
        ("Tolerances", "tolerances", Tolerances),
        ("Lettering", "lettering", Lettering),
        ("Mounting", "mounting", Mounting),
        ("Temperature", "film.temperature", Temperature),
    ]
    parts = [_HEAD, "## Top level\n", *_table(Job, "", values)]
    for title, prefix, model in sections:
        parts += [f"\n## {title}\n{_NOTES.get(prefix, '')}", *_table(model, f"{prefix}.", values)]
    parts += [_ROLES, *_table(Role, "colours.COLOUR.", values)]
    floor = values.limits.blade_offsets
    parts.append(_FILMS.format(solid=floor.solid_part, gap=floor.gap, source=floor.source))
    parts += list(_films(values))
    return "\n".join(parts) + "\n"


def _table(model: type[BaseModel], prefix: str, values: Stock) -> Iterator[str]:
    yield from _rows(
        ("Setting", "Meaning", "Allowed", "Stock", "Source of the stock value"),
        [
            (
                f"`{prefix}{name}`",
                field.description or _first_line(field.annotation),
                _allowed(field),
                _stock_text(field),
                _source(prefix + name, values),
            )
            for name, field in model.model_fields.items()
        ],
    )


def _rows(head: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    yield f"| {' | '.join(head)} |"
    yield f"|{'---|' * len(head)}"
    for row in rows:
        yield f"| {' | '.join(cell.replace('|', '/') for cell in row)} |"


def _first_line(annotation: Any) -> str:
    text = next((part.__doc__ for part in _parts(annotation) if _is_model(part)), None)
    return (text or "").split("\n")[0].rstrip(".")


def _parts(annotation: Any) -> Iterator[Any]:
    """Yield the annotation and all that it is made of, metadata included."""
    yield annotation
    for part in (*get_args(annotation), *getattr(annotation, "__metadata__", ())):
        yield from _parts(part)


def _is_model(part: Any) -> bool:
    return isinstance(part, type) and issubclass(part, BaseModel)


def _allowed(field: FieldInfo) -> str:
    for part in (*field.metadata, *_parts(field.annotation)):
        if isinstance(part, Quantity):
            return part.allowed()
        if get_origin(part) is Literal:
            return ", ".join(f"`{word}`" for word in get_args(part))
        if part is bool:
            return "`true`, `false`"
        if _is_model(part) or get_origin(part) is dict:
            return "a table"
    return "a text"


def _stock_text(field: FieldInfo) -> str:
    if field.is_required():
        return "needed"
    value = field.default
    if field.default_factory is not None:
        return "by kind"
    if value is None or isinstance(value, BaseModel | dict):
        return "none" if value is None or value == {} else "see below"
    if value == ():
        return "none"
    quantity = next((part for part in field.metadata if isinstance(part, Quantity)), None)
    return quantity.shown(value) if quantity else f"`{str(value).lower()}`"


def _source(path: str, values: Stock) -> str:
    node: Any = values
    for key in path.split("."):
        node = getattr(node, key, None)
    return getattr(node, "source", "")


def _films(values: Stock) -> Iterator[str]:
    uses: tuple[Use, ...] = get_args(Use)
    yield from _rows(
        (
            "Film",
            "Use",
            "Thickness",
            "Solid part, mm",
            "Gap, mm",
            "Island, mm²",
            "Letter height, mm",
            "Seam lap, mm",
        ),
        [
            (
                f"`{kind}`",
                f"`{use}`",
                format_length(film.thickness),
                _pair(getattr(film.solid_part, use)),
                _pair(film.gap),
                _pair(film.island_area),
                _pair(getattr(film.letter_height, use)),
                f"{film.seam_lap:g}",
            )
            for kind, film in values.film.items()
            for use in uses
        ],
    )
    hairline = values.limits.hairline
    yield f"\nHairline, all films: {format_length(hairline.value)} ({hairline.source}).\n"
    butting = ", ".join(sorted(values.butting.kinds))
    yield f"Films whose edges meet unless `underlap` is stated: {butting} ({values.butting.source}).\n"
    yield "Sources, by kind of film:\n"
    for kind, film in values.film.items():
        yield f"- `{kind}`: {'; '.join(_film_sources(film))}."


def _pair(pair: tuple[float, float]) -> str:
    return f"{pair[0]:g} / {pair[1]:g}"


def _film_sources(film: FilmStock) -> Iterator[str]:
    for name in ("thickness", "solid_part", "gap", "island_area", "letter_height", "seam_lap"):
        yield f"{name.replace('_', ' ')} – {getattr(film, f'{name}_source')}"


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(settings_guide(), "utf-8")
