"""Seeded drawings that mix what the reader knows, for a comparison with an independent renderer.

Left out is what the judge is known to do otherwise than the standard says: markers on arcs and on
closed paths, bounding-box clips on marked groups, percentages inside a viewBox, and the clip of a
nested svg that ``use`` draws.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

COMMANDS = {"M": 1, "L": 1, "T": 1, "S": 2, "Q": 2, "C": 3, "H": 0, "V": 0, "Z": 0, "A": 1}
SHEET = (
    ".a{stroke:#990099;stroke-width:3} g .b{fill:#009999} g &gt; g .a{fill:#999900!important} "
    "#i7,#i8,#i9{fill:#123456}"
)


@dataclass(slots=True)
class _Draughtsman:
    """Draws one document from a seed."""

    seed: int
    dice: random.Random = field(init=False)

    def __post_init__(self) -> None:
        self.dice = random.Random(self.seed)

    def number(self, low: float, high: float) -> str:
        return f"{self.dice.uniform(low, high):.2f}"

    def pick(self, *words: str) -> str:
        return self.dice.choice(words)

    def chance(self, share: float) -> bool:
        return self.dice.random() < share

    def transform(self) -> str:
        n = self.number
        return self.pick(
            f' transform="translate({n(-20, 20)} {n(-20, 20)})"',
            f' transform="scale({n(0.5, 1.6)},{n(0.5, 1.6)})"',
            f' transform="rotate({n(-90, 90)} 100 100)"',
            f' transform="skewX({n(-20, 20)})"',
            f' transform="matrix({n(0.6, 1.3)} {n(-0.3, 0.3)} {n(-0.3, 0.3)} {n(0.6, 1.3)} {n(-20, 20)} {n(-20, 20)})"',
            "",
            "",
        )

    def style(self) -> str:
        n = self.number
        parts = []
        if self.chance(0.8):
            parts.append(f'fill="{self.pick("none", "#f00", "#0a0", "#00f", "#fa0", "#222")}"')
        if self.chance(0.6):
            parts.append(f'stroke="{self.pick("#f0f", "#0ff", "#840", "#000")}"')
            parts.append(f'stroke-width="{self.pick(n(1, 12), "2mm", "0.5em")}"')
            parts.append(f'stroke-linecap="{self.pick("butt", "round", "square")}"')
            parts.append(f'stroke-linejoin="{self.pick("miter", "round", "bevel")}"')
            if self.chance(0.4):
                parts.append(
                    f'stroke-dasharray="{n(3, 20)} {n(3, 20)} {n(3, 9)}" stroke-dashoffset="{n(-9, 9)}"'
                )
            if self.chance(0.3):
                parts.append(f'stroke-miterlimit="{n(1, 9)}"')
        if self.chance(0.3):
            parts.append('fill-rule="evenodd"')
        if self.chance(0.2):
            parts.append(f'paint-order="{self.pick("stroke", "markers stroke", "fill markers")}"')
        if self.chance(0.15):
            parts.append(f'font-size="{n(8, 30)}"')
        return "".join(" " + part for part in parts)

    def path(self) -> str:
        data = f"M{self.number(20, 180)} {self.number(20, 180)}"
        for _ in range(self.dice.randint(2, 7)):
            letter = self.dice.choice("LlHhVvCcSsQqTtAaZzM")
            low, high = (20, 180) if letter.isupper() else (-60, 60)
            points = [
                f"{self.number(low, high)} {self.number(low, high)}" for _ in range(COMMANDS[letter.upper()])
            ]
            data += letter
            if letter in "Aa":
                flags = f"{self.dice.randint(0, 1)}{self.dice.randint(0, 1)}"
                data += f"{self.number(5, 60)} {self.number(5, 60)} {self.number(-90, 90)} {flags}"
            elif letter in "HhVv":
                data += self.number(low, high)
            data += " ".join(points)
        return data

    def shape(self) -> str:
        n = self.number
        kind = self.pick("rect", "circle", "ellipse", "path", "path", "polygon", "polyline", "line")
        look = (
            self.style()
            + self.transform()
            + self.pick("", ' class="a"', ' class="b"', f' id="i{n(0, 20)[0]}"')
        )
        if kind in ("polyline", "line") and self.chance(0.3):
            look += "".join(f' marker-{place}="url(#m)"' for place in ("start", "mid", "end"))
        if self.chance(0.15):
            look += f' clip-path="url(#c{self.dice.randint(0, 1)})"'
        if kind == "rect":
            place = (
                f'x="{n(10, 100)}" y="{n(10, 100)}" width="{n(10, 90)}" height="{n(10, 90)}" rx="{n(0, 60)}"'
            )
        elif kind == "circle":
            place = f'cx="{n(50, 150)}" cy="{n(50, 150)}" r="{n(5, 60)}"'
        elif kind == "ellipse":
            place = f'cx="{n(50, 150)}" cy="{n(50, 150)}" rx="{n(5, 60)}" ry="{n(5, 60)}"'
        elif kind == "path":
            place = f'd="{self.path()}"'
        elif kind == "line":
            place = f'x1="{n(10, 190)}" y1="{n(10, 190)}" x2="{n(10, 190)}" y2="{n(10, 190)}"'
        else:
            place = f'points="{" ".join(n(10, 190) for _ in range(2 * self.dice.randint(2, 6)))}"'
        return f"<{kind} {place}{look}/>"

    def node(self, depth: int) -> str:
        n = self.number
        turn = self.dice.random()
        if depth > 3 or turn < 0.55:
            return self.shape()
        if turn < 0.85:
            inner = "".join(self.node(depth + 1) for _ in range(self.dice.randint(1, 3)))
            if turn < 0.75:
                clip = self.pick("", ' clip-path="url(#c0)"', ' clip-path="url(#c1)"')
                return f"<g{self.style()}{self.transform()}{clip}>{inner}</g>"
            aspect = self.pick("none", "xMinYMin", "xMaxYMax slice", "xMidYMid")
            box = self.pick("", ' viewBox="0 0 200 150"')
            place = f'x="{n(0, 60)}" y="{n(0, 60)}" width="{n(60, 140)}" height="{n(60, 140)}"'
            overflow = self.pick("visible", "hidden")
            return f'<svg {place}{box} preserveAspectRatio="{aspect}" overflow="{overflow}">{inner}</svg>'
        size = self.pick("", ' width="90" height="60"')
        target = self.pick("s", "g", "p")
        return (
            f'<use href="#{target}" x="{n(-20, 40)}" y="{n(-20, 40)}"{size}{self.style()}{self.transform()}/>'
        )

    def document(self) -> str:
        clips = "".join(
            f'<clipPath id="c{i}"{self.transform()}><path d="{self.path()}" clip-rule="evenodd"/>'
            f'<circle cx="100" cy="100" r="{self.number(40, 90)}"{self.transform()}/></clipPath>'
            for i in range(2)
        )
        orient = self.pick("auto", "auto-start-reverse", "30")
        units = self.pick("strokeWidth", "userSpaceOnUse")
        paint = self.pick("#444", "context-stroke")
        marker = (
            f'<marker id="m" markerWidth="{self.number(2, 9)}" markerHeight="6" viewBox="0 0 10 10" '
            f'refX="{self.number(0, 10)}" refY="5" orient="{orient}" markerUnits="{units}">'
            f'<path d="M0 0L10 5 0 10z" fill="{paint}"/></marker>'
        )
        shared = (
            f'<symbol id="s" viewBox="0 0 200 200">{self.shape()}{self.shape()}</symbol>'
            f'<g id="g"{self.style()}>{self.shape()}{self.shape()}</g><path id="p" d="{self.path()}"/>'
        )
        body = "".join(self.node(0) for _ in range(self.dice.randint(1, 4)))
        return (
            '<svg xmlns="http://www.w3.org/2000/svg" width="200" height="200" viewBox="0 0 200 200">'
            f"<style>{SHEET}</style><defs>{clips}{marker}{shared}</defs>{body}</svg>"
        )


def drawing(seed: int) -> bytes:
    """Return the SVG of ``seed``: the same bytes every time."""
    return _Draughtsman(seed).document().encode()
