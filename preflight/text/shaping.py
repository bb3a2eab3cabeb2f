"""Characters to glyphs: fonts chosen letter by letter, runs shaped by HarfBuzz."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, field
from itertools import pairwise

import uharfbuzz as hb

from preflight.text.cuts import Cut
from preflight.text.direction import levels, scripts, visual_order
from preflight.text.fonts import FontSource
from preflight.text.matching import Candidate
from preflight.text.problems import Problems, Trouble, listed, named
from preflight.text.upright import Stand, stand
from preflight.writing import FontWish, Slope, TextBlock, TextSpan

CURSIVE = frozenset(("Arab", "Rohg", "Mand", "Mong", "Nkoo", "Phag", "Syrc"))
"""Scripts whose letters join, between which no space is put (CSS Text 3, 8.2 and appendix D; memory)."""

_JOINER = "\u200d"
_WORD_SPACES = frozenset(" \u00a0\u1361\U00010100\U00010101\U0001039f\U0001091f")
"""Word separators (CSS Text 3, 8.1)."""
_CLOSE_WEIGHT = 100
_CLOSE_STRETCH = 12.5


@dataclass(slots=True)
class Cluster:
    """Glyphs that stand for one or more characters and move as one. Lengths are user units, y down."""

    start: int
    end: int
    """Characters ``start`` to ``end`` (exclusive)."""
    span: int
    cut: Cut
    size: float
    level: int
    advance: float
    upright: bool = False
    """In vertical text, standing rather than lying on its side."""
    glyphs: list[tuple[int, float, float]] = field(default_factory=list)
    """Glyph and where it stands from the cluster's own position."""
    x: float = 0.0
    y: float = 0.0
    angle: float = 0.0
    """Degrees, clockwise."""
    wide: float = 1.0
    """How much it is stretched along the line."""
    hidden: bool = False
    moved: bool = False
    """Placed by itself: lines along the text break before it."""


@dataclass(frozen=True, slots=True)
class _Run:
    """Consecutive characters that are shaped together."""

    start: int
    end: int
    level: int
    script: str
    cut: Cut
    size: float
    wish: FontWish
    spaced: bool
    upright: bool


