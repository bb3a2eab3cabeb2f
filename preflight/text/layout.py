"""Where each letter of a text element stands: the text layout algorithm of SVG 2, section 11.5.

Positions are of a cluster's left end on the baseline (its top centre where it stands in vertical
text), in the user space of the text element.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import uharfbuzz as hb

from preflight.text.along import Along, backwards
from preflight.text.cuts import Cut
from preflight.text.fonts import FontSource
from preflight.text.problems import Problems, Trouble
from preflight.text.shaping import Cluster, Shaper
from preflight.writing import FontWish, SetLength, TextBlock, TextSpan

_TO_SHAPES = "Turn this text into outlines in the drawing program."


@dataclass(frozen=True, eq=False)
class Laid:
    """A text block laid out: its clusters chunk by chunk, from left to right within each."""

    block: TextBlock
    chunks: list[list[Cluster]]
    shaper: Shaper

    @cached_property
    def of_span(self) -> dict[int, list[list[Cluster]]]:
        """Each span's clusters that show, in runs of neighbours from left to right."""
        found: dict[int, list[list[Cluster]]] = {}
        for chunk in self.chunks:
            last: int | None = None
            for cluster in chunk:
                runs = found.setdefault(cluster.span, [])
                if cluster.hidden:
                    last = None
                    continue
                if last != cluster.span:
                    runs.append([])
                runs[-1].append(cluster)
                last = cluster.span
        return found

    def clusters(self) -> Iterable[Cluster]:
        """Yield all clusters."""
        for chunk in self.chunks:
            yield from chunk


def lay_out(block: TextBlock, fonts: FontSource, problems: Problems) -> Laid:
    """Return ``block`` laid out with ``fonts``; what stands in the way is added to ``problems``."""
    for trouble in block.troubles:
        problems.add(
            Trouble.NOT_LAID_OUT,
            f"The text asks for “{trouble}”, which is not laid out here, since viewers do not agree on it or do it "
            "each in its own way.",
            _TO_SHAPES,
        )
    shaper = Shaper(block, fonts, problems)
    layout = _Layout(block, shaper, problems)
    layout.place()
    return Laid(block, layout.chunks, shaper)


