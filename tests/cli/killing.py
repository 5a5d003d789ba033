"""Runs one command of a book over and over, each time in a fresh copy, and kills it, with every git that it started, at
its n-th system call that can change anything: python tests/cli/killing.py BOOK PLACE FIRST STRIDE COMMAND...

Python and the command's modules are loaded once; each run is a fork of that, followed by ptrace(2) into every process
it starts. A line of JSON for each point says what was left, and what the next commands made of it.
"""

import ctypes
import json
import os
import platform
import re
import shutil
import signal
import struct
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import buildbook.book.git
import buildbook.book.kept
import buildbook.cli.keep
import buildbook.cli.measure
import buildbook.cli.sync
import buildbook.figures.rules  # noqa: F401
from buildbook.book.reading import Reader
from buildbook.cli.main import run

# System calls that can change what another process sees, by the kernel's numbers (asm/unistd.h).
CHANGING = {
    "x86_64": {
        *(1, 18, 20, 296),  # write, pwrite64, writev, pwritev
        *(2, 257),  # open and openat: where they may create or write, see `changes`
        *(82, 264, 316, 87, 263, 83, 258, 84, 86, 265, 88, 266),  # rename…, unlink…, mkdir…, rmdir, link…, symlink…
        *(90, 91, 268, 74, 75, 76, 77, 280, 73, 40, 326),  # chmod…, fsync…, truncate…, utimensat, flock, sendfile, copy
        *(59, 231),  # execve, exit_group
    },
    "aarch64": {64, 68, 66, 70, 56, 38, 276, 35, 34, 37, 36, 52, 53, 82, 83, 45, 46, 88, 32, 71, 285, 221, 94},
}.get(platform.machine(), set())
OPEN = {2: 1, 257: 2, 56: 2}  # number → which argument holds the flags
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT

TRACEME, SYSCALL, SETOPTIONS, GETEVENTMSG, SYSCALL_INFO = 0, 24, 0x4200, 0x4201, 0x420E
OPTIONS = 0x1 | 0x2 | 0x4 | 0x8 | 0x10 | 0x100000  # sysgood, fork, vfork, clone, exec, and die with the tracer
FORKED = {1, 2, 3}  # events of fork, vfork and clone
WALL = 0x40000000

RECORD = ["measure", "top_ring_gap", "1=0.48", "2=0.49", "--with", "feeler", "--by", "ava", "--build", "twin/first"]

FILE = "engines/twin/first/clearances.yaml"
libc = ctypes.CDLL(None, use_errno=True)
libc.ptrace.argtypes = [ctypes.c_long, ctypes.c_long, ctypes.c_void_p, ctypes.c_void_p]
libc.ptrace.restype = ctypes.c_long
_info = ctypes.create_string_buffer(96)


def ptrace(request: int, pid: int, address: int = 0, data: object = 0) -> int:
    done = libc.ptrace(request, pid, address, data)
    if done < 0 and ctypes.get_errno() != 3:  # ESRCH: it is gone already
        raise OSError(ctypes.get_errno(), f"ptrace: {os.strerror(ctypes.get_errno())}")
    return int(done)


def changes(pid: int) -> bool:
    """Whether the process is about to make a system call that can change anything."""
    if ptrace(SYSCALL_INFO, pid, len(_info), ctypes.addressof(_info)) < 32 or _info.raw[0] != 1:
        return False
    number, *arguments = struct.unpack_from("7Q", _info.raw, 24)
    if number in OPEN:
        return bool(arguments[OPEN[number]] & WRITES)
    return number in CHANGING


def command(place: Path, arguments: list[str], *, traced: bool) -> int:
    """Start one command in a fork of this process; what it says goes to a file. Its pid."""
    child = os.fork()
    if child:
        return child
    os.chdir(place)
    to = os.open(f"{place}.said", os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    os.dup2(to, 1)
    os.dup2(to, 2)
    sys.argv = ["buildbook", *arguments]
    if traced:
        libc.ptrace(TRACEME, 0, 0, 0)
        os.kill(os.getpid(), signal.SIGSTOP)
    code = run()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)


