"""The cascade: what each element declares, and the style that follows where it is drawn.

What an element declares is worked out once; the computed style is worked out at the place of use,
so that what ``use`` and markers draw inherits from where it is drawn.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from lxml import etree

from preflight.artwork import RemarkKind
from preflight.readers.limits import Budget
from preflight.readers.svg.document import Document
from preflight.readers.svg.fontvalues import STRETCHES, relative_weight
from preflight.readers.svg.properties import (
    FONT_RELATIVE_LENGTHS,
    GEOMETRY,
    INHERITED,
    OWN,
    PRESENTATION,
    UNREAD,
    valid,
)
from preflight.readers.svg.sheets import Sheets, collect, inline_declarations
from preflight.readers.svg.values import Measure, length, shortened, split_length

_WIDE = {"inherit", "initial", "unset", "revert", "revert-layer"}


class Style:
    """A computed style. ``inherited`` passes on to children, ``own`` holds what does not."""

    __slots__ = ("cache", "font_size", "inherited", "own", "root_font_size")

    def __init__(
        self, inherited: dict[str, str], own: dict[str, str], font_size: float, root_font_size: float | None
    ) -> None:
        self.inherited = inherited
        self.own = own
        self.font_size = font_size
        self.root_font_size = font_size if root_font_size is None else root_font_size
        self.cache: dict[Any, Any] = {}

    def get(self, name: str) -> str:
        """Return the computed value of property ``name`` as text."""
        if name in INHERITED:
            return self.inherited.get(name) or INHERITED[name]
        return self.own.get(name) or OWN[name]


def initial_style() -> Style:
    """Return a style of all initial values, the parent of the root element's."""
    return Style({}, {}, 16.0, None)


_FONT_SIZES = {
    "xx-small": 9.6,
    "x-small": 12.0,
    "small": 14.222,
    "medium": 16.0,
    "large": 19.2,
    "x-large": 24.0,
    "xx-large": 32.0,
    "xxx-large": 48.0,
}
"""px, from a medium of 16 px by the factors of CSS Fonts 4, 2.5."""
_VAR = re.compile(r"var\(\s*+(--[^\s,()]++)\s*+(?:,([^()]*+(?:\([^()]*+\)[^()]*+)*+))?+\)")
_FONT_UNIT = re.compile(
    r"(?<![0-9.])([+-]?+[0-9.]++(?:[eE][+-]?+[0-9]++)?+)(r?(?:em|ex|ch|cap|ic|lh))\b", re.IGNORECASE
)


@dataclass(slots=True)
class Cascade:
    """Styles of one document."""

    document: Document
    sheets: Sheets | None
    declared_of: dict[etree._Element, dict[str, str]] = field(default_factory=dict)
    styles: dict[tuple[int, tuple[tuple[str, str], ...]], tuple[Style, Style]] = field(default_factory=dict)
    complaints: dict[tuple[RemarkKind, str], etree._Element] = field(default_factory=dict)

    @classmethod
    def of(cls, document: Document, budget: Budget) -> Cascade:
        """Read the document's style sheets and return its cascade."""
        return cls(document, collect(document, budget))

    def declared(self, element: etree._Element) -> dict[str, str]:
        """Return the winning valid declarations of ``element``, property to value.

        Geometry properties and ``transform`` are there only where a style sheet or the style
        attribute sets them; their attributes have a grammar of their own.
        """
        known = self.declared_of.get(element)
        if known is None:
            known = self._declared(element)
            self.declared_of[element] = known
        return known

    def _declared(self, element: etree._Element) -> dict[str, str]:
        found: dict[str, str] = {}
        for name, value in element.items():
            if name in PRESENTATION:
                self._put(found, name, str(value), element)
        style = element.get("style")
        if self.sheets is None and not style:
            return found
        blocks = list(self.sheets.matched(element)) if self.sheets is not None else []
        if style:
            blocks.append(inline_declarations(style))
        for wanted in (False, True):
            for declarations in blocks:
                for name, value, urgent in declarations:
                    if urgent is wanted:
                        self._put(found, name, value, element)
        return found

    def _put(self, found: dict[str, str], name: str, value: str, element: etree._Element) -> None:
        if name == "marker":
            for part in ("marker-start", "marker-mid", "marker-end"):
                self._put(found, part, value, element)
            return
        if name == "font":
            found.update(_font(value))
            return
        if name not in INHERITED and name not in OWN and name not in GEOMETRY:
            if name.startswith("--"):
                found[name] = value
            elif name in UNREAD and value.strip().lower() not in UNREAD[name]:
                key = (RemarkKind.UNSUPPORTED, f"{name}: {shortened(value, 40)}, left out")
                self.complaints.setdefault(key, element)
            elif name == "all" and value.lower() in _WIDE:
                found.clear()
            return
        if not valid(name, value):
            if value.strip():
                key = (RemarkKind.BAD_VALUE, f"{name}: {shortened(value, 40)}")
                self.complaints.setdefault(key, element)
            return
        found[name] = value.strip()

    def computed(self, element: etree._Element, parent: Style) -> Style:
        """Return the style of ``element`` drawn where ``parent`` is the style around it."""
        declared = self.declared(element)
        if not declared:
            if not parent.own:
                return parent
            key: tuple[int, tuple[tuple[str, str], ...]] = (id(parent), ())
        else:
            key = (id(parent), tuple(declared.items()))
        known = self.styles.get(key)
        if known is None:
            # The parent is kept beside it so that its id is not given to another style.
            known = (compute(declared, parent, is_root=element is self.document.root), parent)
            self.styles[key] = known
        return known[0]


