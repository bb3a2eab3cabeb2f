"""Artwork and reports made by hand, for the tests of the picture."""

from __future__ import annotations

from collections.abc import Sequence

from preflight.artwork import Artwork, Item, Origin, Paint, PaintKind, Shape, Source
from preflight.curves import IDENTITY, Path
from preflight.report.model import (
    FilmMeasure,
    Finding,
    Measures,
    Place,
    Report,
    Severity,
    SourceInfo,
    Verdict,
)

RED, WHITE, GREEN = "#c8102e", "#ffffff", "#1f5b3a"


def block(x: float, y: float, width: float, height: float, colour: str) -> Shape:
    """A filled rectangle in mm."""
    path = Path.polygon([(x, y), (x + width, y), (x + width, y + height), (x, y + height)])
    origin = Origin("path", "/svg/path[1]", 1, None, None)
    return Shape(path, IDENTITY, origin, fill=Paint(PaintKind.SOLID, colour))


def artwork(*items: Item, width: float = 300.0, height: float = 200.0) -> Artwork:
    """A sheet in mm."""
    return Artwork(width, height, items, Source("svg", "0" * 64, 1, "sign.svg"))


def finding(
    severity: Severity,
    *points: tuple[float, float],
    code: str = "thin-feature",
    message: str = "Part of a letter is 0.4 mm wide.",
) -> Finding:
    """A finding at ``points``, mm at the finished size."""
    places = tuple(Place(box=(x - 1, y - 1, x + 1, y + 1), point=(x, y)) for x, y in points)
    return Finding(
        code=code,
        case="part",
        severity=severity,
        film=RED,
        message=message,
        detail="",
        places=places,
        places_total=len(places),
        remedy="",
        repairable=False,
        fingerprint="0",
    )


def report(
    art: Artwork,
    findings: Sequence[Finding] = (),
    *,
    scale: float = 1.0,
    summary: str = "Ready to cut.",
    name: str | None = "sign.svg",
) -> Report:
    """A report on ``art`` with these findings."""
    worst = {f.severity for f in findings}
    verdict = (
        Verdict.FAIL
        if Severity.ERROR in worst
        else Verdict.WARN
        if Severity.WARNING in worst
        else Verdict.PASS
    )
    film = FilmMeasure(
        colour=RED,
        name="Red cast",
        role="film",
        area_mm2=1,
        cut_length_mm=1,
        contours=1,
        nodes=4,
        bounds=None,
    )
    return Report(
        tool_version="0",
        verdict=verdict,
        summary=summary,
        source=SourceInfo(name=name, format="svg", sha256="0", size_bytes=1, size_basis="physical"),
        job_sha256="0",
        findings=tuple(findings),
        measures=Measures(
            width_mm=art.width * scale,
            height_mm=art.height * scale,
            scale=scale,
            contours=1,
            nodes=4,
            cut_length_mm=1,
            films=(film,),
        ),
        roll=(),
        assumptions=(),
        not_judged=(),
        claim="",
    )