class _Layout:
    def __init__(self, block: TextBlock, shaper: Shaper, problems: Problems) -> None:
        self.block = block
        self.shaper = shaper
        self.problems = problems
        self.bounds = shaper.chunks()
        self.chunks = [shaper.shaped(start, end) for start, end in self.bounds]
        self.logical = sorted((c for chunk in self.chunks for c in chunk), key=lambda c: c.start)
        self.lifts: dict[tuple[int, bool], float] = {}

    def place(self) -> None:
        """Run the algorithm's steps in their order."""
        if not self.logical:
            return
        self._warn_backwards()
        self._in_line()
        self._moves()
        for index, length in enumerate(self.block.lengths):
            self._set_length(length, self.block.lengths[:index])
        self._absolute()
        for (start, _), chunk in zip(self.bounds, self.chunks, strict=True):
            self._anchor(start, chunk)
        if self.block.paths:
            self._on_paths()

    def _warn_backwards(self) -> None:
        """Absolute positions inside a word that runs to the left: viewers order the parts differently."""
        levels, owner = self.shaper.levels, self.shaper.span_of
        for start, _ in self.bounds:
            if not start or not (levels[start] % 2 and levels[start - 1] % 2):
                continue
            # A new element at a place of its own is a line of its own, which all viewers take alike.
            partial = self.block.x[start] is None or self.block.y[start] is None
            if partial or owner[start] == owner[start - 1]:
                self.problems.add(
                    Trouble.NOT_LAID_OUT,
                    "Letters of text that runs right to left are placed one by one, which viewers do not do alike.",
                    _TO_SHAPES,
                )

    def _along(self, cluster: Cluster) -> float:
        return cluster.y if self.block.vertical else cluster.x

    def _push(self, cluster: Cluster, step: float) -> None:
        if self.block.vertical:
            cluster.y += step
        else:
            cluster.x += step

    def _in_line(self) -> None:
        """Set everything on one line, as CSS does: step 2."""
        pen = 0.0
        for chunk in self.chunks:
            for cluster in chunk:
                self._push(cluster, pen)
                pen += cluster.advance
                lift = self._lift(cluster)
                if self.block.vertical:
                    cluster.x += lift
                else:
                    cluster.y -= lift

    def _lift(self, cluster: Cluster) -> float:
        """Return how far a cluster stands above the line: shifts, and the baseline that sits on it."""
        key = (cluster.span, cluster.upright)
        if key not in self.lifts:
            self.lifts[key] = self._lift_of(cluster)
        return self.lifts[key]

    def _lift_of(self, cluster: Cluster) -> float:
        span = self.block.spans[cluster.span]
        lift = sum(self._shift(shift.keyword, shift.length, shift.font) for shift in span.shifts)
        primary = self.shaper.primary(span.font) or cluster.cut
        if self.block.vertical:
            # Text on its side has its central baseline on the line (CSS Writing Modes 4, 4.2).
            return lift if cluster.upright else lift - baseline(primary, "central") * span.font.size
        return lift - baseline(primary, span.baseline) * span.font.size

    def _shift(self, keyword: str, length: float, font: FontWish) -> float:
        if not keyword:
            return length
        cut = self.shaper.primary(font)
        if cut is None:
            return 0.0
        tags = hb.OTMetricsTag
        tag = tags.SUPERSCRIPT_EM_Y_OFFSET if keyword == "super" else tags.SUBSCRIPT_EM_Y_OFFSET
        offset = cut.likely(tag) * font.size
        return offset if keyword == "super" else -offset

    def _moves(self) -> None:
        """Apply dx and dy, and turn letters: step 4."""
        across = along = 0.0
        done = 0
        for cluster in self.logical:
            for index in range(done, cluster.start + 1):
                across += self.block.dx[index]
                along += self.block.dy[index]
            done = cluster.start + 1
            cluster.x += across
            cluster.y += along
            cluster.angle = self.block.rotate[cluster.start]
            own = self.block.dx[cluster.start] or self.block.dy[cluster.start] or cluster.angle
            cluster.moved = bool(own) or cluster.start in self.block.chunks

    def _set_length(self, length: SetLength, before: tuple[SetLength, ...]) -> None:
        """Spread or stretch an element's letters to its textLength: step 5."""
        inside = [c for c in self.logical if length.start <= c.start < length.end]
        if not inside:
            return
        low = min(self._along(c) for c in inside)
        high = max(self._along(c) + c.advance * c.wide for c in inside)
        delta = length.length - (high - low)
        if length.glyphs:
            if high <= low:
                return
            factor = length.length / (high - low)
            for cluster in inside:
                self._push(cluster, (self._along(cluster) - low) * (factor - 1))
                cluster.wide *= factor
        else:
            self._spread(inside, delta, [o for o in before if length.start <= o.start < o.end <= length.end])
        # What follows in the same chunk moves along. The standard leaves this out, and all viewers do it.
        start, end = next((a, b) for a, b in self.bounds if a <= inside[-1].start < b)
        for cluster in self.logical:
            if length.end <= cluster.start < end and start <= cluster.start:
                self._push(cluster, delta)

    def _spread(self, inside: list[Cluster], delta: float, inner: list[SetLength]) -> None:
        """Share ``delta`` among the gaps between clusters; an inner element with a length moves as one."""

        def group(cluster: Cluster) -> tuple[int, int]:
            held = [(one.start, one.end) for one in inner if one.start <= cluster.start < one.end]
            return max(held, key=lambda r: r[1] - r[0]) if held else (cluster.start, cluster.end)

        visual = sorted(inside, key=self._along)
        order = list(dict.fromkeys(group(cluster) for cluster in visual))
        if len(order) < 2:
            return
        step = delta / (len(order) - 1)
        place = {key: index for index, key in enumerate(order)}
        for cluster in visual:
            self._push(cluster, step * place[group(cluster)])

    def _absolute(self) -> None:
        """Apply x and y: step 6. A first letter's own dx and dy stay on top of its x and y."""
        shift_x = shift_y = 0.0
        done = 0
        for cluster in self.logical:
            span = self.block.spans[cluster.span]
            on_path = span.path is not None and cluster.start in self.block.chunks
            x, y = self._wanted(done, cluster.start)
            done = cluster.start + 1
            if on_path and self._starts_path(cluster.start):
                x = 0.0 if x is None else x
                y = 0.0 if y is None else y
            lift = self._lift(cluster)
            if x is not None:
                base = cluster.x - (lift if self.block.vertical else 0.0)
                shift_x = x + self.block.dx[cluster.start] - base
            if y is not None:
                base = cluster.y + (0.0 if self.block.vertical else lift)
                shift_y = y + self.block.dy[cluster.start] - base
            cluster.x += shift_x
            cluster.y += shift_y

    def _wanted(self, done: int, at: int) -> tuple[float | None, float | None]:
        """Return x and y of a cluster; those of letters inside the cluster before it carry over."""
        x = next((v for v in (self.block.x[i] for i in range(at, done - 1, -1)) if v is not None), None)
        y = next((v for v in (self.block.y[i] for i in range(at, done - 1, -1)) if v is not None), None)
        return x, y

    def _starts_path(self, index: int) -> bool:
        spans = self.block.spans
        own = spans[self.shaper.span_of[index]].path
        return index == 0 or spans[self.shaper.span_of[index - 1]].path != own

    def _anchor(self, start: int, chunk: list[Cluster]) -> None:
        """Move a chunk so that its start, middle or end is at its first letter's position: step 7."""
        if not chunk:
            return
        first = min(chunk, key=lambda c: c.start)
        span = self.block.spans[self.shaper.span_of[start]]
        low = min(min(self._along(c), self._along(c) + c.advance * c.wide) for c in chunk)
        high = max(max(self._along(c), self._along(c) + c.advance * c.wide) for c in chunk)
        given = self.block.y[start] if self.block.vertical else self.block.x[start]
        moved = self.block.dy[start] if self.block.vertical else self.block.dx[start]
        if given is not None:
            target = given + moved
        elif span.path is not None and self._starts_path(start):
            target = moved
        else:
            target = self._along(first)
            if start == 0:
                target = moved
        backwards = span.rtl and not self.block.vertical
        share = {"start": 0.0, "middle": 0.5, "end": 1.0}.get(span.anchor, 0.0)
        share = 1 - share if backwards else share
        for cluster in chunk:
            self._push(cluster, target - (low + share * (high - low)))

    def _on_paths(self) -> None:
        """Put text on its paths, and what follows at their ends: step 8."""
        walks = [Along(backwards(one.path) if one.reverse else one.path) for one in self.block.paths]
        starts = {start for start, _ in self.bounds}
        after: tuple[float, float] | None = None
        ended: Along | None = None
        for cluster in self.logical:
            span = self.block.spans[cluster.span]
            if span.path is not None:
                ended, after = walks[span.path], None
                self._on_path(cluster, span, walks[span.path], self.block.paths[span.path].offset)
                continue
            if ended is not None:
                end = ended.end
                lift = self._lift(cluster)
                after = (end[0] - cluster.x, end[1] - cluster.y - (0.0 if self.block.vertical else lift))
                ended = None
            if cluster.start in starts:
                after = None
            if after is not None:
                cluster.x += after[0]
                cluster.y += after[1]

    def _on_path(self, cluster: Cluster, span: TextSpan, walk: Along, offset: float) -> None:
        vertical = self.block.vertical
        advance = cluster.advance * cluster.wide
        middle = self._along(cluster) + advance / 2 + offset
        cluster.moved = True
        if not walk.length:
            cluster.hidden = True
            return
        if walk.closed:
            share = {"start": 0.0, "middle": 0.5, "end": 1.0}.get(span.anchor, 0.0)
            share = 1 - share if span.rtl else share
            if not -share * walk.length <= middle - offset <= (1 - share) * walk.length:
                cluster.hidden = True
                return
            middle %= walk.length
        elif not 0 <= middle <= walk.length:
            cluster.hidden = True
            return
        x, y, tangent = walk.at(middle)
        turn = math.radians(tangent)
        across = cluster.x if vertical else cluster.y
        back = advance / 2
        cos, sin = math.cos(turn), math.sin(turn)
        if vertical:
            # The normal points to t - 90 degrees; the letter's top centre lies half its height back.
            cluster.x = x - back * cos + across * sin
            cluster.y = y - back * sin - across * cos
            cluster.angle += tangent - 90.0
        else:
            cluster.x = x - back * cos - across * sin
            cluster.y = y - back * sin + across * cos
            cluster.angle += tangent


def baseline(cut: Cut, name: str) -> float:
    """Return a baseline's height above the alphabetic one, em.

    From the font's BASE table where it has one; else synthesised: middle is half the x-height
    (CSS Inline 3, 3.3), central the middle of ascent and descent, hanging 0.8 and mathematical half
    of the ascent (the usual choice of viewers; memory).
    """
    if name == "alphabetic":
        return 0.0
    if name == "middle":
        return cut.likely(hb.OTMetricsTag.X_HEIGHT) / 2
    tags = {"hanging": "hang", "mathematical": "math", "ideographic": "ideo"}
    if name in tags and "BASE" in cut.font.tables:
        stated: int | None = cut.hb_font.get_layout_baseline(tags[name], "ltr", "latn", "")
        if stated is not None:
            return stated / cut.units
    return {
        "central": (cut.ascent + cut.descent) / 2,
        "hanging": 0.8 * cut.ascent,
        "mathematical": 0.5 * cut.ascent,
        "ideographic": cut.descent,
        "text-top": cut.ascent,
        "text-bottom": cut.descent,
    }[name]