def killed_at(point: int, place: Path, arguments: list[str]) -> int | None:
    """Let the command run up to this point: None where it was killed there, else its exit code."""
    first = command(place, arguments, traced=True)
    os.waitpid(first, WALL)
    ptrace(SETOPTIONS, first, 0, OPTIONS)
    alive, seen, code, killed = {first}, 0, None, False
    ptrace(SYSCALL, first)
    while alive:
        pid, status = os.waitpid(-1, WALL)
        if not os.WIFSTOPPED(status):
            alive.discard(pid)
            if pid == first and os.WIFEXITED(status):
                code = os.WEXITSTATUS(status)
            continue
        alive.add(pid)
        if killed:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
            continue
        stop, event, deliver = os.WSTOPSIG(status), status >> 16, 0
        if stop == signal.SIGTRAP | 0x80:
            if changes(pid):
                seen += 1
                if seen == point:
                    killed = True
                    for each in alive:
                        with suppress(ProcessLookupError):
                            os.kill(each, signal.SIGKILL)
                    continue
        elif event in FORKED:
            message = ctypes.c_ulong()
            ptrace(GETEVENTMSG, pid, 0, ctypes.addressof(message))
            alive.add(message.value)
        elif stop not in {signal.SIGTRAP, signal.SIGSTOP}:
            deliver = stop
        ptrace(SYSCALL, pid, 0, deliver)
    return None if killed else code


def then(place: Path, arguments: list[str]) -> tuple[int, str]:
    code = os.waitstatus_to_exitcode(os.waitpid(command(place, arguments, traced=False), 0)[1])
    return code, said(place)


def said(place: Path) -> str:
    return Path(f"{place}.said").read_text()


def git(place: Path, *arguments: str) -> str:
    return subprocess.run(["git", "-C", str(place), *arguments], capture_output=True, text=True, check=True).stdout


def ids(place: Path) -> list[str]:
    """The records of the book, which must load."""
    build = Reader(place).load("twin/first").build
    assert build is not None, place
    return [each.id or "" for each in build.clearances]


def state(place: Path, pristine: Path) -> str:
    """What the next command can make a difference of: the files, what git has left lying about, and where it stands."""
    git_folder = place / ".git"
    lying = [path.name for path in place.rglob("*") if not path.is_relative_to(git_folder / "objects")]
    names = sorted({re.sub(r"\d{3,}|\.\w{8}\.", "#", name) for name in lying})
    head, before = ((book / ".git/refs/heads/main").read_text() for book in (place, pristine))
    record = (place / FILE).read_text().count("id: ")
    written = sum(path.is_file() and not path.name.startswith("tmp_") for path in (git_folder / "objects").rglob("*"))
    return f"{record} {head == before} {written} {names}"


def main(pristine: str, where: str, first: str, stride: str, *arguments: str) -> None:
    place, point = Path(where), int(first)
    known: set[str] = set()
    while True:
        shutil.rmtree(place, ignore_errors=True)
        shutil.copytree(pristine, place, symlinks=True)
        code = killed_at(point, place, list(arguments))
        locks = sorted((place / ".git").rglob("*.lock"))
        told: dict[str, object] = {
            "point": point, "code": code, "said": said(place), "left": ids(place),
            "locks": [path.name for path in locks],
        }  # fmt: skip
        if (left := state(place, Path(pristine))) not in known:
            known.add(left)
            for lock in locks:
                os.utime(lock, (0, 0))  # as if the builder came back later: a lock of this minute is waited for
            for lock in (place / "hub.git").rglob("*.lock"):  # a remote is another machine, which nobody killed
                lock.unlink()
            told["again"] = then(place, ["sync"] if arguments[0] == "sync" else list(RECORD))
            told |= {
                "keep": then(place, ["keep", "--by", "ava"]), "after": ids(place),
                "status": git(place, "status", "--porcelain"), "fsck": git(place, "fsck", "--no-dangling"),
                "in git": re.findall(r"id: (M\d+)", git(place, "show", f"HEAD:{FILE}")),
                "leftovers": [path.name for path in place.rglob("*.writing")],
            }  # fmt: skip
        sys.stdout.write(json.dumps(told) + "\n")
        sys.stdout.flush()
        if code is not None:
            return
        point += int(stride)


if __name__ == "__main__":
    main(*sys.argv[1:])
