"""Plants one known defect in each of many drawings and counts what the check finds, misses and invents.

``python -m benchmarks.plants [--seed S] [--count N] [--format text] [--show INDEX]``

N plants that must be found are drawn, and half as many drawings with none or with one on the good side.
Each drawing is rows of clean letter-like shapes with one plant, or none. A plant's size is known
exactly, as a ratio to its limit: beyond 1.1 on the bad side it must be found where it lies (planted),
up to 0.9 on the good side it must not be reported, between the two nothing is counted. Invented are
all other findings of the geometric rules, anywhere in any drawing, that do not follow from the plant.
Recall is found / planted, precision found / (found + invented). The greatest error is that of the
widths measured at necks, gaps and slivers, in mm, against the width drawn.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import preflight
from benchmarks.planting.drawing import CONTROL, KINDS, Drawing, drawing
from benchmarks.planting.plant import CLEARLY_BAD, CLEARLY_GOOD
from preflight.analysis import Analysis
from preflight.report.model import Finding, Place

JUDGED = frozenset(
    {
        "overlapping-subpaths",
        "hidden-cut",
        "double-cut",
        "near-double-cut",
        "open-contour",
        "thin-feature",
        "narrow-gap",
        "cut-in-waste",
        "result-differs",
    }
)
NOT_A_FAULT = frozenset({("open-contour", "ends-meet")})
"""A note on what is on the good side of its limit."""


@dataclass
class Outcome:
    """What became of one drawing."""

    index: int
    kind: str
    form: str
    badness: float
    found: bool
    invented: list[str] = field(default_factory=list)
    error: float | None = None
    """How far the width measured is from the one drawn, mm."""

    @property
    def planted(self) -> bool:
        """Whether the drawing holds a defect that must be found."""
        return self.badness >= CLEARLY_BAD

    @property
    def good(self) -> bool:
        """Whether nothing of the plant's own kind may be reported."""
        return self.badness <= CLEARLY_GOOD


def judge(index: int, drawn: Drawing) -> Outcome:
    """Check one drawing and compare the findings with what was planted."""
    analysis = Analysis(preflight.read(drawn.svg), preflight.Job.parse(drawn.job, "toml"))
    told = [f for rule in preflight.RULES if rule.code in JUDGED for f in rule.check(analysis)]
    findings = [f for f in told if (f.code, f.case) not in NOT_A_FAULT]
    plant = drawn.plant
    if plant is None:
        return Outcome(index, drawn.kind, CONTROL, 0.0, False, [_told(f) for f in findings])
    expected = plant.expected if plant.badness > CLEARLY_GOOD else frozenset()
    invented = [_told(f) for f in findings if not _explained(f, drawn, plant.follows | expected)]
    reach = max(0.3, 0.05 * drawn.radius)
    there = [
        f
        for f in findings
        if f.code in plant.expected and any(_holds(p, drawn.spot, reach) for p in f.places)
    ]
    widths = [f.measured for f in there if f.measured is not None]
    error = min(abs(w - drawn.width) for w in widths) if drawn.width is not None and widths else None
    return Outcome(index, drawn.kind, plant.form, plant.badness, bool(there), invented, error)


def _explained(finding: Finding, drawn: Drawing, codes: frozenset[str]) -> bool:
    # What a letter that falls off uncovers of other films may lie apart from where it is open.
    return finding.code in codes and (finding.code == "result-differs" or _in_cell(finding, drawn))


def _told(finding: Finding) -> str:
    where = finding.places[0].point if finding.places else None
    return f"{finding.code}/{finding.case} {finding.measured} at {where}"


def _in_cell(finding: Finding, drawn: Drawing) -> bool:
    x, y, r = drawn.middle.real, drawn.middle.imag, 1.02 * drawn.radius
    cell = (x - r, y - r, x + r, y + r)
    return all(
        cell[0] <= p.box[0] and cell[1] <= p.box[1] and p.box[2] <= cell[2] and p.box[3] <= cell[3]
        for p in finding.places
    )


def _holds(place: Place, spot: complex, reach: float) -> bool:
    x0, y0, x1, y1 = place.box
    return x0 - reach <= spot.real <= x1 + reach and y0 - reach <= spot.imag <= y1 + reach


def counts(outcomes: Iterable[Outcome]) -> dict[str, Any]:
    """Return the figures of some drawings."""
    every = list(outcomes)
    planted = [o for o in every if o.planted]
    found = sum(o.found for o in planted)
    invented = sum(len(o.invented) for o in every)
    return {
        "drawings": len(every),
        "planted": len(planted),
        "found": found,
        "missed": len(planted) - found,
        "invented": invented,
        "clean_or_good": sum(o.good for o in every),
        "recall": found / len(planted) if planted else None,
        "precision": found / (found + invented) if found + invented else None,
        "greatest_error": max((o.error for o in every if o.error is not None), default=None),
    }


def run(seed: int, count: int) -> list[Outcome]:
    """Judge the drawings of a seed until ``count`` of them held a defect that must be found."""
    outcomes: list[Outcome] = []
    planted = 0
    while planted < count:
        outcomes.append(judge(len(outcomes), drawing(seed, len(outcomes))))
        planted += outcomes[-1].planted
    return outcomes


def result(outcomes: list[Outcome], seed: int) -> dict[str, Any]:
    """Return all figures, by kind and form, and every drawing that went wrong."""
    forms = sorted({(o.kind, o.form) for o in outcomes})
    return {
        "seed": seed,
        **counts(outcomes),
        "by_kind": {kind: counts(o for o in outcomes if o.kind == kind) for kind in (*KINDS, CONTROL)},
        "by_form": {
            f"{kind}: {form}": counts(o for o in outcomes if (o.kind, o.form) == (kind, form))
            for kind, form in forms
        },
        "wrong": [
            {"index": o.index, "form": o.form, "badness": o.badness, "found": o.found, "invented": o.invented}
            for o in outcomes
            if o.invented or (o.planted and not o.found)
        ],
    }


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=2_000)
    parser.add_argument("--format", choices=("json", "text"), default="json")
    parser.add_argument("--show", type=int, metavar="INDEX", help="print one drawing as SVG, and no figures")
    options = parser.parse_args(arguments)
    if options.show is not None:
        shown = drawing(options.seed, options.show)
        print(shown.svg.decode())
        print(f"<!-- {shown.kind}: {shown.plant and (shown.plant.form, shown.plant.badness)}\n{shown.job}-->")
        return 0
    figures = result(run(options.seed, options.count), options.seed)
    if options.format == "json":
        print(json.dumps(figures, indent=2))
        return 0
    names = ("drawings", "planted", "found", "missed", "invented", "clean_or_good")
    print(f"{'':42}" + "".join(f"{name:>14}" for name in names))
    rows = {"all": figures, **figures["by_kind"], **figures["by_form"]}
    for name, row in rows.items():
        print(f"{name[:41]:42}" + "".join(f"{row[key]:14}" for key in names))
    print(f"recall {figures['recall']}, precision {figures['precision']}")
    for wrong in figures["wrong"]:
        print(wrong)
    return 0


if __name__ == "__main__":
    sys.exit(main())
