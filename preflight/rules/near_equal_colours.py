"""Colours so alike that they are surely one film."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from preflight.analysis import Analysis
from preflight.colour import difference, near_pairs
from preflight.films import Meaning
from preflight.report.model import Finding, Severity
from preflight.rules.build import Fault, counted, findings, place
from preflight.rules.rule import Parameter, Rule


@dataclass(slots=True)
class _Use:
    """What one colour stands for, how many shapes have it and the first painted layer among them."""

    meaning: Meaning
    count: int
    first: int


def check(analysis: Analysis) -> Iterator[Finding]:
    """Yield each colour without a stated role that nearly equals another one, or one with a role."""
    uses = _uses(analysis)
    colours = list(uses)
    alike: dict[str, list[str]] = {}
    for i, j in near_pairs(colours, analysis.job.tolerances.colour).tolist():
        one, other = colours[i], colours[j]
        a, b = uses[one].meaning, uses[other].meaning
        # What the job tells apart is meant, and what it maps to one film is one film already.
        if (a.stated and b.stated) or (a.role, a.film) == (b.role, b.film):
            continue
        odd, main = sorted((one, other), key=lambda colour: (uses[colour].meaning.stated, uses[colour].count))
        alike.setdefault(odd, []).append(main)
    faults = []
    for odd, mains in alike.items():
        main = max(mains, key=lambda colour: (uses[colour].meaning.stated, uses[colour].count))
        faults.append(_fault(analysis, odd, main, uses))
    yield from findings(RULE, "one-film", analysis, faults)


def _uses(analysis: Analysis) -> dict[str, _Use]:
    uses: dict[str, _Use] = {}
    pairs = zip(analysis.painting.layers, analysis.meanings, strict=True)
    for index, (layer, meaning) in enumerate(pairs):
        colour = layer.paint.color
        if colour is None or layer.region.is_empty or meaning.role not in ("film", "substrate"):
            continue
        use = uses.setdefault(colour, _Use(meaning, 0, index))
        use.count += 1
        if meaning.stated and not use.meaning.stated:
            use.meaning = meaning
    return uses


def _fault(analysis: Analysis, odd: str, main: str, uses: dict[str, _Use]) -> Fault:
    few, many = uses[odd], uses[main]
    layer = analysis.painting.layers[few.first]
    origin = analysis.shapes[layer.shape].origin
    apart = difference(odd, main)
    role = f", which is {_role(many.meaning)} in the job," if many.meaning.stated else ""
    return Fault(
        message=f"{odd} and {main}{role} can hardly be told apart, yet each would be a film of its own. Surely one "
        f"colour is meant: {counted(few.count, 'shape')} in {odd}, {counted(many.count, 'shape')} in {main}.",
        detail=f"{apart:.1f} steps of 255 apart in each channel (root mean square); reported below "
        f"{analysis.job.tolerances.colour:g}. First shape in {odd}: {origin.label}.",
        places=(place(layer.region.bounds, None, origin),),
        measured=apart,
        limit=analysis.job.tolerances.colour,
        unit="steps",
        badness=few.count,
    )


def _role(meaning: Meaning) -> str:
    return "the substrate" if meaning.role == "substrate" else "a film"


RULE = Rule(
    code="near-equal-colours",
    title="Two colours that are surely one film",
    why="Drawing programs change a colour a little when artwork is pasted or converted. A person sees one black; the "
    "file holds two, and each is cut as a film of its own.",
    how_measured="The steps of 255 between two colours in each channel, as the root mean square of red, green and "
    "blue. Colours that the job gives different roles, or the same film, are left alone.",
    remedy="Give both the same colour, or say in the job's colours what each of them is.",
    cases={"one-film": Severity.WARNING},
    repairable=False,
    check=check,
    parameters=(
        Parameter(
            "tolerances.colour",
            "Colours nearer than this may be one film",
            "steps",
            "common practice, no source",
        ),
    ),
)
