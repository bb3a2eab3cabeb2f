"""The cut rehearsed before it is made: order, way, errors of the tip, time, and where the film goes."""

from preflight.cutting.rehearsal.build import rehearse
from preflight.cutting.rehearsal.model import FilmRehearsal, Rehearsal, RehearsalOptions

__all__ = ["FilmRehearsal", "Rehearsal", "RehearsalOptions", "rehearse"]