def compute(declared: dict[str, str], parent: Style, *, is_root: bool = False) -> Style:
    """Return the style that ``declared`` makes under ``parent``."""
    own: dict[str, str] = {}
    changed = {name: raw for name, raw in declared.items() if name.startswith("--")}
    variables = {**parent.inherited, **changed} if changed else parent.inherited
    for name, raw in declared.items():
        value: str | None = raw
        if "var(" in raw:
            value = _substituted(raw, variables, 0)
            if value is None or not valid(name, value):
                value = "unset"
        assert value is not None
        low = value.lower()
        if name in INHERITED:
            if low in _WIDE:
                value = INHERITED[name] if low == "initial" else parent.get(name)
            changed[name] = value
        elif low in _WIDE:
            _own_keyword(own, name, low, parent)
        elif not name.startswith("--"):
            own[name] = value
    if not changed:
        return Style(parent.inherited, own, parent.font_size, parent.root_font_size)
    font_size = parent.font_size
    if "font-size" in changed:
        font_size = _font_size(changed["font-size"], parent)
        changed["font-size"] = f"{font_size!r}px"
    if changed.get("font-weight", "").lower() in ("bolder", "lighter"):
        changed["font-weight"] = relative_weight(changed["font-weight"].lower(), parent.get("font-weight"))
    if changed.get("color", "").lower() == "currentcolor":
        changed["color"] = parent.get("color")
    root_size = font_size if is_root else parent.root_font_size
    for name in FONT_RELATIVE_LENGTHS & changed.keys():
        changed[name] = _absolute(changed[name], font_size, root_size)
    return Style({**parent.inherited, **changed}, own, font_size, root_size)


def _own_keyword(own: dict[str, str], name: str, word: str, parent: Style) -> None:
    """Set a property that is not inherited from a keyword that every property takes."""
    if word == "inherit" and name in OWN:
        own[name] = parent.get(name)
    if name == "overflow" and word != "revert" and not own.get(name):
        # Viewports clip by the standard's own sheet, which any of these words overrules.
        own[name] = "visible"


def _substituted(text: str, variables: dict[str, str], depth: int) -> str | None:
    """Return ``text`` with var() replaced (CSS Custom Properties 1); None where that is impossible."""
    if depth > 8 or len(text) > 10_000:
        return None
    missing = False

    def replaced(found: re.Match[str]) -> str:
        nonlocal missing
        value = variables.get(found.group(1), found.group(2))
        if value is None:
            missing = True
            return ""
        return str(value).strip()

    result = _VAR.sub(replaced, text)
    if missing:
        return None
    return _substituted(result, variables, depth + 1) if "var(" in result else result


def _font_size(text: str, parent: Style) -> float:
    low = text.strip().lower()
    if low in _FONT_SIZES:
        return _FONT_SIZES[low]
    if low in ("larger", "smaller"):
        return parent.font_size * (1.2 if low == "larger" else 1 / 1.2)
    parts = split_length(low)
    if parts is not None and parts[1] == "%":
        return max(parts[0] / 100 * parent.font_size, 0.0)
    value = length(low, Measure(parent.font_size, parent.root_font_size), "o")
    return parent.font_size if value is None or value < 0 else value


def _absolute(text: str, font_size: float, root_font_size: float) -> str:
    measure = Measure(font_size, root_font_size)

    def replaced(found: re.Match[str]) -> str:
        value = length(found.group(0), measure, "o")
        return found.group(0) if value is None else f"{value!r}px"

    return _FONT_UNIT.sub(replaced, text)


_FONT = re.compile(
    r"^(?P<before>(?:[a-z0-9-]+\s+)*?)(?P<size>[0-9.]+[a-z%]+|[0-9.]+|x{0,3}-?(?:small|large)|medium|smaller|larger)"
    r"(?:\s*/\s*\S+)?\s+(?P<family>.+)$",
    re.IGNORECASE,
)
_WEIGHTS = {"bold", "bolder", "lighter", "100", "200", "300", "400", "500", "600", "700", "800", "900"}


_RESET = sorted(
    name for name in INHERITED if name.startswith("font-") and name not in ("font-size", "font-family")
)
"""What the shorthand sets to its initial value where it does not state it (CSS Fonts 4, 2.7)."""


def _font(text: str) -> dict[str, str]:
    """Return the longhands of a ``font`` shorthand; nothing where it is malformed."""
    found = _FONT.match(" ".join(text.split())) if len(text) < 1_000 else None
    if not found:
        return {}
    values = {name: INHERITED[name] for name in _RESET}
    for word in found["before"].lower().split():
        if word in ("italic", "oblique"):
            values["font-style"] = word
        elif word in _WEIGHTS:
            values["font-weight"] = word
        elif word == "small-caps":
            values["font-variant"] = word
        elif word in STRETCHES:
            values["font-stretch"] = word
    return {**values, "font-size": found["size"], "font-family": found["family"]}
