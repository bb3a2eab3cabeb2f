"""Workers give up sockets, programs, processes and files, and do their work all the same."""

from __future__ import annotations

import errno
import platform
import re
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from service import confinement, syscalls
from service.confinement import (
    ARCHITECTURE,
    ARGUMENTS,
    JUMP_ABOVE,
    JUMP_BITS,
    JUMP_EQUAL,
    LOAD,
    NUMBER,
    RET_ALLOW,
    RET_ERRNO,
    RETURN,
    Instruction,
    program,
)
from service.syscalls import ARCHITECTURES
from tests.service.conftest import ROOT, SVG, environment_of, running
from tests.service.escapes import ALLOWED, FORBIDDEN

EPERM, ENOSYS = RET_ERRNO | errno.EPERM, RET_ERRNO | errno.ENOSYS
HEADERS = {
    "x86_64": (0, Path("/usr/include/x86_64-linux-gnu/asm/unistd_64.h"), r"__NR_(\w+)\s+(\d+)"),
    "aarch64": (1, Path("/usr/include/asm-generic/unistd.h"), r"__NR(?:3264)?_(\w+)\s+(\d+)"),
}
PID = 4242
EXCEPT = {"clone", "open", "openat", "kill", "tgkill", "rt_sigqueueinfo", "rt_tgsigqueueinfo", "prlimit64"}
LANDLOCK = confinement.CREATE_RULESET

everywhere = pytest.mark.parametrize("machine", sorted(ARCHITECTURES))


def confinable() -> bool:
    """Whether this kernel, here, confines at all: not in every container it does."""
    script = "from service.confinement import confine; print(set(confine().values()) == {'on'})"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return done.stdout.strip() == "True"


needs_kernel = pytest.mark.skipif(
    not confinable(), reason="this system does not let a process confine itself"
)


def run(code: list[Instruction], audit: int, number: int, *arguments: int) -> int:
    """Return what the filter answers, as the kernel would run it (classic BPF: linux/bpf_common.h)."""
    accumulator, at = 0, 0
    data = {NUMBER: number, ARCHITECTURE: audit}
    data |= {ARGUMENTS + 8 * place: value & 0xFFFF_FFFF for place, value in enumerate(arguments)}
    while True:
        kind, yes, no, value = code[at]
        at += 1
        match kind:
            case k if k == LOAD:
                accumulator = data.get(value, 0)
            case k if k == RETURN:
                return value
            case k if k == JUMP_EQUAL:
                at += yes if accumulator == value else no
            case k if k == JUMP_ABOVE:
                at += yes if accumulator >= value else no
            case k if k == JUMP_BITS:
                at += yes if accumulator & value else no
            case _:
                raise AssertionError(kind)


def numbers(column: int) -> dict[str, int]:
    groups = (
        syscalls.REFUSED,
        syscalls.MISSING,
        syscalls.CLONE,
        syscalls.OPENING,
        syscalls.ON_PROCESS,
        syscalls.LIMITS,
    )
    return {name: n for group in groups for name, both in group.items() if (n := both[column]) is not None}


@everywhere
def test_numbers_are_those_of_the_systems_headers(machine: str) -> None:
    column, header, pattern = HEADERS[machine]
    if not header.exists():
        pytest.skip(f"no {header} here (Linux headers)")
    known = {name: int(number) for name, number in re.findall(pattern, header.read_text())}
    ours = numbers(column)
    # A header older than a call does not list it.
    assert {name: n for name, n in ours.items() if name in known} == {
        name: known[name] for name in ours if name in known
    }
    assert set(ours) - set(known) <= {"fchmodat2"}


@everywhere
def test_audit_values_are_those_of_the_systems_headers(machine: str) -> None:
    audit, elf = Path("/usr/include/linux/audit.h"), Path("/usr/include/linux/elf-em.h")
    if not (audit.exists() and elf.exists()):
        pytest.skip("no linux/audit.h here (Linux headers)")
    name = machine.upper()
    assert f"#define AUDIT_ARCH_{name}\t(EM_{name}|__AUDIT_ARCH_64BIT|__AUDIT_ARCH_LE)" in audit.read_text()
    found = re.search(rf"#define EM_{name}\s+(\d+)", elf.read_text())
    assert found
    # linux/audit.h: 64 bit is bit 31, little-endian bit 30.
    assert ARCHITECTURES[machine].audit == int(found[1]) | 1 << 31 | 1 << 30


@everywhere
def test_what_is_refused_is_refused_and_nothing_else(machine: str) -> None:
    column = HEADERS[machine][0]
    architecture = ARCHITECTURES[machine]
    code = program(architecture, PID)
    answers = {n: run(code, architecture.audit, n) for n in range(500)}
    ours = numbers(column)
    expected = dict.fromkeys((n for name, n in ours.items() if name not in EXCEPT), EPERM)
    expected |= {ours[name]: ENOSYS for name in syscalls.MISSING}
    special = {ours[name] for name in EXCEPT if name in ours}
    assert {n: a for n, a in answers.items() if n not in special and a != RET_ALLOW} == expected


