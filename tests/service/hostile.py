"""Uploads made to break, stall or swell what reads them, each by another way. No two runs send other bytes."""

from __future__ import annotations

import gzip
import io
import random
import zlib
from itertools import pairwise

import pikepdf

HEAD = (
    '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
    ' width="100mm" height="100mm" viewBox="0 0 100 100">'
)
PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8


def uploads() -> dict[str, bytes]:
    """Return all of them by name."""
    return {
        "no bytes that mean anything": random.Random(1).randbytes(20_000),
        "picture named svg": PNG,
        "web page": b"<!doctype html><html><body><p>Not a sign</body></html>",
        "truncated": _svg('<path d="M0 0h9v9z"/>')[:-9],
        "not UTF-8": _svg("<title>Gr\xfcn</title>").decode().encode("latin-1"),
        "UTF-16 cut in a character": _svg('<path d="M0 0h9v9z"/>').decode().encode("utf-16")[:-3],
        "nested 100,000 deep": _svg("<g>" * 100_000 + "</g>" * 100_000),
        "nested 250 deep and drawn": _svg("<g transform='rotate(1)'>" * 250 + _SQUARE + "</g>" * 250),
        "entities to the ninth power": _entities(9),
        "one entity a megabyte long, often": _quadratic(),
        "a billion copies": _copies(9),
        "copies in a circle": _svg(
            '<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g><use href="#a"/>' + _SQUARE
        ),
        "gzip of 300 MB": gzip.compress(b"<svg>" + b" " * 300_000_000, 9, mtime=0),
        "gzip in gzip": gzip.compress(gzip.compress(_svg(_SQUARE), mtime=0), mtime=0),
        "gzip cut short": gzip.compress(_svg(_SQUARE), mtime=0)[:-20],
        "path of 2 million segments": _svg(f'<path d="M0 0{"h1v1" * 1_000_000}"/>'),
        "path of one number": _svg(f'<path d="M0 0h{"9" * 1_000_000}"/>'),
        "selectors times elements": _svg(
            f"<style>{'a b c,' * 20_000}i{{fill:red}}</style>" + "<i/>" * 20_000 + _SQUARE
        ),
        "dashes without end": _svg(
            '<path d="M0 0h99" fill="none" stroke="#123" stroke-width="2" stroke-dasharray="1e-7"/>'
        ),
        "numbers past all range": _svg('<rect width="1e308" height="1e-308" transform="scale(1e300)"/>'),
        "attribute of 15 MB": _svg(f'<path d="M0 0h9v9z" data-x="{"x" * 15_000_000}"/>'),
        "200,000 elements": _svg("<path/>" * 200_001),
        "clips on clips": _svg(
            "".join(
                f'<clipPath id="c{n}" clip-path="url(#c{n + 1})"><path d="M0 0h9v9z"/></clipPath>'
                for n in range(200)
            )
            + '<path d="M0 0h9v9z" clip-path="url(#c0)"/>'
        ),
        "PDF with a stream of 200 MB": _pdf(b" " * 200_000_000),
        "PDF of 3 million curves": _pdf(b"0 0 m\n" + b"1 2 3 4 5 6 c\n" * 3_000_000 + b"f\n"),
        "PDF that draws itself": _pdf_in_circle(),
        "PDF cut short": _pdf(b"0 0 50 50 re f\n")[:-200],
        "PDF of states never left": _pdf(b"q\n" * 500_000 + b"0 0 50 50 re f\n"),
    }


def slow() -> dict[str, bytes]:
    """Return those that pass all limits on counts and whose calculation outlasts time or memory."""
    return {
        "everything crosses everything": _svg(f'<path fill="#1f5f3a" d="{_tangle(800)}"/>'),
        "everything crosses, stroked": _svg(
            f'<path fill="none" stroke="#1f5f3a" stroke-width=".02" d="{_tangle(400)}"/>'
        ),
        "more crossings than memory": _svg(f'<path fill="#1f5f3a" d="{_tangle(2_500)}"/>'),
    }


_SQUARE = '<path fill="#1f5f3a" d="M10 10h80v80h-80z"/>'


def _svg(body: str) -> bytes:
    return f"{HEAD}{body}</svg>".encode()


def _tangle(points: int) -> str:
    """Return one closed line through random points, so that nearly all its segments cross."""
    chance = random.Random(7)
    pairs = (f"{chance.uniform(0, 100):.2f} {chance.uniform(0, 100):.2f}" for _ in range(points))
    return "M" + "L".join(pairs) + "z"


def _entities(power: int) -> bytes:
    names = "abcdefghijkl"[: power + 1]
    rules = "".join(f'<!ENTITY {after} "{f"&{before};" * 10}">' for before, after in pairwise(names))
    return (
        f'<!DOCTYPE svg [<!ENTITY a "xxxxxxxxxx">{rules}]>{HEAD}<title>&{names[-1]};</title></svg>'.encode()
    )


def _quadratic() -> bytes:
    return (
        f'<!DOCTYPE svg [<!ENTITY a "{"x" * 1_000_000}">]>{HEAD}<title>{"&a;" * 5_000}</title></svg>'.encode()
    )


def _copies(power: int) -> bytes:
    """Return ten copies of ten copies of ... one square, ``power`` times."""
    levels = "".join(
        f'<g id="u{n + 1}">{f"""<use xlink:href="#u{n}" x="1"/>""" * 10}</g>' for n in range(power)
    )
    square = '<path id="u0" d="M0 0h1v1z"/>'
    return _svg(f'<defs>{square}{levels}</defs><use xlink:href="#u{power}"/>')


def _pdf(content: bytes) -> bytes:
    """Return a PDF of one page with this content, packed as tightly as zlib does."""
    with pikepdf.new() as pdf:
        page = pdf.add_blank_page(page_size=(200, 200))
        packed = pikepdf.Stream(pdf, zlib.compress(content, 9))
        packed.Filter = pikepdf.Name.FlateDecode
        page.Contents = packed
        return _saved(pdf)


def _pdf_in_circle() -> bytes:
    with pikepdf.new() as pdf:
        page = pdf.add_blank_page(page_size=(200, 200))
        form = pdf.make_indirect(pikepdf.Stream(pdf, b"/F Do /F Do 0 0 9 9 re f"))
        form.Type, form.Subtype = pikepdf.Name.XObject, pikepdf.Name.Form
        form.BBox = pikepdf.Array([0, 0, 200, 200])
        form.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(F=form))
        page.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(F=form))
        page.Contents = pikepdf.Stream(pdf, b"/F Do /F Do /F Do")
        return _saved(pdf)


def _saved(pdf: pikepdf.Pdf) -> bytes:
    sink = io.BytesIO()
    pdf.save(sink, deterministic_id=True, compress_streams=False)
    return sink.getvalue()
