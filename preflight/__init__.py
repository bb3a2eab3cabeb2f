"""Sign-artwork preflight: tells whether artwork will cut from film, where it will not, and why.

The public face of the library. ``read`` makes an `Artwork` of a file's bytes, ``check`` judges it
against a `Job` and returns a `Report`, ``repair`` mends what it can and proves the mend, ``layout``
tells how an order lies on the roll, ``panels`` parts what is wider than it, ``rehearse`` tells how it is
cut. Nothing here knows of the web, the clock or the host.
"""

from __future__ import annotations

from preflight.artwork import Artwork
from preflight.checking import check
from preflight.cutting.rehearsal import Rehearsal, RehearsalOptions, rehearse
from preflight.errors import JobError, LimitError, PreflightError, ReadError
from preflight.job import Job
from preflight.readers import read
from preflight.repair import Repaired, Steps, repair
from preflight.report.model import Finding, Report, Severity, Verdict
from preflight.roll.layout import Layout, LayoutOptions, OrderLine, layout
from preflight.roll.panels import Panelling, PanelOptions, panels
from preflight.rules import RULES
from preflight.version import __version__

__all__ = [
    "RULES",
    "Artwork",
    "Finding",
    "Job",
    "JobError",
    "Layout",
    "LayoutOptions",
    "LimitError",
    "OrderLine",
    "PanelOptions",
    "Panelling",
    "PreflightError",
    "ReadError",
    "Rehearsal",
    "RehearsalOptions",
    "Repaired",
    "Report",
    "Severity",
    "Steps",
    "Verdict",
    "__version__",
    "check",
    "layout",
    "panels",
    "read",
    "rehearse",
    "repair",
]
