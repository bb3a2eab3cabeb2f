"""Things in the file that are not seen: hidden layers, invisible and fully transparent items."""

from __future__ import annotations

from collections.abc import Iterator

from preflight.analysis import Analysis
from preflight.artwork import Hidden, Item, LiveText, Picture, Shape
from preflight.report.model import Finding, Place, Severity
from preflight.rules.build import Fault, counted, findings, place
from preflight.rules.rule import Rule

_WHY = {
    Hidden.NOT_DISPLAYED: "switched off",
    Hidden.NOT_VISIBLE: "set to invisible",
    Hidden.ZERO_OPACITY: "fully transparent",
}


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield, a layer and a reason, one finding for all that is hidden on it."""
    found: dict[tuple[str, Hidden], list[Item]] = {}
    for item in analysis.artwork.items:
        if item.hidden is not None:
            found.setdefault((item.origin.layer or "", item.hidden), []).append(item)
    for reason in Hidden:
        faults = [_fault(layer, why, items) for (layer, why), items in found.items() if why is reason]
        yield from findings(RULE, reason.value, analysis, faults)


def _fault(layer: str, reason: Hidden, items: list[Item]) -> Fault:
    where = f"on layer “{layer}”" if layer else "outside any layer"
    first = items[0].origin
    return Fault(
        message=f"{counted(len(items), 'item')} {where} {'is' if len(items) == 1 else 'are'} {_WHY[reason]}: nobody "
        "sees them, but some cutters cut hidden things too.",
        detail=f"First: {first.label}" + (f", line {first.line}." if first.line else "."),
        places=tuple(_place(item) for item in items),
        badness=len(items),
    )


def _place(item: Item) -> Place:
    if isinstance(item, Shape):
        if not len(item.path.controls):
            return place((0.0, 0.0, 0.0, 0.0), None, item.origin)
        return place(item.path.mapped(item.matrix).bounds(), None, item.origin)
    if isinstance(item, Picture):
        return place(item.box, None, item.origin)
    assert isinstance(item, LiveText)
    x, y = item.position
    return place(item.box or (x, y, x, y), item.position, item.origin)


RULE = Rule(
    code="hidden-item",
    title="Hidden things in the file",
    why="Drawing programs leave switched-off layers and invisible items in the file. They may be old versions, notes "
    "or guides; a cutter that follows every path cuts them.",
    how_measured="Items that are not displayed, not visible, or whose opacity is 0 are reported by layer. They are not "
    "part of any measure of this report.",
    remedy="Delete what is hidden before sending the file, or show it if it belongs to the design.",
    cases={
        Hidden.NOT_DISPLAYED.value: Severity.WARNING,
        Hidden.NOT_VISIBLE.value: Severity.WARNING,
        Hidden.ZERO_OPACITY.value: Severity.WARNING,
    },
    repairable=True,
    check=check,
)
