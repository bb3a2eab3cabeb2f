"""Seeds for the fuzzer: small drawings that between them use every feature of the reader."""

# ruff: noqa: E501  (a drawing is easier to read on one line)

from __future__ import annotations

import gzip
from pathlib import Path

_HEAD = (
    '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
    'width="20mm" height="10mm" viewBox="0 0 200 100">'
)
_BODIES = (
    '<path d="M0 0h9v9zm5 5c1 2 3 4 5 6s7 8 9 9q1 2 3 4t5 6a5 5 30 0110 10Z"/>',
    '<rect x="1" y="2" width="30" height="20" rx="5" ry="50%"/><circle r="9"/><ellipse rx="3" ry="4"/>'
    '<line x2="9" stroke="red"/><polyline points="1,2 3,4"/><polygon points="1 2 3 4 5 6 7"/>',
    '<g id="a" transform="translate(3)rotate(30 1 2) scale(2,3) skewX(4)matrix(1 0 0 1 2 3)">'
    '<rect width="5" height="5" style="fill:red;stroke:#0f08;stroke-dasharray:1,2%"/></g>'
    '<use href="#a" x="5"/><use xlink:href="#a"/>',
    '<symbol id="s" viewBox="0 0 9 9" preserveAspectRatio="xMaxYMin slice"><circle r="4"/></symbol>'
    '<use href="#s" width="20" height="30"/><svg x="3" width="9" height="9" overflow="visible"><path d="M0 0L9 9"/></svg>',
    "<style>@media screen{.a&gt;b{fill:red}} #i:not(.x)~rect{fill:var(--c,blue)!important}"
    '@import "x.css";</style><rect id="i" width="5" height="5"/><rect class="x" width="5" height="5"/>',
    '<clipPath id="c" clipPathUnits="objectBoundingBox" clip-path="url(#d)"><rect width=".5" height=".5"/></clipPath>'
    '<clipPath id="d"><use href="#r"/><text>x</text></clipPath><rect id="r" width="9" height="9" clip-path="url(#c)"/>',
    '<marker id="m" orient="auto-start-reverse" refX="center" markerWidth="4" viewBox="0 0 3 3">'
    '<path d="M0 0L3 3" fill="context-stroke"/></marker>'
    '<path d="M0 0L9 9A3 3 0 0 1 5 5z" marker="url(#m)" stroke="red" paint-order="markers stroke"/>',
    '<linearGradient id="g" href="#h"/><radialGradient id="h"><stop stop-color="red"/></radialGradient>'
    '<pattern id="p" width="3" height="3"><path d="M0 0L1 1"/></pattern>'
    '<path d="M0 0H9V9" fill="url(#g)" stroke="url(#p) blue"/>',
    '<mask id="k"><rect width="9" height="9"/></mask><g mask="url(#k)" filter="url(#f)" '
    'style="mix-blend-mode:multiply;isolation:isolate"><rect width="5" height="5" opacity=".5"/></g>',
    '<text x="3 4" y="5" font-family="A, \'B\'" font-size="2em">a<tspan dy="3" fill="none">b</tspan></text>'
    '<image href="data:image/png;base64,iVBORw0KGgo=" width="5" height="5"/><foreignObject/>',
    '<switch><g systemLanguage="de"/><g><rect width="5" height="5"/></g></switch><script/><animate/>'
    '<a><rect width="5" height="5" display="none" visibility="hidden"/></a>',
    '<g style="transform:rotate(.1turn) translateX(5%);transform-origin:left 3px;transform-box:fill-box">'
    '<path d="M0 0H9V9z" vector-effect="non-scaling-stroke" stroke="red"/></g>',
)


def seeds() -> list[bytes]:
    """Return the seed files' bytes."""
    plain = [f"{_HEAD}{body}</svg>".encode() for body in _BODIES]
    entity = (
        b"<!DOCTYPE svg [<!ENTITY e \"<rect width='5' height='5'/>\">]>"
        b'<svg xmlns="http://www.w3.org/2000/svg">&e;</svg>'
    )
    utf16 = plain[0].decode().encode("utf-16")
    return [*plain, entity, utf16, gzip.compress(plain[1], mtime=0)]


def fill(folder: Path) -> None:
    """Write the seeds into ``folder`` where it is empty."""
    folder.mkdir(parents=True, exist_ok=True)
    if any(folder.iterdir()):
        return
    for number, data in enumerate(seeds()):
        (folder / f"seed-{number:02}").write_bytes(data)
