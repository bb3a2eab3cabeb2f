"""Judge artwork: run every rule over one analysis and put the report together."""

from __future__ import annotations

from preflight.analysis import Analysis
from preflight.artwork import Artwork, SizeBasis
from preflight.films import Film
from preflight.job import Job
from preflight.report.model import (
    Assumption,
    FilmMeasure,
    Finding,
    Measures,
    Report,
    Severity,
    SourceInfo,
    Verdict,
)
from preflight.roll.fit import fit_film
from preflight.rules import RULES
from preflight.rules.build import counted
from preflight.rules.lettering import not_judged as lettering_not_judged
from preflight.version import __version__

CLAIM = (
    "This report is about the geometry of the file. Test-cut first: film, blade, force and machine are not known "
    "here."
)

_ORDER = {severity: rank for rank, severity in enumerate(Severity)}


def check(artwork: Artwork, job: Job | None = None) -> Report:
    """Return what stands between ``artwork`` and a clean cut, judged by ``job`` (stock: ``Job()``).

    The same artwork, job and version give the same report, byte for byte. Raises `JobError` where
    the job's size does not fit the artwork, or it sets the severity of a rule that does not exist.
    """
    return judged(analysed(artwork, job or Job()))


def analysed(artwork: Artwork, job: Job) -> Analysis:
    """Return the analysis of ``artwork`` for `judged`; raises `JobError` as `check` does."""
    job.require_known_codes({rule.code: tuple(rule.cases) for rule in RULES})
    return Analysis(artwork, job)


def judged(analysis: Analysis) -> Report:
    """Return the report of `check` on what is analysed already."""
    artwork, job = analysis.artwork, analysis.job
    found: list[Finding] = []
    for rule in RULES:
        found.extend(rule.check(analysis))
    found.sort(key=lambda finding: _ORDER[finding.severity])
    verdict = _verdict(found)
    return Report(
        tool_version=__version__,
        verdict=verdict,
        summary=_summary(verdict, found),
        source=SourceInfo(
            name=artwork.source.name,
            format=artwork.source.format,
            sha256=artwork.source.sha256,
            size_bytes=artwork.source.size_bytes,
            size_basis=artwork.size_basis,
        ),
        job_sha256=job.sha256,
        findings=tuple(found),
        measures=_measures(analysis),
        roll=tuple(fit_film(film).shown(film.name) for film in analysis.films),
        assumptions=tuple(_assumptions(analysis)),
        not_judged=tuple(_not_judged(analysis)),
        claim=CLAIM,
    )


def _verdict(found: list[Finding]) -> Verdict:
    severities = {finding.severity for finding in found}
    if Severity.ERROR in severities:
        return Verdict.FAIL
    return Verdict.WARN if Severity.WARNING in severities else Verdict.PASS


def _summary(verdict: Verdict, found: list[Finding]) -> str:
    errors = sum(finding.severity is Severity.ERROR for finding in found)
    warnings = sum(finding.severity is Severity.WARNING for finding in found)
    if verdict is Verdict.FAIL:
        more = f", and {counted(warnings, 'more thing')} to look at" if warnings else ""
        return f"This artwork cannot be cut as it is: {counted(errors, 'fault')} to mend{more}."
    if verdict is Verdict.WARN:
        return f"This artwork can be cut, but look at {counted(warnings, 'thing')} first."
    return "No fault was found in the geometry of this artwork. Test-cut first."


def _measures(analysis: Analysis) -> Measures:
    films = tuple(_film_measure(analysis, film) for film in analysis.films)
    shapes = list(analysis.knife_shapes())
    return Measures(
        width_mm=round(analysis.artwork.width, 3),
        height_mm=round(analysis.artwork.height, 3),
        scale=round(analysis.scale, 6),
        contours=sum(len(analysis.shapes[i].path) for i in shapes),
        nodes=sum(len(analysis.shapes[i].path.controls) for i in shapes),
        cut_length_mm=round(analysis.cut_length, 1),
        films=films,
    )


def _film_measure(analysis: Analysis, film: Film) -> FilmMeasure:
    shapes = [analysis.shapes[i] for i in film.followed]
    length = float(analysis.painting.lengths[list(film.followed)].sum())
    bounds = film.cut_bounds
    return FilmMeasure(
        colour=film.colour,
        name=film.name,
        role="film",
        area_mm2=round(film.region.area, 1),
        cut_length_mm=round(length, 1),
        contours=sum(len(s.path) for s in shapes),
        nodes=sum(len(s.path.controls) for s in shapes),
        bounds=None
        if bounds is None
        else (round(bounds[0], 3), round(bounds[1], 3), round(bounds[2], 3), round(bounds[3], 3)),
        smallest_part_mm=min((round(p.width, 3) for p in film.thin if p.kind != "spike"), default=None),
        smallest_gap_mm=min((round(p.width, 3) for p in film.gaps if p.kind != "spike"), default=None),
    )


_BASES = {
    SizeBasis.PIXELS: "width and height are in px or bare numbers: 96 px to the inch",
    SizeBasis.VIEWBOX: "only a viewBox is given: its units were taken as px, 96 to the inch",
    SizeBasis.NONE: "neither size nor viewBox is given",
}


def _assumptions(analysis: Analysis) -> list[Assumption]:
    job, artwork = analysis.job, analysis.artwork
    taken: list[Assumption] = []

    def assume(subject: str, value: str, why: str) -> None:
        taken.append(Assumption(subject=subject, taken=value, why=why))

    if not analysis.size_stated:
        size = f"{artwork.width:.2f} mm wide, {artwork.height:.2f} mm high"
        assume("finished size", size, f"The job states no size and in the file {_BASES[artwork.size_basis]}.")
    unstated = sorted(
        {
            layer.paint.color or ""
            for layer, m in zip(analysis.painting.layers, analysis.meanings, strict=True)
            if m.role == "film" and not m.stated
        }
    )
    if unstated:
        assume("colours", f"each is a film of its own: {', '.join(unstated)}", "The job gives them no role.")
    stated = job.model_fields_set
    if "film" not in stated and "films" not in stated:
        assume("film", f"{job.film.kind}, {job.film.thickness:g} mm thick", "The job states no film.")
    if "blade" not in stated:
        blade = f"offset {job.blade.offset:g} mm, {job.blade.angle:g} degrees"
        assume("blade", blade, "The job states no blade.")
    defaults = {
        "use": f"{job.use} use",
        "polarity": "the shapes stay and what surrounds them is weeded away",
        "surface": "applied to the front (first surface)",
        "construction": "films are laid on top of each other",
    }
    for field, value in defaults.items():
        if field not in stated:
            assume(field, value, "The job does not state it.")
    return taken


def _not_judged(analysis: Analysis) -> list[str]:
    notes = []
    if any(film.roll is None for film in analysis.films):
        notes.append("Fit on the roll: no roll is stated in the job.")
    if analysis.job.method == "print-and-cut":
        notes.append(
            "Print-and-cut: bleed beyond the cut and registration marks are not judged yet; pictures, gradients and "
            "transparency are left to the print."
        )
    if analysis.texts:
        notes.append("The shapes of live text: they are not known until the text is turned into outlines.")
    for film in analysis.films:
        notes += [f"{what.capitalize()} in {film.name}: {why}" for what, why in film.unjudged.items()]
    if not analysis.size_stated:
        notes.append("Whether parts are too narrow at the real size: the finished size is not stated.")
    notes.extend(lettering_not_judged(analysis))
    return notes
