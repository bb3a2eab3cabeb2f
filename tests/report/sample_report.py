"""A report with everything in it, for the tests of the reporters."""

from __future__ import annotations

from preflight.report.model import (
    Assumption,
    FilmMeasure,
    Finding,
    Measures,
    Place,
    Report,
    RollFit,
    Severity,
    SourceInfo,
    Verdict,
)

THIN = Finding(
    code="thin-feature",
    case="neck",
    severity=Severity.ERROR,
    film="#1f4d2b",
    message="Some parts of the lettering are only 0.42 mm wide. Film that narrow tears when the waste around "
    "it is pulled off, or lifts soon after.",
    detail="Opening with radius 0.4 mm splits the part in two; calendered film, blade offset 0.25 mm.",
    measured=0.42,
    limit=0.8,
    unit="mm",
    places=tuple(
        Place(
            box=(120.0 + step, 33.0, 121.0 + step, 35.0),
            point=(120.5 + step, 33.0),
            element="/svg/g[1]/path[4]",
            id="stem" if step == 0 else None,
            layer="Letters" if step == 0 else None,
            line=34 + step,
            measured=0.42 + step / 100,
        )
        for step in range(7)
    ),
    places_total=9,
    remedy="Make these parts at least 2 mm wide, choose a bolder letter, or make the sign larger.",
    repairable=False,
    fingerprint="a1",
)
TEXT = Finding(
    code="live-text",
    case="text",
    severity=Severity.ERROR,
    message="The words “Plot 12” are still text. The cutter follows outlines and knows no fonts.",
    detail="One text element of 6 characters, 24 mm high.",
    places=(Place(box=(10, 10, 90, 34), point=(10, 34), element="/svg/text[1]"),),
    places_total=1,
    remedy="Turn the words into outlines in the drawing program and send the file again.",
    repairable=True,
    fingerprint="b2",
)
SIZE = Finding(
    code="size-unstated",
    case="pixels",
    severity=Severity.WARNING,
    message="The file does not say how large the sign will be.",
    detail="Width and height in px; 96 to the inch was taken.",
    places_total=0,
    remedy="State the finished width or height.",
    repairable=False,
    fingerprint="c3",
)

REPORT = Report(
    tool_version="0.1.0",
    verdict=Verdict.FAIL,
    summary="Two things have to be mended before this sign can be cut.",
    source=SourceInfo(
        name="gate-board.svg", format="svg", sha256="ab" * 32, size_bytes=1200, size_basis="pixels"
    ),
    job_sha256="cd" * 32,
    findings=(THIN, TEXT, SIZE),
    measures=Measures(
        width_mm=609.6,
        height_mm=457.2,
        scale=2.0,
        contours=34,
        nodes=1,
        cut_length_mm=8210.0,
        films=(
            FilmMeasure(
                colour="#1f4d2b",
                name="forest green",
                role="film",
                area_mm2=123_400.0,
                cut_length_mm=8210.0,
                contours=34,
                nodes=512,
                bounds=(10, 10, 590, 440),
                smallest_part_mm=0.42,
                smallest_gap_mm=None,
            ),
        ),
    ),
    roll=(
        RollFit(
            film="forest green",
            verdict="fits-turned",
            reason="As drawn it is wider than the roll.",
            usable_width_mm=589.6,
            across_mm=477.2,
            along_mm=629.6,
        ),
        RollFit(film="#c8102e", verdict="not-judged", reason="No roll is stated."),
    ),
    assumptions=(Assumption(subject="Blade", taken="45° with 0.25 mm offset", why="the job names no blade"),),
    not_judged=("Whether the colours are on hand: the job lists no stock.",),
    claim="The geometry was checked as stated; make a test cut first.",
)
