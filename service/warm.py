"""Loaded by the fork server after the library: what a first check loads and builds is there for every worker.

Without it each new worker spends as much on its first request as on two more, and keeps memory of its own
for what all could share. Nothing here may start a thread: a process with threads must not be forked.
"""

from __future__ import annotations

import gc

from service.library import run
from service.tasks import Task

SAMPLE = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="60mm" viewBox="0 0 100 60">'
    b'<path fill="#1f5f3a" d="M5 5h60v30h-60zM20 15h20v10h-20z"/><path fill="#1f5f3a" d="M50 20c9 0 9 30 0 30z"/>'
    b'<path fill="none" stroke="#1f5f3a" stroke-width="2" d="M70 5l9 9"/></svg>'
)
"""Of our own: overlapping contours, a curve and a stroke take in most of what a check uses."""


def warm() -> None:
    """Do one check, and leave what is loaded by now out of all later collections of garbage."""
    run(Task("report-json", SAMPLE, "sample.svg"))
    gc.collect()
    # A collection that goes through these objects would also copy the pages they lie on, worker by worker.
    gc.freeze()


warm()
