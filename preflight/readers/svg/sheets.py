"""Style sheets of the file: parsed once, matched per element."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from math import comb
from typing import Any

import cssselect2
import tinycss2
from lxml import etree

from preflight.artwork import Remark, RemarkKind
from preflight.readers.limits import Budget
from preflight.readers.svg.document import Document
from preflight.readers.svg.fontfaces import MAX_FACES, font_face
from preflight.readers.svg.values import shortened
from preflight.writing import FontFace

Declaration = tuple[str, str, bool]
"""Property in lower case, value, whether it is important."""


def _text(tokens: list[Any]) -> str:
    """Return tokens as text. Brackets nested past all sense give a value that no property takes."""
    try:
        return str(tinycss2.serialize(tokens)).strip()
    except RecursionError:
        return "(nested too deeply)"


def _declarations(items: list[Any]) -> tuple[Declaration, ...]:
    found = []
    for item in items:
        if item.type == "declaration":
            name = item.name if item.name.startswith("--") else item.lower_name
            found.append((name, _text(item.value), bool(item.important)))
    return tuple(found)


@lru_cache(maxsize=4096)
def inline_declarations(text: str) -> tuple[Declaration, ...]:
    """Return the declarations of a style attribute; malformed ones are passed over, as CSS asks."""
    return _declarations(tinycss2.parse_blocks_contents(text, skip_comments=True, skip_whitespace=True))


@dataclass(slots=True)
class Sheets:
    """All rules of a file's style sheets."""

    matcher: Any = field(default_factory=cssselect2.Matcher)
    wrappers: dict[etree._Element, Any] = field(default_factory=dict)
    remarks: list[Remark] = field(default_factory=list)
    faces: list[FontFace] = field(default_factory=list)
    namespaces: dict[str | None, str] = field(default_factory=dict)
    """Prefixes that @namespace declares; None for the default."""
    selectors: int = 0
    costly: int = 0
    """How many of the selectors walk along siblings or into descendants at every try."""
    chains: Counter[int] = field(default_factory=Counter)
    """How many of the selectors ask for so many ancestors, where that is two or more."""

    def matched(self, element: etree._Element) -> Iterator[tuple[Declaration, ...]]:
        """Yield the declarations of the rules that match, in rising precedence."""
        wrapper = self.wrappers.get(element)
        if wrapper is None:
            return
        for _, _, pseudo, declarations in self.matcher.match(wrapper):
            if pseudo is None:
                yield declarations


_ANCESTORS = re.compile(r"(?<![\s>+~])\s+(?![\s>+~])")
_COSTLY = re.compile(r"~(?!=)|:has\(|-of-type")


def collect(document: Document, budget: Budget) -> Sheets | None:
    """Read every ``style`` element; None where the file has no rules.

    Raises `LimitError` where selectors times elements passes ``selector_checks``.
    """
    sheets = Sheets()
    for element in document.root.iter("{*}style"):
        if document.local(element) != "style":
            continue
        kind = (element.get("type") or "").strip().lower()
        if kind not in ("", "text/css"):
            continue
        text = "".join(str(t) for t in element.itertext())
        media = element.get("media") or "all"
        rules = tinycss2.parse_stylesheet(text, skip_comments=True, skip_whitespace=True)
        if _media_applies(media, sheets):
            _add(sheets, rules, 0)
    document.remarks.extend(sheets.remarks)
    if not sheets.selectors:
        return sheets if sheets.faces else None
    count = sum(1 for _ in document.root.iter(etree.Element))
    checks = sheets.selectors * count
    if sheets.costly:
        checks += sheets.costly * count * max(len(e) for e in document.root.iter(etree.Element))
    budget.check("selector_checks", checks)
    if sheets.chains:
        budget.check("selector_checks", checks + _walks(document.root, sheets.chains))
    root = cssselect2.ElementWrapper.from_xml_root(document.root)
    for wrapper in root.iter_subtree():
        sheets.wrappers[wrapper.etree_element] = wrapper
    return sheets


