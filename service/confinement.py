"""What a worker gives up before it sees the first artwork: sockets, other programs, processes, files.

Two means of the kernel, each on its own. A seccomp filter refuses system calls by number (seccomp(2)):
with an error and not with death, so that a library which tries one says so in plain words. Landlock
refuses files by path (landlock(7)): a worker reads the interpreter and the libraries, and neither the
keys, nor the store of jobs, nor what the system tells of other processes. Both last for the life of
the process and hold for its threads, which are allowed.

Of the bindings for Python, the one with a licence that fits needs a C library which slim systems lack
and has had no release for years; the filter is a hundred plain instructions, so it is put together here.
"""

from __future__ import annotations

import ctypes
import errno
import os
import platform
import struct
import sys
import sysconfig
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from pathlib import Path

from service.syscalls import ARCHITECTURES, Architecture

ON = "on"
"""The state of a means that holds; any other text says why it does not."""

# linux/prctl.h, linux/seccomp.h
PR_SET_SECCOMP, PR_SET_NO_NEW_PRIVS = 22, 38
SECCOMP_MODE_FILTER = 2
RET_ERRNO, RET_ALLOW = 0x0005_0000, 0x7FFF_0000
# linux/bpf_common.h: a word at an offset; jumps against a constant; the filter's answer.
LOAD, JUMP_EQUAL, JUMP_ABOVE, JUMP_BITS, RETURN = 0x20, 0x15, 0x35, 0x45, 0x06
# linux/seccomp.h, struct seccomp_data. Both architectures are little-endian: an argument's low word is first.
NUMBER, ARCHITECTURE, ARGUMENTS = 0, 4, 16
CLONE_THREAD = 0x0001_0000  # linux/sched.h
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC

# linux/landlock.h. Rights are numbered in the order in which versions of the interface brought them.
CREATE_RULESET, ADD_RULE, RESTRICT_SELF = 444, 445, 446  # the same on all architectures
RULESET_VERSION = 1
RULE_PATH_BENEATH = 1
WRITE_FILE, READ_FILE, READ_DIR = 1 << 1, 1 << 2, 1 << 3
FILE_RIGHTS = {1: 13, 2: 14, 3: 15, 5: 16}
"""How many rights over files there are, by the version that brought the last of them."""
NETWORK_VERSION, SCOPE_VERSION = 4, 6
NETWORK_RIGHTS, SCOPES = 0b11, 0b11
"""To bind and connect TCP; abstract sockets and signals of processes outside."""

SYSTEM = (
    "/usr",
    "/lib",
    "/lib64",
    "/etc/ld.so.cache",
    "/dev/urandom",
    "/proc/self",
    "/sys/devices/system/cpu",
)
"""Read by the loader, by threads and by the interpreter; ``/proc/self`` is the worker's own."""

_PATHS = sysconfig.get_paths()
INTERPRETER = (
    *(sys.prefix, sys.base_prefix),
    *(_PATHS[name] for name in ("stdlib", "platstdlib", "purelib", "platlib")),
    # A user's own packages (site.USER_SITE), where there are any.
    *(path for path in sys.path if Path(path).name in ("site-packages", "dist-packages")),
)
"""Looked up where this is loaded, in the fork server: it takes longer than all the rest."""

Instruction = tuple[int, int, int, int]
"""Code, jump if true, jump if false, constant: struct sock_filter of linux/filter.h."""


class _Program(ctypes.Structure):
    _fields_ = (("length", ctypes.c_ushort), ("instructions", ctypes.c_char_p))


def confine(readable: Iterable[str] = (), packages: Iterable[str] = ()) -> dict[str, str]:
    """Give up, for good, what work on artwork never needs; return the state of each means.

    ``readable`` are files and folders that the work reads besides the interpreter and its libraries,
    ``packages`` loaded packages that need not lie among those.
    The state is `ON`, or says why the kernel does not do it: in a sandbox that forbids it, or a kernel
    without it, the worker goes on with what it has.
    """
    states = {}
    all_means: dict[str, Callable[[], None]] = {
        "landlock": partial(_landlock, [*readable, *_packages(packages)]),
        "seccomp": _seccomp,
    }
    for name, means in all_means.items():
        try:
            means()
            states[name] = ON
        except OSError as error:
            states[name] = error.strerror or str(error)
    return states


def program(architecture: Architecture, pid: int) -> list[Instruction]:
    """Return the filter for the process ``pid``, which may send signals to itself only."""
    refuse, missing = (RETURN, 0, 0, RET_ERRNO | errno.EPERM), (RETURN, 0, 0, RET_ERRNO | errno.ENOSYS)
    allow = (RETURN, 0, 0, RET_ALLOW)
    code: list[Instruction] = [
        (LOAD, 0, 0, ARCHITECTURE),
        # Another architecture's numbers mean other calls.
        (JUMP_EQUAL, 1, 0, architecture.audit),
        refuse,
        (LOAD, 0, 0, NUMBER),
    ]
    if architecture.foreign_from:
        code += [(JUMP_ABOVE, 0, 1, architecture.foreign_from), refuse]
    for number in architecture.refused:
        code += [(JUMP_EQUAL, 0, 1, number), refuse]
    # Their arguments lie in memory, out of the filter's sight; glibc then takes the older call.
    for number in architecture.missing:
        code += [(JUMP_EQUAL, 0, 1, number), missing]
    for number, argument in architecture.opening:
        code += _where(number, argument, (JUMP_BITS, 0, 1, WRITING), refuse, allow)
    code += _where(architecture.clone, 0, (JUMP_BITS, 1, 0, CLONE_THREAD), refuse, allow)
    for number in architecture.on_process:
        # 0 is this process as well where a limit is set, and its group where a signal is sent.
        code += _where(number, 0, (JUMP_EQUAL, 1, 0, pid), refuse, allow)
    code += _where(architecture.limits, 0, (JUMP_EQUAL, 2, 0, pid), (JUMP_EQUAL, 1, 0, 0), refuse, allow)
    return [*code, allow]


