"""Compare what the reader makes of SVG files with what an independent renderer shows.

Run as ``python -m tests.corpus.agreement [category ...] [--all-flagged]`` from the project's root.
The judge of the feature tests is the picture beside each; of the real signs, a renderer run in a
process of its own (it can crash). Our regions are rasterised here, by exact areas, so that nothing
of the judge's geometry is used on our side.
"""

from __future__ import annotations

import argparse
import io
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
import shapely
from PIL import Image
from shapely.geometry.base import BaseGeometry

from preflight.artwork import Artwork, Item, LiveText, PaintKind, Picture, RemarkKind, Shape
from preflight.errors import ReadError
from preflight.geometry.appearance import framed, paint
from preflight.readers import read
from preflight.text import FontSource, outline

SHARED = Path(__file__).resolve().parents[2].parent / "shared"
CORPUS = SHARED / "corpus"
SUITE = ("structure", "painting", "shapes", "masking", "paint-servers", "text")
SIGNS = ("park-symbols", "road-signs")
DIFFERING_SHARE = 0.005
"""Share of the canvas's pixels that may differ."""
LEAST_OVERLAP = 0.98
"""Least intersection over union of what is painted."""
CHANNEL = 64 / 255
"""A pixel differs where a premultiplied channel is further off: the judge samples edges in quarters."""
SIGN_PIXELS = 400
LEAST_GOOD = 0.98
MOST_DISAGREED = 0.01

Pixels = npt.NDArray[np.float64]

_VERTICAL = (
    "OpenType, vmtx and vert: upright letters stand by the font's vertical measures, in its forms for "
    "vertical text; the judge has neither."
)
_BLANKS = (
    "CSS Text 3, 4.1.1: a blank is collapsed after a blank that can be collapsed, not after one that is "
    "preserved; the judge collapses it after either."
)
_ALONG = (
    "SVG 2, 11.8.3: a letter's middle stands at its distance along the path; the judge measures paths to "
    "about half a pixel (tests/text checks ours)."
)
_ON_PATHS = (
    "dy-with-tiny-coordinates",
    "nested",
    "startOffset=5mm",
    "tspan-with-relative-position",
    "two-paths",
    "with-baseline-shift-and-rotate",
    "with-baseline-shift",
    "with-coordinates-on-textPath",
    "with-transform-on-a-referenced-path",
    "with-transform-outside-a-referenced-path",
)