def _walks(root: etree._Element, chains: Counter[int]) -> int:
    """Return how many ways up to ancestors the matcher may try: each choice of so many among all above."""
    depths: Counter[int] = Counter()
    level, depth = [root], 0
    while level:
        depths[depth] += len(level)
        level = [child for element in level for child in element]
        depth += 1
    return sum(
        selectors * elements * comb(above, asked)
        for asked, selectors in chains.items()
        for above, elements in depths.items()
    )


def _add(sheets: Sheets, rules: list[Any], depth: int) -> None:
    for rule in rules:
        if rule.type == "qualified-rule":
            _add_rule(sheets, rule)
        elif rule.type == "at-rule":
            _add_at_rule(sheets, rule, depth)


def _add_rule(sheets: Sheets, rule: Any) -> None:
    declarations = _declarations(
        tinycss2.parse_blocks_contents(rule.content, skip_comments=True, skip_whitespace=True)
    )
    if not declarations:
        return
    prelude = _text(rule.prelude)
    try:
        selectors = cssselect2.compile_selector_list(rule.prelude, sheets.namespaces)
    except (cssselect2.SelectorError, RecursionError, SyntaxError, MemoryError):
        # The last two: selectors become Python expressions, and Python's parser has bounds on nesting.
        sheets.remarks.append(
            Remark(RemarkKind.BAD_VALUE, f"style rule not understood: {shortened(prelude)}")
        )
        return
    for selector in selectors:
        sheets.matcher.add_selector(selector, declarations)
    sheets.selectors += len(selectors)
    sheets.costly += len(selectors) if _COSTLY.search(prelude) else 0
    asked = (len(_ANCESTORS.findall(one.strip())) for one in prelude.split(","))
    sheets.chains.update(count for count in asked if count > 1)


def _add_at_rule(sheets: Sheets, rule: Any, depth: int) -> None:
    name = rule.lower_at_keyword
    prelude = _text(rule.prelude)
    if name == "import":
        sheets.remarks.append(
            Remark(RemarkKind.EXTERNAL_REFERENCE, f"style sheet not fetched: {shortened(prelude)}")
        )
    elif name == "namespace":
        words = [t for t in rule.prelude if t.type in ("ident", "string", "url")]
        if words and words[-1].type != "ident":
            sheets.namespaces[words[0].value if len(words) > 1 else None] = str(words[-1].value)
    elif name == "font-face" and rule.content is not None:
        face = font_face(
            _declarations(
                tinycss2.parse_blocks_contents(rule.content, skip_comments=True, skip_whitespace=True)
            )
        )
        if face is not None and len(sheets.faces) < MAX_FACES:
            sheets.faces.append(face)
    elif name in ("media", "supports", "layer") and rule.content is not None:
        if depth > 16 or (name == "media" and not _media_applies(prelude, sheets)):
            return
        inner = tinycss2.parse_rule_list(rule.content, skip_comments=True, skip_whitespace=True)
        _add(sheets, inner, depth + 1)
        if name != "media":
            sheets.remarks.append(Remark(RemarkKind.CONDITION, f"style rules under @{name} were applied"))


_PLAIN_MEDIA = re.compile(r"(?:only\s+)?(all|screen|print)\Z")


def _media_applies(query: str, sheets: Sheets) -> bool:
    """Tell whether a media query holds for a screen: the look a customer approved is the screen's."""
    parts = [part.strip().lower() for part in query.split(",")]
    words = {found.group(1) for part in parts if (found := _PLAIN_MEDIA.match(part))}
    applies = bool(words & {"all", "screen"}) or query.strip() == ""
    if words != {"all"} and query.strip():
        state = "applied" if applies else "not applied"
        sheets.remarks.append(
            Remark(RemarkKind.CONDITION, f"style rules for the medium “{shortened(query)}” were {state}")
        )
    return applies
