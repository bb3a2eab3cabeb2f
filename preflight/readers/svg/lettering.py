"""From a computed style to what live text asks for: fonts, features, baselines, lines."""

from __future__ import annotations

from preflight.artwork import Origin
from preflight.curves import Path
from preflight.readers.svg.fontvalues import families, settings, slope, stretch, weight
from preflight.readers.svg.paints import paint, stroke
from preflight.readers.svg.state import Context, Scene
from preflight.readers.svg.style import Style
from preflight.readers.svg.values import length, number, split_length
from preflight.writing import BaselineShift, Decoration, FontWish, Line

_LIGATURES = {
    "common-ligatures": (("liga", 1), ("clig", 1)),
    "no-common-ligatures": (("liga", 0), ("clig", 0)),
    "discretionary-ligatures": (("dlig", 1),),
    "no-discretionary-ligatures": (("dlig", 0),),
    "historical-ligatures": (("hlig", 1),),
    "no-historical-ligatures": (("hlig", 0),),
    "contextual": (("calt", 1),),
    "no-contextual": (("calt", 0),),
}
_CAPS = {
    "small-caps": ("smcp",),
    "all-small-caps": ("c2sc", "smcp"),
    "petite-caps": ("pcap",),
    "all-petite-caps": ("c2pc", "pcap"),
    "unicase": ("unic",),
    "titling-caps": ("titl",),
}
_NUMERIC = {
    "lining-nums": "lnum",
    "oldstyle-nums": "onum",
    "proportional-nums": "pnum",
    "tabular-nums": "tnum",
    "diagonal-fractions": "frac",
    "stacked-fractions": "afrc",
    "ordinal": "ordn",
    "slashed-zero": "zero",
}
_EAST_ASIAN = {
    "jis78": "jp78", "jis83": "jp83", "jis90": "jp90", "jis04": "jp04", "simplified": "smpl",
    "traditional": "trad", "full-width": "fwid", "proportional-width": "pwid", "ruby": "ruby",
}  # fmt: skip
_POSITION = {"sub": "subs", "super": "sups"}
_SYNTHESISED = frozenset(("smcp", "c2sc", "pcap", "c2pc", "unic", "subs", "sups"))
"""Features that viewers imitate where a font lacks them, each in its own way (CSS Fonts 4, 6.6)."""

VARIANTS = (
    "font-variant",
    "font-variant-ligatures",
    "font-variant-caps",
    "font-variant-numeric",
    "font-variant-east-asian",
    "font-variant-position",
)


def _features(style: Style) -> tuple[tuple[tuple[str, int], ...], tuple[str, ...], list[str]]:
    """Return feature values, those that the font must have, and values not understood."""
    found: dict[str, int] = {}
    needed: list[str] = []
    unknown: list[str] = []
    words = [w for name in VARIANTS for w in style.get(name).lower().split() if w != "normal"]
    for word in words:
        if word in _LIGATURES:
            found.update(_LIGATURES[word])
        elif word == "none":
            found.update({"liga": 0, "clig": 0, "dlig": 0, "hlig": 0, "calt": 0})
        elif word in _CAPS:
            found.update(dict.fromkeys(_CAPS[word], 1))
            needed += [tag for tag in _CAPS[word] if tag in _SYNTHESISED]
        elif word in _NUMERIC or word in _EAST_ASIAN or word in _POSITION:
            tag = _NUMERIC.get(word) or _EAST_ASIAN.get(word) or _POSITION[word]
            found[tag] = 1
            needed += [tag] if tag in _SYNTHESISED else []
        else:
            unknown.append(f"font-variant {word}")
    if style.get("font-kerning").lower() == "none":
        found.update({"kern": 0, "vkrn": 0})
    # The low-level settings come last and win (CSS Fonts 4, 7.2).
    settled = settings(style.get("font-feature-settings"))
    found.update({tag: max(int(value), 0) for tag, value in settled if tag.isalnum()})
    return tuple(found.items()), tuple(needed), unknown