BY_SPECIFICATION = {
    "structure/style/non-presentational-attribute": (
        "SVG 2, 7.4: the geometry properties x, y, width, height ... can be set in style sheets; the "
        "judge has SVG 1.1 here."
    ),
    "structure/style-attribute/non-presentational-attribute": (
        "SVG 2, 7.4: the geometry properties can be set in style attributes; the judge has SVG 1.1 here."
    ),
    "structure/symbol/with-transform": (
        "SVG 2, 5.5 and 8.5: transform applies to symbol; the judge has SVG 1.1 here, as its text says."
    ),
    "painting/shape-rendering/on-horizontal-line": (
        "SVG 2, 13.10: shape-rendering is a hint to the rasteriser; it moves no outline."
    ),
    "painting/marker/on-ArcTo": (
        "SVG 2, 9.3.8 and 13.7.4: an arc is one segment with a vertex at its end; the judge puts a "
        "marker where it splits the arc for itself."
    ),
    "painting/fill/rgba-0-127-0-50percent": (
        "CSS Color 4, 4.2: an alpha value is a number or a percentage; the judge takes no percentage."
    ),
    "shapes/polygon/simple-case": (
        "SVG 2, 3.6: an opaque later paint covers an earlier one wholly; in the judge's picture the "
        "covered red line shines through the blurred edge."
    ),
    "shapes/rect/ch-values": "CSS Values 4, 6.1.1: ch is a length; the judge takes it for none.",
    "shapes/rect/lh-values": "CSS Values 4, 6.1.1: lh is a length; the judge takes it for none.",
    "shapes/rect/rem-values": "CSS Values 4, 6.1.1: rem is a length; the judge takes it for none.",
    "shapes/rect/rlh-values": "CSS Values 4, 6.1.1: rlh is a length; the judge takes it for none.",
    "shapes/rect/vmin-and-vmax-values": (
        "CSS Values 4, 6.1.2: vmin and vmax are lengths; the judge takes them for none."
    ),
    "structure/svg/not-UTF-8-encoding": (
        "Not a standard's matter: the judge's picture was made with another version of the font's Cyrillic; "
        "the same renderer with the font at hand sets the words as wide as here."
    ),
    "text/font-size/em-on-the-root-element": (
        "CSS Fonts 4, 2.5: medium is the reader's choice, 16 px here as in browsers; the judge has 12."
    ),
    "text/font-size/percent-value-without-a-parent": (
        "CSS Fonts 4, 2.5: medium is the reader's choice, 16 px here as in browsers; the judge has 12."
    ),
    "text/font-size-adjust/simple-case": (
        "CSS Fonts 4, 2.6: font-size-adjust sets the x-height; the judge does not have it."
    ),
    "text/text-anchor/inheritance-2": (
        "SVG 2, 3.6: an opaque later paint covers an earlier one wholly; in the judge's picture the "
        "covered letters shine through the blurred edges."
    ),
    "text/text-anchor/on-tspan-with-arabic": (
        "SVG 2, 11.5, step 2: the element is one paragraph, so that a blank between two words that run "
        "to the left does so too (UAX 9, N1); the judge makes each chunk a paragraph."
    ),
    "text/textLength/on-a-single-tspan": (
        "SVG 2, 11.5, step 5: the last letter ends at textLength; the judge adds a gap after it."
    ),
    "text/textPath/mixed-children-1": (
        "SVG 2, 11.5, step 8: text after a text path starts at the path's end; the judge goes on after "
        "the last letter."
    ),
    "text/textPath/side=right": "SVG 2, 11.8.1: side turns the path round; the judge does not have it.",
    "text/textPath/with-path-and-xlink-href": (
        "SVG 2, 11.8.1: path comes before href; the judge does not have it."
    ),
    "text/textPath/with-path": "SVG 2, 11.8.1: path gives the path; the judge does not have it.",
    "text/textPath/writing-mode=tb": _VERTICAL,
    "text/tspan/mixed-font-size": (
        "OpenType, GPOS: kerning is between letters of one size; the judge kerns a letter with a larger one."
    ),
    "text/tspan/mixed-xml-space-1": _BLANKS,
    "text/tspan/mixed-xml-space-2": _BLANKS,
    "text/tspan/mixed-xml-space-3": _BLANKS,
    "text/tspan/with-clip-path": (
        "SVG 2, 1.5 (graphics element) and CSS Masking 1, 5: clip-path applies to tspan; the judge does not."
    ),
    "text/writing-mode/japanese-with-tb": _VERTICAL,
    "text/writing-mode/tb-and-punctuation": _VERTICAL,
    **{f"text/textPath/{name}": _ALONG for name in _ON_PATHS},
}
"""Disagreements in which the reader follows the standard's words, with those words' place."""


FAMILIES = {
    "": "Noto Sans",
    "serif": "Noto Serif",
    "sans-serif": "Noto Sans",
    "cursive": "Yellowtail",
    "fantasy": "Sedgwick Ave Display",
    "monospace": "Noto Mono",
}
"""What the judge's pictures were made with for generic families, and for text that names none."""


@cache
def fonts() -> FontSource:
    """Return the fonts that the judge's pictures of text were made with."""
    return FontSource.of(folder=SHARED / "fonts" / "suite", substitutes=FAMILIES)


def outlined(artwork: Artwork) -> Artwork:
    """Return ``artwork`` with its live text outlined; what cannot be outlined faithfully stays live."""
    items: list[Item] = []
    for item in artwork.items:
        made = outline(item, fonts()) if isinstance(item, LiveText) else None
        items += [item] if made is None or not made.outlined else made.shapes
    return replace(artwork, items=tuple(items))


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one file."""

    category: str
    name: str
    verdict: str
    """``agreed``, ``flagged``, ``standard`` (right by the standard), ``disagreed`` or ``refused``."""
    why: str


def files(category: str) -> list[Path]:
    """Return the category's SVG files, sorted."""
    folder = CORPUS / category if category in SIGNS else CORPUS / "svg-suite" / category
    return sorted(folder.rglob("*.svg"))


