"""The guide to panels names every option, and what it says of its examples holds."""

from __future__ import annotations

from pathlib import Path

import preflight
from examples.panel_pictures import van_side
from preflight.roll.panels import PanelOptions, panel_out
from preflight.roll.panels.drawing import assembly_svg

GUIDE = (Path(__file__).resolve().parents[2] / "docs" / "panels.md").read_text("utf-8")


def test_every_option_is_in_the_guide() -> None:
    assert all(f"| `{name}` |" in GUIDE for name in PanelOptions.model_fields)


def test_laps_in_the_guide_are_the_stock_values() -> None:
    laps = {kind: film.seam_lap for kind, film in preflight.job.stock().film.items()}
    assert "Cast and calendered film lap by 13 mm, masks by 10 mm" in " ".join(GUIDE.split())
    assert laps["cast"] == laps["calendered"] == 13
    assert laps["mask"] == 10
    assert {kind for kind, lap in laps.items() if lap == 0} == {
        "translucent",
        "metallic",
        "reflective",
        "frosted",
    }


def test_the_side_of_the_van_is_as_the_guide_says() -> None:
    svg, job = van_side()
    panelled = panel_out(preflight.read(svg.encode()), preflight.Job.parse(job, "toml"))
    (plan,) = panelled.panelling.films
    assert len(plan.panels) == 5
    assert [seam.parts_total for seam in plan.seams] == [1, 2, 1, 1]
    assert [seam.on_top for seam in plan.seams] == [5, 4, 3, 2]
    way = panelled.films[0].way
    assert way is not None
    letters = sorted(
        (low, high)
        for low, high in zip(way.across.low, way.across.high, strict=True)
        if high - low <= way.across.widths.room
    )
    assert all(any(low < u < high for low, high in letters) for u in range(514, 1496))
    assert "between 514 mm and 1495 mm" in GUIDE
    assert way.across.widths.room < 1495 - 514
    assert assembly_svg(panelled).startswith("<svg")
