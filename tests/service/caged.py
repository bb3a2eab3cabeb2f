"""Start the service where the kernel lets no process confine itself: ``python -m tests.service.caged``.

Some containers are like that. Here a filter of the same make refuses prctl and Landlock.
"""

from __future__ import annotations

import os
import platform
from dataclasses import replace

from service import confinement
from service.__main__ import main
from service.syscalls import ARCHITECTURES

PRCTL = {"x86_64": 157, "aarch64": 167}  # asm/unistd.h


def cage() -> None:
    """Refuse what confinement is made with, for this process and all that it starts."""
    machine = platform.machine()
    known = ARCHITECTURES[machine]
    unused = 0x0FFF_FFFF
    only = replace(
        known,
        refused=(PRCTL[machine], confinement.CREATE_RULESET),
        missing=(),
        opening=(),
        clone=unused,
        on_process=(),
        limits=unused,
    )
    confinement.install(confinement.program(only, os.getpid()))


if __name__ == "__main__":
    cage()
    raise SystemExit(main())