def told_of_text(artwork: Artwork) -> set[str]:
    """Return what a customer is told of text that could be outlined."""
    texts = [item for item in artwork.items if isinstance(item, LiveText)]
    return {f"text: {p.message}" for text in texts for p in outline(text, fonts()).problems if not p.blocking}


def flags(artwork: Artwork) -> list[str]:
    """Return what the reader says about the file that a customer would be told of."""
    found = {
        f"remark {remark.kind.value}: {remark.subject}"
        for remark in artwork.remarks
        if remark.kind is not RemarkKind.NOTE
    }
    for item in artwork.items:
        if item.hidden is not None:
            continue
        if isinstance(item, LiveText):
            found |= {f"live text: {p.message}" for p in outline(item, fonts()).problems}
        elif isinstance(item, Picture):
            found.add("picture")
        else:
            found |= _paint_flags(item)
    return sorted(found)


def _paint_flags(shape: Shape) -> set[str]:
    found = set()
    for used in (shape.fill, shape.stroke.paint if shape.stroke else None):
        if used is None:
            continue
        if used.kind is not PaintKind.SOLID:
            found.add(used.kind.value)
        if used.opacity * shape.opacity < 1:
            found.add("translucency")
    return found


def rasterised(artwork: Artwork, width: int, height: int, scale: tuple[float, float]) -> Pixels:
    """Return our appearance as premultiplied RGBA (height, width, 4), 0 to 1; ``scale`` is px a mm."""
    picture = np.zeros((height, width, 4))
    for colour, region in artwork.appearance().items():
        cover = coverage(region, width, height, scale)
        rgb = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        picture += cover[..., None] * np.array([*rgb, 1.0])
    return np.minimum(picture, 1.0)