def wish(style: Style, language: str, troubles: list[str]) -> FontWish:
    """Return the font that ``style`` asks for; what is not understood is added to ``troubles``."""
    key = ("wish", language)
    known: tuple[FontWish, list[str]] | None = style.cache.get(key)
    if known is None:
        features, needed, unknown = _features(style)
        lean, degrees = slope(style.get("font-style"))
        adjust = style.get("font-size-adjust").lower()
        size_adjust = number(adjust)
        if adjust not in ("none", "normal") and (size_adjust is None or size_adjust < 0):
            unknown.append(f"font-size-adjust {adjust}")
            size_adjust = None
        made = FontWish(
            families(style.get("font-family")),
            style.font_size,
            float(weight(style.get("font-weight"))),
            lean,
            degrees,
            stretch(style.get("font-stretch")),
            settings(style.get("font-variation-settings")),
            features,
            needed,
            size_adjust,
            style.get("font-optical-sizing").lower() != "none",
            language,
        )
        known = (made, unknown)
        style.cache[key] = known
    troubles += [text for text in known[1] if text not in troubles]
    return known[0]


_BASELINES = {
    "auto": "alphabetic", "alphabetic": "alphabetic", "baseline": "alphabetic", "middle": "middle",
    "central": "central", "hanging": "hanging", "mathematical": "mathematical",
    "ideographic": "ideographic", "text-before-edge": "text-top", "before-edge": "text-top",
    "text-top": "text-top", "text-after-edge": "text-bottom", "after-edge": "text-bottom",
    "text-bottom": "text-bottom",
}  # fmt: skip


def baseline(style: Style, outer: str | None, troubles: list[str]) -> str:
    """Return the baseline that sits on the line; ``outer`` is that of the element around it.

    A different one inside an element, and alignment-baseline, are set differently by every viewer:
    troubles.
    """
    low = style.get("dominant-baseline").lower()
    if low in ("no-change", "use-script", "reset-size") and outer is not None:
        found: str | None = outer
    else:
        found = _BASELINES.get(low)
    if found is None or (outer is not None and found != outer):
        _once(troubles, f"dominant-baseline {low}")
        found = outer or "alphabetic"
    aligned = style.own.get("alignment-baseline", "baseline").lower()
    if aligned not in ("baseline", "auto", "inherit") and _BASELINES.get(aligned, aligned) != "alphabetic":
        _once(troubles, f"alignment-baseline {aligned}")
    return found


def _once(troubles: list[str], text: str) -> None:
    if text not in troubles:
        troubles.append(text)


def shift(scene: Scene, context: Context, around: FontWish, troubles: list[str]) -> BaselineShift | None:
    """Return an inline element's own baseline-shift; None where it has none."""
    text = context.style.own.get("baseline-shift", "baseline").strip().lower()
    if text in ("baseline", "0", "inherit"):
        return None
    if text in ("sub", "super"):
        return BaselineShift(text, 0.0, around)
    value = spacing(scene, context, text, around.size)
    if value is None:
        _once(troubles, f"baseline-shift {text}")
        return None
    return BaselineShift("", value, around)


def spacing(scene: Scene, context: Context, text: str, percent_of: float | None) -> float | None:
    """Return a length in user units, 0 for normal; None where it is none (or an unknown percentage)."""
    low = text.strip().lower()
    if low in ("normal", ""):
        return 0.0
    parts = split_length(low)
    if parts is not None and parts[1] == "%":
        return None if percent_of is None else parts[0] / 100 * percent_of
    value = length(low, scene.measure(context.style, context), "o")
    return value if value is not None and abs(value) < 1e9 else None


_LINE_WORDS = {line.value: line for line in Line}
_PLAIN = frozenset(("none", "solid", "auto"))


def stated_lines(declared: dict[str, str]) -> str:
    """Return the lines an element's own declarations ask for, with how they are drawn."""
    told = declared.get("text-decoration", "none")
    return " ".join(
        (
            declared.get("text-decoration-line", told if told.lower() != "inherit" else "none"),
            declared.get("text-decoration-style", ""),
            "" if declared.get("text-decoration-thickness", "auto").lower() == "auto" else "thickness",
        )
    )


def decorations(
    scene: Scene, context: Context, text: str, *, font: FontWish, origin: Origin, troubles: list[str]
) -> tuple[Decoration, ...]:
    """Return the lines that text-decoration ``text`` asks for, painted as ``context`` paints text."""
    words = text.lower().split()
    lines = [_LINE_WORDS[word] for word in words if word in _LINE_WORDS]
    if not lines:
        return ()
    for word in words:
        if word not in _LINE_WORDS and word not in _PLAIN:
            _once(troubles, f"text-decoration {word}")
    fill = paint(scene, context.style, "fill", context, path=Path.empty(), origin=origin)
    line = stroke(scene, context.style, context, path=Path.empty(), origin=origin)
    return tuple(Decoration(kind, font, fill, line) for kind in dict.fromkeys(lines))