class Shaper:
    """Shapes the characters of one text block."""

    def __init__(self, block: TextBlock, fonts: FontSource, problems: Problems) -> None:
        self.block = block
        self.fonts = fonts
        self.problems = problems
        self.text = block.text
        self.span_of = [i for i, span in enumerate(block.spans) for _ in span.text]
        found = levels(self.text, rtl=block.rtl)
        if found is None:
            problems.add(
                Trouble.NOT_LAID_OUT,
                "Text that runs both left to right and right to left is mixed here so that the order of its "
                "letters is not certain.",
                "Turn this text into outlines in the drawing program.",
            )
            found = [0] * len(self.text)
        self.levels = [0] * len(self.text) if block.vertical else found
        self.scripts = scripts(self.text)
        self._stacks: dict[FontWish, list[Candidate]] = {}
        self._cuts: dict[tuple[Candidate, FontWish], tuple[Cut, float]] = {}

    def stack(self, wish: FontWish) -> list[Candidate]:
        """Return the fonts for ``wish``, best first; problems of the choice are told once."""
        known = self._stacks.get(wish)
        if known is None:
            known = []
            for family, found in self.fonts.candidates(wish, self.block.faces):
                known += found
                if found:
                    self._judge(family, found[0], wish)
            self._stacks[wish] = known
            if not known:
                self._no_font(wish)
        return known

    def primary(self, wish: FontWish) -> Cut | None:
        """Return the first available font, which measures lines and baselines."""
        stack = self.stack(wish)
        return self.fonts.cut(stack[0], wish, wish.size) if stack else None

    def _no_font(self, wish: FontWish) -> None:
        letters = [
            c
            for c, s in zip(self.text, self.span_of, strict=True)
            if self.block.spans[s].font == wish and not c.isspace()
        ]
        if not letters:
            return
        why = [
            self.fonts.opened(face)[1]
            for face in self.block.faces
            if face.family.casefold() in {name.casefold() for name in wish.families}
        ]
        names = listed(wish.families)
        told = f"{names} was found" if names.startswith("No font") else f"The font {names} was not found"
        reason = f" ({'; '.join(sorted(set(why)))})" if why else ""
        self.problems.add(
            Trouble.NO_FONT,
            f"{told}{reason}, so these characters have no outlines: {named(''.join(dict.fromkeys(letters)))}.",
            "Send the font file along, or turn the text into outlines in the drawing program.",
        )

    def _judge(self, family: str, found: Candidate, wish: FontWish) -> None:
        """Tell where the nearest font is not what was asked for."""
        lacks = []
        off_weight = max(found.weight[0] - wish.weight, wish.weight - found.weight[1], 0)
        if off_weight:
            lacks.append(f"weight {wish.weight:g}")
        off_stretch = max(found.stretch[0] - wish.stretch, wish.stretch - found.stretch[1], 0)
        if off_stretch:
            lacks.append(f"width {wish.stretch:g} %")
        straight = wish.slope is not Slope.NORMAL and found.slopes == {Slope.NORMAL}
        if straight or (wish.slope is Slope.NORMAL and Slope.NORMAL not in found.slopes):
            lacks.append(f"style {wish.slope}")
        if not lacks:
            return
        far = (
            off_weight > _CLOSE_WEIGHT
            or off_stretch > _CLOSE_STRETCH
            or any("style" in lack for lack in lacks)
        )
        # The faces of the file itself are all there are: viewers take the nearest as well. But they
        # slant and embolden it, each in its own way.
        if found.font.origin == "artwork" and not straight and not (wish.weight >= 600 > found.weight[1]):
            far = False
        bold = wish.weight >= 600 > found.weight[1]
        self.problems.add(
            Trouble.NO_STYLE,
            f"The font “{family}” is there, but not with {' and '.join(lacks)}; the nearest is {found.font.name}.",
            "Send the font file of that style along, or turn the text into outlines in the drawing program.",
            blocking=far or bold,
        )

    def chunks(self) -> list[tuple[int, int]]:
        """Return the anchored chunks: first character and one past the last."""
        starts = {0} if self.text else set()
        for start in self.block.chunks:
            # A chunk does not start inside a letter: the next letter starts it (SVG 2, step 6).
            while start < len(self.text) and self._continues(start):
                start += 1  # noqa: PLW2901
            if start < len(self.text):
                starts.add(start)
        return list(pairwise([*sorted(starts), len(self.text)])) if starts else []

    def _continues(self, at: int) -> bool:
        """Tell whether the character at ``at`` belongs to the one before it."""
        return at > 0 and (
            unicodedata.category(self.text[at])[0] == "M"
            or self.text[at] == _JOINER
            or (self.text[at - 1] == _JOINER and self.scripts[at] == "Zyyy")
        )

    def shaped(self, start: int, end: int) -> list[Cluster]:
        """Return the clusters of a chunk from left to right (top to bottom), each at its own origin."""
        runs = self._runs(start, end)
        found: list[Cluster] = []
        for index in visual_order([run.level for run in runs]):
            found += self._shape(runs[index], start, end)
        if found and self._ends_line(end):
            self._trim(found)
        return found

    def _ends_line(self, end: int) -> bool:
        """Tell whether a chunk's end is a line's end: nothing follows, or it follows elsewhere."""
        if end == len(self.text):
            return True
        along = self.block.y if self.block.vertical else self.block.x
        paths = [self.block.spans[self.span_of[i]].path for i in (end - 1, end)]
        return along[end] is not None or paths[0] != paths[1]

    def _trim(self, found: list[Cluster]) -> None:
        """Take away the letter-spacing at the line's end (CSS Text 3, 8.2)."""
        backwards = self.block.rtl and not self.block.vertical
        last = found[0] if backwards else found[-1]
        if bool(last.level % 2) != backwards or self.scripts[last.start] in CURSIVE:
            return
        extra = self.block.spans[last.span].letter_spacing
        last.advance -= extra
        if backwards:
            last.glyphs = [(glyph, x - extra, y) for glyph, x, y in last.glyphs]

    def _runs(self, start: int, end: int) -> list[_Run]:
        runs: list[_Run] = []
        at = start
        while at < end:
            stop = self._unit(at, end)
            run = self._unit_run(at, stop)
            if run is not None:
                last = runs[-1] if runs else None
                if last is not None and last.end == at and _alike(last, run, self.block.spans, self.span_of):
                    runs[-1] = _Run(
                        last.start, stop, last.level, last.script, last.cut, last.size, last.wish,
                        last.spaced, last.upright,
                    )  # fmt: skip
                else:
                    runs.append(run)
            at = stop
        return runs

    def _unit(self, at: int, end: int) -> int:
        """Return where the character at ``at`` ends with the marks on it and what joiners tie to it."""
        stop = at + 1
        while stop < end and self._continues(stop):
            stop += 1
        return stop

    def _unit_run(self, at: int, stop: int) -> _Run | None:
        span = self.block.spans[self.span_of[at]]
        wish = span.font
        if wish.size <= 0:
            return None
        candidate = self._choose(at, stop, wish)
        if candidate is None:
            return None
        cut, size = self._cut(candidate, wish)
        upright = False
        if self.block.vertical:
            how = stand(self.text[at], self.block.orientation)
            if how is Stand.UNKNOWN:
                self.problems.add(
                    Trouble.NOT_LAID_OUT,
                    f"Whether {named(self.text[at])} stands or lies in vertical text is not known here.",
                    "Turn this text into outlines in the drawing program.",
                )
            upright = how is Stand.UPRIGHT or (how is Stand.EITHER and self._turns(cut, self.text[at]))
        return _Run(
            at, stop, self.levels[at], self.scripts[at], cut, size, wish, span.letter_spacing != 0, upright
        )

    def _choose(self, at: int, stop: int, wish: FontWish) -> Candidate | None:
        """Return the first font with all characters of a unit; what has none is told as missing."""
        stack = self.stack(wish)
        if not stack:
            return None
        unit = self.text[at:stop]
        forms = [unit, unicodedata.normalize("NFC", unit), unicodedata.normalize("NFD", unit)]
        wanted = [[ord(c) for c in form if not _ignorable(c)] for form in forms]
        for candidate in stack:
            if any(all(candidate.covers(c) for c in form) for form in wanted):
                return candidate
        if not unit.isspace():
            lacking = "".join(
                c for c in unit if not _ignorable(c) and not any(s.covers(ord(c)) for s in stack)
            )
            self.problems.add_missing(wish.families, lacking or unit)
        return stack[0]

    @staticmethod
    def _turns(cut: Cut, letter: str) -> bool:
        """Tell whether the font has a form of a bracket or the like for vertical text (UAX 50, Tr)."""
        buffer = hb.Buffer()
        buffer.add_str(letter)
        buffer.guess_segment_properties()
        buffer.direction = "ttb"
        hb.shape(cut.hb_font, buffer, {})
        infos = buffer.glyph_infos
        return len(infos) != 1 or infos[0].codepoint != cut.hb_font.get_nominal_glyph(ord(letter))

    def _cut(self, candidate: Candidate, wish: FontWish) -> tuple[Cut, float]:
        known = self._cuts.get((candidate, wish))
        if known is None:
            size = self._size(candidate, wish)
            known = (self.fonts.cut(candidate, wish, size), size)
            self._cuts[candidate, wish] = known
        return known

    def _size(self, candidate: Candidate, wish: FontWish) -> float:
        """Return the size used: font-size-adjust makes x-heights equal (CSS Fonts 4, 2.6)."""
        if wish.size_adjust is None:
            return wish.size
        aspect = self.fonts.cut(candidate, wish, wish.size).likely(hb.OTMetricsTag.X_HEIGHT)
        return wish.size * wish.size_adjust / aspect if aspect > 0 else wish.size

    def _shape(self, run: _Run, start: int, end: int) -> list[Cluster]:
        buffer = hb.Buffer()
        # The chunk is given as context, so that letters keep their joined forms across runs.
        buffer.add_codepoints([ord(c) for c in self.text[start:end]], run.start - start, run.end - run.start)
        vertical = run.upright
        if vertical and "vmtx" not in run.cut.font.tables:
            self.problems.add(
                Trouble.APPROXIMATE,
                f"The font {run.cut.font.name} has no measures for vertical text: its letters are centred in their "
                "squares; viewers differ a little.",
                "Look at the outcome, or choose a font made for vertical text.",
                blocking=False,
            )
        backwards = bool(run.level % 2)
        buffer.direction = "ttb" if vertical else ("rtl" if backwards else "ltr")
        buffer.script = run.script
        if run.wish.language:
            buffer.language = run.wish.language
        features: dict[str, int] = {}
        if run.spaced:
            # Spaced letters form no ligatures that the script can do without (CSS Text 3, 8.2).
            features.update({"liga": 0, "clig": 0})
        features.update(run.wish.features)
        hb.shape(run.cut.hb_font, buffer, features)
        self._features(run)
        found = self._clusters(run, buffer, start)
        self._check(run, found)
        return found

    def _features(self, run: _Run) -> None:
        """Tell of features that the text needs and the font lacks: viewers imitate them, each its own way."""
        if not run.wish.needed:
            return
        face = run.cut.font.face
        have: set[str] = set()
        if face.has_layout_substitution:
            for index, _ in enumerate(face.get_table_script_tags("GSUB")):
                have.update(face.get_language_feature_tags("GSUB", index))
                for language, _ in enumerate(face.get_script_language_tags("GSUB", index)):
                    have.update(face.get_language_feature_tags("GSUB", index, language))
        lacking = [tag for tag in run.wish.needed if tag not in have]
        if lacking:
            self.problems.add(
                Trouble.NO_STYLE,
                f"The font {run.cut.font.name} has no letters of its own for font-variant ({', '.join(lacking)}).",
                "Choose a font that has them, or turn the text into outlines in the drawing program.",
            )

    def _clusters(self, run: _Run, buffer: hb.Buffer, start: int) -> list[Cluster]:
        scale = run.size / run.cut.units
        infos, places = buffer.glyph_infos, buffer.glyph_positions
        starts = sorted({info.cluster + start for info in infos})
        ends = dict(pairwise([*starts, run.end]))
        found: list[Cluster] = []
        pen = 0.0
        for info, place in zip(infos, places, strict=True):
            at = info.cluster + start
            if not found or found[-1].start != at:
                span = self.span_of[at]
                found.append(Cluster(at, ends[at], span, run.cut, run.size, run.level, 0.0, run.upright))
                pen = 0.0
            here = found[-1]
            if run.upright:
                here.glyphs.append((info.codepoint, place.x_offset * scale, pen - place.y_offset * scale))
                step = -place.y_advance * scale
            else:
                here.glyphs.append((info.codepoint, pen + place.x_offset * scale, -place.y_offset * scale))
                step = place.x_advance * scale
            pen += step
            here.advance += step
        for cluster in found:
            self._space(cluster, self.block.spans[cluster.span], run.script)
        return found

    def _space(self, cluster: Cluster, span: TextSpan, script: str) -> None:
        """Add letter- and word-spacing after the cluster, at its left where text runs to the left."""
        extra = 0.0 if script in CURSIVE else span.letter_spacing
        extra += span.word_spacing * sum(c in _WORD_SPACES for c in self.text[cluster.start : cluster.end])
        cluster.advance += extra
        if cluster.level % 2:
            cluster.glyphs = [(glyph, x + extra, y) for glyph, x, y in cluster.glyphs]

    def _check(self, run: _Run, found: list[Cluster]) -> None:
        """Tell of glyphs that no outline stands for."""
        coloured: dict[str, None] = {}
        for cluster in found:
            letters = self.text[cluster.start : cluster.end]
            shown = [c for c in letters if not _ignorable(c) and not c.isspace()]
            if not shown:
                continue
            glyphs = [glyph for glyph, _, _ in cluster.glyphs]
            if 0 in glyphs:
                self.problems.add_missing(run.wish.families, "".join(shown))
            elif any(run.cut.colourful(glyph) for glyph in glyphs) or not any(
                len(run.cut.outline(glyph)) for glyph in glyphs
            ):
                coloured.update(dict.fromkeys(shown))
        if coloured:
            self.problems.add(
                Trouble.NO_OUTLINE,
                f"The font {run.cut.font.name} draws {named(''.join(coloured))} in colours or pixels, or not at all: "
                "there is no outline to cut.",
                "Draw these signs as shapes of plain colours.",
            )


def _alike(one: _Run, other: _Run, spans: tuple[TextSpan, ...], span_of: list[int]) -> bool:
    """Tell whether two neighbouring runs are shaped as one."""
    before, after = spans[span_of[one.end - 1]], spans[span_of[other.start]]
    return (
        one.cut is other.cut
        and one.size == other.size
        and one.level == other.level
        and one.script == other.script
        and one.upright == other.upright
        and one.spaced == other.spaced
        and one.wish.features == other.wish.features
        and one.wish.language == other.wish.language
        and before.path == after.path
        and before.shifts == after.shifts
    )


def _ignorable(letter: str) -> bool:
    """Tell whether a character shows nothing of its own: format and control characters, selectors."""
    return (
        unicodedata.category(letter) in ("Cf", "Cc") or "\ufe00" <= letter <= "\ufe0f" or letter == "\u034f"
    )
