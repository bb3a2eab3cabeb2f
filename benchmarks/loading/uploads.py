"""Uploads of every sort: real artwork, hostile files, and files that are very large."""

from __future__ import annotations

import gzip
import random
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Literal

Sort = Literal["real", "hostile", "huge"]

CORPUS = Path(__file__).resolve().parents[3] / "shared" / "corpus"
EXAMPLES = Path(__file__).resolve().parents[2] / "examples" / "artwork"
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100"'


@dataclass(frozen=True, slots=True)
class Upload:
    """One file to be sent."""

    sort: Sort
    name: str
    data: bytes


def real_signs(most: int | None = None) -> list[Upload]:
    """Return the real signs of the corpus, or else the examples."""
    folders = [CORPUS / "park-symbols", CORPUS / "road-signs"]
    paths = [path for folder in folders for path in sorted(folder.glob("*.svg"))]
    paths = paths or sorted(EXAMPLES.glob("*.svg"))
    return [Upload("real", path.name, path.read_bytes()) for path in paths[:most]]


def small_signs(largest: int = 20_000) -> list[Upload]:
    """Return the real one-colour symbols of at most ``largest`` bytes, or else such examples."""
    signs = [sign for sign in real_signs() if len(sign.data) <= largest]
    symbols = {path.name for path in (CORPUS / "park-symbols").glob("*.svg")}
    return [sign for sign in signs if sign.name in symbols] or signs


def hostile_files() -> list[Upload]:
    """Return files that are meant to hurt whoever reads them."""
    letters = "abcdefghij"
    entities = "".join(f'<!ENTITY {new} "{f"&{old};" * 10}">' for old, new in pairwise(letters))
    uses = "".join(
        f'<g id="u{k}">{f"""<use href="#u{k - 1}"/>""" * 10}</g>' if k else '<path id="u0" d="M0 0h1v1z"/>'
        for k in range(12)
    )
    tangle = "".join(f"L{(k * 7919) % 9973 / 100} {(k * 104729) % 9967 / 100}" for k in range(6000))
    slow = "".join(
        f'<path d="M{k % 90} {k // 90}h9v9h-9z" stroke="#000" fill="#{k % 4096:03x}"/>' for k in range(6000)
    )
    texts = {
        "entity-bomb": f'<!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa">{entities}]>{HEAD}><title>&j;</title></svg>',
        "external-entity": f'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]>{HEAD}><text>&x;</text></svg>',
        "use-bomb": f'{HEAD}><defs>{uses}</defs><use href="#u11"/></svg>',
        "use-cycle": f'{HEAD}><g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g><path d="M9 9h9v9z"/></svg>',
        "deep": f"{HEAD}>{'<g>' * 20_000}{'</g>' * 20_000}</svg>",
        "tangle": f'{HEAD}><path d="M0 0{tangle}z"/></svg>',
        "many-films": f"{HEAD}>{slow}</svg>",
        "dashes": f'{HEAD}><path d="M0 0h100v100h-100z" stroke="#000" stroke-dasharray="0.00001"/></svg>',
        "no-number": f'{HEAD}><path d="M0 0L NaN 5 L 9 9z"/><rect width="1e308" height="1e308"/></svg>',
        "clips": f"{HEAD}>{_clips(400)}</svg>",
        "style-bomb": f"{HEAD}><style>{'*' + ' *' * 200}{{fill:red}}</style>{'<g>' * 200}{'</g>' * 200}</svg>",
        "nothing": "dear shop, please cut me a sign",
        "truncated": f'{HEAD}><path d="M0 0h50v50',
    }
    files = [Upload("hostile", f"{name}.svg", text.encode()) for name, text in texts.items()]
    bomb = gzip.compress(b"<svg>" + b" " * 50_000_000 + b"</svg>", 9)
    files += [
        Upload("hostile", "bomb.svgz", bomb),
        Upload("hostile", "noise.svg", random.Random(1).randbytes(20_000)),
        Upload("hostile", "empty.svg", b""),
        Upload("hostile", "latin.svg", f"{HEAD}><title>caf\xe9</title></svg>".encode("latin-1")),
        Upload(
            "hostile",
            "half.pdf",
            b"%PDF-1.7\n1 0 obj<</Type/Catalog/Pages 1 0 R>>endobj\ntrailer<</Root 1 0 R>>",
        ),
    ]
    return files


def _clips(depth: int) -> str:
    defs = "".join(
        f'<clipPath id="c{k}" clip-path="url(#c{k + 1})"><path d="M0 0h{90 - k % 50}v90z"/></clipPath>'
        for k in range(depth)
    )
    return f'<defs>{defs}</defs><path clip-path="url(#c0)" d="M0 0h90v90z"/>'


def huge_files() -> list[Upload]:
    """Return honest files of some megabytes."""
    cells = "".join(
        f'<path d="M{k % 100 * 3} {k // 100 * 3}c1 0 2 1 2 2s-1 -2 -2 -1z"/>' for k in range(3000)
    )
    picture = f'<image width="90" height="90" href="data:image/png;base64,iVBORw0KGgo{"A" * 4_000_000}"/>'
    return [
        Upload("huge", "cells.svg", f"{HEAD}>{cells}</svg>".encode()),
        Upload("huge", "picture.svg", f'{HEAD}>{picture}<path d="M9 9h9v9z"/></svg>'.encode()),
        Upload("huge", "comment.svg", f'{HEAD}><!--{"x" * 6_000_000}--><path d="M9 9h9v9z"/></svg>'.encode()),
    ]


def mixed(count: int, seed: int = 1) -> list[Upload]:
    """Return ``count`` uploads in seeded order: seven in ten real, 27 in a hundred hostile, the rest huge."""
    chance = random.Random(seed)
    real, hostile, huge = real_signs(), hostile_files(), huge_files()
    pools = chance.choices((real, hostile, huge), (0.70, 0.27, 0.03), k=count)
    return [chance.choice(pool) for pool in pools]
