"""System calls by their numbers: what the filter of `service.confinement` refuses, and on what grounds.

Numbers are those of the Linux headers: asm/unistd_64.h of x86_64, asm-generic/unistd.h of aarch64, which
has none of the older calls that a newer one with ``at`` in its name has replaced. Audit values are those of
linux/audit.h. The tests compare all of them with the headers of the system they run on.
"""

from __future__ import annotations

from dataclasses import dataclass

# Name: number on x86_64, number on aarch64; None where the architecture has no such call.
Numbers = dict[str, tuple[int | None, int | None]]

SOCKETS: Numbers = {
    "socket": (41, 198),
    "socketpair": (53, 199),
    "connect": (42, 203),
    "bind": (49, 200),
    "listen": (50, 201),
    "accept": (43, 202),
    "accept4": (288, 242),
    # Only these pass open files from process to process; frames of a task go by sendto and recvfrom.
    "sendmsg": (46, 211),
    "sendmmsg": (307, 269),
    "recvmsg": (47, 212),
    "recvmmsg": (299, 243),
}
PROGRAMS: Numbers = {
    "execve": (59, 221),
    "execveat": (322, 281),
    "fork": (57, None),
    "vfork": (58, None),
}
OTHER_PROCESSES: Numbers = {
    "ptrace": (101, 117),
    "process_vm_readv": (310, 270),
    "process_vm_writev": (311, 271),
    "kcmp": (312, 272),
    "pidfd_open": (434, 434),
    "pidfd_getfd": (438, 438),
    "pidfd_send_signal": (424, 424),
    "process_madvise": (440, 440),
    "tkill": (200, 130),
}
FILES: Numbers = {
    "creat": (85, None),
    "truncate": (76, 45),
    "unlink": (87, None),
    "unlinkat": (263, 35),
    "rename": (82, None),
    "renameat": (264, 38),
    "renameat2": (316, 276),
    "mkdir": (83, None),
    "mkdirat": (258, 34),
    "rmdir": (84, None),
    "mknod": (133, None),
    "mknodat": (259, 33),
    "link": (86, None),
    "linkat": (265, 37),
    "symlink": (88, None),
    "symlinkat": (266, 36),
    "chmod": (90, None),
    "fchmod": (91, 52),
    "fchmodat": (268, 53),
    "fchmodat2": (452, 452),
    "chown": (92, None),
    "lchown": (94, None),
    "fchown": (93, 55),
    "fchownat": (260, 54),
    "open_by_handle_at": (304, 265),
}
SYSTEM: Numbers = {
    # io_uring does all of the above without the calls that are filtered.
    "io_uring_setup": (425, 425),
    "io_uring_enter": (426, 426),
    "io_uring_register": (427, 427),
    "unshare": (272, 97),
    "setns": (308, 268),
    "mount": (165, 40),
    "umount2": (166, 39),
    "move_mount": (429, 429),
    "open_tree": (428, 428),
    "fsopen": (430, 430),
    "pivot_root": (155, 41),
    "chroot": (161, 51),
    "bpf": (321, 280),
    "perf_event_open": (298, 241),
    "userfaultfd": (323, 282),
    "add_key": (248, 217),
    "request_key": (249, 218),
    "keyctl": (250, 219),
    "shmget": (29, 194),
    "msgget": (68, 186),
    "semget": (64, 190),
    "mq_open": (240, 180),
}
REFUSED: Numbers = SOCKETS | PROGRAMS | OTHER_PROCESSES | FILES | SYSTEM

MISSING: Numbers = {"clone3": (435, 435), "openat2": (437, 437)}
CLONE: Numbers = {"clone": (56, 220)}
OPENING: Numbers = {"open": (2, None), "openat": (257, 56)}
FLAGS = {"open": 1, "openat": 2}
"""Which argument has the flags, counted from 0."""
ON_PROCESS: Numbers = {
    "kill": (62, 129),
    "tgkill": (234, 131),
    "rt_sigqueueinfo": (129, 138),
    "rt_tgsigqueueinfo": (297, 240),
}
LIMITS: Numbers = {"prlimit64": (302, 261)}


@dataclass(frozen=True, slots=True)
class Architecture:
    """What the filter has to know of one architecture."""

    audit: int
    """AUDIT_ARCH_... of linux/audit.h."""
    foreign_from: int
    """Numbers from here on are those of another interface (x32); 0: there is none."""
    refused: tuple[int, ...]
    missing: tuple[int, ...]
    """Answered as if the kernel did not have them."""
    opening: tuple[tuple[int, int], ...]
    """Calls that open a file, and which argument has the flags."""
    clone: int
    on_process: tuple[int, ...]
    """Calls whose first argument is a process, which must be the caller's own."""
    limits: int


def _column(numbers: Numbers, column: int) -> dict[str, int]:
    return {name: number for name, both in numbers.items() if (number := both[column]) is not None}


def _architecture(column: int, audit: int, foreign_from: int) -> Architecture:
    return Architecture(
        audit,
        foreign_from,
        tuple(_column(REFUSED, column).values()),
        tuple(_column(MISSING, column).values()),
        tuple((number, FLAGS[name]) for name, number in _column(OPENING, column).items()),
        _column(CLONE, column)["clone"],
        tuple(_column(ON_PROCESS, column).values()),
        _column(LIMITS, column)["prlimit64"],
    )


ARCHITECTURES = {
    "x86_64": _architecture(0, 0xC000_003E, 0x4000_0000),
    "aarch64": _architecture(1, 0xC000_00B7, 0),
}
"""By the machine's name, as `platform.machine` gives it."""