def composited(artwork: Artwork, width: int, height: int, scale: tuple[float, float]) -> Pixels:
    """As `rasterised`, layer over layer with each paint's own opacity, for translucent artwork.

    Gradients and patterns have no colour here: what they paint stays empty.
    """
    picture = np.zeros((height, width, 4))
    painting = paint(tuple(artwork.shapes()), artwork.flattening_tolerance)
    frame = shapely.box(0, 0, artwork.width, artwork.height)
    for layer in painting.layers:
        if layer.paint.color is None:
            continue
        alpha = layer.paint.opacity * painting.shapes[layer.shape].opacity
        cover = coverage(framed(layer.region, frame), width, height, scale)[..., None] * alpha
        rgb = [int(layer.paint.color[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        picture = picture * (1 - cover) + cover * np.array([*rgb, 1.0])
    return picture


def coverage(region: BaseGeometry, width: int, height: int, scale: tuple[float, float]) -> Pixels:
    """Return how much of each pixel ``region`` covers, 0 to 1, by exact signed areas.

    Every edge is split at the pixel grid; a piece adds its height to all pixels on its right and
    a trapezoid's share to its own. Rings are turned so that holes take away.
    """
    polygons = [p for p in shapely.get_parts(region) if p.geom_type == "Polygon" and not p.is_empty]
    if not polygons:
        return np.zeros((height, width))
    rings = shapely.get_rings(shapely.orient_polygons(np.array(polygons)))
    nodes, owner = shapely.get_coordinates(rings, return_index=True)
    nodes = nodes * np.array(scale)
    inside = owner[1:] == owner[:-1]
    edges = np.concatenate((nodes[:-1][inside], nodes[1:][inside]), axis=1)
    for axis in (1, 0):
        edges = _split(edges, axis)
    x0, y0, x1, y1 = edges.T
    column = np.clip(np.floor((x0 + x1) / 2).astype(int), 0, width - 1)
    row = np.clip(np.floor((y0 + y1) / 2).astype(int), 0, height - 1)
    rise = y1 - y0
    left = (x0 + x1) / 2 - column
    total = np.zeros((height, width + 1))
    np.add.at(total, (row, column), rise * (1 - left))
    np.add.at(total, (row, column + 1), rise * left)
    # y runs down, so a counterclockwise exterior of the plane counts with either sign: take |sum|.
    return np.clip(np.abs(np.cumsum(total, axis=1)[:, :width]), 0.0, 1.0)


def _split(edges: Pixels, axis: int) -> Pixels:
    """Split edges (n, 4) where they cross whole numbers of ``axis``."""
    start, end = edges[:, axis], edges[:, axis + 2]
    low, high = np.minimum(start, end), np.maximum(start, end)
    first = np.floor(low) + 1
    count = np.maximum(np.ceil(high) - first, 0).astype(int)
    pieces = count + 1
    which = np.repeat(np.arange(len(edges)), pieces)
    step = np.arange(len(which)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    chosen = edges[which]
    span = chosen[:, axis + 2] - chosen[:, axis]
    with np.errstate(divide="ignore", invalid="ignore"):
        up = span >= 0
        lines_from = np.where(up, first[which] + step - 1, first[which] + count[which] - step)
        lines_to = np.where(up, first[which] + step, first[which] + count[which] - step - 1)
        t0 = np.where(step == 0, 0.0, (lines_from - chosen[:, axis]) / span)
        t1 = np.where(step == count[which], 1.0, (lines_to - chosen[:, axis]) / span)
    move = chosen[:, 2:] - chosen[:, :2]
    return np.concatenate((chosen[:, :2] + move * t0[:, None], chosen[:, :2] + move * t1[:, None]), axis=1)


def premultiplied(png: bytes) -> Pixels:
    """Return a PNG as premultiplied RGBA, 0 to 1."""
    with Image.open(io.BytesIO(png)) as image:
        plain = np.asarray(image.convert("RGBA"), float) / 255
    plain[..., :3] *= plain[..., 3:]
    return plain


def difference(ours: Pixels, theirs: Pixels) -> str | None:
    """Return how the pictures differ; None where they agree."""
    wrong = (np.abs(ours - theirs) > CHANNEL).any(axis=2)
    share = float(wrong.mean())
    off = np.abs(ours[..., 3] - theirs[..., 3])
    either = np.maximum(ours[..., 3], theirs[..., 3]).sum()
    overlap = 1.0 - float(off[off > CHANNEL].sum() / either) if either > 0 else 1.0
    if share > DIFFERING_SHARE:
        return f"{share:.2%} of the pixels differ, overlap {overlap:.3f}"
    if overlap < LEAST_OVERLAP:
        return f"overlap {overlap:.3f}"
    return None


def judge(category: str, path: Path, name: str, png: bytes | None) -> Outcome:
    """Return the outcome for one file; ``png`` is the judge's picture, None where it gave none.

    The pictures of the feature tests fill their width; those of the signs are a whole number of
    times the size at 96 px an inch, and only their canvas is rounded to whole pixels.
    """
    try:
        live = read(path.read_bytes(), path.name)
        artwork = outlined(live)
    except ReadError as error:
        return Outcome(category, name, "refused", str(error))
    told = [*flags(artwork), *sorted(told_of_text(live))]
    if png is None:
        return Outcome(category, name, "disagreed", "the judge shows nothing")
    theirs = premultiplied(png)
    height, width = theirs.shape[:2]
    why: str | None
    scale = (width / artwork.width, height / artwork.height)
    if category in SIGNS:
        zoom = max(1, round(max(width, height) * 25.4 / 96 / max(artwork.width, artwork.height)))
        scale = (zoom * 96 / 25.4, zoom * 96 / 25.4)
    if abs(artwork.width / artwork.height * height / width - 1) > 0.02:
        why = f"{artwork.width:g} x {artwork.height:g} mm against {width} x {height} px"
    else:
        why = difference(rasterised(artwork, width, height, scale), theirs)
        if why is not None and "translucency" in told:
            why = difference(composited(artwork, width, height, scale), theirs)
    if why is None:
        return Outcome(category, name, "agreed", "; ".join(told))
    if f"{category}/{name}" in BY_SPECIFICATION:
        return Outcome(category, name, "standard", f"{why}; {BY_SPECIFICATION[f'{category}/{name}']}")
    if told:
        return Outcome(category, name, "flagged", f"{why}; {'; '.join(told)}")
    return Outcome(category, name, "disagreed", why)


def outcomes(category: str) -> Iterator[Outcome]:
    """Yield the outcome of every file of ``category``."""
    paths = files(category)
    if category in SIGNS:
        with tempfile.TemporaryDirectory() as folder:
            pictures = render(paths, Path(folder))
            for path, picture in zip(paths, pictures, strict=True):
                yield judge(category, path, path.stem, picture)
        return
    for path in paths:
        name = str(path.relative_to(CORPUS / "svg-suite" / category).with_suffix(""))
        yield judge(category, path, name, path.with_suffix(".png").read_bytes())


def render(paths: Sequence[Path], folder: Path) -> list[bytes | None]:
    """Render files with the independent renderer in a process of its own."""
    targets = [folder / f"{i}.png" for i in range(len(paths))]
    pairs = list(zip(paths, targets, strict=True))
    _render_child(pairs)
    for pair in pairs:
        if not pair[1].exists():
            # The batch stopped at a file that crashed the renderer: the rest go one by one.
            _render_child([pair])
    return [target.read_bytes() if target.exists() else None for target in targets]


def _render_child(pairs: Sequence[tuple[Path, Path]]) -> None:
    lines = "".join(f"{source}\t{target}\n" for source, target in pairs)
    subprocess.run(
        [sys.executable, "-c", _CHILD, str(SIGN_PIXELS)],
        input=lines.encode(),
        check=False,
        env={**os.environ, "PYTHONHASHSEED": "0"},
        stderr=subprocess.DEVNULL,
        timeout=600,
    )


_CHILD = """
import pathlib, struct, sys
import resvg_py
for line in sys.stdin.read().splitlines():
    source, target = line.split("\\t")
    options = dict(svg_path=source, skip_system_fonts=True, dpi=96)
    small = bytes(resvg_py.svg_to_bytes(**options))
    wide = max(struct.unpack(">II", small[16:24]))
    zoom = max(1, round(int(sys.argv[1]) / wide))
    png = bytes(resvg_py.svg_to_bytes(**options, zoom=zoom)) if zoom > 1 else small
    pathlib.Path(target).write_bytes(png)
"""


def good(found: Sequence[Outcome]) -> float:
    """Return the share of files that agree, are flagged, or are right by the standard."""
    return sum(o.verdict in ("agreed", "flagged", "standard") for o in found) / max(len(found), 1)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table; return 1 where a category misses the bar."""
    parser = argparse.ArgumentParser(description="Agreement with an independent renderer, by category.")
    parser.add_argument("category", nargs="*", default=[*SUITE, *SIGNS])
    parser.add_argument("--all-flagged", action="store_true", help="list flagged files as well")
    options = parser.parse_args(arguments)
    failed = False
    listed: list[Outcome] = []
    verdicts = ("agreed", "flagged", "standard", "disagreed", "refused")
    print(f"{'category':15}{'files':>7}" + "".join(f"{v:>11}" for v in verdicts) + f"{'good':>8}")
    for category in options.category:
        found = list(outcomes(category))
        count = {verdict: sum(o.verdict == verdict for o in found) for verdict in verdicts}
        share = good(found)
        failed |= share < LEAST_GOOD or count["disagreed"] > MOST_DISAGREED * len(found)
        print(f"{category:15}{len(found):7}" + "".join(f"{count[v]:11}" for v in verdicts) + f"{share:8.1%}")
        shown = {*verdicts[2:], *(("flagged",) if options.all_flagged else ())}
        listed += [o for o in found if o.verdict in shown]
    for outcome in listed:
        print(f"{outcome.verdict}: {outcome.category}/{outcome.name}: {outcome.why}")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
