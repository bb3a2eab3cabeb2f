"""Giving memory back: large buffers come and go with every upload."""

from __future__ import annotations

import ctypes
import os
from pathlib import Path

LARGE_BYTES = 256 * 1024
TRIM_THRESHOLD, MMAP_THRESHOLD = -1, -3
"""Parameters of mallopt(3) of the GNU C library."""
PAGE = os.sysconf("SC_PAGE_SIZE")


def return_large_buffers() -> bool:
    """Have every buffer of 256 KiB and more returned to the system when it is freed; False where that cannot be.

    Left to itself the GNU C library stops doing so once a buffer of some megabytes was freed, and keeps what
    uploads of that size leave in pieces. Other C libraries have no such setting.
    """
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is None:
        return False
    return bool(mallopt(MMAP_THRESHOLD, LARGE_BYTES) and mallopt(TRIM_THRESHOLD, LARGE_BYTES))


def resident(pid: int) -> int:
    """Return the resident memory of a process in bytes (proc(5): statm), 0 where that is not to be known."""
    try:
        return int(Path(f"/proc/{pid}/statm").read_bytes().split()[1]) * PAGE
    except (OSError, IndexError):
        return 0
