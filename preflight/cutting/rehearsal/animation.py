"""The cut as a page that plays in a browser, whole in itself: nothing is loaded, and nothing of the upload runs.

The page holds our own script and style, each allowed by its hash in the page's content security policy,
and the cut as numbers. Names are text, escaped. Without the policy it would be safe too; with it a
mistake here could still run nothing.
"""

from __future__ import annotations

import base64
import hashlib
import json
from functools import cache
from html import escape
from importlib.resources import files
from typing import Any

from preflight.cutting.rehearsal.model import FilmRehearsal, Rehearsal, length_words
from preflight.cutting.rehearsal.text import time_words
from preflight.errors import printable

_KINDS = {"travel": 0, "lower": 1, "cut": 2, "lift": 3}
_SPEEDS = (1, 2, 5, 10, 50)
_GREATEST = 120.0
"""A cut of more seconds is first offered so much faster that it takes no longer than this."""


def animation_html(rehearsal: Rehearsal, *, film: str | None = None) -> str:
    """Return the page for all films, one at a time, or for the one named ``film``; raises `KeyError`."""
    films = rehearsal.films if film is None else (rehearsal.film(film),)
    script, style = _part("rehearsal.js"), _part("rehearsal.css")
    policy = "; ".join(
        (
            "default-src 'none'",
            f"script-src {_hash(script)}",
            f"style-src {_hash(style)}",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )
    title = f"{rehearsal.title}: the cut rehearsed"
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{_safe(title)}</title><style>{style}</style></head><body><main>"
        f"<h1>{_safe(title)}</h1>"
        + "".join(_words(index, shown) for index, shown in enumerate(films))
        + _controls(films)
        + '<div class="panel">'
        + '<canvas id="film" role="img" aria-label="The film on the machine and the knife"></canvas></div>'
        + f"<p>{_safe(rehearsal.claim)}</p>"
        + "<noscript><p>The browser runs no scripts, so nothing moves here. The picture and the text of the rehearsal "
        "tell the same.</p></noscript></main>"
        f'<script type="application/json" id="cut">{_data(rehearsal, films)}</script>'
        f"<script>{script}</script></body></html>\n"
    )


@cache
def _part(name: str) -> str:
    return files("preflight").joinpath(f"data/{name}").read_text("utf-8")


def _hash(content: str) -> str:
    digest = base64.b64encode(hashlib.sha256(content.encode()).digest()).decode()
    return f"'sha256-{digest}'"


def _safe(words: str) -> str:
    return escape(printable(words))


def _words(index: int, film: FilmRehearsal) -> str:
    ways = [
        word
        for word, said in (("mirrored", film.laid.mirrored), ("turned a quarter", film.laid.turned))
        if said
    ]
    words = (
        f"{film.film}: {len(film.contours)} contours, about {time_words(film.seconds.total)}. As it lies on the "
        f"machine, {' and '.join(ways) or 'as drawn'}: {length_words(film.laid.width_mm)} across, "
        f"{length_words(film.laid.length_mm)} along the feed, which runs downwards."
    )
    return f'<p data-film="{index}"{" hidden" if index else ""}>{_safe(words)}</p>'


def _controls(films: tuple[FilmRehearsal, ...]) -> str:
    longest = max(film.seconds.total for film in films)
    chosen = next((speed for speed in _SPEEDS if longest / speed <= _GREATEST), _SPEEDS[-1])
    speeds = "".join(
        f'<option value="{speed}"{" selected" if speed == chosen else ""}>{_times(speed)}</option>'
        for speed in _SPEEDS
    )
    names = "".join(f'<option value="{i}">{_safe(film.film)}</option>' for i, film in enumerate(films))
    hidden = " hidden" if len(films) == 1 else ""
    return (
        '<div class="controls"><button type="button" id="play">Play</button>'
        '<button type="button" id="back">Contour back</button><button type="button" id="on">Contour on</button>'
        f'<label>Speed <select id="speed">{speeds}</select></label>'
        f'<label{hidden}>Film <select id="which" autocomplete="off">{names}</select></label></div>'
        '<input type="range" id="scrub" min="0" max="1" step="any" value="0" aria-label="Time" autocomplete="off">'
        '<dl><div><dt>Elapsed</dt><dd id="elapsed"></dd></div><div><dt>Remaining</dt><dd id="remaining"></dd></div>'
        '<div><dt>Contour</dt><dd id="contour"></dd></div><div><dt>Knife</dt><dd id="where"></dd></div>'
        '<div><dt>Now</dt><dd id="doing"></dd></div></dl>'
    )


def _times(speed: int) -> str:
    return "as fast as the machine" if speed == 1 else f"{speed} times as fast"


def _data(rehearsal: Rehearsal, films: tuple[FilmRehearsal, ...]) -> str:
    """Return the cut as JSON: numbers only, under names of our own."""
    machine = rehearsal.machine
    names = ("speed", "acceleration", "travel_speed", "travel_acceleration")
    content = {"machine": [machine[name] for name in names], "films": [_numbers(film) for film in films]}
    return json.dumps(content, separators=(",", ":"), allow_nan=False)


def _numbers(film: FilmRehearsal) -> dict[str, Any]:
    return {
        "size": [film.laid.width_mm, film.laid.length_mm],
        "kinds": [_KINDS[event.kind] for event in film.events],
        "begins": [event.start_s for event in film.events],
        "ends": [event.end_s for event in film.events],
        "owners": [event.contour for event in film.events],
        "ways": [
            [
                [round(x, 3) for x in way.x_mm],
                [round(y, 3) for y in way.y_mm],
                [round(t, 5) for t in way.time_s],
                [round(v, 3) for v in way.speed],
            ]
            for way in film.ways
        ],
    }
