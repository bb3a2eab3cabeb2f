"""Optional content: which layers there are, and which of them are switched on (ISO 32000-1, 8.11)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import pikepdf

from preflight.errors import printable, shortened
from preflight.readers.pdf.values import entry, identity, items, name

_DEEPEST = 16
_CUTTING = frozenset(
    ("Cutting", "PartialCutting", "ReversePartialCutting", "CuttingCreasing", "PartialCuttingCreasing")
)
_NO_ARTWORK = frozenset(("Structural", "Dimensions", "Legend", "Positions", "Braille"))
"""Groups of processing steps that are neither printed nor seen on the finished product."""
Key = tuple[int, int]


class Layers:
    """The document's layers, as its default configuration shows them."""

    def __init__(self, pdf: pikepdf.Pdf) -> None:
        properties = entry(pdf.Root, "OCProperties")
        default = entry(properties, "D")
        self.names: dict[Key, str] = {}
        """In the order of the document's list."""
        self.steps: dict[str, str] = {}
        """Layer's name to its processing step, where one is declared (ISO 19593-1)."""
        self.by_event = bool(items(entry(default, "AS")))
        """Whether some layers show in some uses of the file only."""
        for group in items(entry(properties, "OCGs")):
            key = identity(group)
            if key is not None:
                self.names[key] = _title(entry(group, "Name"))
                step = _step(group)
                if step:
                    self.steps[self.names[key]] = step
        starts_off = name(entry(default, "BaseState")) == "OFF"
        self._off = set(self.names) if starts_off else set()
        self._off -= {key for one in items(entry(default, "ON")) if (key := identity(one))}
        self._off |= {key for one in items(entry(default, "OFF")) if (key := identity(one))}

    def roles(self) -> Iterator[tuple[str, Literal["knife", "guide"]]]:
        """Yield the layers that are cut lines or no artwork, by their processing steps."""
        for layer, step in self.steps.items():
            group, _, kind = step.partition("/")
            if group == "Structural" and kind in _CUTTING:
                yield layer, "knife"
            elif group in _NO_ARTWORK:
                yield layer, "guide"

    def title(self, content: object) -> str | None:
        """Return the name of the layer that ``content``, a group or a membership of one group, is on."""
        key = identity(content)
        if key in self.names:
            return self.names[key]
        groups = _groups(content)
        return self.names.get(identity(groups[0]) or (0, 0)) if len(groups) == 1 else None

    def shown(self, content: object) -> bool:
        """Return whether what is marked with a group or a membership is seen; unknown ones are."""
        key = identity(content)
        if key is not None and key in self.names:
            return key not in self._off
        if name(entry(content, "Type")) != "OCMD":
            return True
        expression = entry(content, "VE")
        if isinstance(expression, pikepdf.Array):
            return self._holds(expression, 0)
        states = [self.shown(group) for group in _groups(content) if identity(group) in self.names]
        if not states:
            return True
        policy = name(entry(content, "P"))
        rules = {"AllOn": all(states), "AnyOff": not all(states), "AllOff": not any(states)}
        return rules.get(policy or "", any(states))

    def _holds(self, expression: pikepdf.Object, depth: int) -> bool:
        if not isinstance(expression, pikepdf.Array):
            return self.shown(expression)
        parts = items(expression)
        if not parts or depth > _DEEPEST:
            return True
        operator = name(parts[0])
        states = [self._holds(part, depth + 1) for part in parts[1:]]
        if operator == "Not":
            return not all(states)
        return any(states) if operator == "Or" else all(states)


def _groups(content: object) -> list[pikepdf.Object]:
    if name(entry(content, "Type")) != "OCMD":
        return []
    groups = entry(content, "OCGs")
    if isinstance(groups, pikepdf.Dictionary):
        return [groups]
    return items(groups)


def _title(value: object) -> str:
    text = " ".join(printable(str(value)).split()) if isinstance(value, pikepdf.String) else ""
    return shortened(text) or "unnamed layer"


def _step(group: object) -> str:
    """Return "group/type" of a processing step, from the metadata of its layer."""
    meta = entry(group, "GTS_Metadata")
    words = (name(entry(meta, "GTS_ProcStepsGroup")), name(entry(meta, "GTS_ProcStepsType")))
    return "/".join(shortened(printable(word)) for word in words if word)