@everywhere
def test_calls_that_depend_on_what_is_asked(machine: str) -> None:
    column = HEADERS[machine][0]
    architecture = ARCHITECTURES[machine]
    code, known = program(architecture, PID), numbers(column)

    def ask(name: str, *arguments: int) -> bool:
        answer = run(code, architecture.audit, known[name], *arguments)
        assert answer in (RET_ALLOW, EPERM)
        return answer == RET_ALLOW

    # linux/sched.h: what glibc asks for a thread, and for a process.
    assert ask("clone", 0x3D0F00)
    assert not ask("clone", 0x1200011)
    read_only, write_only, read_write, create, truncate, close_on_exec = 0, 1, 2, 0o100, 0o1000, 0o2000000
    assert ask("openat", 0, 0, read_only | close_on_exec)
    for flags in (write_only, read_write, create, truncate, create | close_on_exec):
        assert not ask("openat", 0, 0, flags)
    for name in ("kill", "tgkill", "rt_sigqueueinfo", "rt_tgsigqueueinfo"):
        assert ask(name, PID)
        assert not any(ask(name, other) for other in (0, 1, PID + 1, 0xFFFF_FFFF))
    assert ask("prlimit64", 0)
    assert ask("prlimit64", PID)
    assert not ask("prlimit64", PID + 1)


@everywhere
def test_other_interfaces_of_the_kernel_are_refused(machine: str) -> None:
    architecture = ARCHITECTURES[machine]
    code = program(architecture, PID)
    i386 = 0x4000_0003  # AUDIT_ARCH_I386, linux/audit.h
    assert run(code, i386, 0) == EPERM
    if machine == "x86_64":
        x32 = 0x4000_0000  # __X32_SYSCALL_BIT, asm/unistd.h
        assert run(code, architecture.audit, x32 | 0) == EPERM


@needs_kernel
def test_a_worker_cannot_get_out_and_its_threads_run(small: httpx.Client) -> None:
    answer = small.post("/v1/reports", files={"artwork": b"HOG:escape"}).json()
    assert {name: answer[name] for name in ALLOWED} == dict.fromkeys(ALLOWED, "done")
    assert {name for name in FORBIDDEN if answer[name] == "done"} == set()
    assert {answer[name] for name in FORBIDDEN} <= {"PermissionError"}


@needs_kernel
def test_how_workers_are_confined_is_counted_and_logged(tmp_path: Path) -> None:
    with running("service", tmp_path, workers=1, confinement="require") as server, server.client() as client:
        assert client.post("/v1/reports", files={"artwork": SVG}).status_code == 200
        counters = client.get("/metrics").text
        for means in ("seccomp", "landlock"):
            assert f'sign_preflight_workers_confined{{means="{means}"}} 1.0' in counters
        (entry,) = [one for one in server.entries() if one["event"] == "workers-confined"]
        assert (entry["seccomp"], entry["landlock"]) == ("on", "on")


needs_linux = pytest.mark.skipif(
    platform.machine() not in ARCHITECTURES, reason="the filter is for x86_64 and aarch64"
)


@needs_linux
@needs_kernel
def test_where_the_kernel_refuses_the_service_works_and_says_so(tmp_path: Path) -> None:
    with running("tests.service.caged", tmp_path, workers=1) as server, server.client() as client:
        assert client.post("/v1/reports", files={"artwork": SVG}).status_code == 200
        assert 'sign_preflight_workers_confined{means="seccomp"} 0.0' in client.get("/metrics").text
        (entry,) = [one for one in server.entries() if one["event"] == "workers-not-confined"]
        assert "Operation not permitted" in entry["seccomp"]
        assert "Operation not permitted" in entry["landlock"]


@needs_linux
@needs_kernel
def test_where_confinement_is_required_the_service_does_not_start_without(tmp_path: Path) -> None:
    settings = {"workers": 1, "confinement": "require", "port": 0, "jobs_path": tmp_path / "jobs.sqlite3"}
    done = subprocess.run(
        [sys.executable, "-m", "tests.service.caged"],
        cwd=ROOT,
        env=environment_of(settings),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 3  # STARTUP_FAILURE, uvicorn.main
    assert "SIGN_PREFLIGHT_CONFINEMENT" in done.stderr


def test_confinement_can_be_switched_off(tmp_path: Path) -> None:
    with running("service", tmp_path, workers=1, confinement="off") as server, server.client() as client:
        assert client.post("/v1/reports", files={"artwork": SVG}).status_code == 200
        assert "sign_preflight_workers_confined{" not in client.get("/metrics").text
