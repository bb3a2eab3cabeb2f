"""The job's settings: their model, stock values, and reading them from TOML or JSON."""

from preflight.job.machine import Blade, MachineSpec
from preflight.job.model import (
    AreaLimit,
    FilmSpec,
    Job,
    Lettering,
    Limit,
    Limits,
    ResolvedLimits,
    Role,
    Roll,
    Size,
    Tolerances,
)
from preflight.job.mounting import Mounting, Temperature
from preflight.job.stock import FilmKind, Stock, Use, stock
from preflight.job.weeding import WeedingSpec

__all__ = [
    "AreaLimit",
    "Blade",
    "FilmKind",
    "FilmSpec",
    "Job",
    "Lettering",
    "Limit",
    "Limits",
    "MachineSpec",
    "Mounting",
    "ResolvedLimits",
    "Role",
    "Roll",
    "Size",
    "Stock",
    "Temperature",
    "Tolerances",
    "Use",
    "WeedingSpec",
    "stock",
]