def _where(number: int, argument: int, *then: Instruction) -> list[Instruction]:
    """Return ``then`` on the low word of an argument, for the call ``number`` only.

    The low word is all that the kernel takes of flags, modes and process ids.
    """
    return [(JUMP_EQUAL, 0, len(then) + 1, number), (LOAD, 0, 0, ARGUMENTS + 8 * argument), *then]


def _libc() -> ctypes.CDLL:
    libc = ctypes.CDLL(None, use_errno=True)
    libc.syscall.restype = ctypes.c_long
    return libc


def _checked(result: int, what: str) -> int:
    if result < 0:
        number = ctypes.get_errno()
        raise OSError(number, f"{what}: {os.strerror(number)}")
    return result


def _no_new_privileges(libc: ctypes.CDLL) -> None:
    # Without it the kernel takes filters of the administrator only (seccomp(2), landlock_restrict_self(2)).
    _checked(libc.prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0), "no new privileges")


def _seccomp() -> None:
    machine = platform.machine()
    if sys.platform != "linux" or machine not in ARCHITECTURES or struct.calcsize("P") != 8:
        raise OSError(errno.ENOSYS, f"no filter for {sys.platform} on {machine}")
    install(program(ARCHITECTURES[machine], os.getpid()))


def install(code: Sequence[Instruction]) -> None:
    """Hold this process and all that it starts to the filter ``code``. Raises `OSError`."""
    packed = b"".join(struct.pack("=HBBI", *instruction) for instruction in code)
    libc = _libc()
    _no_new_privileges(libc)
    argument = ctypes.byref(_Program(len(code), packed))
    _checked(libc.prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, argument, 0, 0), "seccomp")


def _landlock(readable: Iterable[str]) -> None:
    if sys.platform != "linux":
        raise OSError(errno.ENOSYS, f"no Landlock on {sys.platform}")
    libc = _libc()
    version = _checked(libc.syscall(CREATE_RULESET, None, 0, RULESET_VERSION), "Landlock")
    files = (1 << max(count for brought, count in FILE_RIGHTS.items() if brought <= version)) - 1
    network = NETWORK_RIGHTS if version >= NETWORK_VERSION else 0
    scopes = SCOPES if version >= SCOPE_VERSION else 0
    # Each field came with a version; the kernel is told how many there are by their size.
    fields = 1 + (version >= NETWORK_VERSION) + (version >= SCOPE_VERSION)
    attributes = struct.pack("=QQQ", files, network, scopes)[: 8 * fields]
    ruleset = _checked(libc.syscall(CREATE_RULESET, attributes, len(attributes), 0), "Landlock")
    try:
        for path in _outermost([*SYSTEM, *INTERPRETER, *readable]):
            _permit(libc, ruleset, path, READ_FILE | READ_DIR)
        _permit(libc, ruleset, Path(os.devnull), READ_FILE | WRITE_FILE)
        _no_new_privileges(libc)
        _checked(libc.syscall(RESTRICT_SELF, ruleset, 0), "Landlock")
    finally:
        os.close(ruleset)


def _permit(libc: ctypes.CDLL, ruleset: int, path: Path, rights: int) -> None:
    try:
        handle = os.open(path, os.O_PATH | os.O_CLOEXEC)
    except (FileNotFoundError, NotADirectoryError, PermissionError):
        return  # out of reach before as after
    try:
        allowed = rights if path.is_dir() else rights & ~READ_DIR
        rule = struct.pack("=Qi", allowed, handle)
        _checked(libc.syscall(ADD_RULE, ruleset, RULE_PATH_BENEATH, rule, 0), f"Landlock, {path}")
    finally:
        os.close(handle)


def _packages(names: Iterable[str]) -> Iterator[str]:
    """Return where these packages lie, which need not be where others do; those that are not loaded, nowhere."""
    for name in names:
        if (package := sys.modules.get(name)) is not None:
            yield from package.__path__


def _outermost(names: Iterable[str]) -> list[Path]:
    """Return the paths that lie beneath none of the others."""
    kept: list[list[str]] = []
    # In the order of their parts, so that what is beneath a folder follows it.
    for parts in sorted(name.rstrip("/").split("/") for name in names):
        if not kept or parts[: len(kept[-1])] != kept[-1]:
            kept.append(parts)
    return [Path("/".join(parts) or "/") for parts in kept]
