"""The cut rehearsed before it is made: order, way, errors of the tip, time, and where the film goes."""

from preflight.cutting.rehearsal.animation import animation_html
from preflight.cutting.rehearsal.build import rehearse
from preflight.cutting.rehearsal.model import FilmRehearsal, Rehearsal, RehearsalOptions
from preflight.cutting.rehearsal.picture import picture_png, picture_svg
from preflight.cutting.rehearsal.text import rehearsal_text

__all__ = [
    "FilmRehearsal",
    "Rehearsal",
    "RehearsalOptions",
    "animation_html",
    "picture_png",
    "picture_svg",
    "rehearsal_text",
    "rehearse",
]
