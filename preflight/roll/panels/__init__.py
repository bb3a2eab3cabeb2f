"""A film that is wider than its roll, as panels: the plan, its drawing, and each panel's cut."""

from __future__ import annotations

from preflight.roll.panels.build import Panelled, Planned, panel_out, panels, panels_for, plan_films
from preflight.roll.panels.model import Panel, Panelling, PanelPlan, Seam
from preflight.roll.panels.options import PanelOptions
from preflight.roll.panels.ways import Taken

__all__ = [
    "Panel",
    "PanelOptions",
    "PanelPlan",
    "Panelled",
    "Panelling",
    "Planned",
    "Seam",
    "Taken",
    "panel_out",
    "panels",
    "panels_for",
    "plan_films",
]
